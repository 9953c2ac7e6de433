"""milestone_standing: rules met, missing and unknown; the committee's level beside, never a computed one."""

from __future__ import annotations

from functools import partial
from typing import Any

import pytest

from tests.drawn import Db, database, drawn, put, table
from tests.drawn import run as make
from tests.example_standing import Log, put_trainees, specialty

# Later files read what is tested here, and are tested elsewhere.
run = partial(make, views=("milestone_standing",))

COUNT = {"measure": "counted_cases", "requirement": "lens", "at_least": 3.0}
RATE = {"measure": "rate", "complication": "capsule_rupture", "attribution": "as_started", "at_most": 0.2}
SHARE = {"measure": "supervision_share", "group": "lens", "level": "guided", "at_least": 0.5}
SCORE = {"measure": "score_mean", "step": "capsulorhexis", "at_least": 3.5}
SO_FEW = "so few could not show 20 % or less even without an event"
TALLY = "level, rules_met, rules_total, rules_unknown, missing"


def ready(rules: dict[str, list[dict[str, Any]]], requirements: dict[str, Any] | None = None) -> Db:
    db = database(specialty(rules, requirements))
    put_trainees(db, {"T01": "2023-07"})
    return db


def standing(db: Db, level: str = "B") -> str:
    run(db)
    return table(db, "milestone_standing", TALLY.replace("level, ", "", 1), f"level = '{level}'")


def test_every_level_has_a_row_also_without_a_rule_and_without_a_case() -> None:
    db = ready({"B": [COUNT]})
    put(db, "trainees", "trainee_ref\nT02")
    run(db)
    assert table(db, "milestone_standing", f"trainee_ref, milestone_ref, {TALLY}, data_through") == drawn("""
        T01 | lens_skill | A | 0 | 0 | 0 |                 | 2026-10
        T01 | lens_skill | B | 0 | 1 | 0 | A rule: 3 more cases | 2026-10
        T01 | lens_skill | C | 0 | 0 | 0 |                 | 2026-10
        T02 | lens_skill | A | 0 | 0 | 0 |                 |
        T02 | lens_skill | B | 0 | 1 | 0 | A rule: 3 more cases |
        T02 | lens_skill | C | 0 | 0 | 0 |                 |
    """)


@pytest.mark.parametrize(
    ("cases", "expected"),
    [
        (1, "0 | 1 | 0 | A rule: 2 more cases"),
        (2, "0 | 1 | 0 | A rule: 1 more case"),
        (3, "1 | 1 | 0 |"),
        (4, "1 | 1 | 0 |"),
    ],
)
def test_a_count_is_met_from_its_number_on(cases: int, expected: str) -> None:
    db = ready({"B": [COUNT]})
    Log(db).add("T01", "2026-01", cases)
    assert standing(db) == expected.strip()


def test_a_requirement_that_is_not_for_this_class_cannot_be_said() -> None:
    db = ready({"B": [COUNT]}, {"lens": {"cohorts": {"from": 2028, "to": None}}})
    assert standing(db) == "0 | 1 | 1 | cannot be said: A rule is not counted for this class"


@pytest.mark.parametrize(
    ("hands", "expected"),
    [
        # 12 ruptures in 60: 0 and 12 events are 0 to 6.02 % and 11.83 to 31.78 %; 2 are to 11.36 %, 22 from 25.62 %.
        ({"": 12}, "0 | 1 | 1 | {} as rare as 0 % and as frequent as 31.8 %; needs at most 20 %"),
        ({"unclear": 12}, "0 | 1 | 1 | {} as rare as 0 % and as frequent as 31.8 %; needs at most 20 %"),
        (
            {"trainee": 12},
            "0 | 1 | 1 | {} as rare as 11.8 % and as frequent as 31.8 %; needs at most 20 %",
        ),
        ({"supervisor": 12}, "1 | 1 | 0 |"),
        ({"supervisor": 10, "": 2}, "1 | 1 | 0 |"),
        (
            {"trainee": 22},
            "0 | 1 | 0 | An outcome: 22 in 60, may be as frequent as 49.4 %; needs at most 20 %",
        ),
    ],
)
def test_a_rule_in_the_trainees_hands_is_said_only_where_both_ends_of_the_interval_say_so(
    hands: dict[str, int], expected: str
) -> None:
    # Intervals of statsmodels' proportion_confint, method wilson.
    db = ready({"B": [{**RATE, "attribution": "in_trainee_hands"}]})
    log = Log(db)
    for whose, events in hands.items():
        log.add("T01", "2026-01", events, complications="capsule_rupture", event_hands=whose or None)
    log.add("T01", "2026-01", 60 - sum(hands.values()), complications="none")
    said = "cannot be said: An outcome that happened in their hands may be"
    assert standing(db) == expected.format(said).strip()


