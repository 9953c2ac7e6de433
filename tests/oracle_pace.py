"""The oracle's answers about pace: what became of earlier trainees, forecasts, their back-test, rotations.

Plain loops like tests/oracle.py, and nothing of the project imported. The clock is a fraction; quantiles are the standard
library's: `inclusive` is type 7 of Hyndman and Fan 1996, `exclusive` type 6.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Iterable
from fractions import Fraction
from typing import Any

from tests.oracle import Oracle, wilson
from tests.oracle_log import is_current
from tests.oracle_rows import Row, cell, month_number, month_of, month_text
from tests.oracle_volume import _is_over, class_of, last_month, of_completed_classes, programme_of

Answer = dict[str, Any]
MONTHS = (6, 12, 18, 24, 30)
METHODS = ("own count and increments", "share of the final count")
FEWEST_FOR_A_RANGE = 9


class Pace:
    """Counts of every trainee on the clock. `volumes` are the rows of case_volume, `credited` the cases that count."""

    def __init__(
        self, it: Oracle, volumes: list[Answer], credited: dict[tuple[str, str], list[Row]], as_of: str
    ) -> None:
        self.it, self.volumes, self.as_of, self.credited = it, volumes, as_of, credited
        self.minimum = {(row["trainee_ref"], row["requirement_ref"]): row["minimum"] for row in volumes}
        self.completed = [ref for ref in of_completed_classes(it, as_of) if last_month(it, ref)]
        self.came = {
            place: [it.active_month(place[0], month) for month in self.credited_months(*place)]
            for place in credited
        }
        self.ends = {
            ref: it.active_month(ref, last) for ref in it.roster if (last := last_month(it, ref)) is not None
        }

    def credited_months(self, trainee: str, requirement: str) -> list[str]:
        """The month of each case that counts, through the end of data or training."""
        last = last_month(self.it, trainee) or ""
        months = [month_of(case, "operated_on") for case in self.credited.get((trainee, requirement), [])]
        return [month for month in months if month <= last]

    def count(self, trainee: str, requirement: str, month: Fraction | float) -> int:
        return len([at for at in self.came.get((trainee, requirement), []) if at <= month])

    def left(self, trainee: str, deadline: str | None = None) -> Fraction:
        """Active months after the data through the expected completion, or the month through which cases count."""
        row, last = self.it.roster[trainee], last_month(self.it, trainee)
        if last is None or _is_over(row, "completed", self.as_of) or _is_over(row, "left", self.as_of):
            return Fraction(0)
        end = min([month_of(row, "expected_completion"), *([deadline] if deadline else [])])
        ahead = range(month_number(last) + 1, month_number(end) + 1)
        return sum((self.it.counts_as(trainee, month_text(number)) for number in ahead), Fraction(0))

    def earlier(
        self, trainee: str, requirement: str, month: Fraction, without: Iterable[str] = ()
    ) -> list[str]:
        return [
            other
            for other in self.completed
            if programme_of(self.it, other) == programme_of(self.it, trainee)
            and (other, requirement) in self.minimum
            and other not in without
            and self.ends[other] >= month
        ]

    def finals(
        self, method: str, trainee: str, requirement: str, at: tuple[Fraction, Fraction], others: list[str]
    ) -> list[Fraction]:
        """What the final count would be, by each earlier trainee who says something of it."""
        month, left = at
        own = self.count(trainee, requirement, month)
        then = [self.count(other, requirement, month) for other in others]
        later = [self.count(other, requirement, month + left) for other in others]
        if method == METHODS[1] and own > 0 and any(then):
            pairs = zip(then, later, strict=True)
            return [Fraction(own * after, before) for before, after in pairs if before]
        return [Fraction(own + after - before) for before, after in zip(then, later, strict=True)]

    def share(self, trainee: str, requirement: str, month: Fraction, others: list[str]) -> tuple[int, int]:
        """Of the earlier trainees with at most as many by then: how many, and how many reached the minimum."""
        own, minimum = self.count(trainee, requirement, month), self.minimum[trainee, requirement]
        like = [other for other in others if self.count(other, requirement, month) <= own]
        return len(like), len([each for each in like if self.count(each, requirement, math.inf) >= minimum])


def range_of(finals: list[Fraction]) -> tuple[int | None, int | None, int | None]:
    if not finals:
        return None, None, None
    middle = math.floor(statistics.median(finals) + Fraction(1, 2))
    if len(finals) < FEWEST_FOR_A_RANGE:
        return None, middle, None
    cuts = statistics.quantiles(finals, n=10, method="exclusive")
    return math.floor(cuts[0]), middle, math.ceil(cuts[8])


def probability(reached: int, people: int) -> float:
    """Half a person more on either side."""
    return (reached + 0.5) / (people + 1)


# ---- the back-test


def pace_backtest(pace: Pace) -> list[Answer]:
    rows = []
    places = sorted(
        {(row["programme_ref"], row["requirement_ref"]) for row in pace.volumes if row["data_through"]}
    )
    for programme, requirement in places:
        tried = {
            method: [_tried(pace, programme, requirement, m, method) for m in MONTHS] for method in METHODS
        }
        totals = {method: sum(each["squares"] for each in trials) for method, trials in tried.items()}
        best = METHODS[1] if totals[METHODS[1]] < totals[METHODS[0]] - 1e-9 else METHODS[0]
        trials = tried[best]
        shown = _is_shown(trials)
        head = {"programme_ref": programme, "requirement_ref": requirement, "method": best}
        for month, trial in zip(MONTHS, trials, strict=True):
            rows.append(head | {"active_month": month, **_published(trial), **shown})
    return rows


def _tried(pace: Pace, programme: str, requirement: str, months: int, method: str) -> Answer:
    trial: Answer = dict.fromkeys(("people", "ranges", "covered", "open", "squares", "share", "line"), 0)
    month = Fraction(months)
    for trainee in pace.completed:
        place = (trainee, requirement)
        if (
            programme_of(pace.it, trainee) != programme
            or place not in pace.minimum
            or pace.ends[trainee] < month
        ):
            continue
        classmates = [
            other for other in pace.completed if class_of(pace.it, other) == class_of(pace.it, trainee)
        ]
        others = pace.earlier(trainee, requirement, month, without=classmates)
        if others:
            _add(pace, trial, place, month, method, others)
    return trial


def _add(
    pace: Pace, trial: Answer, place: tuple[str, str], month: Fraction, method: str, others: list[str]
) -> None:
    trainee, requirement = place
    left = pace.ends[trainee] - month
    finals = pace.finals(method, trainee, requirement, (month, left), others)
    low, _, high = range_of(finals)
    final, minimum = pace.count(trainee, requirement, math.inf), pace.minimum[place]
    own = pace.count(trainee, requirement, month)
    trial["people"] += 1
    if low is not None and high is not None:
        trial["ranges"] += 1
        trial["covered"] += int(low <= final <= high)
    if own < minimum:
        met = int(final >= minimum)
        people, reached = pace.share(trainee, requirement, month, others)
        line = int(Fraction(own) / month * (month + left) >= minimum)
        trial["open"] += 1
        forecast = probability(len([each for each in finals if each >= minimum]), len(finals))
        trial["squares"] += (forecast - met) ** 2
        trial["share"] += (probability(reached, people) - met) ** 2
        trial["line"] += (line - met) ** 2


def _published(trial: Answer) -> Answer:
    def by(amount: str, base: str) -> float | None:
        return trial[amount] / trial[base] if trial[base] else None

    return {
        "people": trial["people"],
        "coverage": by("covered", "ranges"),
        "brier": by("squares", "open"),
        "brier_share": by("share", "open"),
        "brier_line": by("line", "open"),
        "people_with_range": trial["ranges"],
        "open_people": trial["open"],
    }


def _is_shown(trials: list[Answer]) -> Answer:
    sums = {name: sum(trial[name] for trial in trials) for name in trials[0]}
    tested = sums["people"] > 0
    covers = sums["ranges"] == 0 or sums["covered"] / sums["ranges"] >= 0.7
    worse = sums["open"] > 0 and (sums["squares"] - sums["share"]) / sums["open"] > 0.01
    return {"forecast_is_shown": tested and covers and not worse, "range_is_tried": sums["ranges"] > 0}


# ---- where each stands


def pace_rows(pace: Pace, tests: list[Answer]) -> list[Answer]:
    tried = {(row["programme_ref"], row["requirement_ref"]): row for row in tests}
    return [_pace_row(pace, row, tried) for row in pace.volumes]


BLANK = (
    "expected_low expected_median expected_high final_low final_median final_high probability_met needed_a_month"
    " recent_a_month earlier_a_month expected_p10 expected_p90 earlier_people like_people like_met like_low like_high"
)


def _pace_row(pace: Pace, row: Answer, tried: dict[tuple[str, str], Answer]) -> Answer:
    trainee, requirement = row["trainee_ref"], row["requirement_ref"]
    person = pace.it.roster[trainee]
    over = _is_over(person, "completed", pace.as_of) or _is_over(person, "left", pace.as_of)
    ends = pace.ends.get(trainee)
    answer = row | dict.fromkeys(BLANK.split()) | {
        "count": pace.count(trainee, requirement, math.inf) if ends is not None else row["counted_cases"],
        "active_month": None if ends is None else float(ends),
        "months_left": None if ends is None else float(pace.left(trainee, row["deadline"])),
        "is_reason_given": True,
    }  # fmt: skip
    if over or ends is None or not is_current(pace.it, trainee, pace.as_of):
        return answer
    answer |= _own_pace(pace, trainee, requirement, row)
    others = pace.earlier(trainee, requirement, ends)
    if not others:
        return answer | {"earlier_people": 0, "like_people": 0, "like_met": 0}
    answer |= _stood(pace, requirement, ends, others, pace.left(trainee))
    people, reached = pace.share(trainee, requirement, ends, others)
    low, high = wilson(reached, people) if people else (None, None)
    answer |= {"like_people": people, "like_met": reached, "like_low": low, "like_high": high}
    of_test = tried[row["programme_ref"], requirement]
    if not of_test["forecast_is_shown"]:
        return answer
    finals = pace.finals(of_test["method"], trainee, requirement, (ends, pace.left(trainee)), others)
    low_final, median, high_final = range_of(finals)
    if of_test["range_is_tried"]:
        answer |= {"final_low": low_final, "final_high": high_final}
    chance = probability(len([each for each in finals if each >= row["minimum"]]), len(finals))
    met = answer["count"] >= row["minimum"]
    return answer | {
        "final_median": median,
        "probability_met": 1.0 if met else chance,
        "is_reason_given": False,
    }


def _own_pace(pace: Pace, trainee: str, requirement: str, row: Answer) -> Answer:
    ends, left = pace.ends[trainee], pace.left(trainee, row["deadline"])
    recent = [at for at in pace.came.get((trainee, requirement), []) if at > ends - 6]
    numbers = range(pace.it.first_month(trainee), month_number(last_month(pace.it, trainee) or "") + 1)
    months = [month_text(number) for number in numbers]
    length = sum(
        pace.it.counts_as(trainee, month)
        for month in months
        if pace.it.active_month(trainee, month) > ends - 6
    )
    needed = max(row["minimum"] - pace.count(trainee, requirement, math.inf), 0)
    return {
        "recent_a_month": float(len(recent) / length) if length else None,
        "needed_a_month": float(needed / left) if left else None,
    }


def _stood(pace: Pace, requirement: str, month: Fraction, others: list[str], left: Fraction) -> Answer:
    counts = [pace.count(other, requirement, month) for other in others]
    answer: Answer = {"earlier_people": len(others)}
    if len(others) >= 10:
        low, middle, high = statistics.quantiles(counts, n=4, method="inclusive")
        for name, value in (("expected_low", low), ("expected_median", middle), ("expected_high", high)):
            answer[name] = math.floor(value + 0.5)
        did = [
            pace.count(other, requirement, month + left) - count
            for other, count in zip(others, counts, strict=True)
        ]
        answer["earlier_a_month"] = float(statistics.median(did) / left) if left else None
    if len(others) >= 20:
        tenths = statistics.quantiles(counts, n=10, method="inclusive")
        answer |= {"expected_p10": math.floor(tenths[0] + 0.5), "expected_p90": math.floor(tenths[8] + 0.5)}
    return answer


# ---- rotations


def rotation_yield(pace: Pace) -> list[Answer]:
    it = pace.it
    assigned = {ref: _assigned(pace, ref) for ref in it.roster}
    rows = []
    for row in pace.volumes:
        trainee, requirement = row["trainee_ref"], row["requirement_ref"]
        person = it.roster[trainee]
        if _is_over(person, "completed", pace.as_of) or _is_over(person, "left", pace.as_of):
            continue
        programme = programme_of(it, trainee)
        names = {
            name for ref, months in assigned.items() if programme_of(it, ref) == programme for name in months
        }
        earlier = [
            ref
            for ref in pace.completed
            if programme_of(it, ref) == programme and assigned[ref] and (ref, requirement) in pace.minimum
        ]
        for name in sorted(names):
            yielded = _yield(pace, requirement, name, earlier, assigned)
            rows.append(
                row | {"rotation": name} | yielded | _own_rotation(pace, trainee, name, assigned[trainee])
            )
    return rows


def _assigned(pace: Pace, trainee: str) -> dict[str, set[str]]:
    """Rotation → its months of training, those that are planned among them; an open end ends with the data."""
    it, last = pace.it, last_month(pace.it, trainee)
    found: dict[str, set[str]] = {}
    if last is None:
        return found
    plan = month_of(it.roster[trainee], "expected_completion")
    for period in it._periods(trainee, "rotation"):
        first, ends = month_number(month_of(period, "from")), month_number(cell(period, "to") or last)
        for number in range(max(first, it.first_month(trainee)), ends + 1):
            month = month_text(number)
            if month <= max(last, plan):
                found.setdefault((cell(period, "value") or "").lower(), set()).add(month)
    return found


def _yield(
    pace: Pace, requirement: str, name: str, earlier: list[str], assigned: dict[str, dict[str, set[str]]]
) -> Answer:
    inside, outside, cases_inside, cases_outside = Fraction(0), Fraction(0), 0, 0
    for ref in earlier:
        last = last_month(pace.it, ref) or ""
        months = {month for month in assigned[ref].get(name, set()) if month <= last}
        length = sum((pace.it.counts_as(ref, month) for month in months), Fraction(0))
        inside += length
        outside += pace.ends[ref] - length
        cases = pace.credited_months(ref, requirement)
        cases_inside += len([month for month in cases if month in months])
        cases_outside += len([month for month in cases if month not in months])
    return {
        "a_month_inside": float(cases_inside / inside) if inside else None,
        "a_month_outside": float(cases_outside / outside) if outside else None,
        "cases_inside": cases_inside,
        "months_inside": float(inside),
        "people": len(earlier),
    }


def _own_rotation(pace: Pace, trainee: str, name: str, months: dict[str, set[str]]) -> Answer:
    it, last = pace.it, last_month(pace.it, trainee)
    if last is None:
        blank = dict.fromkeys(("months_to_come", "rotations_to_come", "months_not_entered"))
        return {"months_had": 0.0, "rotations_had": 0, "rotations_running": 0} | blank

    def length(which: Iterable[str]) -> float:
        return float(sum((it.counts_as(trainee, month) for month in which), Fraction(0)))

    planned = length({month for each in months.values() for month in each if month > last})
    own = months.get(name, set())
    periods = [
        (month_of(period, "from"), cell(period, "to") or "9999-12")
        for period in it._periods(trainee, "rotation")
        if (cell(period, "value") or "").lower() == name
    ]
    return {
        "months_had": length(month for month in own if month <= last),
        "months_to_come": length(month for month in own if month > last) if planned else None,
        "rotations_had": len([ends for _, ends in periods if ends <= last]),
        "rotations_running": len([ends for first, ends in periods if first <= last < ends]),
        "rotations_to_come": len([first for first, _ in periods if first > last]) if planned else None,
        "months_not_entered": float(pace.left(trainee)) - planned,
    }
