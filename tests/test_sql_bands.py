"""volume_course and volume_band, supervision_band: courses and bands, from completed classes only."""

from __future__ import annotations

from functools import partial

import numpy as np
import pytest

from tests.drawn import Db, database, drawn, put, table
from tests.drawn import run as make
from tests.example_standing import Log, put_through, put_trainees, specialty

# Later files read what is tested here, and are tested elsewhere.
run = partial(make, views=("volume_band", "supervision_band"))

COURSE = "training_month, counted_cases"


def course(db: Db, trainee: str = "T01") -> str:
    run(db)
    return table(db, "volume_course", COURSE, f"trainee_ref = '{trainee}'")


# ---- the course of one trainee


def test_a_course_counts_up_month_by_month_and_keeps_months_without_a_case() -> None:
    db = database(specialty(requirements={"lens": {"elsewhere": True}}))
    put_trainees(db, {"T01": "2026-07"})
    db.execute("update input.trainees set credit_from = '2026-05'")
    log = Log(db)
    log.add("T01", "2026-05", 2)
    log.add("T01", "2026-07")
    log.add("T01", "2026-09", 3)
    log.add("T01", "2026-09", 3, role="assistant")
    # The clock of a transfer begins with the two that were performed elsewhere, and that the rule lets count.
    assert course(db) == drawn("""
        1 | 2
        2 | 2
        3 | 3
        4 | 3
        5 | 6
        6 | 6
    """)
    assert table(db, "case_volume", "counted_cases") == "6"


def test_a_course_ends_with_the_data_and_cases_after_it_are_in_case_volume_alone() -> None:
    db = database(specialty())
    put_trainees(db, {"T01": "2026-07"}, through="2026-08")
    Log(db).add("T01", "2026-09", 3)
    assert course(db) == drawn("1 | 0\n2 | 0")
    assert table(db, "case_volume", "counted_cases") == "3"


@pytest.mark.parametrize("column", ["completed", "left"])
def test_a_course_ends_when_training_does(column: str) -> None:
    db = database(specialty())
    put(db, "trainees", f"trainee_ref | started | {column}\nT01 | 2025-07 | 2025-09")
    put_through(db, {"T01": "2026-10"})
    Log(db).add("T01", "2025-09", 3)
    assert course(db) == drawn("1 | 0\n2 | 0\n3 | 3")


@pytest.mark.parametrize(
    ("through", "over", "quarter"),
    [
        ("2026-08", "", "1"),  # two months of three
        ("2026-09", "", ""),
        ("2026-10", "", "2"),
        ("2026-10", "completed | 2026-08", ""),  # training ended before the quarter did
        ("2026-10", "left | 2026-10", ""),
        ("2026-07", "completed | 2026-08", "1"),
    ],
)
def test_a_quarter_is_so_far_while_the_data_end_within_it_and_training_goes_on(
    through: str, over: str, quarter: str
) -> None:
    db = database(specialty())
    column, month = over.split(" | ") if over else ("left", "")
    put(db, "trainees", f"trainee_ref | started | {column}\nT01 | 2026-07 | {month}")
    put_through(db, {"T01": through})
    run(db)
    assert table(db, "trainee_clock", "trainee_ref, quarter_so_far") == drawn(f"T01 | {quarter}")


def test_who_has_no_data_has_no_course() -> None:
    db = database(specialty())
    put(db, "trainees", "trainee_ref\nT01")
    assert course(db) == ""


def test_case_operated_on_both_sides_or_without_a_side_joins_its_own_credit_once() -> None:
    db = database(specialty())
    put_trainees(db, {"T01": "2026-10"})
    put(
        db,
        "cases",
        "case_ref | side | operated_month\nC01 | | 2026-10\nC01 | left | 2026-10\nC01 | right | 2026-10",
    )
    assert course(db) == "1 | 3"


# ---- the bands of completed classes

BAND = "training_month, p10, p25, p50, p75, p90, people"


def completed(people: int, months: int = 1) -> tuple[Db, list[int]]:
    """So many trainees who completed, with made-up cases in their first month; and the numbers."""
    db = database(specialty())
    log = Log(db)
    numbers = [int(each) for each in np.random.default_rng(people).integers(0, 12, people)]
    for place, cases in enumerate(numbers):
        ref = f"P{place:02d}"
        end = f"2020-{6 + months:02d}"
        put(db, "trainees", f"trainee_ref | cohort | started | completed\n{ref} | 2019-20 | 2020-07 | {end}")
        put_through(db, {ref: "2026-10"})
        log.add(ref, "2020-07", cases)
    return db, numbers


def rounded(numbers: list[int], shares: tuple[float, ...]) -> list[str]:
    return [str(int(np.floor(np.quantile(numbers, share) + 0.5))) for share in shares]