@pytest.mark.parametrize(
    ("events", "known", "expected"),
    [
        (0, 0, "0 | 1 | 1 | cannot be said: An outcome has no rate yet"),
        # 0 of 15: Wilson's upper end z*z / (15 + z*z) = 3.8415 / 18.8415 = 20.389 %, of 16: 19.362 %.
        # So few that even none with an event would not do say nothing, whatever happened.
        (0, 2, f"0 | 1 | 1 | cannot be said: An outcome: 0 in 2; {SO_FEW}"),
        (2, 2, f"0 | 1 | 1 | cannot be said: An outcome: 2 in 2; {SO_FEW}"),
        (0, 15, f"0 | 1 | 1 | cannot be said: An outcome: 0 in 15; {SO_FEW}"),
        (0, 16, "1 | 1 | 0 |"),
        (1, 16, "0 | 1 | 0 | An outcome: 1 in 16, may be as frequent as 28.4 %; needs at most 20 %"),
    ],
)
def test_a_rate_is_met_by_the_upper_end_of_its_interval(events: int, known: int, expected: str) -> None:
    # 1 of 16: 1.11 to 28.33 % by statsmodels' proportion_confint, method wilson, printed to the tenth above.
    db = ready({"B": [RATE]})
    log = Log(db)
    log.add("T01", "2026-01", events, complications="capsule_rupture")
    log.add("T01", "2026-01", known - events, complications="none")
    log.add("T01", "2026-01", 30)
    assert standing(db) == expected.strip()


@pytest.mark.parametrize(
    ("observed", "guided", "available", "expected"),
    [
        (0, 0, 0, "0 | 1 | 1 | cannot be said: Lens surgery has 0 cases with a recorded level; needs 10"),
        (1, 0, 0, "0 | 1 | 1 | cannot be said: Lens surgery has 1 case with a recorded level; needs 10"),
        (0, 4, 5, "0 | 1 | 1 | cannot be said: Lens surgery has 9 cases with a recorded level; needs 10"),
        (5, 0, 5, "1 | 1 | 0 |"),
        (5, 5, 0, "1 | 1 | 0 |"),
        (
            6,
            2,
            2,
            '0 | 1 | 0 | Lens surgery at "With spoken guidance" or above: 40 % of 10 cases with a recorded level; needs 50 %',
        ),
        (
            1001,
            500,
            500,
            '0 | 1 | 0 | Lens surgery at "With spoken guidance" or above: 49.9 % of 2001 cases with a recorded level; needs 50 %',
        ),
    ],
)
def test_a_share_is_of_the_cases_with_a_level_in_all_quarters(
    observed: int, guided: int, available: int, expected: str
) -> None:
    db = ready({"B": [SHARE]})
    log = Log(db)
    log.add("T01", "2024-01", observed, supervision="observed")
    log.add("T01", "2025-01", guided, supervision="guided")
    log.add("T01", "2026-01", available, supervision="available")
    log.add("T01", "2026-01", 3)
    log.add("T01", "2026-01", 2, procedure="lid_cyst", supervision="available")
    log.add("T01", "2023-06", 2, supervision="available")
    assert standing(db) == expected.strip()


@pytest.mark.parametrize(
    ("scores", "expected"),
    [
        ([], "0 | 1 | 1 | cannot be said: Capsulorhexis was scored in 0 operations; needs 5"),
        ([5, 5, 5, 5], "0 | 1 | 1 | cannot be said: Capsulorhexis was scored in 4 operations; needs 5"),
        ([3, 4, 3, 4, 4], "1 | 1 | 0 |"),
        ([3, 4, 3, 3, 4, 3], "0 | 1 | 0 | Capsulorhexis: mean 3.33 in 6 operations; needs 3.5"),
    ],
)
def test_a_mean_score_is_of_the_faculty_over_all_quarters(scores: list[int], expected: str) -> None:
    db = ready({"B": [SCORE]})
    log = Log(db)
    for place, score in enumerate(scores):
        (case,) = log.add("T01", f"202{4 + place % 3}-03")
        log.review("T01", case, [score])
        log.review("T01", case, [1], step="wound_closure")
    (case,) = log.add("T01", "2026-03")
    put(
        db,
        "reviews",
        f"""
        review_ref | trainee_ref | case_ref | step          | score | self_review | done_by_supervisor
        R1         | T01         | {case}   | capsulorhexis | 1     | true        |
        R2         | T01         | {case}   | capsulorhexis | 1     |             | rescue
    """,
    )
    assert standing(db) == expected.strip()


def test_what_is_missing_stands_in_the_order_of_the_rules() -> None:
    db = ready({"B": [SCORE, COUNT, RATE, {**COUNT, "at_least": 1.0}], "C": [{**COUNT, "at_least": 4.0}]})
    Log(db).add("T01", "2026-01", 2)
    run(db)
    missing = "; ".join(
        (
            "cannot be said: Capsulorhexis was scored in 0 operations; needs 5",
            "A rule: 1 more case",
            "cannot be said: An outcome has no rate yet",
        )
    )
    assert table(db, "milestone_standing", TALLY) == drawn(f"""
        A | 0 | 0 | 0 |
        B | 1 | 4 | 2 | {missing}
        C | 0 | 1 | 0 | A rule: 2 more cases
    """)


