"""The sentences that the files of a volume summary have in common."""

from __future__ import annotations

import calendar
from collections.abc import Mapping
from typing import Any

from pipelines.contract.cautions import NOT_YET_CHECKED, source_in_words
from pipelines.specialty.model import units_in_words
from pipelines.store.documents import Manifest
from pipelines.summary.pages import Shown
from pipelines.summary.rows import Person, Summary

CSV_NOTE = (
    "In the CSV a text that begins with = + - @ or a tab has an apostrophe before it, so that no spreadsheet takes it"
    " for a formula; in the workbook it stands as it is."
)
HOW_TO_READ = (
    "Each cell: counted cases, in brackets those that a supervisor confirmed; ✓ where the minimum is reached, ✓* where it"
    " is reached only with cases that nobody has confirmed. A requirement with parts bears ✓ only when each of its parts"
    " is reached too."
)
NO_RULE = "No requirement with a minimum is in force for this class."
RULES_NOTE = f"“{NOT_YET_CHECKED[0].upper()}{NOT_YET_CHECKED[1:]}” marks what nobody has checked there yet."
FILES_NOTE = (
    "Each file in use for somebody of this class: rows in the file = accepted + left out. A file may hold other"
    " classes too."
)
FINDINGS_NOTE = "What was left out or is to be checked, of this class and of rows that name nobody; a row may stand twice:"
NO_FINDING = "No row of this class was left out or is to be checked."
ACCOUNT_NOTE = (
    "Each file in use, for each trainee: its rows are accepted, left out or held back; what was in use before is as it was,"
    " changed, gone, or not in the file. A line without a trainee holds rows that name nobody of the roster."
)
QUALITY_NOTE = (
    "Each cell: so many of so many; blank where nothing is known. A log that is entered late, on one day, or in higher roles"
    " than others had is not a wrong log; it is one to look at."
)
GRADUATES_NOTE = (
    "Graduates are those of the class who have not left: who completed, and who are still to complete. Met: the minimum"
    " itself; reached: with each of its parts too, or by a requirement that stands in. Mean, median, fewest and most are"
    " of the counted cases of the graduates."
)
ROLES_NOTE = (
    "Each cell: cases that count, of all cases of the requirement’s procedures that were logged in this role. What keeps the"
    " others out is the role, the kind of case, its month, or a supervisor’s word."
)
UNCOUNTED_NOTE = "Audits, assessments and sign-offs, from every case of the log; blank under Met where nothing can be said yet."
TALLY_NOTE = (
    "The accreditor’s tally is what is judged. Beside it stands every case counted here, and what could explain a"
    " difference; a case may stand in several of these counts, and they need not add up."
)
WHY_NOTE = (
    "Cases that count now and did not then, and the other way round, by what became of them. The cases of a trainee and"
    " requirement add up to the change of the count."
)
NO_CHANGE = "No case counts otherwise than it did."
EXPORTS_NOTE = "Files of cases and confirmations that were taken in since, with the fields that they changed and in how many rows:"
NO_TALLY = "The accreditor’s tally of this class has not come in."
NAMES_NOTE = "The shown names come from a file kept outside the store; no snapshot holds them."
FOLLOWED = {"left_out": "row left out", "warning": "row kept, to be checked"}


def moment_text(manifest: Manifest) -> str:
    """A snapshot and the day that it speaks of; the first of a store holds nothing yet."""
    return f"snapshot {manifest.snapshot}, {f'as of {manifest.as_of}' if manifest.as_of else 'without data'}"


def source_text(summary: Summary) -> str:
    """Whose data these are, and of which moment."""
    made_up = " Made-up data." if summary.made_up else ""
    return f"{summary.programme}, {summary.specialty}; {moment_text(summary.moment.manifest)}.{made_up}"


def sentences(summary: Summary) -> list[str]:
    """Draft, provisional or final, and why."""
    return summary.state.sentences(summary.moment.manifest.as_of)