@pytest.mark.parametrize("people", [9, 10, 11, 19, 20, 21])
def test_quartiles_need_10_people_and_10_and_90_need_20(people: int) -> None:
    # numpy.quantile, rounded half up.
    db, numbers = completed(people)
    run(db)
    p10, p25, p50, p75, p90 = rounded(numbers, (0.1, 0.25, 0.5, 0.75, 0.9))
    if people < 20:
        p10 = p90 = ""
    if people < 10:
        p25 = p50 = p75 = ""
    expected = drawn(f"1 | {p10} | {p25} | {p50} | {p75} | {p90} | {people}")
    assert table(db, "volume_band", BAND) == expected


def test_a_band_has_only_those_whose_training_reached_the_month() -> None:
    db, _ = completed(10, months=2)
    db.execute("update input.trainees set completed = '2020-07' where trainee_ref = 'P00'")
    run(db)
    assert table(db, "volume_band", "training_month, people, p50 is null") == drawn("""
        1 | 10 | false
        2 | 9  | true
    """)


@pytest.mark.parametrize(
    ("change", "people"),
    [
        ("completed = null", 0),  # a class with somebody still in training is not over
        ("completed = null, \"left\" = '2020-07'", 9),  # who left is in no band, and holds none up
        ("completed = '2026-12'", 0),  # a completion still to come
        ("completed = null, cohort = '2026-27'", 9),  # somebody of another class
    ],
)
def test_bands_are_of_completed_classes_only(change: str, people: int) -> None:
    db, _ = completed(10)
    db.execute(f"update input.trainees set {change} where trainee_ref = 'P00'")
    run(db)
    assert table(db, "volume_band", "people") == (str(people) if people else "")


def test_classes_are_pooled_and_programmes_are_not() -> None:
    db, _ = completed(10)
    db.execute("update input.trainees set cohort = '2018-19' where trainee_ref < 'P03'")
    db.execute("update input.trainees set programme_ref = 'elsewhere' where trainee_ref > 'P07'")
    run(db)
    assert table(db, "volume_band", "programme_ref, people") == drawn("elsewhere | 2\nharbour-eye | 8")


def test_half_a_case_is_rounded_up() -> None:
    db, _ = completed(10)
    db.execute("delete from input.cases")
    log = Log(db)
    for place in range(5, 10):
        log.add(f"P{place:02d}", "2020-07", 3)
    run(db)
    # 5 x 0, 5 x 3: the median is 1.5, the quartiles 0 and 3.
    assert table(db, "volume_band", "p25, p50, p75") == "0 | 2 | 3"


# ---- supervision in the short words of the charts

SHARES = "procedure_group, training_quarter, band, band_order, cases, known_cases, share"


def test_levels_of_one_band_are_joined_and_all_groups_stand_together_beside_each() -> None:
    db = database(specialty())
    db.execute("update supervision_level set band = 'with help' where level_ref in ('observed', 'guided')")
    put_trainees(db, {"T01": "2026-01"})
    log = Log(db)
    log.add("T01", "2026-01", 1, supervision="observed")
    log.add("T01", "2026-02", 2, supervision="guided")
    log.add("T01", "2026-03", 1, supervision="available")
    log.add("T01", "2026-03", 5)
    log.add("T01", "2026-03", 4, procedure="lid_cyst", supervision="available")
    log.add("T01", "2026-04", 1, procedure="lid_cyst", supervision="available")
    log.add("T01", "2026-04", 1, role="assistant", supervision="observed")
    run(db)
    assert table(db, "supervision_band", SHARES) == drawn("""
        all  | 1 | available | 3 | 5 | 8 | 0.625
        all  | 1 | with help | 1 | 3 | 8 | 0.375
        all  | 2 | available | 3 | 1 | 1 | 1
        lens | 1 | available | 3 | 1 | 4 | 0.25
        lens | 1 | with help | 1 | 3 | 4 | 0.75
        lid  | 1 | available | 3 | 4 | 4 | 1
        lid  | 2 | available | 3 | 1 | 1 | 1
    """)


def test_a_quarter_without_a_recorded_level_has_no_band() -> None:
    db = database(specialty())
    put_trainees(db, {"T01": "2026-01"})
    Log(db).add("T01", "2026-01", 3)
    run(db)
    assert table(db, "supervision_band", SHARES) == ""


def test_a_level_that_the_ladder_no_longer_has_is_in_no_band() -> None:
    db = database(specialty())
    put_trainees(db, {"T01": "2026-01"})
    log = Log(db)
    log.add("T01", "2026-01", 2, supervision="guided")
    log.add("T01", "2026-01", 3, supervision="by_telephone")
    run(db)
    of_lens = "training_quarter, band, cases, known_cases"
    assert table(db, "supervision_band", of_lens, "procedure_group = 'lens'") == "1 | guided | 2 | 2"
    assert table(db, "supervision_mix", "level_ref, level_rank, cases") == drawn("""
        by_telephone |   | 3
        guided       | 2 | 2
    """)
