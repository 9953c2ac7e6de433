"""The oracle's answers about a trainee beside the others: courses of measures, references, expected rates."""

from __future__ import annotations

import math
import statistics
from typing import Any

from scipy import stats

from tests.oracle import ATTRIBUTIONS, Oracle, wilson
from tests.oracle_rows import Row, month_of
from tests.oracle_technique import Reviewed, in_log_order, mean_interval, operations
from tests.oracle_volume import last_training_month, last_training_quarter, programme_of

Answer = dict[str, Any]
FEWEST_OTHERS = 5
NAMES = ("amount", "base", "squares", "due", "unclear")


class Measures:
    """What each trainee contributes to each measure in each month: (amount, base, squares, due, unclear)."""

    def __init__(self, it: Oracle, steps: list[Reviewed]) -> None:
        self.it = it
        self.parts: dict[str, list[tuple[str, int, tuple[float, ...]]]] = {
            trainee: [] for trainee in it.roster
        }
        for trainee in it.roster:
            self._outcomes(trainee)
            self._shares(trainee)
        for each in operations(it, steps):
            amounts = (each.score, 1, each.score**2, 0, 0)
            self.parts[each.trainee].append((f"score_mean:{each.step}", each.month, amounts))

    def _outcomes(self, trainee: str) -> None:
        for case in self.it.cases(trainee):
            month = self.it.training_month(trainee, month_of(case, "operated_on"))
            for ref, attribution, columns in outcomes_of(self.it, trainee, case):
                known = int("known" in columns)
                window = self.it.specialty["complications"][ref]["window_days"]
                due = int(window > 0 and "not_yet_due" not in columns)
                amounts = (int("events" in columns), known, 0, due, int("unclear" in columns))
                self.parts[trainee].append((f"rate:{ref}:{attribution}", month, amounts))

    def _shares(self, trainee: str) -> None:
        upper = upper_rank(self.it)
        for case, level in supervised(self.it, trainee):
            if level is not None and upper is not None:
                measure = f"supervision_share:{self.it._group(case)}"
                month = self.it.training_month(trainee, month_of(case, "operated_on"))
                self.parts[trainee].append(
                    (measure, month, (int(rank_of(self.it, level) >= upper), 1, 0, 0, 0))
                )

    def through(self, trainee: str, last_month: float) -> dict[str, Answer]:
        """Measure → its sums through the end of a month of training."""
        sums: dict[str, Answer] = {}
        for measure, month, amounts in self.parts[trainee]:
            if month <= last_month:
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
            if it._enters_rate(trainee, case, complication, attribution):
                found.append((ref, attribution, it._outcome(trainee, case, ref, window, attribution)))
    return found


def supervised(it: Oracle, trainee: str) -> list[tuple[Row, str | None]]:
    """The cases in which the trainee operated, here and on a patient, in the order of the log, each with its level."""
    return [
        (case, it._level(case))
        for case in in_log_order(it, trainee)
        if it._group(case) and it._operates(case) and it._is_eligible(trainee, case)
    ]


def rank_of(it: Oracle, level: str) -> int:
    return list(it.specialty["supervision"]).index(level) + 1


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
            for measure, sums in measures.through(trainee, 3 * quarter).items():
                rows.append(head | {"measure": measure} | sums)
            for row in by_month[trainee, min(3 * quarter, last_training_month(it, trainee))]:
                amounts = dict.fromkeys(NAMES, 0) | {"amount": row["counted_cases"], "base": None}
                rows.append(head | {"measure": f"counted_cases:{row['requirement_ref']}"} | amounts)
    return rows


# Where each stands beside the others.


