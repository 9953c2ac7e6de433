"""complication_rate: known, unknown and not yet due; whose cases; when a rate is shown."""

from __future__ import annotations

from functools import partial
from typing import Any

import pytest
import yaml
from statsmodels.stats.proportion import proportion_confint

from tests.drawn import Db, database, drawn, example, ophthalmology, put, table
from tests.drawn import run as make
from tests.example_standing import Log

# Later files read what is tested here, and are tested elsewhere.
run = partial(make, views=("complication_rate", "case_volume"))

# Data run through October 2026: 30 September + 31 days = 31 October, the last day.
LATE = {"late_event": {"window_days": 31}}
COUNTS = (
    "events, known_outcomes, unknown_outcomes, not_yet_due, early_events, events_unfollowed, eligible_cases"
)


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
    ) == drawn("1 | 2 | 1 | 0 | 0 | 0 | 3")


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
    ) == drawn("2 | 3 | 1 | 0 | 0 | 0 | 4")


@pytest.mark.parametrize(
    ("complications", "follow_up", "expected"),
    [
        ("late_event@31", "31", "1 | 1 | 0 | 0 | 0 | 0 | 1"),  # on the last day of the window: a hit
        (
            "late_event@32",
            "31",
            "0 | 1 | 0 | 0 | 0 | 0 | 1",
        ),  # a day later: none, and somebody looked that long
        ("late_event@32", "30", "0 | 0 | 1 | 0 | 0 | 0 | 1"),
        ("late_event@5", "5", "1 | 1 | 0 | 0 | 0 | 0 | 1"),  # the event ended the follow-up
        ("late_event@5", "6", "0 | 0 | 1 | 0 | 0 | 1 | 1"),  # it did not, and nobody looked to the end
        ("late_event@5", "", "0 | 0 | 1 | 0 | 0 | 1 | 1"),
        ("late_event@5", "40", "1 | 1 | 0 | 0 | 0 | 0 | 1"),
        ("late_event@32;late_event@3", "3", "1 | 1 | 0 | 0 | 0 | 0 | 1"),  # named twice, one in time
        ("late_event@32;late_event@3", "", "0 | 0 | 1 | 0 | 0 | 1 | 1"),
        ("late_event", "31", "1 | 1 | 0 | 0 | 0 | 0 | 1"),  # without a day: a hit
        ("late_event", "30", "0 | 0 | 1 | 0 | 0 | 1 | 1"),
        ("none", "31", "0 | 1 | 0 | 0 | 0 | 0 | 1"),
        ("none", "30", "0 | 0 | 1 | 0 | 0 | 0 | 1"),
        ("none", "", "0 | 0 | 1 | 0 | 0 | 0 | 1"),
        (
            "",
            "99",
            "0 | 0 | 1 | 0 | 0 | 0 | 1",
        ),  # follow-up covers the complications column, and that is blank
    ],
)
def test_due_cases_are_known_by_follow_up_through_the_window_or_to_the_day_of_the_event(
    complications: str, follow_up: str, expected: str
) -> None:
    db = with_outcomes(LATE)
    cases = (
        "case_ref | operated_month | complications | follow_up_days\n"
        f"C01 | 2026-01 | {complications} | {follow_up}"
    )
    assert counts(db, cases) == expected


def test_the_day_of_another_outcome_ends_no_follow_up() -> None:
    db = with_outcomes({"late_event": {"window_days": 31}, "other_event": {"window_days": 31}})
    put(db, "cases", "case_ref | complications | follow_up_days\nC01 | late_event@5;other_event@9 | 9")
    run(db)
    columns = "complication_ref, events, unknown_outcomes, events_unfollowed"
    assert table(db, "complication_rate", columns, "attribution = 'as_logged'") == drawn("""
        late_event  | 0 | 1 | 1
        other_event | 1 | 0 | 0
    """)