def test_two_reviews_of_one_operation_are_one_operation() -> None:
    db = ready({"B": [SCORE]})
    log = Log(db)
    for _ in range(4):
        (case,) = log.add("T01", "2026-01")
        log.review("T01", case, [4, 4, 4])
    assert "scored in 4 operations" in standing(db)


@pytest.mark.parametrize(
    ("latest", "expected"),
    [
        # 20 observed long ago, then 15 guided in the last quarter but one, 6 observed in the last.
        ({}, "0 | 36.5 % of 41 cases with a recorded level"),
        ({"last_cases": 20}, "1 | 70 % of the last 20 cases with a recorded level"),
        ({"last_quarters": 2}, "1 | 71.4 % of 21 cases with a recorded level of the last 2 quarters"),
        ({"last_quarters": 1}, "0 | Lens surgery has 6 cases with a recorded level of the last quarter"),
    ],
)
def test_a_rule_may_look_at_the_latest_alone(latest: dict[str, int], expected: str) -> None:
    db = ready({"B": [{**SHARE, **latest}]})
    log = Log(db)
    log.add("T01", "2024-01", 20, supervision="observed")
    log.add("T01", "2026-07", 15, supervision="guided")  # quarter 13
    log.add("T01", "2026-10", 6, supervision="observed")  # quarter 14, the last
    run(db)
    (row,) = db.execute(
        "select rules_met, coalesce(missing, met_by) from milestone_standing where level = 'B'"
    ).fetchall()
    met, said = expected.split(" | ")
    assert row[0] == int(met) and said in row[1]


def test_a_rate_may_look_at_the_last_cases() -> None:
    db = ready({"B": [{**RATE, "last_cases": 30}], "C": [RATE]})
    log = Log(db)
    log.add("T01", "2025-01", 20, complications="capsule_rupture")
    log.add("T01", "2026-01", 30, complications="none")
    assert standing(db) == "1 | 1 | 0 |"
    assert standing_again(db, "C").startswith("0 | 1 | 0 | An outcome: 20 in 50, may be as frequent as")


def standing_again(db: Db, level: str) -> str:
    return table(db, "milestone_standing", TALLY.replace("level, ", "", 1), f"level = '{level}'")


def test_what_is_met_stands_with_what_it_rests_on() -> None:
    db = ready({"B": [COUNT, RATE, SHARE]})
    Log(db).add("T01", "2026-01", 40, complications="none", supervision="guided")
    run(db)
    assert (
        table(db, "milestone_standing", "missing, met_by", "level = 'B'")
        == (
            " | A rule: 40; needs 3; An outcome: 0 in 40, may be as frequent as 8.8 %; needs at most 20 %; Lens surgery at "
            '"With spoken guidance" or above: 100 % of 40 cases with a recorded level; needs 50 %'
        ).strip()
    )


COMMITTEE = "trainee_ref, level, committee_level, committee_period"


def test_the_committees_latest_level_stands_the_same_on_every_row_and_follows_no_rule() -> None:
    db = ready({"B": [COUNT]})
    put(db, "trainees", "trainee_ref\nT02")
    put(
        db,
        "milestones",
        """
        trainee_ref | period      | milestone  | level
        T01         | 2025-26 end | lens_skill | A
        T01         | 2026-27 mid | lens_skill | C
        T01         | 2024-25 end | lens_skill | B
        T01         | 2026-27 end | lid_skill  | B
    """,
    )
    run(db)
    assert table(db, "milestone_standing", COMMITTEE) == drawn("""
        T01 | A | C | 2026-27 mid
        T01 | B | C | 2026-27 mid
        T01 | C | C | 2026-27 mid
        T02 | A |   |
        T02 | B |   |
        T02 | C |   |
    """)


def test_within_a_year_the_order_of_the_programmes_periods_decides_not_the_alphabet() -> None:
    db = ready({})
    put(
        db,
        "milestones",
        """
        trainee_ref | period      | milestone  | level
        T01         | 2025-26 end | lens_skill | not assessable
        T01         | 2025-26 mid | lens_skill | B
    """,
    )
    run(db)
    assert (
        table(db, "milestone_standing", COMMITTEE, "level = 'A'") == "T01 | A | not assessable | 2025-26 end"
    )


def test_a_period_that_the_programme_no_longer_has_comes_before_those_of_its_year() -> None:
    db = ready({})
    put(
        db,
        "milestones",
        """
        trainee_ref | period        | milestone  | level
        T01         | 2025-26 third | lens_skill | C
        T01         | 2025-26 mid   | lens_skill | B
    """,
    )
    run(db)
    assert table(db, "milestone_standing", COMMITTEE, "level = 'A'") == "T01 | A | B | 2025-26 mid"


def test_a_specialty_without_a_framework_has_no_row() -> None:
    db = database()
    put_trainees(db, {"T01": "2023-07"})
    run(db)
    assert table(db, "milestone_standing", TALLY) == ""