def cohort_comparison(
    it: Oracle, measures: Measures, own: Answer, courses: list[Answer], expected: list[Answer]
) -> list[Answer]:
    """`own`: the rows of case_volume, complication_rate; `courses`: those of volume_course; `expected`: of expected_rate."""
    by_month: dict[tuple[str, int, str], list[Answer]] = {}
    for row in courses:
        place = (row["programme_ref"], row["training_month"], f"counted_cases:{row['requirement_ref']}")
        by_month.setdefault(place, []).append(row)
    rows = []
    for trainee in it.roster:
        programme, month = programme_of(it, trainee), last_training_month(it, trainee)
        counts = {
            f"counted_cases:{row['requirement_ref']}": row["counted_cases"]
            for row in own["case_volume"]
            if row["trainee_ref"] == trainee
        }
        found: dict[str, Answer] = {}
        for measure, count in counts.items():
            there = by_month.get((programme, month, measure), [])
            mine = [row["counted_cases"] for row in there if row["trainee_ref"] == trainee]
            others = [row["counted_cases"] for row in there if row["trainee_ref"] != trainee]
            found[measure] = _value(float(mine[0] if mine else count)) | _quartiles(others)
        found |= _rates(trainee, own, expected)
        found |= _shares_and_means(it, measures, trainee)
        rows += [it._head(trainee) | {"measure": measure} | BLANK | row for measure, row in found.items()]
    return rows


BLANK = dict.fromkeys(
    ["value_base", "reference_base", "difference", "difference_low", "difference_high", "differs"]
)


def _rates(trainee: str, own: Answer, expected: list[Answer]) -> dict[str, Answer]:
    found = {}
    by_place = {(row["trainee_ref"], row["complication_ref"], row["attribution"]): row for row in expected}
    for row in own["complication_rate"]:
        if row["trainee_ref"] == trainee:
            other = by_place[trainee, row["complication_ref"], row["attribution"]]
            known = other["expected_known"] if other["expected"] is not None else None
            value = _value(row["rate"], row["rate_low"], row["rate_high"]) | {
                "value_base": row["known_outcomes"]
            }
            reference = _referred(
                other["expected_from_trainees"],
                other["expected"],
                other["expected_low"],
                other["expected_high"],
            )
            found[f"rate:{row['complication_ref']}:{row['attribution']}"] = (
                value | reference | {"reference_base": known}
            )
            if row["attribution"] != "as_logged":
                enough = row["events"] >= 3 and row["known_outcomes"] >= 10 and (known or 0) >= 10
                found[f"rate:{row['complication_ref']}:{row['attribution']}"] |= _newcombe(
                    value, reference, enough
                )
    return found


def _newcombe(value: Answer, reference: Answer, enough: bool) -> Answer:
    """Newcombe 1998, method 10: the distances to the ends of both intervals, squared and added."""
    if value["value"] is None or reference["reference"] is None:
        return {}
    difference = value["value"] - reference["reference"]
    low = difference - math.hypot(
        value["value"] - value["value_low"], reference["reference_high"] - reference["reference"]
    )
    high = difference + math.hypot(
        value["value_high"] - value["value"], reference["reference"] - reference["reference_low"]
    )
    return _difference(difference, low, high, enough)


def _difference(difference: float, low: float | None, high: float | None, enough: bool) -> Answer:
    differs = None
    if enough and low is not None and high is not None:
        differs = low > 0 or high < 0
    return {
        "difference": difference,
        "difference_low": low,
        "difference_high": high,
        "differs": differs,
    }


