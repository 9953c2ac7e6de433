"""The oracle's answers about a trainee beside the others: courses of measures, references, expected rates."""

from __future__ import annotations

import math
import statistics
from typing import Any

from scipy import stats

from tests.oracle import ATTRIBUTIONS, Oracle, wilson
from tests.oracle_rows import Row, month_of
from tests.oracle_technique import Reviewed, mean_interval
from tests.oracle_volume import last_training_month, last_training_quarter, programme_of

Answer = dict[str, Any]
FEWEST_OTHERS = 5
NAMES = ("amount", "base", "squares", "due", "unclear")


class Measures:
    """What each trainee contributes to each measure in each quarter: (amount, base, squares, due, unclear)."""

    def __init__(self, it: Oracle, mix: list[Answer], steps: list[Reviewed]) -> None:
        self.it = it
        self.parts: dict[str, list[tuple[str, int, tuple[int, ...]]]] = {trainee: [] for trainee in it.roster}
        for trainee in it.roster:
            self._outcomes(trainee)
        self._shares(mix)
        for each in steps:
            if each.score is not None and not each.is_supervisors:
                amounts = (each.score, 1, each.score**2, 0, 0)
                self.parts[each.trainee].append((f"score_mean:{each.step}", each.quarter, amounts))

    def _outcomes(self, trainee: str) -> None:
        for case in self.it.cases(trainee):
            quarter = self.it.training_quarter(trainee, month_of(case, "operated_on"))
            for ref, attribution, columns in outcomes_of(self.it, trainee, case):
                known = int("known" in columns)
                window = self.it.specialty["complications"][ref]["window_days"]
                due = int(window > 0 and "not_yet_due" not in columns)
                amounts = (int("events" in columns), known, 0, due, int("unclear" in columns))
                self.parts[trainee].append((f"rate:{ref}:{attribution}", quarter, amounts))

    def _shares(self, mix: list[Answer]) -> None:
        upper = upper_rank(self.it)
        for row in mix:
            if row["level_ref"] is not None and upper is not None:
                at_level = row["cases"] if row["level_rank"] >= upper else 0
                measure = f"supervision_share:{row['procedure_group']}"
                amounts = (at_level, row["cases"], 0, 0, 0)
                self.parts[row["trainee_ref"]].append((measure, row["training_quarter"], amounts))

    def through(self, trainee: str, last_quarter: float) -> dict[str, Answer]:
        """Measure → its sums through the end of a quarter."""
        sums: dict[str, Answer] = {}
        for measure, quarter, amounts in self.parts[trainee]:
            if quarter <= last_quarter:
                found = sums.setdefault(measure, dict.fromkeys(NAMES, 0))
                for name, amount in zip(NAMES, amounts, strict=True):
                    found[name] += amount
        return sums


def outcomes_of(it: Oracle, trainee: str, case: Row) -> list[tuple[str, str, list[str]]]:
    """Complication, attribution and the counts to which a case adds, where it enters the rate at all."""
    found = []
    for ref, complication in it.specialty["complications"].items():
        for attribution in ATTRIBUTIONS:
            window = complication["window_days"]
            if attribution == "in_trainee_hands" and window > 0:
                continue
            if it._enters_rate(trainee, case, complication["group"], attribution):
                found.append((ref, attribution, it._outcome(trainee, case, ref, window, attribution)))
    return found


def upper_rank(it: Oracle) -> int | None:
    """The second highest of the levels that agree with an operating role, or the only one."""
    roles = it.specialty["roles"]
    marked = [ref for ref, role in roles.items() if isinstance(role, dict) and role.get("operating")]
    operating = marked or ["surgeon"]
    ranks = [
        rank
        for rank, level in enumerate(it.specialty["supervision"].values(), start=1)
        if not level.get("roles") or any(role in level["roles"] for role in operating)
    ]
    return ranks[-2:][0] if ranks else None


def measure_course(it: Oracle, measures: Measures, courses: list[Answer]) -> list[Answer]:
    by_month: dict[tuple[str, int], list[Answer]] = {}
    for row in courses:
        by_month.setdefault((row["trainee_ref"], row["training_month"]), []).append(row)
    rows = []
    for trainee in it.roster:
        for quarter in range(1, last_training_quarter(it, trainee) + 1):
            head = it._head(trainee) | {"training_quarter": quarter}
            for measure, sums in measures.through(trainee, quarter).items():
                rows.append(head | {"measure": measure} | sums)
            for row in by_month[trainee, min(3 * quarter, last_training_month(it, trainee))]:
                amounts = dict.fromkeys(NAMES, 0) | {"amount": row["counted_cases"], "base": None}
                rows.append(head | {"measure": f"counted_cases:{row['requirement_ref']}"} | amounts)
    return rows


