"""Outcomes in the order of the cases: the chart, its limits, and how often they are crossed.

Published values and their sources stand in tests/published/cusum.csv.
"""

from __future__ import annotations

import datetime
import math
import random
from typing import Any

import pytest

from pipelines.build.run_lengths import limit_for, mean_run_length, signal_chance
from tests.drawn import Db, drawn, run, table
from tests.example_standing import OTHERS, Log, programme
from tests.stores import PUBLISHED, new_store, read_csv, rows_of, run_well, set_programme, write_csv

VALUES = {row["case"]: row for row in read_csv(PUBLISHED / "cusum.csv")}


def numbers(cell: str) -> dict[str, float]:
    return {name: float(value) for name, value in (pair.split("=") for pair in cell.split(";"))}


def expected_of(case: str) -> dict[str, float]:
    return numbers(VALUES[case]["expected"])


# ---- the chart


def logged(log: Log, ref: str, cases: int, events: set[int], **columns: object) -> None:
    """So many known cases, in order; the numbers in `events` (1 = first) are ruptures."""
    refs = log.add(ref, "2026-08", cases, **({"complications": "none"} | columns))
    for number in events:
        log.db.execute(
            "update input.cases set complications = 'capsule_rupture' where case_ref = ?", [refs[number - 1]]
        )


CHART = (
    "case_number, is_event, expected, events, expected_events, observed_minus_expected, cusum_weight, cusum"
)


def test_the_chart_adds_up_what_each_case_weighs_and_never_falls_below_0() -> None:
    # The others: 5 x 10 known, 5 x 2 events = 20 %. An event weighs ln 2 - ln 1.2, a case without one -ln 1.2.
    db, log = programme()
    logged(log, "T01", 4, {2, 3})
    for ref in OTHERS:
        logged(log, ref, 10, {1, 2})
    run(db)
    up, down = math.log(2) - math.log(1.2), -math.log(1.2)
    assert table(db, "case_sequence_chart", CHART, "trainee_ref = 'T01'") == drawn(f"""
        1 | false | 0.2 | 0 | 0.2 | -0.2 | {down:.9g} | 0
        2 | true  | 0.2 | 1 | 0.4 | 0.6  | {up:.9g}   | {up:.9g}
        3 | true  | 0.2 | 2 | 0.6 | 1.4  | {up:.9g}   | {2 * up:.9g}
        4 | false | 0.2 | 2 | 0.8 | 1.2  | {down:.9g} | {2 * up + down:.9g}
    """)


def test_cases_of_unknown_outcome_and_of_other_roles_have_no_place_in_the_chart() -> None:
    db, log = programme()
    log.add("T01", "2026-08", 2)
    log.add("T01", "2026-08", 1, role="assistant", complications="capsule_rupture", takeover=False)
    logged(log, "T01", 1, {1}, role="assistant", takeover=True)
    logged(log, "T01", 1, set())
    run(db)
    # A case begun and taken over is the trainee's; its place in the log is the fourth.
    assert table(
        db, "case_sequence_chart", "case_number, case_sequence, is_event, expected", "trainee_ref = 'T01'"
    ) == drawn("""
        1 | 4 | true  |
        2 | 5 | false |
    """)


def test_nothing_is_expected_from_the_band_on_in_which_others_have_too_little() -> None:
    db, log = programme()
    logged(log, "T01", 52, {51})
    for ref in OTHERS:
        logged(log, ref, 50, {1})
    run(db)
    where = "trainee_ref = 'T01' and case_number >= 50"
    assert table(
        db, "case_sequence_chart", "case_number, events, expected, expected_events, cusum", where
    ) == drawn("""
        50 | 0 | 0.02 | 1 | 0
        51 | 1 |      |   |
        52 | 1 |      |   |
    """)
    said = table(
        db, "case_sequence_signal", "known_outcomes, events, expected_events, why_none", "trainee_ref = 'T01'"
    )
    assert said == "52 | 1 |  | others have too few known outcomes at the same case numbers"


