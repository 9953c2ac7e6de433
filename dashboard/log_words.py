"""What the logs and their files are like, in sentences: the accounts of rows, the quality of a log, what is owed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from dashboard.wording import share_text


def account_sentences(balances: Sequence[bool | None]) -> list[str]:
    """Whether the rows of every file are accounted for: `balances` has an answer a file and trainee, None for unknown."""
    told = [each for each in balances if each is not None]
    unknown = len(balances) - len(told)
    wrong = told.count(False)
    sentences = [
        f"{wrong:,} of {len(told):,} accounts of rows do not balance."
        if wrong
        else f"Rows balance in all {len(told):,} accounts, one for each file and trainee: every row is accepted, left out"
        " or held back, and every row in use before is still there, changed, or known to be gone."
    ]
    if unknown:
        sentences.append(
            f"{unknown:,} more cannot be checked in full: an earlier version stored less about these files."
        )
    return sentences


class Quality(Protocol):
    """A row of log_quality."""

    measure: str
    numerator: int | None
    denominator: int | None
    proportion: float | None
    median_days: float | None
    within_days: int | None
    earlier_low: float | None
    earlier_median: float | None
    earlier_high: float | None
    earlier_people: int | None


def part_text(row: Quality) -> str:
    """`18 of 40 (45 %)`; blank where nothing is known."""
    if row.numerator is None or row.denominator is None or row.proportion is None:
        return ""
    return f"{row.numerator:,} of {row.denominator:,} ({share_text(row.proportion, row.denominator)})"


def days_text(row: Quality) -> str:
    """Half of the rows were entered within so many days; blank where no row says when it was entered."""
    return "" if row.median_days is None else f"{row.median_days:g}"


def earlier_text(row: Quality) -> str:
    """The share of operating roles of earlier trainees at the same active month: its middle half, and how many people."""
    if row.earlier_median is None or row.earlier_low is None or row.earlier_high is None:
        return ""
    people = row.earlier_people or 0
    low, middle, high = (
        share_text(each, 50) for each in (row.earlier_low, row.earlier_median, row.earlier_high)
    )
    return f"{middle} ({low} to {high}), {people} people"


def quality_sentence(row: Quality) -> str:
    """One measure of a log in a sentence; what is not known is said."""
    counted = part_text(row)
    if not counted:
        return QUALITY_UNKNOWN[row.measure]
    said = QUALITY_SENTENCES[row.measure].format(counted=counted, days=row.within_days)
    if row.measure == "entered_in_time":
        said += f" Half of them took {row.median_days:g} days or fewer."
    if row.measure == "operating_role" and (earlier := earlier_text(row)):
        said += f" Earlier trainees had, through the same active month: {earlier}; the bracket holds the middle half of them."
    return said


QUALITY_SENTENCES = {
    "entered_in_time": "Entered within {days} days of the operation: {counted} of the rows that say when.",
    "entered_on_one_day": "Entered on one and the same day: at most {counted}.",
    "operating_role": "Logged in an operating role: {counted}.",
    "role_confirmed": "Operating role confirmed by a supervisor: {counted}.",
    "procedure_unmapped": "Procedure not known to the specialty: {counted}.",
    "case_ref_reused": "Case reference that stands for operations on different days: {counted}.",
    "months_without_cases": "Months of training without a case: {counted}.",
}
QUALITY_UNKNOWN = {
    "entered_in_time": "When rows were entered is not recorded.",
    "entered_on_one_day": "On which day rows were entered is not recorded.",
    "operating_role": "No case with a role yet.",
    "role_confirmed": "No case in an operating role yet.",
    "procedure_unmapped": "No case yet.",
    "case_ref_reused": "Case references cannot be judged: there is no case yet.",
    "months_without_cases": "Months without a case are not counted while the log is behind: they may only be late.",
}
QUALITY_CAUTION = (
    "A log that is entered late, on one day, or in higher roles than others had is not a wrong log; it is one to look"
    " at."
)