def _shares_and_means(it: Oracle, measures: Measures, trainee: str) -> dict[str, Answer]:
    month = last_training_month(it, trainee) if it.data_through(trainee) is not None else -1
    others = [
        measures.through(other, month)
        for other in it.roster
        if other != trainee
        and programme_of(it, other) == programme_of(it, trainee)
        and it.data_through(other) is not None
        and last_training_month(it, other) >= month >= 0
    ]
    own = measures.through(trainee, month)
    found = {}
    for group in it.specialty["procedure_groups"]:
        measure = f"supervision_share:{group}"
        mine, theirs = own.get(measure), [sums[measure] for sums in others if measure in sums]
        value = _share(mine)
        reference = _referred(len(theirs))
        if len(theirs) >= FEWEST_OTHERS:
            pooled = {name: sum(sums[name] for sums in theirs) for name in NAMES}
            reference = _referred(
                len(theirs), pooled["amount"] / pooled["base"], *wilson(pooled["amount"], pooled["base"])
            )
            reference |= {"reference_base": pooled["base"]}
            enough = value["value_base"] is not None and value["value_base"] >= 10 and pooled["base"] >= 10
            value |= _newcombe(value, reference, enough)
        found[measure] = value | reference
    for step in [step for steps in it.specialty.get("steps", {}).values() for step in steps]:
        measure = f"score_mean:{step}"
        scores = _scores(measures, trainee, measure, month)
        theirs = [
            _scores(measures, other, measure, month)
            for other in it.roster
            if other != trainee
            and programme_of(it, other) == programme_of(it, trainee)
            and it.data_through(other) is not None
            and last_training_month(it, other) >= month >= 0
        ]
        found[measure] = _means(scores, [each for each in theirs if each])
    return found


def _scores(measures: Measures, trainee: str, measure: str, last: int) -> list[float]:
    return [
        amounts[0] for name, month, amounts in measures.parts[trainee] if name == measure and month <= last
    ]


def _means(scores: list[float], theirs: list[list[float]]) -> Answer:
    value = _value(statistics.fmean(scores), *mean_interval(scores)) if scores else _value(None)
    value["value_base"] = len(scores) or None
    if len(theirs) < FEWEST_OTHERS:
        return value | _referred(len(theirs))
    pooled = [score for each in theirs for score in each]
    found = value | _referred(len(theirs), statistics.fmean(pooled), *mean_interval(pooled))
    found["reference_base"] = len(pooled)
    if not scores:
        return found
    return found | _welch(scores, pooled)


def _welch(scores: list[float], pooled: list[float]) -> Answer:
    """Welch 1947, the degrees of freedom rounded down; nothing where both are all alike."""
    difference = statistics.fmean(scores) - statistics.fmean(pooled)
    if min(len(scores), len(pooled)) < 3:
        return _difference(difference, None, None, enough=False)
    own, other = (statistics.variance(each) / len(each) for each in (scores, pooled))
    own, other = (0 if part < 1e-12 else part for part in (own, other))
    if own + other == 0:
        return _difference(difference, None, None, enough=False)
    degrees = (own + other) ** 2 / (own**2 / (len(scores) - 1) + other**2 / (len(pooled) - 1))
    half = stats.t.ppf(0.975, min(math.floor(degrees + 1e-9), 1000)) * math.sqrt(own + other)
    enough = min(len(scores), len(pooled)) >= 5 and own > 0 and other > 0
    return _difference(difference, difference - half, difference + half, enough)


def _value(value: float | None, low: float | None = None, high: float | None = None) -> Answer:
    return {"value": value, "value_low": low, "value_high": high}


def _share(sums: Answer | None) -> Answer:
    if sums is None or sums["base"] == 0:
        return _value(None) | {"value_base": None}
    value = _value(sums["amount"] / sums["base"], *wilson(sums["amount"], sums["base"]))
    return value | {"value_base": sums["base"]}


def _referred(
    people: int, middle: float | None = None, low: float | None = None, high: float | None = None
) -> Answer:
    shown = people >= FEWEST_OTHERS
    return {
        "reference": middle if shown else None,
        "reference_low": low if shown else None,
        "reference_high": high if shown else None,
        "reference_n": people,
    }


def _quartiles(counts: list[int]) -> Answer:
    if len(counts) < FEWEST_OTHERS:
        return _referred(len(counts))
    low, middle, high = statistics.quantiles(counts, n=4, method="inclusive")
    return _referred(len(counts), middle, low, high)
