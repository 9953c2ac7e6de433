"""technique_step: scores, manoeuvres and times of each step, from reviews by others."""

from __future__ import annotations

from functools import cache, partial

import duckdb
import numpy as np
import pytest
from scipy.stats import t
from statsmodels.stats.proportion import proportion_confint
from statsmodels.stats.weightstats import DescrStatsW

from pipelines.build.build import SQL, quantile_tables
from tests.drawn import Db, database, drawn, put, table
from tests.drawn import run as make
from tests.example_standing import Log, specialty

# Later files read what is tested here, and are tested elsewhere.
run = partial(make, views=("technique_step",))


@pytest.fixture
def db() -> Db:
    db = database(specialty())
    put(db, "trainees", "trainee_ref\nT01")
    put(db, "data_through", "trainee_ref | data_through\nT01 | 2026-10")
    return db


def reviewed(db: Db, reviews: str, cases: str = "case_ref\nC01") -> None:
    put(db, "cases", cases)
    put(db, "reviews", reviews)
    run(db)


def floats(db: Db, columns: str) -> tuple[float, ...]:
    (row,) = db.execute(f"select {columns} from technique_step").fetchall()
    return row


SCORES = "step, training_quarter, scored, score_mean, done_by_supervisor"


def test_scores_of_a_step_are_averaged_by_quarter_of_training(db: Db) -> None:
    reviewed(
        db,
        """
        review_ref | trainee_ref | case_ref | step          | score
        R1         | T01         | C01      | capsulorhexis | 2
        R2         | T01         | C01      | capsulorhexis | 5
        R1         | T01         | C01      | wound_closure | 4
        R3         | T01         | C02      | capsulorhexis | 3
    """,
        """
        case_ref | operated_month
        C01      | 2023-09
        C02      | 2023-10
    """,
    )
    assert table(db, "technique_step", SCORES) == drawn("""
        capsulorhexis | 1 | 2 | 3.5 | 0
        capsulorhexis | 2 | 1 | 3   | 0
        wound_closure | 1 | 1 | 4   | 0
    """)


def test_a_self_review_counts_for_nothing_at_all(db: Db) -> None:
    reviewed(
        db,
        """
        review_ref | trainee_ref | case_ref | step          | self_review | score | done_by_supervisor | attempts | successes
        R1         | T01         | C01      | capsulorhexis | true        | 5     | planned            | 4        | 4
        R1         | T01         | C01      | wound_closure | true        | 5     | no                 | 4        | 4
        R2         | T01         | C01      | capsulorhexis | false       | 3     | no                 | 2        | 1
        R3         | T01         | C01      | capsulorhexis |             | 2     |                    |          |
    """,
    )
    assert table(db, "technique_step", f"{SCORES}, attempts, successes") == drawn(
        "capsulorhexis | 11 | 2 | 2.5 | 0 | 2 | 1"
    )


@pytest.mark.parametrize("why", ["planned", "rescue"])
def test_a_step_done_by_a_supervisor_is_counted_and_stays_out_of_the_rest(db: Db, why: str) -> None:
    put(db, "cases", "case_ref\nC01")
    put(
        db,
        "reviews",
        f"""
        review_ref | trainee_ref | case_ref | step          | score | done_by_supervisor | attempts | successes
        R1         | T01         | C01      | capsulorhexis | 1     | {why}              | 9        | 9
        R2         | T01         | C01      | capsulorhexis | 4     | no                 | 2        | 1
    """,
    )
    db.execute(
        "update input.reviews set started_seconds = 10, ended_seconds = case score when 4 then 40 else 900 end"
    )
    run(db)
    assert table(db, "technique_step", f"{SCORES}, attempts, successes, seconds_median") == drawn(
        "capsulorhexis | 11 | 1 | 4 | 1 | 2 | 1 | 30"
    )


def test_a_step_that_only_a_supervisor_did_or_that_nobody_saw_has_no_mean(db: Db) -> None:
    reviewed(
        db,
        """
        review_ref | trainee_ref | case_ref | step          | score | done_by_supervisor
        R1         | T01         | C01      | capsulorhexis | 4     | rescue
        R1         | T01         | C01      | wound_closure |       | no
    """,
    )
    columns = f"{SCORES}, attempts, success_low, seconds_median"
    assert table(db, "technique_step", columns) == drawn("""
        capsulorhexis | 11 | 0 | | 1 | 0 | |
        wound_closure | 11 | 0 | | 0 | 0 | |
    """)


