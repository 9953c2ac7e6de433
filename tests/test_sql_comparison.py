"""cohort_comparison: beside all others, at the same training quarter."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from statsmodels.stats.proportion import proportion_confint
from statsmodels.stats.weightstats import DescrStatsW

from tests.drawn import Db, database, drawn, put, run, table
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


def test_a_trainee_in_quarter_2_is_compared_with_the_others_first_two_quarters_only() -> None:
    db, log = programme()
    db.execute("update input.trainees set credit_from = '2023-06' where started = '2023-07'")
    for ref in OTHERS:
        log.add(ref, "2023-06", 1)  # performed elsewhere, where the rule lets it count
        log.add(ref, "2023-07", 1)
        log.add(ref, "2023-12", 2)  # the last month of quarter 2
        log.add(ref, "2024-01", 8)
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


def test_a_rate_is_compared_with_the_pooled_rate_of_the_others_not_with_the_own() -> None:
    # Wilson intervals of statsmodels: the others 3 of 60, the trainee 5 of 10.
    db, log = programme()
    log.add("T01", "2026-08", 5, complications="capsule_rupture")
    log.add("T01", "2026-08", 5, complications="none")
    for ref in OTHERS:
        log.add(ref, "2023-08", 11, complications="none")
        log.add(ref, "2023-08", 4)
        log.add(ref, "2024-01", 30, complications="capsule_rupture")
    for ref in OTHERS[:3]:
        log.add(ref, "2023-12", 1, complications="capsule_rupture")
    log.add(OTHERS[4], "2023-09", 2, complications="none")
    columns = "value, value_low, value_high, reference, reference_low, reference_high, reference_n"
    found = numbers(db, "rate:capsule_rupture:as_logged", columns)
    own, others = proportion_confint(5, 10, method="wilson"), proportion_confint(3, 60, method="wilson")
    assert found == pytest.approx((0.5, *own, 0.05, *others, 5), abs=1e-12)


def test_the_three_attributions_are_compared_each_with_its_own() -> None:
    db, log = programme()
    for ref in OTHERS:
        log.add(ref, "2023-08", 6, complications="none")
        log.add(ref, "2023-08", 1, role="assistant", takeover=True, complications="none")
    log.add(OTHERS[0], "2023-08", 1, complications="capsule_rupture", event_hands="supervisor")
    taken_over = {"role": "assistant", "takeover": True, "event_hands": "trainee"}
    log.add(OTHERS[1], "2023-08", 1, complications="capsule_rupture", **taken_over)
    run(db)
    where = "measure like 'rate:%' and trainee_ref = 'T01'"
    assert table(db, "cohort_comparison", "measure, reference", where) == drawn(f"""
        rate:capsule_rupture:as_logged        | {1 / 31:.9g}
        rate:capsule_rupture:as_started       | {2 / 37:.9g}
        rate:capsule_rupture:in_trainee_hands | {1 / 37:.9g}
    """)


def test_unclear_hands_of_the_others_widen_their_interval_too() -> None:
    # Wilson intervals of statsmodels: 1 event of 35 below, 1 + 2 above.
    db, log = programme()
    for ref in OTHERS:
        log.add(ref, "2023-08", 6, complications="none")
    for ref, hands in zip(OTHERS, ("trainee", "unclear", None, "supervisor"), strict=False):
        log.add(ref, "2023-08", 1, complications="capsule_rupture", event_hands=hands)
    log.add(OTHERS[4], "2023-08", 1, complications="none")
    low, high = proportion_confint(1, 35, method="wilson")[0], proportion_confint(3, 35, method="wilson")[1]
    found = numbers(db, "rate:capsule_rupture:in_trainee_hands")
    assert found == pytest.approx((1 / 35, low, high), abs=1e-12)


def test_after_the_operation_no_rate_in_the_hands_of_others_is_compared() -> None:
    db, log = programme(infection={"window_days": 7})
    for ref in ("T01", *OTHERS):
        log.add(ref, "2023-08" if ref != "T01" else "2026-08", 6, complications="none", follow_up_days=7)
    assert compared(db, "rate:infection:in_trainee_hands") == drawn("| | | | 0")
    assert compared_measure(db, "rate:infection:as_started").startswith("0 | 0 | 0 | ")


def compared_measure(db: Db, measure: str) -> str:
    return table(db, "cohort_comparison", REFERENCE, f"measure = '{measure}' and trainee_ref = 'T01'")


def test_somebody_of_whom_nothing_is_known_stands_behind_no_rate() -> None:
    db, log = programme()
    for ref in OTHERS[:4]:
        log.add(ref, "2023-08", 10, complications="none")
    log.add(OTHERS[4], "2023-08", 10)
    assert compared(db, "rate:capsule_rupture:as_logged") == drawn("| | | | 4")


@pytest.mark.parametrize(("unknown", "expected"), [(2, "0 | 5"), (3, "| 5")])
def test_a_windowed_rate_of_the_others_needs_half_of_their_due_outcomes(unknown: int, expected: str) -> None:
    # Known 2 each, 10 together; unknown 2 each or 3 each: 10 of 20 due or 10 of 25.
    db, log = programme(infection={"window_days": 30})
    for ref in OTHERS:
        log.add(ref, "2023-08", 2, complications="none", follow_up_days=30)
        log.add(ref, "2023-08", unknown, complications="none", follow_up_days=29)
    assert compared(db, "rate:infection:as_logged", "reference, reference_n") == drawn(expected)


# ---- shares and means


def test_a_share_is_of_cases_at_the_second_highest_level_of_a_surgeon_or_above() -> None:
    # The levels of a surgeon are guided and available: from guided on. Intervals by statsmodels.
    db, log = programme()
    log.add("T01", "2026-08", 3, supervision="observed")
    log.add("T01", "2026-08", 1, supervision="available")
    log.add("T01", "2026-08", 4)
    for ref in OTHERS:
        log.add(ref, "2023-08", 3, supervision="observed")
        log.add(ref, "2023-12", 1, supervision="guided")
        log.add(ref, "2024-01", 9, supervision="guided")
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


def test_a_mean_score_is_compared_with_the_pooled_scores_of_the_others() -> None:
    # Intervals of the mean by statsmodels.
    db, log = programme()
    own, pooled = [2, 3, 3, 4], []
    (case,) = log.add("T01", "2026-08")
    log.review("T01", case, own)
    for place, ref in enumerate(OTHERS):
        (case,) = log.add(ref, "2023-12")
        log.review(ref, case, [3, 4, 1 + place])
        pooled += [3, 4, 1 + place]
        (late,) = log.add(ref, "2024-01")
        log.review(ref, late, [5, 5, 5])
    columns = "value, value_low, value_high, reference, reference_low, reference_high, reference_n"
    found = numbers(db, "score_mean:capsulorhexis", columns)
    mine, theirs = (DescrStatsW(np.array(each, float)) for each in (own, pooled))
    expected = (np.mean(own), *mine.tconfint_mean(), np.mean(pooled), *theirs.tconfint_mean(), 5)
    assert found == pytest.approx(expected, abs=1e-12)


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
