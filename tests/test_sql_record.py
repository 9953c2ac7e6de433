"""Which cases are live, where they fall in the training, and whose data are current."""

from __future__ import annotations

from functools import partial

import pytest

from tests.drawn import Db, database, drawn, example, put, table
from tests.drawn import run as make

# Later files read what is tested here, and are tested elsewhere.
run = partial(
    make, views=("case_record", "case_complication", "case_attribute", "trainee_clock", "training_mark")
)


@pytest.fixture
def db() -> Db:
    return database(example())


def one_trainee(db: Db, started: str = "2023-07") -> None:
    put(db, "trainees", f"trainee_ref | started\nT01 | {started}")
    put(db, "data_through", "trainee_ref | data_through\nT01 | 2026-10")


def test_a_trainee_without_a_programme_belongs_to_the_programme_of_the_store(db: Db) -> None:
    put(db, "trainees", "trainee_ref | programme_ref | cohort\nT01 | | 2026-27\nT02 | other-eye | 1999-00")
    run(db)
    assert table(db, "trainee", "trainee_ref, programme_ref, cohort, cohort_ends") == drawn("""
        T01 | harbour-eye | 2026-27 | 2027
        T02 | other-eye   | 1999-00 | 2000
    """)


def test_data_run_through_the_earliest_of_the_sources_and_null_with_none(db: Db) -> None:
    put(db, "trainees", "trainee_ref\nT01\nT02")
    put(
        db,
        "data_through",
        """
        trainee_ref | source | data_through
        T01         | main   | 2026-10
        T01         | second | 2026-08
    """,
    )
    run(db)
    assert table(db, "trainee", "trainee_ref, data_through") == drawn("""
        T01 | 2026-08
        T02 |
    """)


def test_a_person_is_current_until_the_last_day_of_the_data_and_45_days_lie_before_today(db: Db) -> None:
    # 30 September + 45 days = 14 November.
    put(db, "trainees", "trainee_ref\nT01\nT02")
    put(db, "data_through", "trainee_ref | data_through\nT01 | 2026-09")
    db.execute("update input.programme set as_of = '2026-11-14'")
    run(db)
    assert table(db, "trainee", "trainee_ref, is_current") == "T01 | true\nT02 | false"


@pytest.mark.parametrize(("as_of", "days"), [("2026-11-15", 45), ("2026-11-14", 44)])
def test_a_person_is_not_current_a_day_later_or_by_a_shorter_setting(db: Db, as_of: str, days: int) -> None:
    put(db, "trainees", "trainee_ref\nT01")
    put(db, "data_through", "trainee_ref | data_through\nT01 | 2026-09")
    db.execute("update input.programme set as_of = ?, current_within_days = ?", [as_of, days])
    run(db)
    assert table(db, "trainee", "trainee_ref, is_current") == "T01 | false"


@pytest.mark.parametrize("column", ["completed", "left"])
@pytest.mark.parametrize(
    ("over", "through", "expected"),
    [
        ("2026-05", "2026-05", "true | true"),  # data reach the month: nothing later is to come
        ("2026-05", "2026-04", "true | false"),
        ("2026-11", "2026-10", "true | true"),  # from its month on; and current by the days
        ("2026-12", "2026-10", "false | true"),  # still to come
        ("2026-12", "2026-09", "false | false"),
        ("", "2026-09", "false | false"),
        ("2026-05", "", "true | false"),
    ],
)
def test_training_is_over_from_the_month_on_and_its_data_are_current_once_they_reach_it(
    db: Db, column: str, over: str, through: str, expected: str
) -> None:
    put(db, "trainees", f"trainee_ref | {column}\nT01 | {over}")
    if through:
        put(db, "data_through", f"trainee_ref | data_through\nT01 | {through}")
    run(db)
    assert table(db, "trainee", "training_is_over, is_current") == expected


def test_a_case_takes_the_stage_in_force_in_its_month(db: Db) -> None:
    one_trainee(db)
    put(
        db,
        "training",
        """
        trainee_ref | from    | to      | kind  | value
        T01         | 2023-08 |         | stage | first_year
        T01         | 2024-07 | 2024-12 | stage | chief
        T01         | 2024-10 | 2024-11 | stage | First_Year
        T01         | 2023-07 |         | leave |
        T01         | 2023-09 | 2023-10 | rotation | chief
    """,
    )
    put(
        db,
        "cases",
        """
        case_ref | operated_month
        C01      | 2023-07
        C02      | 2023-08
        C02b     | 2023-10
        C02c     | 2023-11
        C03      | 2024-06
        C04      | 2024-07
        C05      | 2024-10
        C06      | 2024-11
        C07      | 2024-12
        C08      | 2025-01
    """,
    )
    run(db)
    assert table(db, "case_record", "case_ref, stage") == drawn("""
        C01 |
        C02 | first_year
        C02b | first_year
        C02c | first_year
        C03 | first_year
        C04 | chief
        C05 | first_year
        C06 | first_year
        C07 | chief
        C08 |
    """)


