"""Every published view with a number, judged by plain loops on 150 made-up cohorts and eight crowds.

Source of every expected value: the contract's text, read a second time by tests/oracle*.py, which import nothing of
the project; intervals by scipy, quantiles by the standard library. Fifteen cohorts stand in one database as
programmes of one store: what reached from one into another would be seen too.
"""

from __future__ import annotations

import math
import random
from typing import Any

import pytest

from tests import cohorts, made_up
from tests.cohorts import Cohort
from tests.loaded import loaded, published
from tests.made_up import beside, crowds, drawn, evidence_of
from tests.oracle import Oracle
from tests.oracle_rows import Export
from tests.oracle_views import VIEWS, answers
from tests.stores import shipped_specialty

COHORTS, AT_ONCE, CROWDS = 150, 15, 8
Rows = list[dict[str, Any]]


COHORT, CROWD = cohorts.cohorts(most_cases=24), crowds()


def specialty_of(number: int) -> dict[str, Any]:
    """The shipped rules, or demanding ones, in which parts have parts and hands decide a milestone."""
    shipped = shipped_specialty()
    if number % 2:
        return shipped
    demanding = cohorts.demanding(shipped)
    demanding["requirements"]["chalazion"]["part_of"] = "ptosis_blepharoplasty"
    demanding["requirements"]["ptosis_blepharoplasty"]["minimum"] = 1
    demanding["requirements"]["chalazion"]["minimum"] = 1
    rules = demanding["milestones"]["items"]["complication_management"]["rules"]
    hands = {
        "measure": "rate",
        "complication": "capsule_rupture",
        "attribution": "in_trainee_hands",
        "at_most": 0.3,
    }
    rules["B"] = [hands, hands | {"attribution": "as_started", "last_cases": 12}]
    of_cataract = demanding["milestones"]["items"]["cataract_operating"]["rules"]
    share = {"measure": "supervision_share", "group": "cataract", "level": "spoken_guidance", "at_least": 0.6}
    mean = {"measure": "score_mean", "step": "capsulorhexis", "at_least": 3}
    of_cataract["B"] = [
        share | {"last_quarters": 3},
        share,
        mean | {"last_cases": 6},
        mean | {"last_quarters": 2},
    ]
    return demanding


def oracle_of(cohort: Cohort, number: int) -> Oracle:
    cases = [row | {"intake_id": "a-1"} for row in cohort.cases]
    with_others = made_up.with_others(cohort, random.Random(1000 + number))
    return Oracle(
        cohort.roster,
        cohort.training,
        [Export(cases)] if cases else [],
        specialty_of(number),
        outcomes=with_others.outcomes,
        confirmations=with_others.confirmations,
    )


def both(cohort: Cohort, number: int) -> tuple[dict[str, Rows], dict[str, Rows]]:
    """What the SQL publishes, and what the oracle says."""
    it, evidence = oracle_of(cohort, number), evidence_of(cohort, random.Random(number))
    db = loaded(it, evidence)
    found = {view: published(db, view) for view in VIEWS}
    db.close()
    return found, answers(it, evidence)


def assert_alike(view: str, found: Rows, expected: Rows) -> None:
    keys, _ = VIEWS[view]

    def by_key(rows: Rows) -> dict[tuple[Any, ...], dict[str, Any]]:
        placed = {tuple(row[name] for name in keys): row for row in rows}
        assert len(placed) == len(rows), f"{view}: a key twice"
        return placed

    published_rows, expected_rows = by_key(found), by_key(expected)
    assert published_rows.keys() == expected_rows.keys(), view
    for key, row in expected_rows.items():
        for name, value in row.items():
            published_value = published_rows[key][name]
            if isinstance(value, float) and published_value is not None:
                alike = math.isclose(published_value, value, rel_tol=1e-9, abs_tol=1e-9)
            else:
                alike = published_value == value
            assert alike, f"{view} {key} {name}: {published_value!r}, expected {value!r}"


@pytest.mark.parametrize("batch", range(COHORTS // AT_ONCE))
def test_every_number_of_made_up_cohorts_equals_the_plain_loops(batch: int) -> None:
    these = drawn(COHORT, COHORTS)[batch * AT_ONCE : (batch + 1) * AT_ONCE]
    assert len(these) == AT_ONCE
    found, expected = both(beside(these), batch)
    for view in VIEWS:
        assert_alike(view, found[view], expected[view])


# View and columns of which a crowd must bring up a value: what is always blank judges nothing.
FILLED = {
    ("volume_band", "p50"), ("volume_band", "p10"), ("expected_rate", "expected"),
    ("case_sequence_chart", "cusum"), ("complication_rate_recent", "rate_before"), ("cohort_comparison", "reference"),
    ("cohort_comparison", "differs"),
    ("cohort_comparison", "reference_low"), ("technique_step", "score_low"), ("technique_step", "success_low"),
    ("pace", "expected_median"), ("pace", "final_low"), ("pace", "probability_met"), ("pace", "needed_a_month"),
    ("pace", "like_low"), ("pace_backtest", "coverage"), ("pace_backtest", "brier"), ("pace", "earlier_a_month"),
    ("rotation_yield", "a_month_inside"), ("rotation_yield", "months_to_come"),
    ("technique_step", "seconds_median"), ("milestone_standing", "committee_level"),
}  # fmt: skip


@pytest.mark.parametrize("number", range(CROWDS))
def test_every_number_of_a_crowd_equals_the_plain_loops(number: int) -> None:
    found, expected = both(drawn(CROWD, CROWDS)[number], number)
    for view in VIEWS:
        assert_alike(view, found[view], expected[view])


def test_crowds_bring_up_what_only_many_people_have() -> None:
    brought: set[tuple[str, str]] = set()
    for number, crowd in enumerate(drawn(CROWD, CROWDS)):
        it = oracle_of(crowd, number)
        for view, rows in answers(it, evidence_of(crowd, random.Random(number))).items():
            brought |= {(view, name) for row in rows for name, value in row.items() if value is not None}
    assert brought >= FILLED
