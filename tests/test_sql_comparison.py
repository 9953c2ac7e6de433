"""cohort_comparison: beside all others, at the same active month; rates at the same case numbers."""

from __future__ import annotations

from functools import partial
from typing import Any

import numpy as np
import pytest
from scipy.stats import t, ttest_ind
from statsmodels.stats.proportion import confint_proportions_2indep, proportion_confint
from statsmodels.stats.weightstats import DescrStatsW

from tests.drawn import Db, database, drawn, put, table
from tests.drawn import run as make
from tests.example_standing import (
    BEGINNER,
    OTHERS,
    SENIOR,
    Log,
    programme,
    put_through,
    put_trainees,
    specialty,
)
from tests.stores import PUBLISHED, read_csv

# Later files read what is tested here, and are tested elsewhere.
run = partial(make, views=("cohort_comparison",))

REFERENCE = "value, reference, reference_low, reference_high, reference_n"


def compared(db: Db, measure: str, columns: str = REFERENCE, trainee: str = "T01") -> str:
    run(db)
    return table(db, "cohort_comparison", columns, f"measure = '{measure}' and trainee_ref = '{trainee}'")


def numbers(
    db: Db, measure: str, columns: str = "reference, reference_low, reference_high"
) -> tuple[Any, ...]:
    run(db)
    where = f"measure = '{measure}' and trainee_ref = 'T01'"
    (row,) = db.execute(f"select {columns} from cohort_comparison where {where}").fetchall()
    return row


# ---- counts


def test_a_count_is_compared_with_the_median_and_quartiles_of_the_others() -> None:
    # numpy.quantile of the five others; the trainee's own 9 cases are not among them.
    db, log = programme()
    log.add("T01", "2026-08", 9)
    for ref, cases in zip(OTHERS, (0, 1, 4, 6, 11), strict=True):
        log.add(ref, "2023-08", cases)
    found = numbers(db, "counted_cases:lens")
    assert found == pytest.approx(np.quantile([0, 1, 4, 6, 11], [0.5, 0.25, 0.75]), abs=1e-12)
    assert compared_again(db) == "9 | 4 | 1 | 6 | 5"


def compared_again(db: Db, trainee: str = "T01") -> str:
    where = f"measure = 'counted_cases:lens' and trainee_ref = '{trainee}'"
    return table(db, "cohort_comparison", REFERENCE, where)


def test_six_others_have_quartiles_between_two_of_them() -> None:
    db, log = programme(others=6)
    for place, cases in enumerate((3, 1, 4, 1, 5, 9)):
        log.add(f"T{11 + place}", "2023-08", cases)
    expected = np.quantile([3, 1, 4, 1, 5, 9], [0.5, 0.25, 0.75])
    assert numbers(db, "counted_cases:lens") == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize(("others", "expected"), [(4, "0 | | | | 4"), (5, "0 | 2 | 2 | 2 | 5")])
def test_fewer_than_five_others_are_no_reference(others: int, expected: str) -> None:
    db, log = programme(others=others)
    for place in range(others):
        log.add(f"T{11 + place}", "2023-08", 2)
    assert compared(db, "counted_cases:lens") == drawn(expected)


def test_a_trainee_in_month_4_is_compared_with_the_others_first_four_months_only() -> None:
    db, log = programme()
    db.execute("update input.trainees set credit_from = '2023-06' where started = '2023-07'")
    for ref in OTHERS:
        log.add(ref, "2023-06", 1)  # performed elsewhere, where the rule lets it count
        log.add(ref, "2023-07", 1)
        log.add(ref, "2023-09", 2)  # month 4: their cases count from June on
        log.add(ref, "2023-10", 8)
    db.execute("alter table requirement alter elsewhere set data type boolean using true")
    assert compared(db, "counted_cases:lens") == "0 | 4 | 4 | 4 | 5"


def test_a_trainee_whose_data_end_before_the_quarter_is_no_reference() -> None:
    db = database(specialty())
    put_trainees(db, {"T01": BEGINNER, **dict.fromkeys(OTHERS, SENIOR)})
    put_trainees(db, {"T20": SENIOR}, through="2023-09")
    put_trainees(db, {"T21": SENIOR}, through="2023-10")
    put(db, "trainees", "trainee_ref\nT22")
    assert compared(db, "counted_cases:lens", "reference_n") == "6"