def test_a_last_stage_without_an_end_goes_on(db: Db) -> None:
    one_trainee(db)
    put(db, "training", "trainee_ref | from | kind | value\nT01 | 2023-07 | stage | chief")
    put(db, "cases", "case_ref | operated_month\nC01 | 2026-10")
    run(db)
    assert table(db, "case_record", "case_ref, stage") == "C01 | chief"


def test_a_case_is_elsewhere_before_the_start_or_in_a_period_elsewhere(db: Db) -> None:
    one_trainee(db)
    put(
        db,
        "training",
        """
        trainee_ref | from    | to      | kind      | value
        T01         | 2024-01 | 2024-03 | elsewhere | exchange
        T01         | 2026-09 |         | elsewhere |
        T01         | 2025-01 | 2025-12 | rotation  | cornea
        T02         | 2023-07 | 2026-12 | elsewhere |
    """,
    )
    put(
        db,
        "cases",
        """
        case_ref | operated_month
        C01      | 2023-06
        C02      | 2023-07
        C03      | 2023-12
        C04      | 2024-01
        C05      | 2024-03
        C06      | 2024-04
        C07      | 2025-06
        C08      | 2026-08
        C09      | 2026-09
        C10      | 2026-10
    """,
    )
    run(db)
    assert table(db, "case_record", "case_ref, performed_elsewhere") == drawn("""
        C01 | true
        C02 | false
        C03 | false
        C04 | true
        C05 | true
        C06 | false
        C07 | false
        C08 | false
        C09 | true
        C10 | true
    """)


def test_quarter_1_is_the_first_three_months_of_training_and_leave_stops_the_clock(db: Db) -> None:
    one_trainee(db, started="2023-11")
    put(db, "training", "trainee_ref | from | to | kind\nT01 | 2023-12 | 2024-03 | leave")
    put(
        db,
        "cases",
        """
        case_ref | operated_month
        C01      | 2023-10
        C02      | 2023-11
        C03      | 2024-01
        C04      | 2024-02
        C05      | 2024-11
    """,
    )
    run(db)
    assert table(db, "case_record", "case_ref, training_month, training_quarter") == drawn("""
        C01 | 1  | 1
        C02 | 1  | 1
        C03 | 1  | 1
        C04 | 1  | 1
        C05 | 9  | 3
    """)


CLOCK = "calendar_month, counts_as, active_month, training_month, training_quarter"


def test_the_clock_counts_part_time_by_its_fraction_and_of_overlaps_the_smallest(db: Db) -> None:
    put(db, "trainees", "trainee_ref | started | expected_completion\nT01 | 2024-01 | 2024-09")
    put(
        db,
        "training",
        """
        trainee_ref | from    | to      | kind      | value
        T01         | 2024-02 | 2024-04 | part_time | 50 %
        T01         | 2024-04 | 2024-05 | part_time | 0.25
        T01         | 2024-05 | 2024-05 | leave     |
        T01         | 2024-06 | 2024-06 | part_time | 33.3333333 %
        T01         | 2024-07 | 2024-07 | elsewhere |
    """,
    )
    run(db)
    # 33.3333333 % to the millionth is 0.333333; time elsewhere counts.
    assert table(db, "active_month", CLOCK) == drawn("""
        2024-01 | 1        | 1        | 1 | 1
        2024-02 | 0.5      | 1.5      | 2 | 1
        2024-03 | 0.5      | 2        | 2 | 1
        2024-04 | 0.25     | 2.25     | 3 | 1
        2024-05 | 0        | 2.25     | 3 | 1
        2024-06 | 0.333333 | 2.583333 | 3 | 1
        2024-07 | 1        | 3.583333 | 4 | 2
        2024-08 | 1        | 4.583333 | 5 | 2
        2024-09 | 1        | 5.583333 | 6 | 2
    """)


