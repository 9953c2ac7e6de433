"""The words of the codes that stand in the views: why a case counts, what is wrong with a row, who was operating."""

from __future__ import annotations

from typing import Protocol

from dashboard.wording import cases_text

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

HANDS = {
    "trainee": "in the trainee's hands",
    "supervisor": "in a supervisor's hands",
    "unclear": "of which it is not clear who was operating",
}

SOURCES = {
    "log": "the log",
    "trainee": "a later note of the trainee",
    "supervisor": "the supervisor",
    "record_review": "a review of the records",
    "audit": "an audit",
}

SEVERITIES = {"refused": "refused", "left_out": "left out", "warning": "kept, please check"}
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
    "code_unknown": "a code that the specialty does not know",
    "none_beside_code": "none stands beside a code",
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
    "case_unknown": "no live case has this reference",
    "in_two_sources": "the same case from two sources",
    "older_version_kept": "an earlier version of the row stays live",
}


def reason_text(
    reason: str, excluded: str | None = None, over_cap: str | None = None, takes: str | None = None
) -> str:
    """Why a case counts toward a requirement or not, in plain words; KeyError for an unknown reason.

    `excluded` names what the requirement excludes and the case is, such as `simulated`; `over_cap` the kind of which it
    takes so many at most.
    """
    if over_cap:
        return f"does not count: of this kind ({over_cap.replace('_', ' ')}) the requirement takes {takes} at most"
    if excluded:
        return f"does not count: the requirement excludes cases of this kind ({excluded})"
    return REASONS[reason]


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
    return f"{row.found} assessments by others{of_periods}{_reached(row)}"


def _reached(row: Uncounted) -> str:
    return ": reached" if row.met else ""


def rule_text(rule: str) -> str:
    """The rule of a finding in plain words; KeyError for an unknown one."""
    return RULES[rule]


def severity_text(severity: str) -> str:
    """What became of the row of a finding; KeyError for an unknown severity."""
    return SEVERITIES[severity]


def source_text(source: str) -> str:
    """Who says something of a case; KeyError for an unknown source."""
    return SOURCES[source]


def outcome_heading(status: str, hands: str, cases: int) -> str:
    """`Event in the trainee's hands: 3 cases`; hands is blank where it is not asked who was operating."""
    whose = f" {HANDS[hands]}" if hands else ""
    return f"{status.capitalize()}{whose}: {cases_text(cases)}"


# ---- a review


def setting_text(setting: str, self_review: bool) -> str:
    """`live`, `recorded`, `recorded, own review`."""
    return f"{setting}, own review" if self_review else setting


def clock_text(seconds: float | None) -> str | None:
    """`4:05` on the recording's own clock, `1:04:05` from an hour on; None where no time is known."""
    if seconds is None:
        return None
    minutes, rest = divmod(int(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{rest:02d}" if hours else f"{minutes}:{rest:02d}"


def between_text(first: float | None, last: float | None) -> str | None:
    """`4:05–6:10`; one end where the other is not known, None with none."""
    ends = [text for text in (clock_text(first), clock_text(last)) if text]
    return "–".join(ends) or None