def test_completed_classes_are_in_the_reference_and_who_left_only_while_in_training() -> None:
    db = database(specialty())
    put_trainees(db, {"T01": BEGINNER})
    put(
        db,
        "trainees",
        """
        trainee_ref | cohort  | started | completed | left
        T11         | 2022-23 | 2019-07 | 2023-06   |
        T12         | 2022-23 | 2019-07 | 2023-06   |
        T13         | 2022-23 | 2019-07 | 2023-06   |
        T14         | 2022-23 | 2019-07 | 2023-06   |
        T15         | 2022-23 | 2019-07 |           | 2019-10
        T16         | 2022-23 | 2019-07 |           | 2019-09
    """,
    )
    put_through(db, {f"T{number}": "2026-10" for number in range(11, 17)})
    log = Log(db)
    for number in range(11, 17):
        log.add(f"T{number}", "2019-08", number)
    assert compared(db, "counted_cases:lens") == "0 | 13 | 12 | 14 | 5"


def test_a_completed_trainee_is_compared_at_their_last_quarter() -> None:
    db = database(specialty())
    put(
        db,
        "trainees",
        """
        trainee_ref | cohort  | started | completed
        T01         | 2022-23 | 2023-01 | 2023-06
    """,
    )
    put_through(db, {"T01": "2026-10"})
    put_trainees(db, dict.fromkeys(OTHERS, SENIOR))
    log = Log(db)
    for ref in OTHERS:
        log.add(ref, "2023-12", 2)
        log.add(ref, "2024-01", 8)
    assert compared(db, "counted_cases:lens") == "0 | 2 | 2 | 2 | 5"


def test_a_quarter_still_running_of_another_counts_as_far_as_it_goes() -> None:
    db = database(specialty())
    put_trainees(db, {"T01": BEGINNER, **dict.fromkeys(OTHERS, "2026-07")})
    log = Log(db)
    for ref in OTHERS:
        log.add(ref, "2026-10", 3)
    assert compared(db, "counted_cases:lens") == "0 | 3 | 3 | 3 | 5"


def test_trainees_of_another_programme_are_no_reference() -> None:
    db, _ = programme()
    db.execute("update input.trainees set programme_ref = 'elsewhere' where trainee_ref = 'T15'")
    assert compared(db, "counted_cases:lens", "reference_n") == "4"


def test_who_has_no_data_has_no_reference_and_no_value_but_the_count() -> None:
    db, _ = programme()
    put(db, "trainees", "trainee_ref\nT30")
    run(db)
    columns = "measure, value, value_low, value_high, reference, reference_low, reference_high, reference_n, data_through"
    where = "trainee_ref = 'T30' and measure not like 'rate:%'"
    assert table(db, "cohort_comparison", columns, where) == drawn("""
        counted_cases:lens              | 0 | | | | | | 0 |
        score_mean:capsulorhexis        |   | | | | | | 0 |
        score_mean:nucleus_disassembly  |   | | | | | | 0 |
        score_mean:wound_closure        |   | | | | | | 0 |
        supervision_share:lens          |   | | | | | | 0 |
        supervision_share:lid           |   | | | | | | 0 |
    """)


def test_a_class_for_which_a_requirement_is_not_in_force_is_no_reference_for_it() -> None:
    db = database(specialty(requirements={"lens": {"cohorts": {"from": 2027, "to": None}}}))
    put_trainees(db, {"T01": BEGINNER, **dict.fromkeys(OTHERS, SENIOR)})
    db.execute("update input.trainees set cohort = '2025-26' where trainee_ref = 'T15'")
    assert compared(db, "counted_cases:lens", "reference_n") == "4"
    assert compared_again(db, "T15") == ""


# ---- rates

DIFFERENCE = "difference, difference_low, difference_high"


def ruptures(log: Log, ref: str, events: int, cases: int) -> None:
    month = "2026-08" if ref == "T01" else "2023-08"
    log.add(ref, month, events, complications="capsule_rupture", event_hands="trainee")
    log.add(ref, month, cases - events, complications="none")