def test_the_clock_of_a_transfer_begins_with_what_may_be_credited(db: Db) -> None:
    put(
        db,
        "trainees",
        "trainee_ref | started | credit_from | expected_completion\nT01 | 2024-04 | 2024-02 | 2024-04\n"
        "T02 | 2024-03 | 2024-04 | 2024-04",
    )
    run(db)
    assert table(db, "active_month", f"trainee_ref, {CLOCK}, is_elsewhere") == drawn("""
        T01 | 2024-02 | 1 | 1 | 1 | 1 | true
        T01 | 2024-03 | 1 | 2 | 2 | 1 | true
        T01 | 2024-04 | 1 | 3 | 3 | 1 | false
        T02 | 2024-03 | 1 | 1 | 1 | 1 | false
        T02 | 2024-04 | 1 | 2 | 2 | 1 | false
    """)


def test_marks_under_the_time_of_a_training_stand_on_its_clock(db: Db) -> None:
    put(
        db,
        "trainees",
        "trainee_ref | started | credit_from | expected_completion | left\nT01 | 2024-04 | 2024-02 | 2024-12 |\n"
        "T02 | 2024-01 | | 2024-12 | 2024-06",
    )
    put(db, "data_through", "trainee_ref | data_through\nT01 | 2024-09\nT02 | 2024-08")
    put(
        db,
        "training",
        """
        trainee_ref | from    | to      | kind      | value
        T01         | 2024-02 | 2024-03 | elsewhere |
        T01         | 2024-04 | 2024-05 | rotation  | Eye_wing
        T01         | 2024-06 | 2024-07 | leave     | never said
        T01         | 2024-08 |         | rotation  | lids
        T01         | 2024-10 | 2024-11 | part_time | 0.5
        T01         | 2024-11 | 2025-02 | rotation  | eye_wing
        T02         | 2024-05 | 2024-08 | rotation  | lids
        T02         | 2024-07 | 2024-09 | leave     |
    """,
    )
    run(db)
    # T01: February and March elsewhere are months 1 and 2; the leave of two months stands after month 4 and takes no
    # room; the data end with September, month 6; October counts a half, so the plan goes on from 6.5 through December:
    # 7 after November, 8 after December. T02 left in June: what was planned after it never was.
    marks = "trainee_ref, kind, first_month, rotation, active_from, active_to, months, is_ahead"
    assert table(db, "training_mark", marks) == drawn("""
        T01 | data_end  | 2024-09 |          | 6   | 6 |   | false
        T01 | elsewhere | 2024-02 |          | 0   | 2 | 2 | false
        T01 | leave     | 2024-06 |          | 4   | 4 | 2 | false
        T01 | rotation  | 2024-04 | eye_wing | 2   | 4 | 2 | false
        T01 | rotation  | 2024-08 | lids     | 4   | 6 | 2 | false
        T01 | rotation  | 2024-11 | eye_wing | 6.5 | 8 | 2 | true
        T01 | transfer  | 2024-04 |          | 2   | 2 |   | false
        T02 | data_end  | 2024-06 |          | 6   | 6 |   | false
        T02 | rotation  | 2024-05 | lids     | 4   | 6 | 2 | false
    """)
    assert "said" not in str(db.execute("from training_mark").fetchall())


def test_a_fraction_that_an_earlier_version_let_in_unread_is_a_whole_month(db: Db) -> None:
    put(db, "trainees", "trainee_ref | started | expected_completion\nT01 | 2024-01 | 2024-02")
    put(
        db,
        "training",
        "trainee_ref | from | to | kind | value\nT01 | 2024-01 | 2024-01 | part_time |\n"
        "T01 | 2024-02 | 2024-02 | part_time | half",
    )
    run(db)
    assert table(db, "active_month", "active_month") == "1\n2"


def test_the_months_left_are_those_of_the_plan_without_leave(db: Db) -> None:
    put(db, "trainees", "trainee_ref | started | expected_completion\nT01 | 2026-01 | 2027-06")
    put(db, "data_through", "trainee_ref | data_through\nT01 | 2026-10")
    put(
        db,
        "training",
        "trainee_ref | from | to | kind | value\nT01 | 2026-12 | 2027-01 | leave |\n"
        "T01 | 2027-06 | | part_time | 0.5",
    )
    run(db)
    # November, February to May, half of June.
    assert table(db, "trainee_clock", "active_month, months_left") == "10.000000 | 5.500000"


