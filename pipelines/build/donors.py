"""What the trainees of completed classes did, in arrays: what `calibrate` draws from."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import Any

import duckdb
import numpy as np

Connection = duckdb.DuckDBPyConnection
Numbers = np.ndarray
BANDS = 4
UNKNOWN = -1


@dataclass(frozen=True)
class Donors:
    """What the people of completed classes did, in arrays: donor first, then month or quarter of training.

    `cases` (donor, month, requirement); `known` and `at_level` (donor, quarter, group); `started` (donor, quarter):
    operations with a known outcome. Of each quarter: reviewed operations as (step, score), and how many each person had. Of
    each band of case number: outcomes of a case (-1 unknown, 0 no, 1 event), and the share of cases up to each.
    """

    length: int
    meetings: int
    spacing: int
    phase: int
    class_size: int
    classes: int
    as_of: int
    level_rank: int
    requirements: list[tuple[str, str, int]]
    groups: list[str]
    complications: list[str]
    cases: Numbers
    known: Numbers
    at_level: Numbers
    started: Numbers
    reviews: list[list[tuple[tuple[str, float], ...]]]
    reviewed: list[list[int]]
    outcomes: list[tuple[Numbers, Numbers]]

    @property
    def people(self) -> int:
        return len(self.cases)

    def fingerprint(self) -> bytes:
        """The hash of everything that is drawn from."""
        digest = hashlib.sha256()
        for value in vars(self).values():
            digest.update(value.tobytes() if isinstance(value, np.ndarray) else repr(value).encode())
        return digest.digest()


def read_donors(con: Connection, programme: str) -> Donors:
    """Everything of one programme's completed classes that is drawn from; `con` reads a snapshot or a build."""
    people = con.execute(
        "select trainee_ref, last_training_month from main.trainee_clock"
        " where programme_ref = ? and of_completed_class and last_training_month > 0 order by 1",
        [programme],
    ).fetchall()
    seats = {ref: place for place, (ref, _) in enumerate(people)}
    length = int(np.median([months for _, months in people])) if people else 36
    quarters = (length + 2) // 3
    requirements, groups, complications = _kinds(con, programme, list(seats))
    cases = np.zeros((len(seats), length, len(requirements)), dtype=np.int64)
    for ref, month, requirement, number in _cases(con, programme):
        if ref in seats and month <= length and requirement in requirements:
            cases[seats[ref], month - 1, list(requirements).index(requirement)] += number
    known, at_level, level_rank = _supervision(con, programme, seats, groups, quarters)
    started, outcomes = _outcomes(con, programme, seats, complications, quarters)
    reviews, reviewed = _reviews(con, programme, quarters)
    return Donors(
        length=length,
        **_calendar(con, programme, length),
        level_rank=level_rank,
        requirements=[(ref, title, minimum) for ref, (title, minimum) in requirements.items()],
        groups=groups,
        complications=complications,
        cases=cases,
        known=known,
        at_level=at_level,
        started=started,
        reviews=reviews,
        reviewed=reviewed,
        outcomes=outcomes,
    )


def _kinds(
    con: Connection, programme: str, people: list[str]
) -> tuple[dict[str, tuple[str, int]], list[str], list[str]]:
    """Minimums in force for everybody in training and for those who completed, groups and outcomes."""
    rows = con.execute(
        "select requirement_ref, any_value(requirement_title), max(minimum) from main.case_volume"
        " where programme_ref = ? and list_contains($2, trainee_ref) group by 1 order by 1",
        [programme, people],
    ).fetchall()
    groups = con.execute("select procedure_group from main.procedure_group order by 1").fetchall()
    complications = con.execute("select complication_ref from main.complication order by 1").fetchall()
    return (
        {ref: (title, minimum) for ref, title, minimum in rows},
        [row[0] for row in groups],
        [row[0] for row in complications],
    )


