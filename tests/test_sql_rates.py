"""complication_rate: known, unknown and not yet due; whose cases; when a rate is shown."""

from __future__ import annotations

from typing import Any

import pytest

from tests.drawn import Db, database, drawn, example, ophthalmology, put, run, table

# Data run through October 2026: 30 September + 31 days = 31 October, the last day.
LATE = {"late_event": {"window_days": 31}}
COUNTS = "events, known_outcomes, unknown_outcomes, not_yet_due, early_events, eligible_cases"


def with_outcomes(complications: dict[str, Any]) -> Db:
    db = database(example(complications=complications))
    put(db, "trainees", "trainee_ref\nT01")
    put(db, "data_through", "trainee_ref | data_through\nT01 | 2026-10")
    return db


def counts(db: Db, cases: str, attribution: str = "as_logged", columns: str = COUNTS) -> str:
    put(db, "cases", cases)
    run(db)
    return table(db, "complication_rate", columns, f"attribution = '{attribution}'")


def test_a_case_with_no_recorded_outcome_is_not_counted_as_uneventful() -> None:
    db = with_outcomes({"capsule_rupture": {}})
    assert counts(
        db,
        """
        case_ref | complications
        C01      | capsule_rupture
        C02      | none
        C03      |
    """,
    ) == drawn("1 | 2 | 1 | 0 | 0 | 3")


def test_another_complication_or_one_of_another_group_makes_a_case_known_and_uneventful() -> None:
    db = with_outcomes({"capsule_rupture": {}, "lid_gape": {"group": "lid"}})
    put(db, "cases", "case_ref | complications\nC01 | lid_gape")
    run(db)
    columns = "complication_ref, procedure_group, events, known_outcomes, eligible_cases"
    assert table(db, "complication_rate", columns, "attribution = 'as_logged'") == drawn("""
        capsule_rupture | lens | 0 | 1 | 1
        lid_gape        | lid  | 0 | 0 | 0
    """)


def test_an_outcome_of_the_operation_is_always_due_on_any_day_and_needs_no_follow_up() -> None:
    db = with_outcomes({"capsule_rupture": {}})
    assert counts(
        db,
        """
        case_ref | operated_month | complications      | follow_up_days
        C01      | 2026-12        | capsule_rupture@9  |
        C02      | 2026-12        | none               |
        C03      | 2026-12        | capsule_rupture@0  | 0
        C04      | 2026-12        |                    | 99
    """,
    ) == drawn("2 | 3 | 1 | 0 | 0 | 4")


@pytest.mark.parametrize(
    ("complications", "follow_up", "expected"),
    [
        ("late_event@31", "", "1 | 1 | 0 | 0 | 0 | 1"),  # on the last day of the window: a hit
        ("late_event@32", "", "0 | 0 | 1 | 0 | 0 | 1"),  # a day later: no hit, and nobody followed that long
        ("late_event@32", "31", "0 | 1 | 0 | 0 | 0 | 1"),
        ("late_event@32;late_event@3", "", "1 | 1 | 0 | 0 | 0 | 1"),  # named twice, one in time
        ("late_event", "", "1 | 1 | 0 | 0 | 0 | 1"),  # without a day: a hit
        ("none", "31", "0 | 1 | 0 | 0 | 0 | 1"),
        ("none", "30", "0 | 0 | 1 | 0 | 0 | 1"),
        ("none", "", "0 | 0 | 1 | 0 | 0 | 1"),
        ("", "99", "0 | 0 | 1 | 0 | 0 | 1"),  # follow-up covers the complications column, and that is blank
    ],
)
def test_due_cases_are_known_by_a_hit_or_by_follow_up_through_the_window(
    complications: str, follow_up: str, expected: str
) -> None:
    db = with_outcomes(LATE)
    cases = (
        "case_ref | operated_month | complications | follow_up_days\n"
        f"C01 | 2026-01 | {complications} | {follow_up}"
    )
    assert counts(db, cases) == expected