def test_a_recorded_risk_factor_raises_what_is_expected_as_the_specialty_weighs_it() -> None:
    # Others: 25 cases without the factor and 25 with it, 10 events. With odds three times as high, the odds without it
    # are those at which 25 o / (1 + o) + 25 x 3 o / (1 + 3 o) = 10, or 4.8 o^2 + 2.4 o - 0.4 = 0.
    db, log = programme()
    db.execute(
        "insert into risk_weight values ('capsule_rupture', 'small_pupil', ?, 'made up', false)",
        [math.log(3)],
    )
    logged(log, "T01", 1, set(), risk_factors="none")
    logged(log, "T01", 1, set(), risk_factors="small_pupil")
    for ref in OTHERS:
        logged(log, ref, 5, {1}, risk_factors="small_pupil")
        logged(log, ref, 5, {1}, risk_factors="none")
    run(db)
    odds = (-2.4 + math.sqrt(2.4**2 + 4 * 4.8 * 0.4)) / (2 * 4.8)
    plain, raised = odds / (1 + odds), 3 * odds / (1 + 3 * odds)
    assert plain + raised == pytest.approx(0.4)
    assert table(db, "case_sequence_chart", "expected", "trainee_ref = 'T01'") == drawn(
        f"{plain:.9g}\n{raised:.9g}"
    )
    where = "trainee_ref = 'T01' and attribution = 'as_started'"
    assert table(db, "expected_rate", "expected, is_adjusted", where) == "0.2 | true"


@pytest.mark.parametrize("case", [case for case, row in VALUES.items() if row["method"] == "ra_cusum_weight"])
def test_the_weights_are_the_published_ones(case: str) -> None:
    given = numbers(VALUES[case]["inputs"])
    db, _ = programme()
    run(db)
    weight = db.execute(
        "select cusum_weight(? = 1, 1 / (1 + exp(-(? + ? * ?))), ?)",
        [given["y"], given["intercept"], given["slope"], given["score"], given["RA"]],
    ).fetchall()[0][0]
    assert weight == pytest.approx(expected_of(case)["W"], abs=float(VALUES[case]["tolerance"]))


# ---- the series of 1994, through the real commands

DEATHS = {34, 53, 55, 59, 63, 64, 67, 68, 100}
SERIES = "deleval_p0.05_p1.10_no_reset"


def operations(trainee: str, cases: int, events: set[int]) -> list[dict[str, object]]:
    """One operation a day, in order."""
    first = datetime.date(2023, 1, 1)
    return [
        {
            "case_ref": f"{trainee}-{number:04d}",
            "trainee_ref": trainee,
            "operated_on": first + datetime.timedelta(days=number),
            "procedure": "phaco_iol",
            "role": "surgeon",
            "complications": "capsule_rupture" if number in events else "none",
        }
        for number in range(1, cases + 1)
    ]


@pytest.fixture(scope="module")
def series(tmp_path_factory: pytest.TempPathFactory) -> list[dict[str, str]]:
    """The chart of 104 consecutive operations, judged by ten others with 5 % in each band of case numbers."""
    folder = tmp_path_factory.mktemp("series")
    store = new_store(folder)
    # Chances of 5 and 10 % are odds of 1 to 19 and 1 to 9.
    set_programme(store, cusum_odds_ratio=(0.1 / 0.9) / (0.05 / 0.95))
    others = [f"T{number:02d}" for number in range(1, 11)]
    roster = [
        {"trainee_ref": ref, "cohort": "2025-26", "started": "2022-07", "expected_completion": "2026-06"}
        for ref in ["T94", *others]
    ]
    cases = operations("T94", 104, DEATHS)
    for place, ref in enumerate(others):
        # 2 and 3 of 50 in turns, then 1 of 20.
        cases += operations(ref, 120, {1, 2, 51, 52, 101} | ({3, 53} if place % 2 else set()))
    files = [write_csv(folder / "roster.csv", roster), write_csv(folder / "cases.csv", cases)]
    run_well("intake", *files, "--store", store)
    return rows_of(store, "case_sequence_chart", trainee_ref="T94", complication_ref="capsule_rupture")


