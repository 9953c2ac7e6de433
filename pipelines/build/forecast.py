"""What became of earlier trainees who stood where somebody stands now, as a forecast: what SQL cannot say of pace.

Reads `trainee`, `trainee_clock`, `case_volume` and `credited_month`; the views of pace join what it makes:

- `pace_trial`: one row a programme, requirement and active month of the back-test, with the counts behind its figures
- `pace_forecast`: one row a trainee in training whose data are current, and a requirement

Earlier trainees are those who completed, of classes in which nobody is in training any more. All counts are taken on the
clock of active months. Quantiles: Hyndman and Fan 1996, Am Stat 50:361, type 7 for where people stood, type 6 for the range
of a forecast (between the lowest and the highest of nine lie 80 % of new ones); Brier 1950, Mon Weather Rev 78:1.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import groupby
from typing import Any

import duckdb
import numpy as np
import pyarrow as pa

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
FORECAST = pa.schema(
    [("programme_ref", pa.string()), ("trainee_ref", pa.string()), ("requirement_ref", pa.string())]
    + [(name, pa.int64()) for name in ("earlier_people", "like_people", "like_met")]
    + [(name, pa.float64()) for name in STOOD]
    + [("earlier_a_month", pa.float64()), ("method", pa.string())]
    + [(name, pa.int64()) for name in ("final_low", "final_median", "final_high")]
    + [("probability", pa.float64())]
)
TRIAL = pa.schema(
    [("programme_ref", pa.string()), ("requirement_ref", pa.string()), ("active_month", pa.int32())]
    + [("method", pa.string())]
    + [(name, pa.int64()) for name in ("people", "ranges", "covered", "open_people")]
    + [(name, pa.float64()) for name in ("squares", "squares_share", "squares_line")]
)


@dataclass(frozen=True)
class Course:
    """One requirement of some people: when their cases came, on the clock, and where training ended or ends.

    `person`, `at` and `cases` are rows of equal length, `ends` one number a person; months in millionths.
    """

    person: Numbers
    at: Numbers
    cases: Numbers
    ends: Numbers

    def through(self, month: float) -> Numbers:
        """Everybody's count through that active month."""
        inside = self.at <= month
        return np.bincount(self.person[inside], weights=self.cases[inside], minlength=len(self.ends))


@dataclass(frozen=True)
class Place:
    """Where people stand: their counts, the active month at which all of them do, and what is left of training."""

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


def own_count_and_increments(earlier: Earlier, counts: Numbers) -> list[Numbers]:
    """For each own count, what it would be with what each earlier trainee did after that month."""
    increments = np.sort(earlier.later - earlier.then)
    return [count + increments for count in counts]


def share_of_the_final_count(earlier: Earlier, counts: Numbers) -> list[Numbers]:
    """For each own count, what it would be if it grew by the factor by which each earlier trainee's did.

    Where nobody had a case then, or oneself has none, a factor says nothing: what earlier trainees did is added.
    """
    had = earlier.then > 0
    factors = np.sort(earlier.later[had] / earlier.then[had])
    added = own_count_and_increments(earlier, counts)
    return [
        count * factors if count > 0 and len(factors) else plus
        for count, plus in zip(counts, added, strict=True)
    ]


Method = Callable[[Earlier, Numbers], list[Numbers]]
METHODS: dict[str, Method] = {
    "own count and increments": own_count_and_increments,
    "share of the final count": share_of_the_final_count,
}


def final_range(finals: Numbers) -> tuple[int | None, int | None, int | None]:
    """The 80 % range and the median of a forecast, in whole cases, outward; no range below nine people."""
    if not len(finals):
        return None, None, None
    low, median, high = np.quantile(finals, RANGE, method="weibull")
    whole = int(np.floor(median + 0.5))
    if len(finals) < FEWEST_FOR_A_RANGE:
        return None, whole, None
    return int(np.floor(low + 1e-9)), whole, int(np.ceil(high - 1e-9))


def chance(reached: Any, people: int) -> float:
    """The share of people who reached it, with the stated prior: one half where there is nobody."""
    return float((reached + PRIOR) / (people + 2 * PRIOR))


# ---- one requirement of one programme


@dataclass
class Trial:
    """The back-test of one method at one month, added up over classes."""

    people: int = 0
    ranges: int = 0
    covered: int = 0
    open_people: int = 0
    squares: float = 0.0
    squares_share: float = 0.0
    squares_line: float = 0.0


@dataclass(frozen=True)
class Asked:
    """One requirement: its minimum, the course of everybody for whom it is in force, who completed, and their classes."""

    minimum: int
    course: Course
    completed: Numbers
    classes: Numbers


