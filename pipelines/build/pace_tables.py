"""The tables that the views of pace join, made of `trainee`, `trainee_clock`, `case_volume` and `credited_month`.

- `pace_trial`: one row a programme, requirement and active month of the back-test, with the counts behind its figures
- `pace_forecast`: one row a trainee in training whose data are current, and a requirement
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import groupby
from typing import Any

import duckdb
import numpy as np
import pyarrow as pa

from pipelines.build.forecast import (
    COUNTS,
    SQUARES,
    STOOD,
    TRIED_AT,
    Asked,
    Course,
    Numbers,
    Place,
    best_methods,
    forecast_columns,
)

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


def pace_trial(con: duckdb.DuckDBPyConnection) -> pa.Table:
    """The back-test of the better method of each programme and requirement; counts and sums, not yet shares."""
    rows = []
    for programme, requirements, asked, _, _ in _all_asked(con):
        methods, trials = best_methods(asked)
        for months, trial in zip(TRIED_AT, trials, strict=True):
            for place, (requirement, method) in enumerate(zip(requirements, methods, strict=True)):
                head = {"programme_ref": programme, "requirement_ref": requirement, "active_month": months}
                counts = {name: int(trial[name][place]) for name in COUNTS}
                sums = {name: float(trial[name][place]) for name in SQUARES}
                rows.append(head | {"method": method} | counts | sums)
    return pa.Table.from_pylist(rows, schema=TRIAL)


def pace_forecast(con: duckdb.DuckDBPyConnection) -> pa.Table:
    """What earlier trainees did, of everybody in training, by the methods that `pace_trial` chose."""
    chosen = con.execute(
        "select distinct programme_ref, requirement_ref, method from main.pace_trial"
    ).fetchall()
    by_requirement = {(programme, requirement): method for programme, requirement, method in chosen}
    rows: list[dict[str, Any]] = []
    for programme, requirements, asked, members, left in _all_asked(con):
        methods = [by_requirement[programme, requirement] for requirement in requirements]
        for seat, columns in _forecasts(asked, left, methods):
            head = {"programme_ref": programme, "trainee_ref": members[seat]}
            for place, (requirement, method) in enumerate(zip(requirements, methods, strict=True)):
                values = {name: _plain(name, column[place]) for name, column in columns.items()}
                rows.append(head | {"requirement_ref": requirement, "method": method} | values)
    return pa.Table.from_pylist(rows, schema=FORECAST)


def _plain(name: str, value: Any) -> float | int | None:
    if np.isnan(value):
        return None
    return int(value) if FORECAST.field(name).type == pa.int64() else float(value)


def _forecasts(asked: Asked, left: Numbers, methods: list[str]) -> Iterator[tuple[int, dict[str, Numbers]]]:
    """`left`: the active months left of each member, below 0 for whom nothing is forecast."""
    ends = asked.course.ends
    for month, remaining in sorted(
        {(int(ends[seat]), int(left[seat])) for seat in np.flatnonzero(left >= 0)}
    ):
        here = np.flatnonzero((ends == month) & (left == remaining))
        place = Place(asked.course.through(month)[here], month, remaining)
        columns = forecast_columns(asked, place, methods)
        for row, seat in enumerate(here):
            yield int(seat), {name: column[row] for name, column in columns.items()}


@dataclass
class _People:
    """The people of one programme in a fixed order: class by number, end and rest of training in millionths."""

    seats: dict[str, int] = field(default_factory=dict)
    classes: list[int] = field(default_factory=list)
    ends: list[int] = field(default_factory=list)
    left: list[int] = field(default_factory=list)
    completed: list[bool] = field(default_factory=list)


def _all_asked(
    con: duckdb.DuckDBPyConnection,
) -> Iterator[tuple[str, list[str], Asked, list[str], Numbers]]:
    """Requirements that are in force for the same people: programme, refs, what is asked, people, what is left of each."""
    everybody, came = _people(con), _came(con)
    for (programme, members), minimums in _in_force(con).items():
        people = everybody[programme]
        seats = [people.seats[ref] for ref in members]
        ends, left = (np.array(each, dtype=np.int64)[seats] for each in (people.ends, people.left))
        places = {ref: place for place, ref in enumerate(members)}
        rows = [
            (places[ref], number, at, cases)
            for number, requirement in enumerate(minimums)
            for ref, at, cases in came.get((programme, requirement), [])
        ]
        person, requirement_of, at, cases = (
            (np.array(each, dtype=np.int64) for each in zip(*rows, strict=True)) if rows else NONE
        )
        course = Course(person, requirement_of, at, cases, ends, len(minimums))
        completed = np.array(people.completed, dtype=bool)[seats]
        asked = Asked(np.array(list(minimums.values())), course, completed, np.array(people.classes)[seats])
        yield programme, list(minimums), asked, list(members), left


NONE = (np.zeros(0, dtype=np.int64),) * 4


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


def _in_force(con: duckdb.DuckDBPyConnection) -> dict[tuple[str, tuple[str, ...]], dict[str, int]]:
    """Programme and people with data → the minimums that are in force for these very people."""
    rows = con.execute(
        """
        select volume.programme_ref, volume.requirement_ref, volume.minimum, volume.trainee_ref
        from main.case_volume as volume
        inner join main.trainee_clock as clock on volume.trainee_ref = clock.trainee_ref
        where clock.active_month is not null
        order by volume.programme_ref, volume.requirement_ref, volume.trainee_ref
        """
    ).fetchall()
    found: dict[tuple[str, tuple[str, ...]], dict[str, int]] = {}
    for (programme, requirement, minimum), group in groupby(rows, key=lambda row: row[:3]):
        found.setdefault((programme, tuple(row[3] for row in group)), {})[requirement] = minimum
    return found


def _came(con: duckdb.DuckDBPyConnection) -> dict[tuple[str, str], list[tuple[str, int, int]]]:
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
    found: dict[tuple[str, str], list[tuple[str, int, int]]] = {}
    for programme, requirement, ref, at, cases in rows:
        found.setdefault((programme, requirement), []).append((ref, at, cases))
    return found
