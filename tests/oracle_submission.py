"""What is owed, in plain loops over days of the calendar; nothing of sql/ is in it."""

from __future__ import annotations

import calendar
import datetime as dt
from typing import Any

WITHIN_DAYS = 45
DUE = {"log": 14, "confirmation": 30, "outcome": 30}
# Outcome and the days of its window, in the order of the specialty.
WINDOWS = {"capsule_rupture": 0, "oedema": 90}

Row = dict[str, Any]
Owed = tuple[str, str, str, str | None, str | None, str | None, int, str]


def last_day(month: str) -> dt.date:
    year, number = (int(part) for part in month.split("-"))
    return dt.date(year, number, calendar.monthrange(year, number)[1])


def next_month(month: str) -> str:
    return f"{last_day(month) + dt.timedelta(days=1):%Y-%m}"


def months_between(month: str, day: dt.date) -> int:
    year, number = (int(part) for part in month.split("-"))
    return max((day.year - year) * 12 + day.month - number, 0)


def is_current(person: Row, as_of: dt.date) -> bool:
    through = person["through"]
    return through is not None and (as_of - last_day(through)).days <= WITHIN_DAYS


def owed(people: list[Row], cases: list[Row], as_of: dt.date) -> set[Owed]:
    """Trainee, what, month, case, whose word, which outcomes, months since, the day by which it is due."""
    found: set[Owed] = set()
    for person in people:
        ref = person["ref"]
        if not is_current(person, as_of) and not person["completed"]:
            month = max(person["started"], next_month(person["through"]) if person["through"] else "")
            while month < f"{as_of:%Y-%m}":
                if month not in person["leave"]:
                    found.add(one(ref, "log", month, None, None, None, 0, as_of))
                month = next_month(month)
        for case in (each for each in cases if each["ref"] == ref):
            month, case_ref = case["month"], case["case_ref"]
            is_elsewhere = month < person["started"]
            if case["role"] == "surgeon" and case["agreed"] is None and not is_elsewhere:
                found.add(one(ref, "confirmation", month, case_ref, case["supervisor"], None, 0, as_of))
            missing = unknown(case, person) if case["role"] == "surgeon" and not is_elsewhere else []
            if missing:
                window = min(WINDOWS[name] for name in missing)
                found.add(one(ref, "outcome", month, case_ref, None, "; ".join(missing), window, as_of))
    return found


def one(
    ref: str,
    what: str,
    month: str,
    case: str | None,
    supervisor: str | None,
    missing: str | None,
    window: int,
    as_of: dt.date,
) -> Owed:
    due = last_day(month) + dt.timedelta(days=window + DUE[what])
    return ref, what, month, case, supervisor, missing, months_between(month, as_of), due.isoformat()


def unknown(case: Row, person: Row) -> list[str]:
    """Outcomes whose window has passed by the end of the data, and of which nothing, or too little, is recorded."""
    missing = []
    for name, days in WINDOWS.items():
        observed = (last_day(person["through"]) - last_day(case["month"])).days
        if days and observed < days:
            continue
        followed = days == 0 or (case["follow_up"] is not None and case["follow_up"] >= days)
        if case["complications"] is None or not followed:
            missing.append(name)
    return missing