def back_test(asked: Asked, method: Method) -> list[Trial]:
    """Each completed class forecast by the others, at each month of TRIED_AT.

    A forecast that the minimum will be reached is only judged of those who have not reached it by then.
    """
    trials = []
    for months in TRIED_AT:
        trial = Trial()
        for this in np.unique(asked.classes[asked.completed]):
            _try_class(trial, asked, asked.classes == this, months * A_MILLION, method)
        trials.append(trial)
    return trials


def _try_class(trial: Trial, asked: Asked, of_class: Numbers, month: int, method: Method) -> None:
    course, completed = asked.course, asked.completed
    tested = completed & of_class & (course.ends >= month)
    final = course.through(np.inf)
    for end in np.unique(course.ends[tested]):
        these = tested & (course.ends == end)
        place = Place(course.through(month)[these], month, int(end) - month)
        earlier = earlier_at(course, completed & ~of_class, place)
        if earlier.people:
            _judge(trial, earlier, place, asked.minimum, method(earlier, place.counts), final[these])


def _judge(
    trial: Trial, earlier: Earlier, place: Place, minimum: int, forecasts: list[Numbers], final: Numbers
) -> None:
    for count, finals, actual in zip(place.counts, forecasts, final, strict=True):
        low, _, high = final_range(finals)
        trial.people += 1
        if low is not None and high is not None:
            trial.ranges += 1
            trial.covered += int(low <= actual <= high)
        if count < minimum:
            outcome = float(actual >= minimum)
            like = earlier.then <= count
            line = count * (place.month + place.left) >= minimum * place.month
            trial.open_people += 1
            trial.squares += (chance(np.sum(finals >= minimum), len(finals)) - outcome) ** 2
            trial.squares_share += (
                chance(np.sum(earlier.final[like] >= minimum), int(like.sum())) - outcome
            ) ** 2
            trial.squares_line += (float(line) - outcome) ** 2


def best_method(asked: Asked) -> tuple[str, list[Trial]]:
    """The method with the smaller Brier score over all months of the back-test; of equal ones the first."""
    tried = {name: back_test(asked, method) for name, method in METHODS.items()}
    scores = {name: round(sum(trial.squares for trial in trials), 9) for name, trials in tried.items()}
    name = min(scores, key=lambda each: scores[each])
    return name, tried[name]


def forecast_rows(asked: Asked, place: Place, method: str) -> Iterator[dict[str, Any]]:
    """One row for each person who stands at `place`."""
    minimum = asked.minimum
    earlier = earlier_at(asked.course, asked.completed, place)
    empty = np.zeros(0)
    finals = METHODS[method](earlier, place.counts) if earlier.people else [empty] * len(place.counts)
    stood = np.quantile(earlier.then, list(STOOD.values())) if earlier.people else [None] * len(STOOD)
    a_month = None
    if earlier.people and place.left:
        a_month = float(np.median(earlier.later - earlier.then)) * A_MILLION / place.left
    for count, own in zip(place.counts, finals, strict=True):
        like = earlier.then <= count
        low, median, high = final_range(own)
        yield {
            "earlier_people": earlier.people,
            "like_people": int(like.sum()),
            "like_met": int(np.sum(earlier.final[like] >= minimum)),
            **dict(zip(STOOD, stood, strict=True)),
            "earlier_a_month": a_month,
            "method": method,
            "final_low": low,
            "final_median": median,
            "final_high": high,
            "probability": chance(np.sum(own >= minimum), len(own)) if len(own) else None,
        }


# ---- the tables of a build


def pace_trial(con: duckdb.DuckDBPyConnection) -> pa.Table:
    """The back-test of the better method of each programme and requirement; counts and sums, not yet shares."""
    rows = []
    for head, asked, _, _ in _all_asked(con):
        method, trials = best_method(asked)
        for months, trial in zip(TRIED_AT, trials, strict=True):
            rows.append(head | {"active_month": months, "method": method} | vars(trial))
    return pa.Table.from_pylist(rows, schema=TRIAL)


def pace_forecast(con: duckdb.DuckDBPyConnection) -> pa.Table:
    """What earlier trainees did, of everybody in training, by the methods that `pace_trial` chose."""
    chosen = con.execute(
        "select distinct programme_ref, requirement_ref, method from main.pace_trial"
    ).fetchall()
    methods = {(programme, requirement): method for programme, requirement, method in chosen}
    rows = []
    for head, asked, members, left in _all_asked(con):
        method = methods[head["programme_ref"], head["requirement_ref"]]
        rows += [head | row for row in _forecasts(asked, members, left, method)]
    return pa.Table.from_pylist(rows, schema=FORECAST)


