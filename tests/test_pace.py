"""Pace, its back-test and the rotations: what the oracle does not say of them, and the rules by which a forecast is withheld.

The numbers themselves are judged by tests/oracle_pace.py in test_oracle_views.py.
"""

from __future__ import annotations

import copy
import math
import random
from typing import Any

import numpy as np
import pytest
from scipy.stats import mstats

from pipelines.build import forecast
from tests import cohorts
from tests.cohorts import Cohort, month_text
from tests.drawn import Db, database, drawn, put, run, table
from tests.loaded import loaded, published
from tests.made_up import crowds, evidence_of
from tests.made_up import drawn as examples
from tests.oracle import Oracle
from tests.oracle_rows import Export, Row
from tests.oracle_views import VIEWS
from tests.stores import shipped_specialty

# ---- the clock: a leave moves nothing

LEAVE = 6


def with_a_leave(cohort: Cohort, ref: str, month: int) -> Cohort:
    """The same log with six months of leave before a calendar month, and everything after it six months later."""

    def moved(text: str) -> str:
        if not text or cohorts.month_count(text) < month:
            return text
        return month_text(cohorts.month_count(text) + LEAVE) + text[7:]

    def of(row: Row, *names: str) -> Row:
        own = row["trainee_ref"].strip() == ref
        return row | {name: moved(row[name].strip()) for name in names if own and row.get(name)}

    leave = {
        "trainee_ref": ref,
        "from": month_text(month),
        "to": month_text(month + LEAVE - 1),
        "kind": "leave",
    }
    return Cohort(
        [of(row, "expected_completion", "completed", "left") for row in cohort.roster],
        [*(of(row, "from", "to") for row in cohort.training), leave | {"value": ""}],
        [of(row, "operated_on") for row in cohort.cases],
    )


def numbers(cohort: Cohort) -> dict[str, list[Any]]:
    """Every row of the views of pace, without the month through which data run."""
    cases = [row | {"intake_id": "a-1"} for row in cohort.cases]
    it = Oracle(cohort.roster, cohort.training, [Export(cases)], shipped_specialty())
    evidence = evidence_of(Cohort(cohort.roster, [], []), random.Random(1))
    db = loaded(it, evidence)
    found = {}
    for view in ("pace", "pace_backtest", "rotation_yield", "volume_course", "volume_band"):
        rows = published(db, view)
        found[view] = sorted(
            ([row[name] for name in VIEWS[view][1] if name != "data_through"] for row in rows), key=str
        )
    db.close()
    return found


def test_a_leave_of_six_months_put_into_a_log_moves_no_number_of_pace() -> None:
    crowd = copy.deepcopy(examples(crowds(), 8)[1])
    completed = [row for row in crowd.roster if row["completed"]]
    running = [row for row in crowd.roster if not row["completed"]]
    # Their leave must not carry a completion beyond the day of the snapshot.
    earlier = next(row for row in completed if row["completed"] == "2023-11")
    now = running[0]
    # Current before and after: the log runs through the month of the snapshot.
    latest = next(row for row in crowd.cases if row["trainee_ref"] == now["trainee_ref"])
    crowd.cases.append(latest | {"case_ref": "the-latest", "operated_on": "2024-06-03"})
    changed = with_a_leave(crowd, earlier["trainee_ref"], cohorts.month_count(earlier["started"]) + 14)
    changed = with_a_leave(changed, now["trainee_ref"], cohorts.month_count(now["started"]) + 20)
    before, after = numbers(crowd), numbers(changed)
    assert changed.cases != crowd.cases
    assert any(row[VIEWS["pace"][1].index("probability_met")] is not None for row in before["pace"])
    for view, rows in before.items():
        assert after[view] == rows, view


# ---- the forecast


def range_of(finals: Any) -> tuple[float, float, float]:
    """Of one person and requirement; nan is None."""
    found = forecast.final_range(np.array(finals, dtype=float)[None, :, None])
    return tuple(None if np.isnan(each[0, 0]) else float(each[0, 0]) for each in found)  # type: ignore[return-value] - as said


@pytest.mark.parametrize("people", [9, 14, 40])
def test_the_range_has_the_quantiles_of_a_reference_library(people: int) -> None:
    # scipy.stats.mstats.mquantiles with alphap = betap = 0 is type 6 of Hyndman and Fan 1996.
    finals = np.sort(np.random.default_rng(people).integers(0, 200, people)).astype(float)
    low, median, high = mstats.mquantiles(finals, [0.1, 0.5, 0.9], alphap=0, betap=0)
    expected = (math.floor(low + 1e-9), math.floor(median + 0.5), math.ceil(high - 1e-9))
    assert range_of(finals) == expected


def test_between_the_lowest_and_the_highest_of_nine_lie_80_percent_and_below_nine_nothing_is_said() -> None:
    nine = np.array([3.0, 5, 6, 8, 9, 9, 12, 20, 31])
    assert range_of(nine) == (3, 9, 31)
    assert range_of(nine[:8]) == (None, 9, None)
    assert range_of(nine[:0]) == (None, None, None)
    # An earlier trainee who says nothing is none of them.
    assert range_of([*nine, np.nan, np.nan]) == (3, 9, 31)
    assert range_of([*nine[:8], np.nan]) == (None, 9, None)