@pytest.mark.parametrize(
    ("window", "complications", "follow_up", "expected"),
    [
        (31, "none", "", "0 | 0 | 1 | 0 | 0 | 1"),  # 30 September + 31 days is the last day: due
        (32, "none", "", "0 | 0 | 0 | 1 | 0 | 1"),
        (32, "late_event@3", "", "0 | 0 | 0 | 1 | 1 | 1"),  # an early event stands alone
        (32, "late_event@33", "", "0 | 0 | 0 | 1 | 0 | 1"),
        (32, "none", "32", "0 | 1 | 0 | 0 | 0 | 1"),  # followed through the window: due before its time
        (32, "late_event@3", "32", "1 | 1 | 0 | 0 | 0 | 1"),
        (32, "none", "31", "0 | 0 | 0 | 1 | 0 | 1"),
        (32, "", "32", "0 | 0 | 0 | 1 | 0 | 1"),
    ],
)
def test_a_case_is_due_when_its_window_has_passed_by_the_last_day_of_the_data(
    window: int, complications: str, follow_up: str, expected: str
) -> None:
    db = with_outcomes({"late_event": {"window_days": window}})
    cases = (
        "case_ref | operated_month | complications | follow_up_days\n"
        f"C01 | 2026-09 | {complications} | {follow_up}"
    )
    assert counts(db, cases) == expected


def test_with_two_sources_a_case_is_due_by_the_earlier_data() -> None:
    db = with_outcomes(LATE)
    put(db, "data_through", "trainee_ref | source | data_through\nT01 | second | 2026-09")
    assert counts(db, "case_ref | operated_month\nC01 | 2026-09") == "0 | 0 | 0 | 1 | 0 | 1"


def test_a_rate_with_a_window_is_blank_while_fewer_than_half_of_the_due_cases_are_known() -> None:
    columns = "known_outcomes, unknown_outcomes, not_yet_due, rate is null, rate_low is null"
    half = """
        case_ref | operated_month | complications | follow_up_days
        C01      | 2026-01        | late_event@3  |
        C02      | 2026-01        | none          | 31
        C03      | 2026-01        | none          |
        C04      | 2026-01        |               |
        C05      | 2026-10        | none          |
    """
    assert counts(with_outcomes(LATE), half, columns=columns) == "2 | 2 | 1 | false | false"
    below_half = half + "    C06 | 2026-01 | |"
    assert counts(with_outcomes(LATE), below_half, columns=columns) == "2 | 3 | 1 | true | true"


def test_an_outcome_of_the_operation_has_its_rate_however_few_are_known() -> None:
    db = with_outcomes({"capsule_rupture": {}})
    cases = "case_ref | complications\nC01 | capsule_rupture\nC02 |\nC03 |\nC04 |"
    assert counts(db, cases, columns="known_outcomes, unknown_outcomes, rate") == "1 | 3 | 1"


def test_whose_case_it_is_follows_the_attribution() -> None:
    db = with_outcomes({"capsule_rupture": {}})
    put(
        db,
        "cases",
        """
        case_ref | role      | takeover | complications   | event_hands
        C01      | surgeon   |          | capsule_rupture | trainee
        C02      | surgeon   | true     | capsule_rupture | supervisor
        C03      | surgeon   |          | capsule_rupture | unclear
        C04      | surgeon   | false    | capsule_rupture |
        C05      | surgeon   |          | none            |
        C06      | assistant | true     | capsule_rupture | trainee
        C07      | observer  | true     | capsule_rupture |
        C08      | assistant | true     | none            |
        C09      | assistant |          | capsule_rupture | trainee
        C10      | observer  | false    | none            |
    """,
    )
    run(db)
    columns = "attribution, events, known_outcomes, events_unclear, eligible_cases"
    assert table(db, "complication_rate", columns) == drawn("""
        as_logged        | 4 | 5 | 0 | 5
        as_started       | 6 | 8 | 0 | 8
        in_trainee_hands | 2 | 8 | 3 | 8
    """)


def test_early_events_count_whoever_was_operating() -> None:
    db = with_outcomes(LATE)
    cases = """
        case_ref | operated_month | complications | event_hands
        C01      | 2026-10        | late_event@1  | supervisor
        C02      | 2026-10        | late_event@1  |
    """
    columns = "events, events_unclear, early_events, not_yet_due"
    assert counts(db, cases, "in_trainee_hands", columns) == "0 | 0 | 2 | 2"


def test_cases_performed_elsewhere_and_unmapped_ones_enter_no_rate() -> None:
    db = with_outcomes({"capsule_rupture": {}})
    cases = """
        case_ref | operated_month | procedure      | complications
        C01      | 2023-06        | phaco_iol      | capsule_rupture
        C02      | 2023-07        | phaco_iol      | none
        C03      | 2023-07        | something_else | capsule_rupture
        C04      | 2023-07        | lid_repair     | capsule_rupture
    """
    assert counts(db, cases) == "0 | 1 | 0 | 0 | 0 | 1"