@pytest.mark.parametrize(
    ("window", "complications", "follow_up", "expected"),
    [
        (31, "none", "", "0 | 0 | 1 | 0 | 0 | 0 | 1"),  # 30 September + 31 days is the last day: due
        (32, "none", "", "0 | 0 | 0 | 1 | 0 | 0 | 1"),
        (32, "late_event@3", "", "0 | 0 | 0 | 1 | 1 | 0 | 1"),  # an early event stands alone
        (32, "late_event@33", "", "0 | 0 | 0 | 1 | 0 | 0 | 1"),
        (32, "none", "32", "0 | 0 | 0 | 1 | 0 | 0 | 1"),  # whoever was followed: not before its time
        (32, "late_event@3", "32", "0 | 0 | 0 | 1 | 1 | 0 | 1"),
        (32, "late_event@3", "3", "0 | 0 | 0 | 1 | 1 | 0 | 1"),
        (32, "", "32", "0 | 0 | 0 | 1 | 0 | 0 | 1"),
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


def test_with_two_sources_a_case_is_due_by_the_data_of_its_own() -> None:
    db = with_outcomes(LATE)
    put(db, "data_through", "trainee_ref | source | data_through\nT01 | second | 2026-09")
    cases = "case_ref | operated_month | source\nC01 | 2026-09 | main\nC02 | 2026-09 | second"
    assert counts(db, cases) == "0 | 0 | 1 | 1 | 0 | 0 | 2"
    assert table(db, "trainee", "data_through") == "2026-09"


def test_a_rate_with_a_window_is_blank_while_fewer_than_half_of_the_due_cases_are_known() -> None:
    columns = (
        "known_outcomes, unknown_outcomes, not_yet_due, rate, rate_low is null, rate_high is null, "
        "events_unfollowed, possible_low, possible_high"
    )
    half = """
        case_ref | operated_month | complications | follow_up_days
        C01      | 2026-01        | late_event@3  | 3
        C02      | 2026-01        | none          | 31
        C03      | 2026-01        | late_event@3  |
        C04      | 2026-01        |               |
        C05      | 2026-10        | late_event@3  |
    """
    # If every unknown case were uneventful but for the event in it: (1 + 1) / 4; if each had one: (1 + 2) / 4.
    assert (
        counts(with_outcomes(LATE), half, columns=columns)
        == "2 | 2 | 1 | 0.5 | false | false | 1 | 0.5 | 0.75"
    )
    below_half = half + "    C06 | 2026-01 | |"
    assert counts(with_outcomes(LATE), below_half, columns=columns) == drawn(
        f"2 | 3 | 1 | | true | true | 1 | {2 / 5} | {4 / 5}"
    )


def test_what_is_possible_is_blank_with_nothing_due() -> None:
    columns = "not_yet_due, possible_low, possible_high"
    cases = "case_ref | operated_month | complications\nC01 | 2026-10 | late_event@1"
    assert counts(with_outcomes(LATE), cases, columns=columns) == drawn("1 | |")


def seen(log: Log, number: int, complications: str | None, follow_up: int | None) -> None:
    log.add("T01", "2026-09", number, complications=complications, follow_up_days=follow_up)


def test_a_share_of_followed_cases_does_not_raise_a_rate() -> None:
    # 2,000 cases, 4 % with the event, 55 % followed alike, every event logged: events beside followed no-events
    # would tend to p / (p + (1 - p) f) = 0.04 / (0.04 + 0.96 x 0.55) = 7.04 %.
    db = with_outcomes({"late_event": {"window_days": 30}})
    log = Log(db)
    seen(log, 44, "late_event@6", 6)
    seen(log, 36, "late_event@6", None)
    seen(log, 1056, "none", 30)
    seen(log, 864, "none", None)
    run(db)
    columns = f"{COUNTS}, rate, possible_low, possible_high"
    assert table(db, "complication_rate", columns, "attribution = 'as_logged'") == drawn(
        f"44 | 1100 | 900 | 0 | 0 | 36 | 2000 | 0.04 | {80 / 2000} | {944 / 2000}"
    )


@pytest.mark.parametrize(
    ("through", "expected"),
    [
        ("2026-10", "0 | 0 | 0 | 100 | 10 | 0 | 100 |"),  # 30 September + 42 days lie after it
        ("2026-11", "10 | 100 | 0 | 0 | 0 | 0 | 100 | 0.1"),
    ],
)
def test_no_case_is_due_before_its_time_because_it_was_followed(through: str, expected: str) -> None:
    # 100 operations of one month, 10 events on day 6 that ended the follow-up, 90 followed for 45 days: never
    # `0 of 90 known`.
    db = with_outcomes({"late_event": {"window_days": 42}})
    db.execute("update input.data_through set data_through = ?", [through])
    log = Log(db)
    seen(log, 10, "late_event@6", 6)
    seen(log, 90, "none", 45)
    run(db)
    assert table(db, "complication_rate", f"{COUNTS}, rate", "attribution = 'as_logged'") == drawn(expected)


def test_an_outcome_of_the_operation_has_its_rate_however_few_are_known() -> None:
    db = with_outcomes({"capsule_rupture": {}})
    cases = "case_ref | complications\nC01 | capsule_rupture\nC02 |\nC03 |\nC04 |"
    assert counts(db, cases, columns="known_outcomes, unknown_outcomes, rate") == "1 | 3 | 1"


WHOSE = """
        case_ref | role               | takeover | complications   | event_hands
        C01      | surgeon            |          | capsule_rupture | trainee
        C02      | surgeon            | true     | capsule_rupture | supervisor
        C03      | surgeon            |          | capsule_rupture | unclear
        C04      | surgeon            | false    | capsule_rupture |
        C05      | surgeon            |          | none            |
        C06      | assistant          | true     | capsule_rupture | trainee
        C07      | observer           | true     | capsule_rupture |
        C08      | assistant          | true     | none            |
        C09      | assistant          |          | capsule_rupture | trainee
        C10      | observer           | false    | none            |
        C11      | teaching_assistant | true     | capsule_rupture | supervisor
        C12      | surgeon            |          |                 |
"""


def marked(**roles: dict[str, Any]) -> Db:
    """The example with marks on some roles."""
    content = yaml.safe_load(example())
    content["roles"] |= {ref: {"title": ref, **marks} for ref, marks in roles.items()}
    db = database(yaml.safe_dump(content, sort_keys=False).encode())
    put(db, "trainees", "trainee_ref\nT01")
    put(db, "data_through", "trainee_ref | data_through\nT01 | 2026-10")
    return db


ATTRIBUTED = "attribution, events, known_outcomes, events_unclear, eligible_cases"


def test_whose_case_it_is_follows_the_attribution() -> None:
    db = marked(teaching_assistant={"teaching": True})
    put(db, "cases", WHOSE)
    run(db)
    assert table(db, "complication_rate", f"{ATTRIBUTED}, possible_low, possible_high") == drawn(f"""
        as_logged        | 4 | 5 | 0 | 6 | {4 / 6:.9g} | {5 / 6:.9g}
        as_started       | 6 | 8 | 0 | 9 | {6 / 9:.9g} | {7 / 9:.9g}
        in_trainee_hands | 2 | 8 | 3 | 9 | {2 / 9:.9g} | {6 / 9:.9g}
    """)


def test_who_takes_over_from_a_role_that_does_not_teach_took_the_operation_from_the_trainee() -> None:
    db = marked()
    put(db, "cases", WHOSE)
    run(db)
    assert table(db, "complication_rate", ATTRIBUTED) == drawn("""
        as_logged        | 4 | 5 | 0 | 6
        as_started       | 7 | 9 | 0 | 10
        in_trainee_hands | 2 | 9 | 3 | 10
    """)


def test_rates_are_of_the_roles_that_the_specialty_marks_as_operating() -> None:
    # Not of the surgeon, who is not among them: their cases count where a takeover says who began.
    db = marked(assistant={"operating": True}, observer={"operating": True})
    put(db, "cases", WHOSE)
    run(db)
    assert table(db, "complication_rate", ATTRIBUTED) == drawn("""
        as_logged        | 3 | 5 | 0 | 5
        as_started       | 5 | 7 | 0 | 7
        in_trainee_hands | 2 | 7 | 1 | 7
    """)


def test_events_in_unclear_hands_widen_the_interval_upward() -> None:
    # Wilson intervals of statsmodels: 2 events of 20 below, 2 + 3 of 20 above.
    db = with_outcomes({"capsule_rupture": {}})
    log = Log(db)
    log.add("T01", "2026-01", 2, complications="capsule_rupture", event_hands="trainee")
    log.add("T01", "2026-01", 1, complications="capsule_rupture", event_hands="unclear")
    log.add("T01", "2026-01", 2, complications="capsule_rupture")
    log.add("T01", "2026-01", 1, complications="capsule_rupture", event_hands="supervisor")
    log.add("T01", "2026-01", 14, complications="none")
    run(db)
    found = db.execute(
        "select rate, rate_low, rate_high from complication_rate where attribution = 'in_trainee_hands'"
    ).fetchone()
    low, high = proportion_confint(2, 20, method="wilson")[0], proportion_confint(5, 20, method="wilson")[1]
    assert found == pytest.approx((0.1, low, high), abs=1e-12)


def test_nobody_knows_in_whose_hands_an_event_after_the_operation_happened() -> None:
    db = with_outcomes(LATE)
    log = Log(db)
    log.add("T01", "2026-01", 3, complications="late_event@3", follow_up_days=3, event_hands="trainee")
    log.add("T01", "2026-01", 2, complications="late_event@3", follow_up_days=3)
    log.add("T01", "2026-01", 5, complications="none", follow_up_days=31)
    log.add("T01", "2026-01", 1, complications="late_event@3", event_hands="supervisor")
    run(db)
    columns = (
        "attribution, events, known_outcomes, events_unclear, events_unfollowed, rate, rate_low is null, "
        "rate_high is null, possible_low, possible_high"
    )
    assert table(db, "complication_rate", columns) == drawn(f"""
        as_logged        | 5 | 10 | 0 | 1 | 0.5 | false | false | {6 / 11:.9g} | {6 / 11:.9g}
        as_started       | 5 | 10 | 0 | 1 | 0.5 | false | false | {6 / 11:.9g} | {6 / 11:.9g}
        in_trainee_hands | 3 | 10 | 2 | 1 |     | true  | true  |              |
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


def test_simulated_sessions_enter_no_rate_whatever_they_say() -> None:
    # 37 of 91 first-year cases of a made-up programme were such sessions; an attribute without the mark is none.
    content = yaml.safe_load(example())
    content["attributes"]["simulated"] = {"title": "Simulated", "patient": False}
    db = database(yaml.safe_dump(content, sort_keys=False).encode())
    put(db, "trainees", "trainee_ref\nT01")
    put(db, "data_through", "trainee_ref | data_through\nT01 | 2026-10")
    log = Log(db)
    log.add("T01", "2026-01", 37, complications="none", attributes="pediatric;simulated")
    log.add("T01", "2026-01", 1, complications="capsule_rupture", attributes="pediatric;simulated")
    log.add("T01", "2026-01", 50, complications="none", attributes="pediatric")
    log.add("T01", "2026-01", 2, complications="capsule_rupture")
    log.add("T01", "2026-01", 2, complications="none", attributes="none")
    run(db)
    assert (
        table(db, "complication_rate", COUNTS, "attribution = 'as_started'") == "2 | 54 | 0 | 0 | 0 | 0 | 54"
    )
    assert table(db, "case_volume", "counted_cases") == "92"


def test_cases_performed_elsewhere_and_unmapped_ones_enter_no_rate() -> None:
    db = with_outcomes({"capsule_rupture": {}})
    cases = """
        case_ref | operated_month | procedure      | complications
        C01      | 2023-06        | phaco_iol      | capsule_rupture
        C02      | 2023-07        | phaco_iol      | none
        C03      | 2023-07        | something_else | capsule_rupture
        C04      | 2023-07        | lid_repair     | capsule_rupture
    """
    assert counts(db, cases) == "0 | 1 | 0 | 0 | 0 | 0 | 1"


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
    columns = (
        "events, unknown_outcomes, not_yet_due, confidence, events_unclear, early_events, events_unfollowed, "
        "possible_low, possible_high, data_through"
    )
    assert set(table(db, "complication_rate", columns).splitlines()) == {
        "0 | 0 | 0 | 0.95 | 0 | 0 | 0 |  |  |"
    }


def test_both_sides_are_one_case_and_two_rows_are_two() -> None:
    db = with_outcomes({"capsule_rupture": {}})
    cases = """
        case_ref | side  | complications
        C01      | both  | capsule_rupture
        C02      | left  | capsule_rupture
        C02      | right | none
    """
    assert counts(db, cases) == "2 | 3 | 0 | 0 | 0 | 0 | 3"


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
        case_ref | follow_up_days | complications
        C01      | 400            | endophthalmitis@42;macular_oedema@90;retinal_detachment@90;wound_leak@7
        C02      | 400            | endophthalmitis@43;macular_oedema@91;retinal_detachment@91;wound_leak@8
        C03      | 400            | capsule_rupture@500;dropped_nucleus@500;vitreous_loss@500;zonular_dialysis@500
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