def _forecasts(asked: Asked, members: list[str], left: Numbers, method: str) -> Iterator[dict[str, Any]]:
    """`left`: the active months left of each member, below 0 for whom nothing is forecast."""
    ends = asked.course.ends
    for month, remaining in sorted(
        {(int(ends[seat]), int(left[seat])) for seat in np.flatnonzero(left >= 0)}
    ):
        here = np.flatnonzero((ends == month) & (left == remaining))
        place = Place(asked.course.through(month)[here], month, remaining)
        for seat, row in zip(here, forecast_rows(asked, place, method), strict=True):
            yield {"trainee_ref": members[seat], **row}


@dataclass
class _People:
    """The people of one programme in a fixed order: class by number, end and rest of training in millionths."""

    seats: dict[str, int] = field(default_factory=dict)
    classes: list[int] = field(default_factory=list)
    ends: list[int] = field(default_factory=list)
    left: list[int] = field(default_factory=list)
    completed: list[bool] = field(default_factory=list)


def _all_asked(con: duckdb.DuckDBPyConnection) -> Iterator[tuple[dict[str, Any], Asked, list[str], Numbers]]:
    """Every requirement of every programme, with its people and what is left of their training."""
    everybody, came = _people(con), _came(con)
    for programme, requirement, minimum, members in _in_force(con):
        people = everybody[programme]
        seats = [people.seats[ref] for ref in members]
        ends, left = (np.array(each, dtype=np.int64)[seats] for each in (people.ends, people.left))
        places = {ref: place for place, ref in enumerate(members)}
        refs, at, cases = came.get((programme, requirement), ([], [], []))
        course = Course(
            np.array([places[ref] for ref in refs], dtype=np.int64),
            np.array(at, dtype=np.int64),
            np.array(cases, dtype=np.float64),
            ends,
        )
        completed = np.array(people.completed, dtype=bool)[seats]
        asked = Asked(minimum, course, completed, np.array(people.classes)[seats])
        yield {"programme_ref": programme, "requirement_ref": requirement}, asked, members, left


def _people(con: duckdb.DuckDBPyConnection) -> dict[str, _People]:
    """Who has data: of whom there are none nothing can be forecast."""
    rows = con.execute(
        """
        select
            clock.programme_ref, clock.trainee_ref, dense_rank() over (order by clock.cohort),
            cast(clock.active_month * 1000000 as bigint),
            case
                when not trainee.training_is_over and trainee.is_current
                    then cast(clock.months_left * 1000000 as bigint)
                else -1
            end,
            clock.of_completed_class
        from main.trainee_clock as clock
        inner join main.trainee as trainee on clock.trainee_ref = trainee.trainee_ref
        where clock.active_month is not null
        order by clock.programme_ref, clock.trainee_ref
        """
    ).fetchall()
    found: dict[str, _People] = {}
    for programme, ref, of_class, ends, left, completed in rows:
        people = found.setdefault(programme, _People())
        people.seats[ref] = len(people.seats)
        people.classes.append(of_class)
        people.ends.append(ends)
        people.left.append(left)
        people.completed.append(completed)
    return found


def _in_force(con: duckdb.DuckDBPyConnection) -> Iterator[tuple[str, str, int, list[str]]]:
    """Programme, requirement, minimum, and for whom with data it is in force."""
    rows = con.execute(
        """
        select volume.programme_ref, volume.requirement_ref, volume.minimum, volume.trainee_ref
        from main.case_volume as volume
        inner join main.trainee_clock as clock on volume.trainee_ref = clock.trainee_ref
        where clock.active_month is not null
        order by volume.programme_ref, volume.requirement_ref, volume.trainee_ref
        """
    ).fetchall()
    for (programme, requirement, minimum), group in groupby(rows, key=lambda row: row[:3]):
        yield programme, requirement, minimum, [row[3] for row in group]


def _came(con: duckdb.DuckDBPyConnection) -> dict[tuple[str, str], tuple[list[str], list[int], list[int]]]:
    """Of each programme and requirement: whose cases came at which active month, in millionths, and how many.

    What was logged beyond the end of the data is no part of a course.
    """
    rows = con.execute(
        """
        select
            month.programme_ref, month.requirement_ref, month.trainee_ref,
            cast(clock_month.active_month * 1000000 as bigint), month.counted_cases
        from main.credited_month as month
        inner join main.trainee_month as clock_month
            on month.trainee_ref = clock_month.trainee_ref and month.operated_month = clock_month.operated_month
        inner join main.trainee_clock as clock on month.trainee_ref = clock.trainee_ref
        where month.operated_month <= clock.last_month
        order by month.programme_ref, month.requirement_ref, month.trainee_ref, month.operated_month
        """
    ).fetchall()
    found: dict[tuple[str, str], tuple[list[str], list[int], list[int]]] = {}
    for programme, requirement, ref, at, cases in rows:
        refs, months, numbers = found.setdefault((programme, requirement), ([], [], []))
        refs.append(ref)
        months.append(at)
        numbers.append(cases)
    return found