def test_every_trainee_outcome_and_attribution_has_a_row_also_with_nothing_known() -> None:
    db = database(example(complications={"capsule_rupture": {}, "late_event": {"window_days": 31}}))
    put(db, "trainees", "trainee_ref\nT01\nT02")
    run(db)
    key = "trainee_ref, complication_ref, attribution"
    assert table(
        db, "complication_rate", f"{key}, known_outcomes, eligible_cases, rate, rate_low, rate_high"
    ) == drawn("""
        T01 | capsule_rupture | as_logged        | 0 | 0 | | |
        T01 | capsule_rupture | as_started       | 0 | 0 | | |
        T01 | capsule_rupture | in_trainee_hands | 0 | 0 | | |
        T01 | late_event      | as_logged        | 0 | 0 | | |
        T01 | late_event      | as_started       | 0 | 0 | | |
        T01 | late_event      | in_trainee_hands | 0 | 0 | | |
        T02 | capsule_rupture | as_logged        | 0 | 0 | | |
        T02 | capsule_rupture | as_started       | 0 | 0 | | |
        T02 | capsule_rupture | in_trainee_hands | 0 | 0 | | |
        T02 | late_event      | as_logged        | 0 | 0 | | |
        T02 | late_event      | as_started       | 0 | 0 | | |
        T02 | late_event      | in_trainee_hands | 0 | 0 | | |
    """)
    columns = "events, unknown_outcomes, not_yet_due, confidence, events_unclear, early_events, data_through"
    assert set(table(db, "complication_rate", columns).splitlines()) == {"0 | 0 | 0 | 0.95 | 0 | 0 |"}


def test_both_sides_are_one_case_and_two_rows_are_two() -> None:
    db = with_outcomes({"capsule_rupture": {}})
    cases = """
        case_ref | side  | complications
        C01      | both  | capsule_rupture
        C02      | left  | capsule_rupture
        C02      | right | none
    """
    assert counts(db, cases) == "2 | 3 | 0 | 0 | 0 | 3"


def test_the_other_trainees_cases_and_events_do_not_matter() -> None:
    db = with_outcomes({"capsule_rupture": {}})
    put(db, "trainees", "trainee_ref\nT02")
    cases = """
        case_ref | trainee_ref | complications
        C01      | T01         | none
        C01      | T02         | capsule_rupture
    """
    assert counts(db, cases, columns="trainee_ref, events, known_outcomes") == "T01 | 0 | 1\nT02 | 1 | 1"


@pytest.mark.parametrize(
    ("known", "ruptures", "low", "high"),
    [
        (263, 81, 0.2553, 0.3662),  # Newcombe 1998, Stat Med 17:857, Table I, method 3
        (20, 0, 0.0, 0.1611),  # the same
        (148, 15, 0.0624, 0.1605),  # the same
    ],
)
def test_rates_and_intervals_are_those_of_newcombes_table(
    known: int, ruptures: int, low: float, high: float
) -> None:
    db = with_outcomes({"capsule_rupture": {}})
    told = ["capsule_rupture"] * ruptures + ["none"] * (known - ruptures) + [""] * 7
    cases = "\n".join(f"C{place:04} | {each}" for place, each in enumerate(told))
    put(db, "cases", f"case_ref | complications\n{cases}")
    run(db)
    rate = db.execute(
        "select rate, rate_low, rate_high, unknown_outcomes from complication_rate "
        "where attribution = 'as_logged'"
    ).fetchone()
    assert rate == (
        pytest.approx(ruptures / known, abs=1e-15),
        pytest.approx(low, abs=5.1e-5),
        pytest.approx(high, abs=5.1e-5),
        7,
    )


def test_the_windows_of_ophthalmology_hold() -> None:
    # The four windows are common practice, no source.
    db = database(ophthalmology())
    put(db, "trainees", "trainee_ref\nT01")
    put(db, "data_through", "trainee_ref | data_through\nT01 | 2026-10")
    put(
        db,
        "cases",
        """
        case_ref | complications
        C01      | endophthalmitis@42;macular_oedema@90;retinal_detachment@90;wound_leak@7
        C02      | endophthalmitis@43;macular_oedema@91;retinal_detachment@91;wound_leak@8
        C03      | capsule_rupture@500;dropped_nucleus@500;vitreous_loss@500;zonular_dialysis@500
    """,
    )
    run(db)
    columns = "complication_ref, events"
    assert table(db, "complication_rate", columns, "attribution = 'as_logged'") == drawn("""
        capsule_rupture    | 1
        dropped_nucleus    | 1
        endophthalmitis    | 1
        macular_oedema     | 1
        retinal_detachment | 1
        vitreous_loss      | 1
        wound_leak         | 1
        zonular_dialysis   | 1
    """)
