"""What is owed to the log, as a note that can be sent as it is: counts and days, and nothing of a patient or a rate."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from dashboard.wording import cases_text, month_text, months_text

WHAT_IS_OWED = (
    "Months of the log that are not entered, a supervisor's word on the role of cases in an operating role, and outcomes"
    " whose window has passed. Other unconfirmed cases are not counted here."
)
OWED = {"log": "month not entered", "confirmation": "role to be confirmed", "outcome": "outcome not known"}


class Owed(Protocol):
    """A row of submission: a month, or a case."""

    trainee_ref: str
    owed: str
    month: str
    due_on: str
    is_overdue: bool


def day_text(day: str) -> str:
    """`2026-09-14` is 14 September 2026."""
    year, month, number = day.split("-")
    return f"{int(number)} {month_text(f'{year}-{month}')}"


def note_to_trainee(programme: str, trainee_ref: str, as_of: str, rows: Sequence[Owed]) -> str:
    """What a trainee is to enter, to have confirmed and to find out, with the days by which it is due."""
    months, to_confirm, unknown = ([row for row in rows if row.owed == what] for what in OWED)
    points = []
    if months:
        points.append(f"{months_text(len(months))} of your log not entered: {_span(months)}. {_when(months)}")
    if to_confirm:
        points.append(
            f"{cases_text(len(to_confirm))} in an operating role without a supervisor's word on the role."
            f" {_when(to_confirm)} Please ask the supervisors whom the list names."
        )
    if unknown:
        points.append(
            f"{cases_text(len(unknown))} without a record of what happened afterwards. {_when(unknown)}"
            " Please enter what happened, or none where nothing did, and how long the follow-up was."
        )
    return _note(
        programme,
        trainee_ref,
        f"On {day_text(as_of)} this is still missing from your log:" if points else "",
        points,
        "Please bring your log up to date and send the new export."
        if points
        else "Your log lacks nothing that is due.",
    )


def note_to_supervisor(programme: str, supervisor_ref: str, as_of: str, rows: Sequence[Owed]) -> str:
    """What a supervisor is to confirm, trainee by trainee."""
    refs = dict.fromkeys(row.trainee_ref for row in rows)
    points = [
        f"{cases_text(len(own))} of {ref}. {_when(own)}"
        for ref in refs
        for own in [[row for row in rows if row.trainee_ref == ref]]
    ]
    return _note(
        programme,
        supervisor_ref,
        f"On {day_text(as_of)} these cases, which name you, wait for your word on the role that was logged:",
        points,
        "Please say of each case in the list whether the role is right.",
    )


def _note(programme: str, whom: str, opening: str, points: Sequence[str], ending: str) -> str:
    lines = [f"{programme}: what the log still lacks", f"To {whom}", "", *([opening] if opening else [])]
    lines += [f"- {point}" for point in points]
    if points:
        lines += ["", "The list comes with this note."]
    return "\n".join([*lines, ending])


def _span(rows: Sequence[Owed]) -> str:
    first, last = min(row.month for row in rows), max(row.month for row in rows)
    return month_text(first) if first == last else f"{month_text(first)} to {month_text(last)}"


def _when(rows: Sequence[Owed]) -> str:
    """By when it is due, and how much of it is past its day."""
    late = sum(row.is_overdue for row in rows)
    days = sorted(row.due_on for row in rows)
    if not late:
        last = f", all of it by {day_text(days[-1])}" if days[-1] != days[0] else ""
        return f"Due by {day_text(days[0])}{last}."
    if late == len(rows):
        return f"Past due since {day_text(days[0])}."
    ahead = min(row.due_on for row in rows if not row.is_overdue)
    return f"{late:,} past due since {day_text(days[0])}; the next due by {day_text(ahead)}."