@pytest.mark.parametrize(
    ("events", "cases", "differs"), [(3, 10, True), (2, 10, None), (3, 9, None), (3, 40, False)]
)
def test_a_rate_is_compared_with_what_is_expected_by_the_interval_of_the_difference(
    events: int, cases: int, differs: bool | None
) -> None:
    # All in one band of case numbers: Newcombe's method 10 by statsmodels, the others 2 of 100. Nothing is said below
    # three events or ten cases.
    db, log = programme()
    ruptures(log, "T01", events, cases)
    for ref in OTHERS:
        ruptures(log, ref, int(ref in OTHERS[:2]), 20)
    measure = "rate:capsule_rupture:as_started"
    found = numbers(db, measure, f"value_base, reference, reference_base, {DIFFERENCE}, differs")
    low, high = confint_proportions_2indep(events, cases, 2, 100, method="newcomb")
    assert found[:-1] == pytest.approx((cases, 0.02, 100, events / cases - 0.02, low, high), abs=1e-9)
    assert found[-1] is differs


def test_the_reference_of_a_rate_is_the_expected_rate() -> None:
    db, log = programme()
    ruptures(log, "T01", 3, 60)
    for ref in OTHERS:
        ruptures(log, ref, 2, 60)
    run(db)
    where = "trainee_ref = 'T01' and"
    expected = table(
        db, "expected_rate", "expected, expected_low, expected_high", f"{where} attribution = 'as_started'"
    )
    columns = "reference, reference_low, reference_high"
    assert table(db, "cohort_comparison", columns, f"{where} measure like '%:as_started'") == expected != ""


def test_nobody_is_compared_by_cases_as_logged() -> None:
    db, log = programme()
    for ref in ("T01", *OTHERS):
        ruptures(log, ref, 3, 20)
    assert numbers(db, "rate:capsule_rupture:as_logged", f"{DIFFERENCE}, differs") == (None, None, None, None)


# ---- differences of shares, by published values


def shares(log: Log, ref: str, at_level: int, cases: int) -> None:
    month = "2026-08" if ref == "T01" else "2023-08"
    log.add(ref, month, at_level, supervision="guided")
    log.add(ref, month, cases - at_level, supervision="observed")