def test_a_step_from_3_10_to_3_47_of_a_recording_at_double_speed_lasted_74_s(db: Db) -> None:
    # Common practice, no source: a recording of 16 minutes made at double speed shows eight on its clock.
    step = f"{3 * 60 + 10} | {3 * 60 + 47}"
    reviewed(
        db,
        f"""
        review_ref | trainee_ref | case_ref | step                | started_seconds | ended_seconds | recording_speed
        R1         | T01         | C01      | capsulorhexis       | {step}          | 2
        R1         | T01         | C01      | nucleus_disassembly | 0               | {8 * 60}      | 2
        R2         | T01         | C01      | wound_closure       | {step}          |
        R3         | T01         | C01      | wound_closure       | 100             |               | 2
    """,
    )
    assert table(db, "technique_step", "step, seconds_median") == drawn(f"""
        capsulorhexis       | 74
        nucleus_disassembly | {16 * 60}
        wound_closure       | 37
    """)


@pytest.mark.parametrize("seconds", [[74], [30, 50], [31, 95, 40], [9, 400, 21, 60], [5, 5, 90, 12, 70, 33]])
def test_the_median_of_the_seconds_is_that_of_numpy(db: Db, seconds: list[int]) -> None:
    put(db, "cases", "case_ref\nC01")
    lines = [f"R{place} | T01 | C01 | capsulorhexis | 7 | {7 + each}" for place, each in enumerate(seconds)]
    header = "review_ref | trainee_ref | case_ref | step | started_seconds | ended_seconds"
    put(db, "reviews", "\n".join([header, *lines]))
    run(db)
    assert floats(db, "seconds_median") == (pytest.approx(np.median(seconds), abs=1e-12),)


def test_six_chops_of_six_succeed_61_to_100_percent(db: Db) -> None:
    # Common practice, no source; and the Wilson interval of statsmodels.
    reviewed(
        db,
        """
        review_ref | trainee_ref | case_ref | step                | attempts | successes
        R1         | T01         | C01      | nucleus_disassembly | 4        | 4
        R2         | T01         | C01      | nucleus_disassembly | 2        | 2
    """,
    )
    low, high = floats(db, "success_low, success_high")
    assert (round(100 * low, 1), high) == (61.0, 1.0)
    assert (low, high) == pytest.approx(proportion_confint(6, 6, method="wilson"), abs=1e-12)


def test_an_attempt_of_which_nobody_said_whether_it_succeeded_did_not_fail(db: Db) -> None:
    reviewed(
        db,
        """
        review_ref | trainee_ref | case_ref | step                | attempts | successes
        R1         | T01         | C01      | nucleus_disassembly | 3        | 2
        R2         | T01         | C01      | nucleus_disassembly | 5        |
        R3         | T01         | C01      | nucleus_disassembly | 1        | 0
    """,
    )
    assert table(db, "technique_step", "attempts, successes") == drawn("4 | 2")


def test_two_scores_have_a_mean_and_no_interval(db: Db) -> None:
    put(db, "cases", "case_ref\nC01")
    Log(db).review("T01", "C01", [2, 4])
    run(db)
    assert table(db, "technique_step", "scored, score_mean, score_low, score_high") == drawn("2 | 3 | |")


@pytest.mark.parametrize("scores", [[3, 3, 4], [2, 3, 4, 4], [3] * 40 + [4] * 25 + [2] * 9])
def test_the_interval_of_a_mean_is_that_of_scipy_and_of_statsmodels(db: Db, scores: list[int]) -> None:
    put(db, "cases", "case_ref\nC01")
    Log(db).review("T01", "C01", scores)
    run(db)
    found = floats(db, "score_low, score_high")
    other = DescrStatsW(np.array(scores, float)).tconfint_mean(alpha=0.05)
    spread = np.std(scores, ddof=1) / np.sqrt(len(scores))
    third = t.interval(0.95, len(scores) - 1, loc=np.mean(scores), scale=spread)
    assert found == pytest.approx(other, abs=1e-12)
    assert found == pytest.approx(third, abs=1e-12)


@pytest.mark.parametrize(("number", "degrees"), [(1000, 999), (1001, 1000), (1002, 1000), (1200, 1000)])
def test_more_than_1001_scores_use_the_quantile_of_1000_degrees(db: Db, number: int, degrees: int) -> None:
    # Wider than scipy's own by at most 0.0013 of the width, never narrower.
    put(db, "cases", "case_ref\nC01")
    db.execute(
        "insert into input.reviews (review_ref, case_ref, trainee_ref, step, score) "
        f"select 'R' || i, 'C01', 'T01', 'capsulorhexis', 3 + i % 2 from range({number}) as t (i)"
    )
    run(db)
    scores = 3 + np.arange(number) % 2
    spread = float(np.std(scores, ddof=1) / np.sqrt(number))
    expected = t.interval(0.95, degrees, loc=scores.mean(), scale=spread)
    low, high = floats(db, "score_low, score_high")
    assert (low, high) == pytest.approx(expected, abs=1e-12)
    exact = t.interval(0.95, number - 1, loc=scores.mean(), scale=spread)
    assert -1e-12 <= (high - low) / (exact[1] - exact[0]) - 1 < 0.0013