def _calendar(con: Connection, programme: str, length: int) -> dict[str, int]:
    """Meetings over a training, months between two, how far the classes are, their size, how many have completed."""
    per_year = con.execute("select count(*) from input.review_period").fetchall()[0][0] or 1
    sizes = con.execute(
        "select count(*), bool_and(of_completed_class) from main.trainee_clock"
        " where programme_ref = ? group by cohort order by cohort",
        [programme],
    ).fetchall()
    now = con.execute(
        "select last_training_month % 12 from main.trainee_clock join main.trainee using (trainee_ref)"
        " where trainee_clock.programme_ref = ? and not training_is_over and last_training_month > 0",
        [programme],
    ).fetchall()
    as_of = con.execute("select as_of from input.programme").fetchall()[0][0] or "2000-01-01"
    return {
        "spacing": max(1, 12 // per_year),
        "meetings": max(1, length // max(1, 12 // per_year)),
        "phase": max(1, int(np.median([row[0] for row in now]))) if now else 6,
        "class_size": max(1, round(float(np.median([size for size, _ in sizes])))) if sizes else 1,
        "classes": sum(bool(over) for _, over in sizes),
        "as_of": int(as_of[:4]) * 12 + int(as_of[5:7]),
    }


def _cases(con: Connection, programme: str) -> list[tuple[Any, ...]]:
    return con.execute(
        "select month.trainee_ref, clock.training_month, month.requirement_ref, month.counted_cases"
        " from main.credited_month as month join main.trainee_month as clock"
        " on month.trainee_ref = clock.trainee_ref and month.operated_month = clock.operated_month"
        " where month.programme_ref = ? order by all",
        [programme],
    ).fetchall()


def _supervision(
    con: Connection, programme: str, seats: dict[str, int], groups: list[str], quarters: int
) -> tuple[Numbers, Numbers, int]:
    ranks = con.execute("select level_rank from main.upper_level").fetchall()
    upper = int(ranks[0][0]) if ranks else 1
    known = np.zeros((len(seats), quarters, len(groups)), dtype=np.int64)
    at_level = known.copy()
    rows = con.execute(
        "select trainee_ref, training_quarter, procedure_group, level_rank, cases from main.supervision_mix"
        " where programme_ref = ? and level_ref is not null order by all",
        [programme],
    ).fetchall()
    for ref, quarter, group, rank, cases in rows:
        if ref in seats and quarter <= quarters and rank is not None:
            place = (seats[ref], quarter - 1, groups.index(group))
            known[place] += cases
            at_level[place] += cases if rank >= upper else 0
    return known, at_level, upper


def _outcomes(
    con: Connection, programme: str, seats: dict[str, int], complications: list[str], quarters: int
) -> tuple[Numbers, list[tuple[Numbers, Numbers]]]:
    """Operations with a known outcome by donor and quarter; and the outcomes of everybody's, by band of case number."""
    rows = con.execute(
        """
        with operation as (
            select
                chart.trainee_ref, chart.case_sequence,
                row_number() over (partition by chart.trainee_ref order by chart.case_sequence) as number,
                string_agg(
                    concat(chart.complication_ref, ':', cast(chart.is_event as integer)), ';' order by chart.complication_ref
                ) as outcome
            from main.case_sequence_chart as chart
            where chart.programme_ref = ?
            group by chart.trainee_ref, chart.case_sequence
        )
        select
            operation.trainee_ref, case_record.training_quarter, case_band(operation.number), operation.outcome, count(*)
        from operation
        inner join main.case_record as case_record
            on operation.trainee_ref = case_record.trainee_ref and operation.case_sequence = case_record.case_sequence
        group by all
        order by all
        """,
        [programme],
    ).fetchall()
    started = np.zeros((len(seats), quarters), dtype=np.int64)
    patterns: list[dict[str, int]] = [{} for _ in range(BANDS)]
    for ref, quarter, band, outcome, number in rows:
        if ref in seats and quarter <= quarters:
            started[seats[ref], quarter - 1] += number
        patterns[band - 1][outcome] = patterns[band - 1].get(outcome, 0) + number
    return started, [_pattern(found, complications) for found in patterns]


def _pattern(found: dict[str, int], complications: list[str]) -> tuple[Numbers, Numbers]:
    outcomes = np.full((len(found), len(complications)), UNKNOWN, dtype=np.int64)
    for row, text in enumerate(found):
        for part in text.split(";"):
            ref, _, value = part.rpartition(":")
            outcomes[row, complications.index(ref)] = int(value)
    weights = np.array(list(found.values()), dtype=float)
    return outcomes, np.cumsum(weights) / weights.sum() if len(weights) else weights


def _reviews(
    con: Connection, programme: str, quarters: int
) -> tuple[list[list[tuple[tuple[str, float], ...]]], list[list[int]]]:
    """Of each quarter: the reviewed operations, and how many of them each of the people had who are reviewed at all."""
    rows = con.execute(
        "select scored.trainee_ref, scored.training_quarter, scored.case_sequence, scored.step,"
        " cast(scored.score as double) from main.operation_score as scored join main.trainee using (trainee_ref)"
        " where trainee.programme_ref = ? order by all",
        [programme],
    ).fetchall()
    operations: dict[tuple[str, int, int], list[tuple[str, float]]] = {}
    for ref, quarter, case, step, score in rows:
        operations.setdefault((ref, quarter, case), []).append((step, score))
    ends = dict(con.execute("select trainee_ref, last_training_quarter from main.trainee_clock").fetchall())
    reviewed = sorted({ref for ref, _, _ in operations})
    pools: list[list[tuple[tuple[str, float], ...]]] = [[] for _ in range(quarters)]
    numbers = [
        [
            sum(1 for each in operations if each[:2] == (ref, place + 1))
            for ref in reviewed
            if (ends[ref] or 0) > place
        ]
        for place in range(quarters)
    ]
    for (_, quarter, _), scores in operations.items():
        if quarter <= quarters:
            pools[quarter - 1].append(tuple(scores))
    return pools, numbers
