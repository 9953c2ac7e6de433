"""The oracle's answers about what came in: each trainee's log, and the findings counted by rule."""

from __future__ import annotations

import datetime as dt
from typing import Any

from tests.oracle import Oracle
from tests.oracle_rows import Programme, case_key, cell, codes, last_day, month_of, yes_no
from tests.oracle_volume import class_of, programme_of

# What an intake did or did not find then.
OF_AN_INTAKE = ("case_unknown", "roster_redates_cases")

Answer = dict[str, Any]
# Of a finding: which file, which row of it (blank: the whole file), about whom, and what.
Finding = dict[str, Any]
# Intake → the trainees for whom it is live.
LiveFor = dict[str, set[str]]
CURRENT_WITHIN_DAYS = 45


def is_current(it: Programme, trainee: str, as_of: str) -> bool:
    """Who completed or left is, once the data reach that month."""
    through = it.data_through(trainee)
    if through is None:
        return False
    ends = [cell(it.roster[trainee], name) for name in ("completed", "left")]
    if any(end is not None and through >= end for end in ends):
        return True
    return (dt.date.fromisoformat(as_of) - last_day(through)).days <= CURRENT_WITHIN_DAYS


def trainee_log(it: Oracle, findings: list[Finding], as_of: str) -> list[Answer]:
    rows = []
    for trainee in it.roster:
        own = [each for each in findings if each["trainee_ref"] == trainee]
        left_out = {
            (each["intake_id"], each["file_name"], each["source_row"])
            for each in own
            if each["severity"] == "left_out"
        }
        live = [row for slot, cases in it.live.items() if slot[0] == trainee for row in cases.values()]
        intakes = {each["intake_id"] for each in own} | {row.get("intake_id") for row in live}
        rows.append(
            it._head(trainee)
            | {"live_intakes": len(intakes), "accepted_rows": len(live), "left_out_rows": len(left_out)}
            | {
                "warnings": len(
                    [
                        each
                        for each in own
                        if each["severity"] == "warning" and each["rule"] not in OF_AN_INTAKE
                    ]
                )
            }
            | {
                "unconfirmed_cases": len(
                    [c for c in it.cases(trainee) if yes_no(c, "supervisor_agreed") is None]
                )
            }
            | {"is_current": is_current(it, trainee, as_of)}
        )
    return rows


def about_one(it: Programme, intake_id: str, live_for: LiveFor) -> str | None:
    """The programme of everybody for whom an intake is live; None where they are of several."""
    found = {programme_of(it, trainee) for trainee in live_for[intake_id] if trainee in it.roster}
    return found.pop() if len(found) == 1 else None


def left_out_rule(it: Oracle, findings: list[Finding], live_for: LiveFor) -> list[Answer]:
    counts: dict[tuple[str | None, str | None, str, str], int] = {}
    for finding in findings:
        trainee = finding["trainee_ref"]
        programme = None if trainee in it.roster else about_one(it, finding["intake_id"], live_for)
        place = (programme, trainee, finding["severity"], finding["rule"])
        counts[place] = counts.get(place, 0) + 1
    rows = []
    for (programme, trainee, severity, rule), number in counts.items():
        nobody: Answer = {
            "programme_ref": programme,
            "cohort": None,
            "trainee_ref": trainee,
            "data_through": None,
        }
        head = it._head(trainee) if trainee in it.roster else nobody
        rows.append(head | {"severity": severity, "rule": rule, "findings": number})
    return rows


def class_finding(it: Oracle, findings: list[Finding], live_for: LiveFor) -> list[Answer]:
    rows = []
    people: dict[tuple[str, str], set[str]] = {}
    for trainee in it.roster:
        people.setdefault(class_of(it, trainee), set()).add(trainee)
    for (programme, cohort), of_class in people.items():
        rules: dict[tuple[str, str], list[Finding]] = {}
        for finding in findings:
            if finding["trainee_ref"] in of_class or (
                finding["trainee_ref"] not in it.roster
                and about_one(it, finding["intake_id"], live_for) == programme
                and live_for[finding["intake_id"]] & of_class
            ):
                rules.setdefault((finding["severity"], finding["rule"]), []).append(finding)
        for (severity, rule), found in rules.items():
            concerned = {(each["intake_id"], each["file_name"], each["source_row"]) for each in found}
            rows.append(
                {"programme_ref": programme, "cohort": cohort, "severity": severity, "rule": rule}
                | {"findings": len(found), "rows_concerned": len(concerned)}
            )
    return rows


def event_to_code(it: Oracle) -> list[Answer]:
    """Cases in which something happened that has no code yet."""
    rows = []
    for trainee in it.roster:
        for case in it.cases(trainee):
            named = [event.partition("@") for event in codes(case, "complications") or []]
            days = [day.strip() for name, _, day in named if name.strip() == "other"]
            if days:
                case_ref, procedure, side = case_key(case)
                rows.append(
                    it._head(trainee)
                    | {"case_ref": case_ref, "procedure": procedure, "side": side}
                    | {"operated_month": month_of(case, "operated_on")}
                    | {"event_day": int(days[0]) if days[0] else None}
                )
    return rows