@pytest.mark.parametrize(
    ("scores", "expected"),
    [([1, 1, 5], "1 | 5"), ([5, 5, 5, 4], f"{4.75 - 0.25 * 3.18244631:.9g} | 5"), ([4, 4, 4], "4 | 4")],
)
def test_an_interval_stays_between_1_and_5_and_equal_scores_have_no_width(
    db: Db, scores: list[int], expected: str
) -> None:
    # t of three degrees: 3.18244631, scipy.stats.t; four scores of deviation 0.5: standard error 0.25.
    put(db, "cases", "case_ref\nC01")
    Log(db).review("T01", "C01", scores)
    run(db)
    assert table(db, "technique_step", "score_low, score_high") == expected


def test_a_review_counts_in_the_group_of_the_main_procedure_of_its_operation(db: Db) -> None:
    reviewed(
        db,
        """
        review_ref | trainee_ref | case_ref | step          | score
        R1         | T01         | C01      | capsulorhexis | 1
        R2         | T01         | C02      | capsulorhexis | 2
        R3         | T01         | C03      | capsulorhexis | 3
    """,
        """
        case_ref | procedure      | principal
        C01      | phaco_iol      | false
        C01      | lid_cyst       | true
        C02      | phaco_iol      |
        C02      | lid_cyst       | false
        C03      | something_else | true
        C03      | lid_repair     |
    """,
    )
    assert table(db, "technique_step", "procedure_group, step, scored, score_mean") == drawn("""
        lens | capsulorhexis | 1 | 2
        lid  | capsulorhexis | 2 | 2
    """)


def test_a_review_of_a_case_that_is_not_live_of_another_trainee_or_of_elsewhere_has_no_quarter(
    db: Db,
) -> None:
    put(db, "trainees", "trainee_ref\nT02")
    reviewed(
        db,
        """
        review_ref | trainee_ref | case_ref | step          | score
        R1         | T01         | C99      | capsulorhexis | 1
        R2         | T02         | C01      | capsulorhexis | 2
        R3         | T01         | C02      | capsulorhexis | 3
        R4         | T01         | C01      | capsulorhexis | 5
    """,
        """
        case_ref | operated_month
        C01      | 2026-01
        C02      | 2023-06
    """,
    )
    assert table(db, "technique_step", f"trainee_ref, {SCORES}") == drawn(
        "T01 | capsulorhexis | 11 | 1 | 5 | 0"
    )


def test_a_trainee_without_a_review_has_no_row(db: Db) -> None:
    reviewed(db, "review_ref | trainee_ref | case_ref | step | score")
    assert table(db, "technique_step", SCORES) == ""


# ---- the quantiles


@cache
def quantiles() -> dict[int, float]:
    columns = quantile_tables()["t_quantile"].to_pydict()
    return dict(zip(columns["degrees"], columns["quantile"], strict=True))


@pytest.mark.parametrize(
    ("degrees", "printed"),
    [(1, 12.706), (2, 4.303), (4, 2.776), (9, 2.262), (30, 2.042), (120, 1.980)],
)
def test_a_quantile_of_t_is_the_printed_one(degrees: int, printed: float) -> None:
    # Tables of Student's t, two-sided 95 %, in any textbook; here from memory.
    assert round(quantiles()[degrees], 3) == printed


def test_there_are_1000_quantiles_and_the_last_serves_for_all_beyond() -> None:
    assert list(quantiles()) == list(range(1, 1001))
    assert quantiles()[1000] == pytest.approx(t.ppf(0.975, 1000), abs=1e-12)
    assert 0 < quantiles()[1000] / t.ppf(0.975, 10**9) - 1 < 0.0013


@cache
def macros() -> Db:
    con = duckdb.connect()
    for statement in con.extract_statements((SQL / "020_spread.sql").read_text(encoding="utf-8")):
        con.execute(statement)
    return con


@pytest.mark.parametrize("share", [0.1, 0.25, 0.5, 0.75, 0.9])
@pytest.mark.parametrize("people", [1, 2, 3, 5, 10, 11, 20, 23])
def test_the_weights_of_a_quantile_add_up_to_that_of_numpy(people: int, share: float) -> None:
    # numpy.quantile, method "linear" (Hyndman and Fan 1996, type 7).
    numbers = np.sort(np.random.default_rng(people).integers(0, 200, people))
    query = "select sum(? * quantile_weight(?, ?, ?))"
    found = sum(
        macros().execute(query, [int(each), place, people, share]).fetchall()[0][0]
        for place, each in enumerate(numbers, start=1)
    )
    assert found == pytest.approx(np.quantile(numbers, share), abs=1e-9)