def test_a_range_of_nine_holds_a_tenth_one_in_80_of_100() -> None:
    # What the type of the quantile promises, tried with a generator of its own: 4,000 draws, three standard errors.
    rng = np.random.default_rng(11)
    held = 0
    for _ in range(4000):
        *earlier, new = rng.normal(0, 1, 10) * 1000
        low, _, high = range_of(earlier)
        held += low <= new <= high
    assert held / 4000 == pytest.approx(0.8, abs=0.019)


@pytest.mark.parametrize(
    ("reached", "people", "chance"), [(0, 0, 0.5), (0, 9, 0.05), (9, 9, 0.95), (3, 4, 0.7)]
)
def test_a_chance_has_half_a_person_on_either_side(reached: int, people: int, chance: float) -> None:
    assert forecast.chance(reached, people) == pytest.approx(chance)


def test_the_two_methods_say_what_their_names_say() -> None:
    then, later = (np.array(each, dtype=float)[:, None] for each in ([2, 4, 0], [10, 8, 5]))
    earlier = forecast.Earlier(then, later, later)
    counts = np.array([[3.0], [0.0]])
    added, scaled = (method(earlier, counts)[:, :, 0].tolist() for method in forecast.METHODS.values())
    assert added == [[11, 7, 8], [8, 4, 5]]
    # 3 x 10/2 and 3 x 8/4; nobody's factor helps who has none.
    assert scaled[0][:2] == [15, 6] and np.isnan(scaled[0][2])
    assert scaled[1] == [8, 4, 5]


# ---- when a forecast is withheld

SHOWN = "requirement_ref, forecast_is_shown, range_is_tried"


@pytest.fixture(scope="module")
def empty() -> Db:
    db = database()
    run(db)
    return db


@pytest.mark.parametrize(
    ("trial", "shown"),
    [
        ("100 | 100 | 70 | 100 | 20.0 | 20.0", "true | true"),
        ("100 | 100 | 69 | 100 | 20.0 | 20.0", "false | true"),
        ("100 | 100 | 90 | 100 | 21.0 | 20.0", "true | true"),  # 0.01 above
        ("100 | 100 | 90 | 100 | 21.1 | 20.0", "false | true"),  # 0.011 above
        ("100 | 100 | 90 | 0   | 0    | 0", "true | true"),
        ("8   | 0   | 0  | 8   | 1.0  | 1.0", "true | false"),
        ("0   | 0   | 0  | 0   | 0    | 0", "false | false"),
    ],
)
def test_a_forecast_is_shown_where_the_back_test_bears_it_out(empty: Db, trial: str, shown: str) -> None:
    values = ", ".join(each.strip() for each in trial.split("|"))
    empty.execute("begin")
    empty.execute("insert into pace_trial values ('p', 'lens', 6, 'm', " + values + ", 0)")
    found = table(empty, "definition.pace_backtest", SHOWN)
    empty.execute("rollback")
    assert found == f"lens | {shown}"


def test_months_are_pooled_before_a_forecast_is_judged(empty: Db) -> None:
    empty.execute("begin")
    for month, covered in ((6, 50), (12, 90)):
        empty.execute(
            f"insert into pace_trial values ('p', 'lens', {month}, 'm', 100, 100, {covered}, 100, 20, 20, 0)"
        )
    found = table(empty, "definition.pace_backtest", "active_month, coverage, forecast_is_shown")
    empty.execute("rollback")
    assert found == drawn("6 | 0.5 | true\n12 | 0.9 | true")


def test_of_a_log_that_ends_too_early_and_of_training_that_is_over_only_the_count_is_said() -> None:
    db = database()
    put(
        db,
        "trainees",
        """
        trainee_ref | cohort  | started | expected_completion | completed
        P01         | 2023-24 | 2021-07 | 2024-06             | 2024-06
        T01         | 2026-27 | 2024-07 | 2027-06             |
        T02         | 2026-27 | 2024-07 | 2027-06             |
        T03         | 2026-27 | 2024-07 | 2027-06             |
    """,
    )
    put(db, "data_through", "trainee_ref | data_through\nP01 | 2024-06\nT01 | 2026-10\nT02 | 2026-07")
    put(
        db,
        "cases",
        "case_ref | trainee_ref | operated_month\nC1 | P01 | 2022-01\nC2 | T01 | 2026-09\nC3 | T02 | 2026-05",
    )
    run(db)
    columns = 'trainee_ref, "count", needed_a_month, like_people, like_met, probability_met, why_none'
    # One earlier trainee, whom no other class has tried: what became of them is said, and no forecast.
    assert table(db, "pace", columns) == drawn("""
        P01 | 1 |       |   |   |  | training is over
        T01 | 1 | 0.125 | 1 | 0 |  | the forecast could not be tried on a class that has completed
        T02 | 1 |       |   |   |  | the log ends too early
        T03 | 0 |       |   |   |  | no data yet
    """)
