"""What became of earlier trainees who stood where somebody stands now, as a forecast: what SQL cannot say of pace.

Earlier trainees are those who completed, of classes in which nobody is in training any more. All counts are taken on the
clock of active months. Quantiles: Hyndman and Fan 1996, Am Stat 50:361, type 7 for where people stood, type 6 for the range
of a forecast (between the lowest and the highest of nine lie 80 % of new ones); Brier 1950, Mon Weather Rev 78:1.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

TRIED_AT = (6, 12, 18, 24, 30)
# Below so many earlier people a range of 80 % has no end.
FEWEST_FOR_A_RANGE = 9
RANGE = (0.1, 0.5, 0.9)
STOOD = {"p10": 0.1, "p25": 0.25, "p50": 0.5, "p75": 0.75, "p90": 0.9}
# The prior of every share of people: as if half a person more had reached it, and half a person had not (Jeffreys).
PRIOR = 0.5
# A month is a decimal of a millionth, so that equal clocks are equal numbers.
A_MILLION = 1_000_000

Numbers = np.ndarray


@dataclass(frozen=True)
class Course:
    """When people's cases toward some requirements came, on the clock, and where training ended or ends.

    `person`, `requirement`, `at` and `cases` are rows of equal length, `ends` one number a person; months in millionths.
    """

    person: Numbers
    requirement: Numbers
    at: Numbers
    cases: Numbers
    ends: Numbers
    requirements: int

    def through(self, month: float) -> Numbers:
        """Everybody's counts through that active month: person by requirement."""
        inside = self.at <= month
        shape = (len(self.ends), self.requirements)
        cells = self.person[inside] * self.requirements + self.requirement[inside]
        return np.bincount(cells, weights=self.cases[inside], minlength=shape[0] * shape[1]).reshape(shape)


@dataclass(frozen=True)
class Place:
    """Where people stand: their counts (person by requirement), their one active month, and what is left of training."""

    counts: Numbers
    month: int
    left: int


@dataclass(frozen=True)
class Earlier:
    """Earlier trainees at the same active month: their counts then, at the end of the same time left, and in the end."""

    then: Numbers
    later: Numbers
    final: Numbers

    @property
    def people(self) -> int:
        return len(self.then)


def earlier_at(course: Course, chosen: Numbers, place: Place) -> Earlier:
    """Those of `chosen` whose training reached the month."""
    reached = chosen & (course.ends >= place.month)
    then, later = course.through(place.month), course.through(place.month + place.left)
    return Earlier(then[reached], later[reached], course.through(np.inf)[reached])


def own_count_and_increments(earlier: Earlier, counts: Numbers) -> Numbers:
    """What each own count would be with what each earlier trainee did after that month: own, earlier, requirement."""
    finals: Numbers = counts[:, None, :] + (earlier.later - earlier.then)[None]
    return finals


def share_of_the_final_count(earlier: Earlier, counts: Numbers) -> Numbers:
    """What each own count would be if it grew by the factor by which each earlier trainee's did; nan: they say nothing.

    Where nobody had a case then, or oneself has none, no factor says anything: what earlier trainees did is added.
    """
    had = earlier.then > 0
    factors = np.divide(earlier.later, earlier.then, out=np.full(earlier.then.shape, np.nan), where=had)
    grows = (counts > 0) & had.any(axis=0)
    return np.where(
        grows[:, None, :], counts[:, None, :] * factors[None], own_count_and_increments(earlier, counts)
    )


Method = Callable[[Earlier, Numbers], Numbers]
METHODS: dict[str, Method] = {
    "own count and increments": own_count_and_increments,
    "share of the final count": share_of_the_final_count,
}


def final_range(finals: Numbers) -> tuple[Numbers, Numbers, Numbers]:
    """The ends of the 80 % range and the median of forecasts, in whole cases, outward; nan where there is none.

    `finals` is own by earlier by requirement; there is no range below nine earlier people.
    """
    ordered, number = np.sort(finals, axis=1), np.sum(~np.isnan(finals), axis=1)
    low, median, high = (_quantile(ordered, number, share) for share in RANGE)
    few = number < FEWEST_FOR_A_RANGE
    return (
        np.where(few, np.nan, np.floor(low + 1e-9)),
        np.floor(median + 0.5),
        np.where(few, np.nan, np.ceil(high - 1e-9)),
    )


def _quantile(ordered: Numbers, number: Numbers, share: float) -> Numbers:
    """Type 6 of the first so many of each ordered row: the place share x (n + 1), between the two nearest."""
    if not ordered.shape[1]:
        return np.full(number.shape, np.nan)
    place = np.clip(share * (number + 1), 1, np.maximum(number, 1))
    below = np.floor(place).astype(int)
    above = np.minimum(below + 1, np.maximum(number, 1))
    first, second = (
        np.take_along_axis(ordered, each[:, None, :] - 1, axis=1)[:, 0] for each in (below, above)
    )
    return np.asarray(first + (place - below) * (second - first))


def chance(reached: Any, people: Any) -> Any:
    """The share of people who reached it, with the stated prior: one half where there is nobody."""
    return (reached + PRIOR) / (people + 2 * PRIOR)