@pytest.mark.parametrize("row", read_csv(PUBLISHED / "newcombe.csv"), ids=lambda row: row["case"])
def test_the_interval_of_a_difference_is_the_published_one(row: dict[str, str]) -> None:
    given, told = (
        {name: float(value) for name, value in (pair.split("=") for pair in row[cell].split(";"))}
        for cell in ("inputs", "expected")
    )
    db, log = programme()
    shares(log, "T01", int(given["x1"]), int(given["n1"]))
    events, cases = int(given["x2"]), int(given["n2"])
    for place, ref in enumerate(OTHERS):
        mine = events // 5 + (place < events % 5)
        shares(log, ref, mine, max(mine, cases // 5 + (place >= 5 - cases % 5)))
    found = numbers(db, "supervision_share:lens", "reference_base, difference_low, difference_high")
    assert found[0] == cases
    assert found[1:] == pytest.approx((told["lower"], told["upper"]), abs=float(row["tolerance"]))


# ---- shares and means


def test_a_share_is_of_cases_at_the_second_highest_level_of_a_surgeon_or_above() -> None:
    # The levels of a surgeon are guided and available: from guided on. Intervals by statsmodels.
    db, log = programme()
    log.add("T01", "2026-08", 3, supervision="observed")
    log.add("T01", "2026-08", 1, supervision="available")
    log.add("T01", "2026-08", 4)
    for ref in OTHERS:
        log.add(ref, "2023-08", 3, supervision="observed")
        log.add(ref, "2023-10", 1, supervision="guided")
        log.add(ref, "2023-11", 9, supervision="guided")
    columns = "value, value_low, value_high, reference, reference_low, reference_high, reference_n"
    found = numbers(db, "supervision_share:lens", columns)
    own, others = proportion_confint(1, 4, method="wilson"), proportion_confint(5, 20, method="wilson")
    assert found == pytest.approx((0.25, *own, 0.25, *others, 5), abs=1e-12)


@pytest.mark.parametrize(
    ("levels", "rank"),
    [
        ({"one": ["surgeon"]}, 1),
        ({"one": ["observer"], "two": ["surgeon"], "three": ["surgeon"], "four": ["surgeon"]}, 3),
        ({"one": ["surgeon"], "two": ["surgeon"], "three": ["teaching_assistant"]}, 1),
        ({"one": ["surgeon"], "two": ["surgeon"], "three": []}, 2),
        ({"one": ["observer"]}, None),
    ],
)
def test_the_level_from_which_on_a_share_counts_has_no_name_in_the_sql(
    levels: dict[str, list[str]], rank: int | None
) -> None:
    db = database(specialty())
    db.execute("delete from supervision_level")
    db.execute("delete from supervision_role")
    for place, (ref, roles) in enumerate(levels.items(), start=1):
        db.execute("insert into supervision_level values (?, ?, ?, ?)", [ref, ref, place, ref])
        for role in roles:
            db.execute("insert into supervision_role values (?, ?)", [ref, role])
    run(db)
    assert db.execute("select level_rank from upper_level").fetchall() == ([(rank,)] if rank else [])


def scored(log: Log, ref: str, month: str, scores: list[list[int]]) -> list[float]:
    """One operation a list, its reviews in it; returns the mean of each operation."""
    for reviews in scores:
        (case,) = log.add(ref, month)
        log.review(ref, case, reviews)
    return [float(np.mean(reviews)) for reviews in scores]


def test_a_mean_is_of_operations_and_compared_by_welch() -> None:
    # Intervals of the means by statsmodels; Welch's by scipy's formula with the degrees of freedom rounded down.
    db, log = programme()
    own = scored(log, "T01", "2026-08", [[2, 3], [3], [3, 3, 3], [4], [2]])
    pooled = []
    for place, ref in enumerate(OTHERS):
        pooled += scored(log, ref, "2023-10", [[3], [4, 5], [1 + place]])
        scored(log, ref, "2023-11", [[5, 5, 5]])
    columns = "value, value_low, value_high, reference, reference_low, reference_high, reference_n"
    found = numbers(db, "score_mean:capsulorhexis", columns)
    mine, theirs = (DescrStatsW(np.array(each, float)) for each in (own, pooled))
    expected = (np.mean(own), *mine.tconfint_mean(), np.mean(pooled), *theirs.tconfint_mean(), 5)
    assert found == pytest.approx(expected, abs=1e-9)
    error = np.sqrt(np.var(own, ddof=1) / 5 + np.var(pooled, ddof=1) / 15)
    half = t.ppf(0.975, np.floor(ttest_ind(own, pooled, equal_var=False).df)) * error
    where = "measure = 'score_mean:capsulorhexis' and trainee_ref = 'T01'"
    (row,) = db.execute(f"select {DIFFERENCE}, differs from cohort_comparison where {where}").fetchall()
    difference = np.mean(own) - np.mean(pooled)
    assert row[:3] == pytest.approx((difference, difference - half, difference + half), abs=1e-9)
    assert row[3] is bool(abs(difference) > half)


@pytest.mark.parametrize("own", [[[3]] * 5, [[2], [3], [4], [2]]])
def test_scores_all_alike_or_of_fewer_than_five_operations_say_nothing(own: list[list[int]]) -> None:
    db, log = programme()
    scored(log, "T01", "2026-08", own)
    for ref in OTHERS:
        scored(log, ref, "2023-08", [[5], [4]])
    assert numbers(db, "score_mean:capsulorhexis", "differs") == (None,)


def test_self_reviews_and_steps_of_a_supervisor_are_in_no_comparison() -> None:
    db, log = programme()
    for ref in ("T01", *OTHERS):
        (case,) = log.add(ref, BEGINNER if ref == "T01" else "2023-08")
        log.review(ref, case, [4])
        put(
            db,
            "reviews",
            f"""
            review_ref | trainee_ref | case_ref | step          | score | self_review | done_by_supervisor
            {ref}A     | {ref}       | {case}   | capsulorhexis | 1     | true        |
            {ref}B     | {ref}       | {case}   | capsulorhexis | 1     |             | planned
        """,
        )
    assert compared(db, "score_mean:capsulorhexis") == drawn("4 | 4 | 4 | 4 | 5")


def test_the_reference_of_a_programme_does_not_change_with_the_order_of_its_rows() -> None:
    db, log = programme()
    for ref in OTHERS:
        log.add(ref, "2023-08", 7, complications="none", supervision="guided")
    run(db)
    query = "select * from main.cohort_comparison order by all"
    first = db.execute(query).fetchall()
    again = db.execute(query.replace("main", "definition")).fetchall()
    assert first == again and len(first) == 6 * (1 + 3 + 2 + 3)