# Where each stands beside the others.


def cohort_comparison(it: Oracle, measures: Measures, own: Answer, courses: list[Answer]) -> list[Answer]:
    """`own`: the rows of case_volume, complication_rate; `courses`: those of measure_course."""
    by_quarter: dict[tuple[str, int, str], list[Answer]] = {}
    for row in courses:
        place = (row["programme_ref"], row["training_quarter"], row["measure"])
        by_quarter.setdefault(place, []).append(row)
    rows = []
    for trainee in it.roster:
        programme, quarter = programme_of(it, trainee), last_training_quarter(it, trainee)
        for measure, value in _own_values(it, trainee, measures, own).items():
            there = by_quarter.get((programme, quarter, measure), [])
            others = [row for row in there if row["trainee_ref"] != trainee]
            rows.append(it._head(trainee) | {"measure": measure} | value | _reference(measure, others))
    return rows


def _own_values(it: Oracle, trainee: str, measures: Measures, own: Answer) -> dict[str, Answer]:
    values: dict[str, Answer] = {}
    for row in own["case_volume"]:
        if row["trainee_ref"] == trainee:
            values[f"counted_cases:{row['requirement_ref']}"] = _value(float(row["counted_cases"]))
    for row in own["complication_rate"]:
        if row["trainee_ref"] == trainee:
            measure = f"rate:{row['complication_ref']}:{row['attribution']}"
            values[measure] = _value(row["rate"], row["rate_low"], row["rate_high"])
    everything = measures.through(trainee, math.inf)
    for group in it.specialty["procedure_groups"]:
        values[f"supervision_share:{group}"] = _share(everything.get(f"supervision_share:{group}"))
    for step in [step for steps in it.specialty.get("steps", {}).values() for step in steps]:
        values[f"score_mean:{step}"] = _mean(measures, trainee, f"score_mean:{step}")
    return values


def _value(value: float | None, low: float | None = None, high: float | None = None) -> Answer:
    return {"value": value, "value_low": low, "value_high": high}


def _share(sums: Answer | None) -> Answer:
    if sums is None or sums["base"] == 0:
        return _value(None)
    return _value(sums["amount"] / sums["base"], *wilson(sums["amount"], sums["base"]))


def _mean(measures: Measures, trainee: str, measure: str) -> Answer:
    scores = [amounts[0] for name, _, amounts in measures.parts[trainee] if name == measure]
    return _value(statistics.fmean(scores), *mean_interval(scores)) if scores else _value(None)


def _reference(measure: str, others: list[Answer]) -> Answer:
    if measure.startswith("counted_cases:"):
        return _quartiles([row["amount"] for row in others])
    known = len([row for row in others if row["base"] > 0])
    sums = {name: sum(row[name] for row in others) for name in NAMES}
    if known < FEWEST_OTHERS or sums["base"] == 0 or 2 * sums["base"] < sums["due"]:
        return _referred(known)
    middle = sums["amount"] / sums["base"]
    if measure.startswith("score_mean:"):
        return _referred(known, middle, *_mean_interval(sums))
    low = wilson(sums["amount"], sums["base"])[0]
    return _referred(known, middle, low, wilson(sums["amount"] + sums["unclear"], sums["base"])[1])


def _referred(
    people: int, middle: float | None = None, low: float | None = None, high: float | None = None
) -> Answer:
    return {"reference": middle, "reference_low": low, "reference_high": high, "reference_n": people}


def _quartiles(counts: list[int]) -> Answer:
    if len(counts) < FEWEST_OTHERS:
        return _referred(len(counts))
    low, middle, high = statistics.quantiles(counts, n=4, method="inclusive")
    return _referred(len(counts), middle, low, high)


def _mean_interval(sums: Answer) -> tuple[float | None, float | None]:
    """Student 1908, from the number of scores, their sum and the sum of their squares."""
    number, total = sums["base"], sums["amount"]
    if number < 3:
        return None, None
    variance = (sums["squares"] - total * total / number) / (number - 1)
    half = stats.t.ppf(0.975, number - 1) * math.sqrt(max(variance, 0.0) / number)
    return max(total / number - half, 1.0), min(total / number + half, 5.0)
