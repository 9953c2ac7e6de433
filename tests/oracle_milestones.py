"""The oracle's answer about milestones: which rules the evidence meets, and what the committee recorded."""

from __future__ import annotations

import statistics
from typing import Any

from tests.oracle import Oracle
from tests.oracle_rows import Row, cell
from tests.oracle_technique import Reviewed

Answer = dict[str, Any]
FEWEST_SCORES = 3


def milestone_standing(
    it: Oracle, own: Answer, steps: list[Reviewed], records: list[Row], periods: list[str]
) -> list[Answer]:
    """`own`: the rows of case_volume, complication_rate and supervision_mix."""
    framework = it.specialty.get("milestones")
    if not framework:
        return []
    rows = []
    for trainee in it.roster:
        for ref, item in framework["items"].items():
            recorded = _last_record(trainee, ref, records, periods)
            for level in framework["levels"]:
                met = [
                    _is_met(it, trainee, rule, own, steps) for rule in item.get("rules", {}).get(level, [])
                ]
                rows.append(
                    it._head(trainee)
                    | {"milestone_ref": ref, "level": level, "rules_total": len(met)}
                    | {"rules_met": met.count(True), "rules_unknown": met.count(None)}
                    | {"is_something_missing": any(answer is not True for answer in met)}
                    | recorded
                )
    return rows


def _is_met(it: Oracle, trainee: str, rule: Answer, own: Answer, steps: list[Reviewed]) -> bool | None:
    """None where it cannot be said."""
    if rule["measure"] == "counted_cases":
        counted = _rows(own["case_volume"], trainee, requirement_ref=rule["requirement"])
        return counted[0]["counted_cases"] >= rule["at_least"] if counted else None
    if rule["measure"] == "rate":
        where = {"complication_ref": rule["complication"], "attribution": rule["attribution"]}
        return _stays_below(_rows(own["complication_rate"], trainee, **where)[0], rule)
    if rule["measure"] == "supervision_share":
        return _share_is_enough(
            it, _rows(own["supervision_mix"], trainee, procedure_group=rule["group"]), rule
        )
    scores = [
        each.score
        for each in steps
        if (each.trainee, each.step) == (trainee, rule["step"])
        and not each.is_supervisors
        and each.score is not None
    ]
    return statistics.fmean(scores) >= rule["at_least"] if len(scores) >= FEWEST_SCORES else None


def _rows(rows: list[Answer], trainee: str, **where: str) -> list[Answer]:
    return [
        row
        for row in rows
        if row["trainee_ref"] == trainee and all(row[name] == value for name, value in where.items())
    ]


def _stays_below(rate: Answer, rule: Answer) -> bool | None:
    """The upper end must stay below; in the trainee's hands both ends must say the same."""
    if rate["rate"] is None:
        return None
    below = rate["rate_high"] <= rule["at_most"]
    if rule["attribution"] == "in_trainee_hands" and below != (rate["rate_low"] <= rule["at_most"]):
        return None
    return bool(below)


def _share_is_enough(it: Oracle, mix: list[Answer], rule: Answer) -> bool | None:
    known = [row for row in mix if row["level_ref"] is not None]
    if not known:
        return None
    named = list(it.specialty["supervision"]).index(rule["level"]) + 1
    at_level = sum(row["cases"] for row in known if row["level_rank"] >= named)
    return bool(at_level / sum(row["cases"] for row in known) >= rule["at_least"])


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
