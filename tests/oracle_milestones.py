"""The oracle's answer about milestones: which rules the evidence meets, and what the committee recorded."""

from __future__ import annotations

import statistics
from typing import Any

from tests.oracle import Oracle, wilson
from tests.oracle_comparison import outcomes_of, rank_of, supervised
from tests.oracle_rows import Row, cell, month_of
from tests.oracle_technique import Operation, Reviewed, in_log_order, operations
from tests.oracle_volume import last_training_quarter

Answer = dict[str, Any]


FEWEST_CASES, FEWEST_OPERATIONS = 10, 5


def milestone_standing(
    it: Oracle, own: Answer, steps: list[Reviewed], records: list[Row], periods: list[str]
) -> list[Answer]:
    """`own`: the rows of case_volume and complication_rate."""
    framework = it.specialty.get("milestones")
    if not framework:
        return []
    rows = []
    scored = operations(it, steps)
    for trainee in it.roster:
        for ref, item in framework["items"].items():
            recorded = _last_record(trainee, ref, records, periods)
            for level in framework["levels"]:
                met = [
                    _is_met(it, trainee, rule, own, scored) for rule in item.get("rules", {}).get(level, [])
                ]
                rows.append(
                    it._head(trainee)
                    | {"milestone_ref": ref, "level": level, "rules_total": len(met)}
                    | {"rules_met": met.count(True), "rules_unknown": met.count(None)}
                    | {"is_something_missing": any(answer is not True for answer in met)}
                    | {"is_something_met": True in met}
                    | recorded
                )
    return rows


def _is_met(it: Oracle, trainee: str, rule: Answer, own: Answer, scored: list[Operation]) -> bool | None:
    """None where it cannot be said."""
    if rule["measure"] == "counted_cases":
        counted = _rows(own["case_volume"], trainee, requirement_ref=rule["requirement"])
        return counted[0]["counted_cases"] >= rule["at_least"] if counted else None
    if rule["measure"] == "rate":
        where = {"complication_ref": rule["complication"], "attribution": rule["attribution"]}
        return _stays_below(it, trainee, _rows(own["complication_rate"], trainee, **where)[0], rule)
    if rule["measure"] == "supervision_share":
        named = rank_of(it, rule["level"])
        levels = [
            (it.training_quarter(trainee, month_of(case, "operated_on")), int(rank_of(it, level) >= named))
            for case, level in supervised(it, trainee)
            if it._group(case) == rule["group"] and level is not None
        ]
        return _is_enough(_latest(it, trainee, levels, rule), FEWEST_CASES, rule)
    scores = [
        (each.quarter, each.score) for each in scored if (each.trainee, each.step) == (trainee, rule["step"])
    ]
    return _is_enough(_latest(it, trainee, scores, rule), FEWEST_OPERATIONS, rule)


def _latest(it: Oracle, trainee: str, found: list[tuple[int, Any]], rule: Answer) -> list[Any]:
    """`found`: quarter and value, in the order of the log."""
    if "last_quarters" in rule:
        first = last_training_quarter(it, trainee) - rule["last_quarters"] + 1
        found = [each for each in found if each[0] >= first]
    values = [value for _, value in found]
    return values[-rule["last_cases"] :] if "last_cases" in rule else values


def _is_enough(values: list[float], fewest: int, rule: Answer) -> bool | None:
    return statistics.fmean(values) >= rule["at_least"] - 1e-12 if len(values) >= fewest else None


def _rows(rows: list[Answer], trainee: str, **where: str) -> list[Answer]:
    return [
        row
        for row in rows
        if row["trainee_ref"] == trainee and all(row[name] == value for name, value in where.items())
    ]


def _stays_below(it: Oracle, trainee: str, rate: Answer, rule: Answer) -> bool | None:
    """The upper end must stay below; in the trainee's hands both ends must say the same.

    Nothing is said where not even none with an event would stay below.
    """
    if rate["rate"] is None:
        return None
    counts = [rate["events"], rate["known_outcomes"], rate["events_unclear"]]
    if "last_cases" in rule or "last_quarters" in rule:
        known = [
            (it.training_quarter(trainee, month_of(case, "operated_on")), columns)
            for case in in_log_order(it, trainee)
            for ref, attribution, columns in outcomes_of(it, trainee, case)
            if (ref, attribution) == (rule["complication"], rule["attribution"]) and "known" in columns
        ]
        latest = _latest(it, trainee, known, rule)
        counts = [
            sum("events" in each for each in latest),
            len(latest),
            sum("unclear" in each for each in latest),
        ]
    events, cases, unclear = counts
    if cases == 0 or wilson(0, cases)[1] > rule["at_most"]:
        return None
    low, high = wilson(events, cases)[0], wilson(events + unclear, cases)[1]
    below = high <= rule["at_most"]
    if rule["attribution"] == "in_trainee_hands" and below != (low <= rule["at_most"]):
        return None
    return bool(below)


def _last_record(trainee: str, milestone: str, records: list[Row], periods: list[str]) -> Answer:
    """By academic year, then in the programme's order of its periods."""

    def place(row: Row) -> tuple[str, int]:
        year, _, period = row["period"].strip().partition(" ")
        return year, periods.index(period.lower())

    own = [
        row for row in records if (cell(row, "trainee_ref"), cell(row, "milestone")) == (trainee, milestone)
    ]
    if not own:
        return {"committee_level": None, "committee_period": None}
    last = max(own, key=place)
    return {"committee_level": cell(last, "level"), "committee_period": cell(last, "period")}
