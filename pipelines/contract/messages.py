"""What a finding says and what to do about it: one sentence each, by rule; nothing of the row but a code's cell."""

from __future__ import annotations

from collections.abc import Mapping

from pipelines.contract.formats import Kind

MOST_CODES_NAMED = 12

# {column} is the column's name, {cell} what may be quoted of the cell, {allowed} what stands there.
_TEXTS: Mapping[str, tuple[str, str]] = {
    "required_blank": ("{column} is blank.", "Fill it in; every row needs it."),
    "case_ref_malformed": (
        "the case_ref is not one.",
        "Use 4 to 64 letters, digits, _ or - of the programme's own list.",
    ),
    "ref_malformed": ("{column} is not a reference.", "Use 1 to 64 letters, digits, _ or -."),
    "key_repeated": ("the same record stands further up.", "Keep one of the two; the first was taken."),
    "trainee_unknown": (
        "the trainee is not in the roster.",
        "Correct the reference, or bring in a roster that names the person.",
    ),
    "date_unreadable": ("{column} is not a date that can be read.", "Write {date_form}."),
    "date_ambiguous": ("{column} can be read as two different dates.", "Write {date_form}."),
    "date_impossible": ("{column} is a date that cannot be.", "Correct it; write {date_form}."),
    "date_in_future": ("{column} lies in the future.", "Correct the date."),
    "before_credit_from": (
        "the operation lies before the trainee's cases count.",
        "Correct the date, or credit_from in the roster.",
    ),
    "code_unknown": ('{column}: "{cell}" is not a code of this specialty.', "Use one of: {allowed}."),
    "none_beside_code": ("{column} says none and names a code as well.", "Keep one of the two."),
    "number_unreadable": (
        "{column} is not a number that can be read.",
        "Write digits, with a decimal point where needed.",
    ),
    "number_out_of_range": ("{column} is out of range.", "Allowed: {range}."),
    "yes_no_unreadable": ("{column} is neither yes nor no.", "Write yes or no, or leave it blank."),
    "too_many_cells": (
        "the row has more cells than the header.",
        "Look for a separator too many, or a missing quote.",
    ),
    "procedure_unmapped": (
        '{column}: "{cell}" is not a procedure of this specialty.',
        "Correct the code, or have it mapped; until then it counts toward nothing.",
    ),
    "column_unknown": ("the column {column} is not part of the format.", "It was not stored."),
    "after_expected_completion": (
        "the operation lies after the expected completion.",
        "Check the date, and the roster.",
    ),
    "complication_not_eligible": (
        "{cell} does not belong to this procedure.",
        "It is not counted; check the procedure.",
    ),
    "event_day_missing": (
        "{cell} has no day.",
        "Write the days after the operation, such as {cell}@5; it is counted.",
    ),
    "supervision_contradicts_role": (
        'the supervision "{cell}" does not go with the role.',
        "Check which of the two is right.",
    ),
    "logged_before_operated": (
        "logged_on lies before operated_on.",
        "Check both dates; the delay is left blank.",
    ),
    "roster_redates_cases": (
        "{column} was changed for a trainee with cases.",
        "Training months were counted anew; no case was left out.",
    ),
    "case_ref_reused": (
        "the case_ref stands for operations on different days.",
        "Give each operation its own.",
    ),
    "case_unknown": ("no live case has this case_ref.", "Bring in the case, or correct the reference."),
    "in_two_sources": (
        "the same case is live from another source.",
        "It counts once, as the source taken last has it.",
    ),
    "older_version_kept": (
        "an earlier version of this row stays live.",
        "Mend the row and bring the export in again.",
    ),
}
_AFTER = {"left_out": " The row was left out.", "warning": ""}


def message_and_remedy(
    rule: str, severity: str, kind: Kind, column_name: str | None, codes: Mapping[str, list[str]], dates: str
) -> tuple[str, str]:
    """The message (with {cell} still in it) and the remedy for one rule and column."""
    message, remedy = _TEXTS[rule]
    column = next((each for each in kind.columns if each.name == column_name), None)
    month = column is not None and column.type == "month"
    allowed = codes.get("stages" if column_name == "value" else (column.codes if column else None) or "", [])
    words = {
        "column": column_name or "",
        "cell": "{cell}",
        "allowed": _allowed(allowed),
        "range": f"{column.low:g} to {column.high:g}"
        if column and column.high is not None
        else "above 0, up to 1",
        "date_form": "YYYY-MM"
        if month
        else {"iso": "YYYY-MM-DD", "day_first": "DD/MM/YYYY", "month_first": "MM/DD/YYYY"}[dates],
    }
    return message.format(**words) + _AFTER[severity], remedy.format(**words)


def _allowed(codes: list[str]) -> str:
    named = ", ".join(codes[:MOST_CODES_NAMED])
    return f"{named}, … ({len(codes)} in all)" if len(codes) > MOST_CODES_NAMED else named
