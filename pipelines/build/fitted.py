"""What SQL cannot work out: tables that a build makes between two files of sql/, from tables made before.

Each function takes the connection of a build and returns one table; FITTED says after which file it is made.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from itertools import groupby
from typing import Any

import duckdb
import numpy as np
import pyarrow as pa

from pipelines.build.anytime import anytime_interval
from pipelines.build.calibration import calibration_inputs
from pipelines.build.pace_tables import pace_forecast, pace_trial
from pipelines.build.run_lengths import Floats, limit_for, mean_run_length, signal_chance

Connection = duckdb.DuckDBPyConnection

# A limit looks at so many known cases at most: the exact recursion grows with their square.
MOST_CASES = 300
# Fewer events of everybody than these say nothing of what is usual.
FEWEST_EVENTS = 3
BANDS = {1: (1, 50), 2: (51, 100), 3: (101, 200), 4: (201, math.inf)}
GOLDEN = (math.sqrt(5) - 1) / 2
HALVINGS = 60


# ---- log odds of a case without risk factors


def risk_fit(connection: Connection) -> pa.Table:
    """Band by band, the log odds at which as many events are expected among all others as they had.

    Only for outcomes whose risk factors the specialty weighs. No row where the others had no event, or nothing else:
    then their rate serves as it is.
    """
    rows = connection.execute(
        "select programme_ref, complication_ref, attribution, band, trainee_ref, cast(log_odds as double), "
        "cast(known_outcomes as double), cast(events as double) from outcome_band "
        "where complication_ref in (select complication_ref from risk_weight) order by all"
    ).fetchall()
    found = [row for _, group in groupby(rows, key=lambda row: row[:4]) for row in _fitted(list(group))]
    names = ("trainee_ref", "complication_ref", "attribution", "band", "log_odds")
    types = (pa.string(), pa.string(), pa.string(), pa.int32(), pa.float64())
    columns = list(zip(*found, strict=True)) or [()] * len(names)
    return pa.table(
        [pa.array(column, kind) for column, kind in zip(columns, types, strict=True)], names=list(names)
    )


def _fitted(rows: list[tuple[Any, ...]]) -> list[tuple[Any, ...]]:
    """Of one programme, outcome, attribution and band: a row for each trainee, fitted to everybody else."""
    people = sorted({row[4] for row in rows})
    risks = sorted({row[5] for row in rows})
    known, events = np.zeros((len(people), len(risks))), np.zeros(len(people))
    for *_, person, risk, count, hits in rows:
        known[people.index(person), risks.index(risk)] += count
        events[people.index(person)] += hits
    others_known, others_events = known.sum(axis=0) - known, events.sum() - events
    log_odds = fitted_log_odds(others_known, np.array(risks), others_events)
    usable = (others_events > 0) & (others_events < others_known.sum(axis=1))
    _, ref, attribution, band = rows[0][:4]
    return [
        (person, ref, attribution, band, float(value))
        for person, value, used in zip(people, log_odds, usable, strict=True)
        if used
    ]


def fitted_log_odds(known: Floats, risks: Floats, events: Floats) -> Floats:
    """The log odds a at which sum(known / (1 + exp(-(a + risk)))) equals the events; a row of `known` a result."""
    low, high = np.full(len(events), -60.0), np.full(len(events), 60.0)
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        expected = (known * _chance(middle[:, None] + risks)).sum(axis=1)
        low, high = np.where(expected < events, middle, low), np.where(expected < events, high, middle)
    found: Floats = (low + high) / 2
    return found


def _chance(log_odds: Floats) -> Floats:
    chances: Floats = 1 / (1 + np.exp(-log_odds))
    return chances


# ---- limits of the charts


def chart_limit(connection: Connection) -> pa.Table:
    """The limits of the risk-adjusted CUSUM of each programme and outcome, and how often they are crossed."""
    odds_ratio, chance, fixed = connection.execute(
        "select cusum_odds_ratio, cusum_chance, cusum_limit from input.programme"
    ).fetchall()[0]
    rows = connection.execute("select * from average_training order by all").fetchall()
    found: list[dict[str, Any]] = []
    for (programme, ref), group in groupby(rows, key=lambda row: row[:2]):
        training = list(group)
        cases, people = min(training[0][-2], MOST_CASES), training[0][-1]
        head = {"programme_ref": programme, "complication_ref": ref, "cases": cases, "people": people}
        chances, why_none = _whole_training([row[2:-2] for row in training], cases)
        limits = _limits(chances, odds_ratio, chance, people, fixed) if why_none is None else {}
        found += [
            {**head, "limit_for": kind, "why_none": why_none}
            | (_run_lengths(chances, limits[kind], odds_ratio) if limits else {})
            for kind in (limits or ("person", "class"))
        ]
    return pa.Table.from_pylist(found, schema=LIMITS)


LIMITS = pa.schema(
    [(name, pa.string()) for name in ("programme_ref", "complication_ref", "limit_for", "why_none")]
    + [(name, pa.int32()) for name in ("cases", "people")]
    + [
        (name, pa.float64())
        for name in (
            "cusum_limit",
            "expected",
            "signal_chance",
            "signal_chance_raised",
            "run_length",
            "run_length_raised",
        )
    ]
)


def _whole_training(bands: Iterable[tuple[Any, ...]], cases: int) -> tuple[tuple[float, ...], str | None]:
    """The expected chance of each case, or why there is none. A band: number, log odds, known, events, no reference."""
    chances: list[float] = []
    events = 0
    for band, group in groupby(bands, key=lambda row: row[0]):
        rows = list(group)
        first, last = BANDS[band]
        if first > cases:
            break
        if rows[0][4]:
            return (), f"too few known outcomes among cases {first} to {last:g}"
        events += sum(row[3] for row in rows)
        chances += _mixed(rows, int(min(last, cases)) - first + 1)
    if events < FEWEST_EVENTS:
        return (), f"{events} events in the whole programme; at least {FEWEST_EVENTS} are needed"
    return tuple(chances), None


def _mixed(rows: list[tuple[Any, ...]], cases: int) -> list[float]:
    """So many cases of the mix of risks that the programme had in a band, the risks spread evenly over them."""
    risks, known, events = (np.array([float(row[place]) for row in rows]) for place in (1, 2, 3))
    total, hits = known.sum(), events.sum()
    chances = np.full(len(risks), hits / total)
    if len(risks) > 1 and 0 < hits < total:
        chances = _chance(fitted_log_odds(known[None, :], risks, np.array([hits]))[0] + risks)
    places = np.mod((np.arange(cases) + 0.5) * GOLDEN, 1)
    return [
        float(value)
        for value in chances[np.searchsorted(np.cumsum(known) / total, places).clip(0, len(risks) - 1)]
    ]


def _limits(
    chances: tuple[float, ...], odds_ratio: float, chance: float, people: int, fixed: float | None
) -> dict[str, float]:
    """For one chart, and for all charts of a class, each with the same chance of a signal among average trainees."""
    if fixed is not None:
        return {"person": fixed, "class": fixed}
    person = limit_for(chances, odds_ratio, chance)
    return {
        "person": person,
        "class": limit_for(chances, odds_ratio, 1 - (1 - chance) ** (1 / people), person),
    }


def _run_lengths(chances: tuple[float, ...], limit: float, odds_ratio: float) -> dict[str, Any]:
    expected = math.fsum(chances) / len(chances)
    return {
        "cusum_limit": limit,
        "expected": expected,
        "signal_chance": signal_chance(chances, limit, odds_ratio),
        "signal_chance_raised": signal_chance(chances, limit, odds_ratio, odds_ratio),
        "run_length": mean_run_length(expected, limit, odds_ratio),
        "run_length_raised": mean_run_length(expected, limit, odds_ratio, odds_ratio),
    }


# ---- intervals that hold at every look


def anytime(connection: Connection) -> pa.Table:
    """The interval of each pair of events and known outcomes that a rate may need."""
    rows = connection.execute(
        "select events, known_outcomes from outcome_count where known_outcomes > 0 "
        "union select events + events_unclear, known_outcomes from outcome_count where known_outcomes > 0 order by all"
    ).fetchall()
    events, cases = np.array(rows, dtype=np.int64).reshape(-1, 2).T
    low, high = anytime_interval(events, cases)
    return pa.table({"events": events, "cases": cases, "anytime_low": low, "anytime_high": high})


# File of sql/ → the tables made right after it.
FITTED: dict[str, dict[str, Callable[[Connection], pa.Table]]] = {
    "143_outcome_band": {"risk_fit": risk_fit},
    "145_average_training": {"chart_limit": chart_limit},
    "146_outcome_count": {"anytime": anytime},
    "530_reason_rule": {"calibration_inputs": calibration_inputs},
    "300_case_volume": {"pace_trial": pace_trial, "pace_forecast": pace_forecast},
}
