"""The interval that may be looked at after every case, against published values, and in simulated trainings."""

from __future__ import annotations

import numpy as np
import pytest

from pipelines.build.anytime import anytime_interval
from tests.drawn import run, table
from tests.example_standing import programme
from tests.test_wilson import grid

TRAININGS, CASES = 2000, 150
RATES = (0.02, 0.05, 0.1, 0.3)


@pytest.mark.parametrize(
    ("events", "cases", "narrowest_at", "low", "high"),
    [
        # Test file of the library confseq, its beta-binomial mixture, alpha 0.05, read in a second place.
        (700, 1000, 100, 0.651629, 0.745949),
        (5, 50, 50, 0.013021, 0.269264),
        (1, 50, 50, 0, 0.134892),  # printed as 0.13489
    ],
)
def test_the_interval_is_the_published_one(
    events: int, cases: int, narrowest_at: float, low: float, high: float
) -> None:
    found = anytime_interval(np.array([events]), np.array([cases]), narrowest_at=narrowest_at)
    assert [float(end[0]) for end in found] == pytest.approx([low, high], abs=1.1e-6)


def test_a_rate_carries_it_and_none_or_all_reach_to_the_end() -> None:
    db, log = programme(others=2)
    for ref, events in (("T01", 0), ("T11", 5), ("T12", 50)):
        log.add(ref, "2026-08", events, complications="capsule_rupture", event_hands="trainee")
        log.add(ref, "2026-08", 50 - events, complications="none")
    run(db)
    rows = [
        [float(cell) for cell in line.split(" | ")]
        for line in table(
            db, "complication_rate", "anytime_low, anytime_high", "attribution = 'as_started'"
        ).splitlines()
    ]
    assert rows[1] == pytest.approx([0.013021, 0.269264], abs=1.1e-6)
    # By symmetry of events and no events.
    assert rows[0][0] == 0 and rows[2][1] == 1 and rows[0][1] == pytest.approx(1 - rows[2][0])


def wrong_at_some_look(low: np.ndarray, high: np.ndarray, rate: float) -> float:
    """The share of trainings in which the interval leaves the true rate out after some case; by events and cases."""
    dice = np.random.default_rng(2026)
    events = np.cumsum(dice.random((TRAININGS, CASES)) < rate, axis=1)
    cases = np.arange(1, CASES + 1)
    out = (low[events, cases] > rate) | (high[events, cases] < rate)
    return float(out.any(axis=1).mean())


@pytest.fixture(scope="module")
def both() -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Lower and upper ends of both intervals, for each number of events (row) and cases (column)."""
    rows = np.array(grid(f"select * from range(1, {CASES + 1})", 0.95))
    events, cases = rows[:, 0].astype(int), rows[:, 1].astype(int)
    found = {}
    for name, ends in (("wilson", (rows[:, 2], rows[:, 3])), ("anytime", anytime_interval(events, cases))):
        tables = [np.full((CASES + 1, CASES + 1), np.nan) for _ in ends]
        for of_end, values in zip(tables, ends, strict=True):
            of_end[events, cases] = values
        found[name] = (tables[0], tables[1])
    return found


@pytest.mark.parametrize("rate", RATES)
def test_it_holds_at_every_look_of_a_training_where_wilsons_does_not(
    both: dict[str, tuple[np.ndarray, np.ndarray]], rate: float
) -> None:
    wrong = {name: wrong_at_some_look(*ends, rate) for name, ends in both.items()}
    print(rate, wrong)
    assert wrong["anytime"] <= 0.05
    assert wrong["wilson"] > 0.2