def test_the_series_of_1994_has_its_published_deaths_and_path(series: list[dict[str, str]]) -> None:
    assert {int(row["case_number"]) for row in series if row["is_event"] == "true"} == DEATHS
    assert [float(row["expected"]) for row in series] == pytest.approx([0.05] * 104, abs=1e-12)
    path = [float(row["cusum"]) for row in series]
    told = expected_of(SERIES)
    exact: dict[str, Any] = {"abs": float(VALUES[SERIES]["tolerance"])}
    assert max(path) == pytest.approx(told["max_S"], **exact) and path.index(max(path)) + 1 == told["argmax"]
    assert [path[51], path[67], path[103]] == pytest.approx([told["S52"], told["S68"], told["S104"]], **exact)
    assert [next(n for n, s in enumerate(path, 1) if s >= h) for h in (2, 3)] == [
        told["first_ge_2"],
        told["first_ge_3"],
    ]
    assert float(series[-1]["observed_minus_expected"]) == pytest.approx(9 - 104 * 0.05)


def test_the_series_of_1994_crosses_the_limit_in_its_cluster(series: list[dict[str, str]]) -> None:
    above = [int(row["case_number"]) for row in series if row["above_person"] == "true"]
    limits = {(float(row["limit_person"]), float(row["limit_class"])) for row in series}
    assert len(limits) == 1
    [(for_person, for_class)] = limits
    assert 53 < above[0] <= 68 and 2 < for_person < for_class
    assert above == [n for n, row in enumerate(series, 1) if float(row["cusum"]) > for_person]


# ---- limits and run lengths


def alike(people: int, cases: int, events: set[int], **settings: float) -> Db:
    """So many trainees, all with the same cases."""
    db, log = programme(others=people - 1)
    for name, value in settings.items():
        db.execute(f"update input.programme set {name} = ?", [value])
    for ref in ["T01", *[f"T{number:02d}" for number in range(11, 10 + people)]]:
        logged(log, ref, cases, events)
    run(db)
    return db


def run_lengths(db: Db, limit_for: str = "person") -> dict[str, Any]:
    answer = db.execute("select * from run_length where limit_for = ?", [limit_for])
    names = [name for name, *_ in answer.description or []]
    [row] = answer.fetchall()
    return dict(zip(names, row, strict=True))


def test_the_limit_of_ten_cases_is_the_exact_one() -> None:
    case = "p0.1_OR2_n10_alpha.05"
    told = run_lengths(alike(6, 10, {1}))
    assert told["cusum_limit"] == pytest.approx(expected_of(case)["h"], abs=float(VALUES[case]["tolerance"]))
    # Of the sequences of ten, 4.1417 % go above it, and 5.1050 % reach it: by counting all 1024.
    assert told["signal_chance"] <= 0.05 and (told["cases"], told["people"]) == (10, 6)


def test_the_mean_run_length_is_the_exact_one() -> None:
    case = "single_risk_p0.1_RA2_h2.9"
    told = run_lengths(alike(6, 10, {1}, cusum_limit=2.9))
    assert told["run_length"] == pytest.approx(expected_of(case)["ARL"], rel=1e-9)


def test_the_chance_of_a_signal_and_the_power_are_the_exact_ones() -> None:
    case = "p0.1_pA0.2_h4.2_n150"
    tenth = set(range(10, 151, 10))
    told = run_lengths(alike(6, 150, tenth, cusum_limit=4.2, cusum_odds_ratio=2.25))
    assert told["signal_chance"] == pytest.approx(expected_of(case)["signal"], abs=6e-8)
    assert told["signal_chance_raised"] == pytest.approx(expected_of(case)["signal_raised"], abs=6e-8)
    assert told["signal_chance_in_class"] == pytest.approx(1 - (1 - told["signal_chance"]) ** 6)


def test_the_limit_for_a_class_keeps_the_chance_for_all_its_charts_together() -> None:
    db = alike(12, 50, {10, 20, 30, 40, 50})
    for_person, for_class = run_lengths(db), run_lengths(db, "class")
    assert for_person["signal_chance"] <= 0.05 < for_person["signal_chance_in_class"]
    assert for_class["signal_chance_in_class"] <= 0.05
    assert for_class["cusum_limit"] > for_person["cusum_limit"]
    assert for_class["signal_chance_raised"] < for_person["signal_chance_raised"]


