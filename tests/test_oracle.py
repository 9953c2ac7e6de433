"""What the store publishes, judged by the plain loops of tests/oracle.py on made-up cohorts.

Source of every expected value: the contract's text, read a second time by the oracle, which imports nothing
of the project.
"""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import strategies as st

from tests import cohorts
from tests.cohorts import Cohort
from tests.judged import Programmes, empty_programmes, in_scratch
from tests.made_up import drawn
from tests.oracle import Export, Oracle, Row, case_key, wilson
from tests.stores import shipped_specialty


@pytest.fixture(scope="module")
def programmes(tmp_path_factory: pytest.TempPathFactory) -> Programmes:
    return empty_programmes(tmp_path_factory.mktemp("programmes"))


def richest(strategy: Any) -> Any:
    """Of a dozen examples the one with the most cases: the four that go through the real commands must say much."""

    def cases(example: Any) -> int:
        first, *later = example if isinstance(example, tuple) else (example,)
        return sum(len(cohort.cases) for cohort in (first, *later))

    return max(drawn(strategy, 12), key=cases)


def test_every_published_row_of_a_made_up_cohort_equals_the_plain_loops(programmes: Programmes) -> None:
    with in_scratch(programmes, "demanding") as taken:
        taken.take(richest(cohorts.cohorts()))
        taken.check_everything()


def again(rows: list[Row], later: list[Row]) -> list[Row]:
    """Every second row as it was logged, the keys of the others with what a later row says."""
    changed = []
    for number, row in enumerate(rows):
        other = later[number % len(later)] if later else row
        names = (
            "role",
            "supervision",
            "complications",
            "follow_up_days",
            "takeover",
            "operated_on",
            "logged_on",
        )
        same_person = other["trainee_ref"] == row["trainee_ref"] and number % 2
        changed.append(row | ({name: other[name] for name in names} if same_person else {}))
    return changed


@st.composite
def two_exports(draw: st.DrawFn) -> tuple[Cohort, Cohort]:
    """A cohort with cases, and a second export of its trainees that repeats some keys with other content."""
    cohort = draw(cohorts.cohorts(most_cases=12).filter(lambda cohort: bool(cohort.cases)))
    fresh = [row for trainee in cohort.roster for row in draw(cohorts.case_rows(trainee, most=8))]
    repeated = again(cohort.cases, list(reversed(cohort.cases)))
    kept = draw(st.lists(st.sampled_from(range(len(repeated))), min_size=1, max_size=20, unique=True))
    second = cohorts.unique_keys([*(repeated[number] for number in kept), *fresh])
    second[0] = second[0] | {"duration_min": "33"}  # so that the second export is never the first
    return cohort, Cohort([], [], second)


TWO_EXPORTS = two_exports()


def test_a_key_live_in_two_sources_counts_once_as_the_source_taken_last_has_it(
    programmes: Programmes,
) -> None:
    cohort, second = richest(TWO_EXPORTS)
    with in_scratch(programmes, "shipped") as taken:
        taken.take(cohort)
        taken.take_cases(Export(second.cases, source="theatre"))
        taken.check()
        last = [row | {"duration_min": "44"} for row in cohort.cases]
        taken.take_cases(Export(last, source="main"))
        taken.check_everything()


def test_a_later_export_of_the_same_source_replaces_the_rows_of_the_trainees_it_names(
    programmes: Programmes,
) -> None:
    cohort, second = richest(TWO_EXPORTS)
    with in_scratch(programmes, "demanding") as taken:
        taken.take(cohort)
        taken.take_cases(Export(second.cases))
        taken.check_everything()


def test_an_appended_export_adds_rows_and_replaces_those_of_the_same_key(programmes: Programmes) -> None:
    cohort, second = richest(TWO_EXPORTS)
    with in_scratch(programmes, "shipped") as taken:
        taken.take(cohort)
        taken.take_cases(Export(second.cases, append=True))
        taken.check_everything()


@pytest.mark.parametrize(("events", "known", "low", "high"), [(81, 263, 0.2553, 0.3662), (0, 20, 0, 0.1611)])
def test_the_plain_wilson_formula_gives_the_published_limits(
    events: int, known: int, low: float, high: float
) -> None:
    # Newcombe 1998, Stat Med 17:857-872, Table I, method 3: four decimals.
    assert wilson(events, known) == pytest.approx((low, high), abs=5.1e-5)


def test_made_up_cohorts_hold_the_states_that_the_views_tell_apart() -> None:
    # A strategy that never made a late event or a takeover would judge nothing.
    specialty = cohorts.demanding(shipped_specialty())
    reasons: set[str] = set()
    caps: set[tuple[str, str]] = set()
    grammar = {"reached_by": 0, "deadline": 0}
    totals: dict[str, int] = {}

    for cohort in drawn(cohorts.cohorts(), 200):
        oracle = Oracle(cohort.roster, cohort.training, cohorts.exports_of(cohort), specialty)
        assert len({(row["trainee_ref"], case_key(row)) for row in cohort.cases}) == len(cohort.cases)
        credit, volume = oracle.case_credit(), oracle.case_volume()
        reasons.update(row["reason"] for row in credit)
        caps.update((row["over_cap"], row["reason"]) for row in credit if row["over_cap"])
        grammar["reached_by"] += len([row for row in volume if row["reached_by"]])
        grammar["deadline"] += len([row for row in volume if row["deadline"]])
        for row in oracle.complication_rate():
            for name in (
                "events",
                "unknown_outcomes",
                "not_yet_due",
                "events_unclear",
                "early_events",
                "events_unfollowed",
            ):
                totals[name] = totals.get(name, 0) + row[name]

    assert reasons == {
        "credited", "role", "stage", "attribute", "supervisor_disagreed", "takeover_to_confirm", "window",
        "performed_elsewhere", "outside_edition", "no_requirement", "unmapped_code", "duplicate_in_operation",
    }  # fmt: skip
    assert caps == {
        ("simulated", "attribute"), ("manual_cataract", "attribute"), ("cataract", "attribute"),
        ("assistant", "role"), ("elsewhere", "performed_elsewhere"),
    }  # fmt: skip
    assert min(*totals.values(), *grammar.values()) > 10, (totals, grammar)
