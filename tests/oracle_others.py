"""The oracle's answers about what others say of a case beside the trainee's log: who has the last word, and who differs.

Plain loops like tests/oracle.py, and nothing of the project imported.
"""

from __future__ import annotations

from typing import Any

from tests.oracle_rows import Programme, Row, case_key, cell, code, codes, month_of, yes_no

Answer = dict[str, Any]
# Whose word stands: the first that says anything.
BY_RANK = ("audit", "record_review", "supervisor", "trainee")


def is_hit(days: list[str], window: int) -> bool:
    """Whether an event of these days, or of none, lies within the window."""
    return any(window == 0 or not day or int(day) <= window for day in days)


def said(it: Programme, trainee: str, case: Row, ref: str, window: int) -> list[tuple[str, bool]]:
    """Who beside the log says whether it happened within the window, and what; whose word stands comes first."""
    found = []
    for who in BY_RANK:
        row = it.outcomes.get((it.programme_of(trainee), case["case_ref"].strip(), ref, who))
        if row is None or code(row, "occurred") == "unknown":
            continue
        day = cell(row, "day") or ""
        if code(row, "occurred") == "yes":
            found.append((who, is_hit([day], window)))
        elif not day or int(day) >= window:
            found.append((who, False))
    return found


def is_only_other(recorded: list[str]) -> bool:
    """Something happened that nobody has named: whether it was one of the outcomes is not known."""
    return bool(recorded) and {event.partition("@")[0].strip() for event in recorded} == {"other"}


def entry_disagreement(it: Any) -> list[Answer]:
    rows = []
    for trainee in it.roster:
        for case in it.logged(trainee):
            case_ref, procedure, side = case_key(case)
            head = it._head(trainee) | {"case_ref": case_ref, "procedure": procedure, "side": side}
            head |= {"operated_month": month_of(case, "operated_on")}
            for fact, who, entry, ruling, ruled_by in [
                *_of_confirmation(it, trainee, case),
                *_of_outcomes(it, trainee, case),
            ]:
                rows.append(
                    head
                    | {
                        "fact": fact,
                        "entered_by": who,
                        "entry": entry,
                        "ruling": ruling,
                        "ruled_by": ruled_by,
                    }
                )
    return rows


def _of_confirmation(it: Programme, trainee: str, case: Row) -> list[tuple[str, str, Any, Any, str]]:
    confirmed = it.confirmed(trainee, case)
    if confirmed is None:
        return []
    found = []
    agreed = yes_no(confirmed, "role_agreed")
    if agreed is False:
        found.append(("role", code(case, "role"), "another role"))
    if agreed is True and yes_no(case, "supervisor_agreed") is False:
        found.append(("supervisor_agreed", "no", "yes"))
    for fact in ("supervision", "takeover_reason"):
        own, theirs = code(case, fact), code(confirmed, fact)
        if own and theirs and own != theirs:
            found.append((fact, own, theirs))
    own_takeover, theirs_takeover = yes_no(case, "takeover"), yes_no(confirmed, "takeover")
    if None not in (own_takeover, theirs_takeover) and own_takeover != theirs_takeover:
        found.append(("takeover", "yes" if own_takeover else "no", "yes" if theirs_takeover else "no"))
    return [(fact, "log", entry, ruling, "supervisor") for fact, entry, ruling in found]


def _of_outcomes(it: Programme, trainee: str, case: Row) -> list[tuple[str, str, Any, Any, str]]:
    found: list[tuple[str, str, Any, Any, str]] = []
    procedure = it.specialty["procedures"].get(code(case, "procedure"))
    recorded = codes(case, "complications")
    for ref, complication in it.specialty["complications"].items():
        groups, window = complication["group"], complication["window_days"]
        if not procedure or procedure["group"] not in ([groups] if isinstance(groups, str) else groups):
            continue
        others = said(it, trainee, case, ref, window)
        if not others:
            continue
        ruled_by, ruling = others[0]
        entries = others[1:]
        if recorded is not None and not is_only_other(recorded):
            events = [event.partition("@") for event in recorded]
            days = [day.strip() for name, _, day in events if name.strip() == ref]
            entries = [*entries, ("log", is_hit(days, window))]
        found += [
            (ref, who, "yes" if entry else "no", "yes" if ruling else "no", ruled_by)
            for who, entry in entries
            if entry != ruling
        ]
    return found
