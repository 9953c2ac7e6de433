"""The words of the codes that people meet on screens and in files: why a case counts, what is wrong with a row."""

from __future__ import annotations

from typing import Protocol

from pipelines.contract.formats import UNMATCHED

REASONS = {
    "credited": "counts",
    "before_credit_from": "does not count: the roster says that the trainee's cases count only from a later month on",
    "role": "does not count: the requirement asks for another role",
    "stage": "does not count: the requirement asks for another stage of training",
    "window": "does not count: the requirement looks for cases of other months of training",
    "attribute": "does not count: the requirement includes or excludes cases of this kind",
    "duplicate_in_operation": "does not count again: another row of the same operation may count",
    "supervisor_disagreed": "does not count: role refused by the supervisor",
    "takeover_to_confirm": "does not count yet: a supervisor took over, waiting for confirmation of the role",
    "performed_elsewhere": "does not count: performed elsewhere, which the requirement does not take",
    "outside_edition": "does not count: this edition is not for this class, or for this procedure in that month",
    "no_requirement": "counts toward nothing: no requirement lists this procedure",
    "unmapped_code": "counts toward nothing: the specialty does not know this procedure",
}

RULES = {
    "not_a_table": "the file is not a table",
    "header_twice": "a column stands twice",
    "column_missing": "a column is missing",
    "kind_unknown": "the kind of file is not known",
    "cell_too_long": "a cell is too long",
    "identifier_in_header": "an identifier among the columns",
    "identifier_in_cell": "an identifier in a cell",
    "identifier_in_file_name": "an identifier in the name of the file",
    "required_blank": "a required cell is blank",
    "case_ref_malformed": "not a valid case reference",
    "ref_malformed": "not a valid reference",
    "key_repeated": "the same record stands twice",
    "trainee_unknown": "the trainee is not in the roster",
    "date_unreadable": "a date cannot be read",
    "date_ambiguous": "a date can be read in two ways",
    "date_impossible": "an impossible date",
    "date_in_future": "a date lies in the future",
    "before_credit_from": "operated before the trainee's cases count",
    "code_unknown": "a word that the specialty does not know",
    "none_beside_code": "none stands beside something that is there",
    "number_unreadable": "a number cannot be read",
    "number_out_of_range": "a number is out of range",
    "yes_no_unreadable": "neither yes nor no",
    "too_many_cells": "more cells than columns",
    "procedure_unmapped": "a procedure that the specialty does not know",
    "column_may_identify": "a column that is not read and may identify somebody",
    "service_unlisted": "a service that the specialty does not list",
    "column_unknown": "a column that is not of the format",
    "after_expected_completion": "operated after the expected completion",
    "complication_not_eligible": "a complication that does not go with the procedure",
    "event_day_missing": "a complication without its day",
    "supervision_contradicts_role": "supervision and role contradict each other",
    "takeover_not_recorded": "a complication in a role that does not operate, and no word of a takeover",
    "logged_before_operated": "logged before it was operated",
    "roster_redates_cases": "the roster moves the months of training",
    "case_ref_reused": "one reference for operations on different days",
    "case_unknown": "no case in use has this reference",
    "in_two_sources": "the same case from two sources",
    "older_version_kept": "an earlier version of the row stays in use",
}

KINDS = {
    "trainees": "roster",
    "training": "training periods",
    "cases": "cases",
    "reviews": "reviews of technique",
    "milestones": "milestone levels",
    "outcomes": "outcomes",
    "confirmations": "confirmations",
    "official_counts": "the accreditor’s counts",
}

# ---- rules without a number of cases


class Uncounted(Protocol):
    """A row of rule_without_count."""

    kind: str
    asked_for: int
    found: int
    periods: int
    periods_short: int
    met: bool | None


def uncounted_text(row: Uncounted) -> str:
    """How far a requirement without a number of cases is: an audit, assessments, or a sign-off."""
    if row.kind == "sign_off":
        return "recorded by the committee, not in the log"
    if row.kind == "consecutive":
        return f"{row.found} of {row.asked_for} in a row, each with a record of what happened{_reached(row)}"
    of_periods = (
        f"; {row.periods_short} of {row.periods} whole periods short of {row.asked_for}"
        if row.periods
        else ""
    )
    return f"{row.found} assessment{'s' * (row.found != 1)} by others{of_periods}{_reached(row)}"


def _reached(row: Uncounted) -> str:
    return ": reached" if row.met else ""


# ---- beside the accreditor’s tally


class Tally(Protocol):
    """A count beside the accreditor's own, with the cases that could explain the difference."""

    difference: int
    later_cases: int
    same_month_cases: int
    unconfirmed_cases: int
    other_role_cases: int
    elsewhere_cases: int
    otherwise_not_counted_cases: int
    capped_cases: int
    unmapped_cases: int


COUNTED_HERE_ALONE = {
    "later_cases": "operated after that month",
    "same_month_cases": "operated in that month",
    "unconfirmed_cases": "not confirmed",
}
COUNTED_THERE_ALONE = {
    "other_role_cases": "in another role",
    "elsewhere_cases": "performed elsewhere",
    "capped_cases": "of a kind of which the requirement has as many as it takes",
    "otherwise_not_counted_cases": "not counted here for another reason",
    "unmapped_cases": "of a procedure that is not known here",
}


def tally_sentence(row: Tally) -> str:
    """`2 operated after that month, 3 not confirmed`: what could explain a difference from the accreditor's count."""
    words = COUNTED_HERE_ALONE if row.difference > 0 else COUNTED_THERE_ALONE
    said = [f"{getattr(row, name)} {text}" for name, text in words.items() if getattr(row, name)]
    return ", ".join(said) or "nothing that is known here"


# ---- logs and their files

QUALITY_HEADS = {
    "entered_on_one_day": "most entered on one day",
    "operating_role": "in an operating role",
    "role_confirmed": "of those, confirmed",
    "procedure_unmapped": "procedure not known",
    "case_ref_reused": "case reference used twice",
    "months_without_cases": "months without a case",
}


def whose(trainee_ref: str) -> str:
    """The trainee with whom a row is stored, or that no log has the operation that it speaks of."""
    return "in no log yet" if trainee_ref == UNMATCHED else trainee_ref


def quality_head(measure: str, within_days: int | None) -> str:
    """What a measure of a log is, as the head of a column; `within_days` belongs to entered_in_time."""
    return f"entered within {within_days} days" if measure == "entered_in_time" else QUALITY_HEADS[measure]


# The terms of the account of a file, for each trainee.
ACCOUNT = {
    "trainee_ref": "trainee",
    "file_name": "file",
    "kind": "holds",
    "rows_in_file": "rows",
    "accepted_rows": "accepted",
    "left_out_rows": "left out",
    "held_back_rows": "held back",
    "live_before": "in use before",
    "unchanged_rows": "as before",
    "changed_rows": "changed",
    "kept_rows": "as before, new row left out",
    "withdrawn_rows": "gone",
    "untouched_rows": "not in the file",
    "added_rows": "new",
    "live_after": "in use now",
    "balances": "balances",
}