# ---- the requirements of one programme that are in force for the same people

COUNTS = ("people", "ranges", "covered", "open_people")
SQUARES = ("squares", "squares_share", "squares_line")
# The sums of a back-test at one month, each with one number a requirement.
Trial = dict[str, Numbers]


@dataclass(frozen=True)
class Asked:
    """The minimums, the course of everybody for whom they are in force, who completed, and their classes."""

    minimums: Numbers
    course: Course
    completed: Numbers
    classes: Numbers


def back_test(asked: Asked, method: Method) -> list[Trial]:
    """Each completed class forecast by the others, at each month of TRIED_AT.

    A forecast that the minimum will be reached is only judged of those who have not reached it by then.
    """
    trials = []
    for months in TRIED_AT:
        trial = {name: np.zeros(len(asked.minimums)) for name in (*COUNTS, *SQUARES)}
        for this in np.unique(asked.classes[asked.completed]):
            _try_class(trial, asked, asked.classes == this, months * A_MILLION, method)
        trials.append(trial)
    return trials


def _try_class(trial: Trial, asked: Asked, of_class: Numbers, month: int, method: Method) -> None:
    course, completed = asked.course, asked.completed
    tested = completed & of_class & (course.ends >= month)
    for end in np.unique(course.ends[tested]):
        these = tested & (course.ends == end)
        place = Place(course.through(month)[these], month, int(end) - month)
        earlier = earlier_at(course, completed & ~of_class, place)
        if earlier.people:
            final = course.through(np.inf)[these]
            _judge(trial, earlier, place, asked.minimums, method(earlier, place.counts), final)


def _judge(
    trial: Trial, earlier: Earlier, place: Place, minimums: Numbers, finals: Numbers, final: Numbers
) -> None:
    low, _, high = final_range(finals)
    ranged, is_open, met = ~np.isnan(low), place.counts < minimums, final >= minimums
    line = place.counts * (place.month + place.left) >= minimums * place.month
    said = {
        "squares": probability(finals, minimums),
        "squares_share": chance(*_like(earlier, place.counts, minimums)[::-1]),
        "squares_line": line.astype(float),
    }
    trial["people"] += len(final)
    trial["ranges"] += ranged.sum(axis=0)
    trial["covered"] += (ranged & (low <= final) & (final <= high)).sum(axis=0)
    trial["open_people"] += is_open.sum(axis=0)
    for name, answer in said.items():
        trial[name] += (np.where(is_open, answer - met, 0) ** 2).sum(axis=0)


def probability(finals: Numbers, minimums: Numbers) -> Numbers:
    """The chance that the minimum is reached: own by requirement."""
    return np.asarray(chance((finals >= minimums).sum(axis=1), np.sum(~np.isnan(finals), axis=1)))


def _like(earlier: Earlier, counts: Numbers, minimums: Numbers) -> tuple[Numbers, Numbers]:
    """Earlier trainees with at most as many by then, and those of them who reached the minimum: own by requirement."""
    like = earlier.then[None] <= counts[:, None, :]
    return like.sum(axis=1), (like & (earlier.final >= minimums)[None]).sum(axis=1)


def best_methods(asked: Asked) -> tuple[list[str], list[Trial]]:
    """For each requirement the method with the smaller Brier score over all months; of equal ones the first."""
    tried = {name: back_test(asked, method) for name, method in METHODS.items()}
    scores = [np.round(sum(trial["squares"] for trial in trials), 9) for trials in tried.values()]
    best = np.argmin(np.array(scores), axis=0)
    chosen = [
        {
            name: np.choose(best, [trials[place][name] for trials in tried.values()])
            for name in (*COUNTS, *SQUARES)
        }
        for place in range(len(TRIED_AT))
    ]
    return [list(METHODS)[place] for place in best], chosen


def forecast_columns(asked: Asked, place: Place, methods: list[str]) -> dict[str, Numbers]:
    """Column → own by requirement, for people who stand at `place`; nan where nothing is said."""
    earlier = earlier_at(asked.course, asked.completed, place)
    shape = place.counts.shape
    like_people, like_met = _like(earlier, place.counts, asked.minimums)
    columns = {
        "earlier_people": np.full(shape, earlier.people),
        "like_people": like_people,
        "like_met": like_met,
    }
    if not earlier.people:
        names = (*STOOD, "earlier_a_month", "final_low", "final_median", "final_high", "probability")
        return columns | {name: np.full(shape, np.nan) for name in names}
    for name, share in STOOD.items():
        columns[name] = np.broadcast_to(np.quantile(earlier.then, share, axis=0), shape)
    did = np.median(earlier.later - earlier.then, axis=0) * A_MILLION
    columns["earlier_a_month"] = np.broadcast_to(did / place.left if place.left else np.nan, shape)
    is_first = np.array([method == next(iter(METHODS)) for method in methods])
    finals = np.where(is_first, *(method(earlier, place.counts) for method in METHODS.values()))
    columns["final_low"], columns["final_median"], columns["final_high"] = final_range(finals)
    return columns | {"probability": probability(finals, asked.minimums)}