def test_a_whole_training_is_the_middle_one_of_those_who_completed() -> None:
    db, log = programme(others=7)
    done = [f"T{number:02d}" for number in range(11, 17)]
    for place, ref in enumerate(done):
        logged(log, ref, 31 + place, {1})
    logged(log, "T01", 49, {1})
    db.execute("update input.trainees set completed = '2026-06' where trainee_ref between 'T11' and 'T15'")
    run(db)
    # 31, 32, 33, 34, 35 have completed; with four, the most that anybody has.
    assert run_lengths(db)["cases"] == 33


def test_with_fewer_than_three_events_of_everybody_there_is_no_limit() -> None:
    told = run_lengths(alike(6, 10, set()))
    assert told["cusum_limit"] is None
    assert told["why_none"] == "0 events in the whole programme; at least 3 are needed"


def signalled(chances: list[float], limit: float, odds_ratio: float, odds: float = 1) -> float:
    """The same chance by another way: each value that the CUSUM can stand at, and how likely it is."""
    standing, found = {0.0: 1.0}, 0.0
    for chance in chances:
        true = odds * chance / (1 - chance + odds * chance)
        after: dict[float, float] = {}
        for height, share in standing.items():
            for event, part in ((1, true), (0, 1 - true)):
                weight = event * math.log(odds_ratio) - math.log(1 - chance + odds_ratio * chance)
                now = max(0.0, round(height + weight, 10))
                if now > limit + 1e-9:
                    found += share * part
                else:
                    after[now] = after.get(now, 0.0) + share * part
        standing = after
    return found


def test_cases_of_unlike_risk_signal_as_often_as_a_recursion_over_all_values_says() -> None:
    chances = [0.05, 0.2, 0.03, 0.1] * 12
    limit = limit_for(tuple(chances), 2, 0.05)
    assert signal_chance(tuple(chances), limit, 2) == pytest.approx(signalled(chances, limit, 2), abs=1e-9)
    assert signal_chance(tuple(chances), limit, 2, 3) == pytest.approx(
        signalled(chances, limit, 2, 3), abs=1e-9
    )
    # No lower limit keeps the chance.
    assert signalled(chances, limit, 2) <= 0.05 < signalled(chances, limit - 1e-6, 2)


def test_a_mean_run_length_is_that_of_many_simulated_charts() -> None:
    # Other generator, other loop; 4,000 charts have a standard error of 1.6 % of the mean at most.
    dice = random.Random(7)
    up, down = math.log(2) - math.log(1.2), -math.log(1.2)
    lengths = []
    for _ in range(4000):
        height, cases = 0.0, 0
        while height <= 1.5:
            cases += 1
            height = max(0.0, height + (up if dice.random() < 0.2 else down))
        lengths.append(cases)
    assert mean_run_length(0.2, 1.5, 2) == pytest.approx(sum(lengths) / len(lengths), rel=0.05)


# ---- the last cases


def test_the_last_cases_are_set_beside_those_before_them() -> None:
    db, log = programme()
    logged(log, "T01", 60, {5, 36, 37})
    log.add("T01", "2026-09", 3)
    run(db)
    columns = "last_cases, events, known_outcomes, rate, events_before, known_before, rate_before"
    assert table(db, "complication_rate_recent", columns, "trainee_ref = 'T01'") == drawn(f"""
        25  | 2 | 25 | {2 / 25:.9g} | 1 | 35 | {1 / 35:.9g}
        50  | 2 | 50 | {2 / 50:.9g} | 1 | 10 | 0.1
        100 | 3 | 60 | {3 / 60:.9g} | 0 | 0  |
    """)
    assert (
        table(db, "complication_rate_recent", columns, "trainee_ref = 'T11'").splitlines()[0]
        == "25 | 0 | 0 |  | 0 | 0 |"
    )