def gone_before(summary: Summary) -> str:
    """Who of the class is not among its graduates."""
    left = [person.trainee_ref for person in summary.people if person.left]
    return f"Not among them: {', '.join(left)}, who left." if left else ""


def academic_year_text(summary: Summary) -> str:
    """The months of the year in which the class ends."""
    starts, ends = summary.year_starts, int(summary.asked.cohort[:4]) + 1
    first, last = calendar.month_name[starts], calendar.month_name[(starts + 10) % 12 + 1]
    return f"Academic year: {first} {ends - (starts > 1)} to {last} {ends}."


def counted_through(summary: Summary) -> str:
    """What a count of part of the cases says of itself; nothing where all cases are counted."""
    if summary.asked.through is None:
        return ""
    return (
        f"Only cases operated through {summary.asked.through} are counted here, as asked for; what is remaining,"
        " reached and confirmed follows from them. The published counts of the snapshot hold every case."
    )


def change_text(summary: Summary, earlier: Manifest) -> str:
    return (
        f"{source_text(summary)} Counted cases now less those of {moment_text(earlier)}; “new” where the trainee or the"
        " requirement was not there yet. Fewer cases may mean a correction."
    )


def gone_text(gone: tuple[str, ...]) -> str:
    return f"No longer in this class: {', '.join(gone)}." if gone else ""


def named(trainee_ref: str, labels: Mapping[str, str]) -> str:
    """`T07 Ada Quill`: the name where there is one."""
    return " ".join(filter(None, (trainee_ref, labels.get(trainee_ref))))


def name_of(person: Person, labels: Mapping[str, str]) -> str:
    """`T07 Ada Quill, left 2026-03`: the name, and whether the training is over."""
    name = named(person.trainee_ref, labels)
    ends = [f"completed {person.completed}"] if person.completed else []
    ends += [f"left {person.left}"] if person.left else []
    return ", ".join([name, *ends])


def through_text(person: Person) -> str:
    if person.data_through is None:
        return "no data"
    return person.data_through if person.is_current else f"{person.data_through}, not current"


def requirement_text(line: dict[str, Any]) -> str:
    """With what one count is, where it is neither a procedure nor an operation: `Critical care (patients)`."""
    if line["unit"] in ("procedure", "operation"):
        return str(line["requirement_title"])
    return f"{line['requirement_title']} ({units_in_words(line['unit'], line['minimum'])})"


def standing(line: dict[str, Any]) -> Shown:
    """`102 (81) ✓`: the counted cases of a cell, with those that are confirmed, and whether the minimum is reached."""
    confirmed = f" ({line['confirmed_cases']})"
    if not line["reached"]:
        return Shown(line["counted_cases"], after=confirmed, room=" ✓*")
    few = not line["reached_by"] and line["confirmed_cases"] < line["minimum"]
    return Shown(line["counted_cases"], after=f"{confirmed} ✓{'*' if few else ''}", room="" if few else "*")


def reached_text(line: dict[str, Any]) -> str | None:
    if line["reached_by"]:
        return f"✓, by {line['reached_by_title']}"
    if line["reached"]:
        few = line["confirmed_cases"] < line["minimum"]
        return f"✓, but {line['confirmed_cases']} of {line['counted_cases']} confirmed" if few else "✓"
    return (
        f"{line['parts_short']} of {line['parts_total']} parts not reached" if line["parts_short"] else None
    )


def checked_text(rule: dict[str, Any]) -> str:
    return f"checked on {rule['reviewed_on']}" if rule["verified"] else NOT_YET_CHECKED


def document_text(rule: dict[str, Any]) -> str:
    """Where a rule and its number are from."""
    said = source_in_words(rule["source"])
    if rule["local_source"]:
        return f"{said}. The programme’s own minimum, where the document has {rule['published_minimum']}: {rule['local_source']}"
    return f"{said}. The programme’s own rule" if rule["is_local"] else said


def yes_no(value: bool | None) -> str | None:
    return None if value is None else "yes" if value else "no"
