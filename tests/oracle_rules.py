"""The oracle's answer to how far each trainee is with the rules that ask for no number of cases; plain loops."""

from __future__ import annotations

import math
from typing import Any

from tests.oracle import Oracle
from tests.oracle_rows import Row, cell, month_number, month_of
from tests.oracle_technique import Reviewed, main_procedure
from tests.oracle_volume import last_month

Answer = dict[str, Any]
KINDS = ("consecutive", "sign_off", "assessments")


def rule_without_count(it: Oracle, steps: list[Reviewed]) -> list[Answer]:
    rows = []
    for trainee in it.roster:
        for ref, rule in it.specialty["requirements"].items():
            if rule.get("minimum") is None and it.in_force(rule, trainee):
                kind = next(kind for kind in KINDS if rule.get(kind))
                head = it._head(trainee) | {
                    "requirement_ref": ref,
                    "requirement_title": rule["title"],
                    "kind": kind,
                }
                nothing = dict.fromkeys(("asked_for", "found", "periods", "periods_short", "met"))
                said = {"consecutive": _in_a_row, "assessments": _assessed}.get(kind, lambda *_: {})
                rows.append(head | nothing | {"edition": rule.get("edition")} | said(it, trainee, ref, steps))
    return rows


def _in_a_row(it: Oracle, trainee: str, ref: str, _: list[Reviewed]) -> Answer:
    """The longest run of cases of which something is recorded, all within the years."""
    asked = it.specialty["requirements"][ref]["consecutive"]
    longest, run = 0, list[int]()
    for case in it.credited(trainee, ref):
        month = month_number(month_of(case, "operated_on"))
        run = [*run, month] if cell(case, "complications") else []
        run = [earlier for earlier in run if month - earlier < 12 * asked["within_years"]]
        longest = max(longest, len(run))
    return {"asked_for": asked["cases"], "found": longest, "met": longest >= asked["cases"]}


def _assessed(it: Oracle, trainee: str, ref: str, steps: list[Reviewed]) -> Answer:
    rule = it.specialty["requirements"][ref]
    asked, whole = rule["assessments"], _whole_periods(it, trainee, rule["assessments"]["each_months"])
    of_rule = {case["case_ref"].strip() for case in it.credited(trainee, ref)}
    seen = {}
    for step in steps:
        case_ref = step.row["case_ref"].strip()
        if step.trainee == trainee and (case_ref in of_rule or not rule.get("procedures")):
            month = _month_of_operation(it, trainee, step.row)
            period = max(1, math.ceil(it.active_month(trainee, month) / asked["each_months"]))
            seen[step.row["review_ref"].strip()] = period
    short = [
        number for number in range(1, whole + 1) if list(seen.values()).count(number) < asked["at_least"]
    ]
    answer = {
        "asked_for": asked["at_least"],
        "found": len(seen),
        "periods": whole,
        "periods_short": len(short),
    }
    return answer | {"met": not short if whole else None}


def _month_of_operation(it: Oracle, trainee: str, review: Row) -> str:
    """Of the row of the operation that reviews belong to; all rows of one operation of a log may have one month each."""
    case = main_procedure(it, trainee, review["case_ref"].strip())
    assert case is not None
    return month_of(case, "operated_on")


def _whole_periods(it: Oracle, trainee: str, each_months: int) -> int:
    last = last_month(it, trainee)
    if last is None or month_number(last) < it.first_month(trainee):
        return 0
    return math.floor(it.active_month(trainee, last) / each_months)