def test_a_key_live_in_two_sources_counts_once_as_the_source_taken_last_has_it(db: Db) -> None:
    one_trainee(db)
    put(
        db,
        "cases",
        """
        case_ref | side | role      | source | source_taken | taken
        C01      | left | assistant | second | 3            | 1
        C01      | left | surgeon   | main   | 2            | 2
        C02      |      | surgeon   | main   | 2            | 2
        C02      |      | observer  | second | 3            | 1
        C03      | left | surgeon   | main   | 2            | 2
        C03      |      | surgeon   | second | 3            | 1
    """,
    )
    run(db)
    assert table(db, "case_record", "case_ref, side, role, source", "case_ref <> 'C03'") == drawn("""
        C01 | left | assistant | second
        C02 |      | observer  | second
    """)
    assert table(db, "case_record", "count(*)", "case_ref = 'C03'") == "2"


def test_two_trainees_may_carry_the_same_case(db: Db) -> None:
    put(db, "trainees", "trainee_ref\nT01\nT02")
    put(db, "cases", "case_ref | trainee_ref | role\nC01 | T01 | surgeon\nC01 | T02 | assistant")
    run(db)
    assert table(db, "case_record", "trainee_ref, role") == "T01 | surgeon\nT02 | assistant"


def test_cases_are_numbered_by_month_then_intake_then_place_in_the_file(db: Db) -> None:
    one_trainee(db)
    put(
        db,
        "cases",
        """
        case_ref | operated_month | source | source_taken | taken | case_sequence
        C05      | 2026-02        | main   | 1            | 1     | 1
        C04      | 2026-01        | second | 2            | 1     | 1
        C03      | 2026-01        | main   | 1            | 3     | 1
        C02      | 2026-01        | main   | 1            | 1     | 9
        C01      | 2026-01        | main   | 1            | 1     | 8
    """,
    )
    run(db)
    assert table(db, "case_record", "case_sequence, case_ref") == drawn("""
        1 | C01
        2 | C02
        3 | C03
        4 | C04
        5 | C05
    """)


def test_rows_of_one_case_are_numbered_by_procedure_and_side_where_nothing_else_tells(db: Db) -> None:
    one_trainee(db)
    put(
        db,
        "cases",
        """
        case_ref | procedure   | side  | case_sequence
        C01      | phaco_iol   | right | 1
        C01      | phaco_iol   | left  | 1
        C01      | phaco_iol   |       | 1
        C01      | manual_lens | right | 1
    """,
    )
    run(db)
    assert table(db, "case_record", "case_sequence, procedure, side") == drawn("""
        1 | manual_lens | right
        2 | phaco_iol   |
        3 | phaco_iol   | left
        4 | phaco_iol   | right
    """)


def test_an_unmapped_procedure_has_no_group(db: Db) -> None:
    one_trainee(db)
    put(db, "cases", "case_ref | procedure\nC01 | lid_repair\nC02 | something_else")
    run(db)
    assert table(db, "case_record", "case_ref, procedure_group") == drawn("C01 | lid\nC02 |")


def test_lists_are_unnested_once_with_their_days(db: Db) -> None:
    one_trainee(db)
    put(
        db,
        "cases",
        """
        case_ref | complications                     | attributes
        C01      | capsule_rupture;endophthalmitis@5 | pediatric;simulated
        C02      | none                              | none
        C03      |                                   |
        C04      | endophthalmitis@0                 |
    """,
    )
    run(db)
    assert table(db, "case_complication", 'case_ref, complication_ref, "day"') == drawn("""
        C01 | capsule_rupture |
        C01 | endophthalmitis | 5
        C04 | endophthalmitis | 0
    """)
    assert table(db, "case_attribute", "case_ref, attribute") == "C01 | pediatric\nC01 | simulated"


@pytest.mark.parametrize(
    ("data_through", "as_of", "months"),
    [
        # Of July to mid November: August, September and October; November is not over.
        ("2026-07", "2026-11-15", "3"),
        ("2026-09", "2026-11-15", "1"),
        ("2026-10", "2026-11-15", "0"),
        ("2026-11", "2026-11-15", "0"),
        ("2026-11", "2027-01-02", "1"),
    ],
)
def test_months_not_entered_are_the_whole_months_after_the_data(
    db: Db, data_through: str, as_of: str, months: str
) -> None:
    put(db, "trainees", "trainee_ref\nT01\nT02")
    put(db, "data_through", f"trainee_ref | data_through\nT01 | {data_through}")
    db.execute("update input.programme set as_of = ?", [as_of])
    run(db)
    assert table(db, "trainee", "trainee_ref, months_not_entered") == drawn(f"""
        T01 | {months}
        T02 |
    """)
