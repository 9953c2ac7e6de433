"""Reasons to discuss somebody: each kind where its rule holds, and none where it just does not.

Expected values are worked out by hand from the rules of reason_rule with the defaults of programme.yaml.
"""

from __future__ import annotations

import pytest

from tests.drawn import Db, database, drawn, put, run, table
from tests.example_standing import OTHERS, Log, programme, put_through, specialty

REASONS = "trainee_ref, reason, subject"
RULES = {
    "B": [{"measure": "counted_cases", "requirement": "lens", "at_least": 3.0}],
    "C": [{"measure": "counted_cases", "requirement": "lens", "at_least": 9.0}],
}


def people(db: Db, rows: str) -> None:
    """Trainee, start, expected completion, completed, left, data through; blank: none."""
    for line in rows.strip().splitlines():
        ref, started, expected, completed, left, through = (cell.strip() for cell in line.split("|"))
        put(
            db,
            "trainees",
            "trainee_ref | started | expected_completion | completed | left\n"
            f"{ref} | {started} | {expected} | {completed} | {left}",
        )
        if through:
            put_through(db, {ref: through})


# ---- plain facts


@pytest.fixture(scope="module")
def facts() -> Db:
    """Made on 24 November 2026; a minimum of two lens operations."""
    db = database(specialty(RULES, requirements={"lens": {"roles": ["surgeon"]}}))
    people(
        db,
        """
        LATE | 2024-07 | 2027-12 |         |         | 2026-07
        JUST | 2024-07 | 2027-12 |         |         | 2026-10
        NONE | 2026-10 | 2029-06 |         |         |
        NEW  | 2026-11 | 2029-06 |         |         |
        GONE | 2024-07 | 2027-06 |         | 2025-01 |
        DONE | 2021-07 | 2024-06 | 2024-06 |         | 2024-06
        PAST | 2023-07 | 2026-10 |         |         | 2026-10
        DUE  | 2023-07 | 2026-11 |         |         | 2026-10
        U12  | 2024-07 | 2027-10 |         |         | 2026-10
        U13  | 2024-07 | 2027-11 |         |         | 2026-10
        S06  | 2024-07 | 2027-04 |         |         | 2026-10
        S07  | 2024-07 | 2027-05 |         |         | 2026-10
        """,
    )
    log = Log(db)
    for ref in ("LATE", "JUST", "PAST", "DUE"):
        log.add(ref, "2026-05", 2, supervisor_agreed=True, complications="none")
    for ref in ("U12", "U13"):
        log.add(ref, "2026-05", 1, supervisor_agreed=True, complications="none")
        log.add(ref, "2026-05", 2, complications="none")
    for ref in ("S06", "S07"):
        log.add(ref, "2026-05", 1, supervisor_agreed=True, complications="none")
    run(db)
    return db


def test_a_plain_fact_is_said_where_its_rule_holds_and_not_a_month_before(facts: Db) -> None:
    # Nobody who completed or left; U12 has twelve active months left, U13 thirteen; S06 six, S07 seven. The last month
    # of JUST's data ends 24 days before the snapshot; October is the only one that PAST is past.
    assert table(facts, "discussion_reason", REASONS) == drawn("""
        LATE | log_late            |
        NONE | nothing_known       |
        PAST | past_completion     |
        S06  | close_and_short     | lens
        U12  | unconfirmed_minimum | lens
    """)


def test_a_plain_fact_is_said_in_words_with_its_numbers(facts: Db) -> None:
    said = facts.execute(
        "select trainee_ref, sentence, own_sentence, opens, weak from discussion_reason"
    ).fetchall()
    sentences = {ref: sentence for ref, sentence, *_ in said}
    assert sentences == {
        "LATE": "The log ends in July 2026: 3 months not entered.",
        "NONE": "Nothing is known: no case log has come in since the start in October 2026.",
        "PAST": "Was expected to complete in October 2026; neither completed nor left is entered.",
        "S06": "A rule: 1 of 2 after 28 active months. In the 6 active months left it takes 0.2 a month; in the last"
        " six it was 0.2 a month.",
        "U12": "A rule: the minimum is reached only with unconfirmed cases: 1 of the 2 needed are confirmed (3 counted).",
    }
    assert all(own == sentence for _, sentence, own, *_ in said)
    assert {(ref, opens) for ref, _, _, opens, _ in said} == {
        ("LATE", "log"), ("NONE", "log"), ("PAST", "roster"), ("S06", "requirement:lens"), ("U12", "requirement:lens"),
    }  # fmt: skip
    # A plain fact is never weak; what chance can raise is unknown before calibrate.
    assert {ref: weak for ref, *_, weak in said} == {
        "LATE": False, "NONE": False, "PAST": False, "S06": None, "U12": False,
    }  # fmt: skip


def test_a_kind_is_weak_once_it_names_somebody_fine_at_more_meetings_than_the_programme_sets(
    facts: Db,
) -> None:
    facts.execute("begin")
    put(
        facts,
        "calibration",
        """
        programme_ref | reason          | chance_meeting | chance_training | power | programmes | inputs
        harbour-eye   | close_and_short | 0.11           | 0.4             | 0.5   | 100        | as-now
        harbour-eye   | pace_behind     | 0.1            | 0.3             | 0.5   | 100        | before
        harbour-eye   | log_late        | 0.9            | 0.9             | 0.5   | 100        | as-now
    """,
    )
    facts.execute("insert into calibration_inputs values ('harbour-eye', 'as-now')")
    found = table(
        facts, "definition.false_alarm", "reason, chance_meeting, is_weak, remark", "reason <> 'level_fell'"
    )
    facts.execute("rollback")
    lines = [
        line
        for line in found.splitlines()
        if line.split(" | ")[0] in ("close_and_short", "pace_behind", "log_late")
    ]
    assert lines == [
        "close_and_short | 0.11 | true |",
        "log_late |  | false | a plain fact",
        "pace_behind | 0.1 | false | calibrated before the data or rules were as they are now: run calibrate again",
    ]


# ---- the committee's levels, outcomes not recorded, steps


def test_levels_that_fell_or_lie_apart_outcomes_unknown_and_steps_without_progress() -> None:
    db = database(specialty(RULES, requirements={"lens": {"minimum": 1}}))
    refs = ("C3", "B3", "A9", "FELL", "ROSE", "N7", "N6", "STEP", "UP", "GOOD")
    people(db, "\n".join(f"{ref} | 2024-07 | 2029-06 | | | 2026-10" for ref in refs))
    log = Log(db)
    for ref in ("C3", "B3", "FELL", "ROSE"):
        log.add(ref, "2026-05", 2, complications="none")
    log.add("A9", "2026-05", 9, complications="none")
    for ref, unknown in (("N7", 7), ("N6", 6)):
        log.add(ref, "2026-05", 12 - unknown, complications="none")
        log.add(ref, "2026-05", unknown)
    put(
        db,
        "milestones",
        """
        trainee_ref | period      | milestone  | level
        C3          | 2025-26 end | lens_skill | C
        B3          | 2025-26 end | lens_skill | B
        A9          | 2025-26 end | lens_skill | A
        FELL        | 2025-26 end | lens_skill | A
        FELL        | 2025-26 mid | lens_skill | B
        FELL        | 2024-25 end | lens_skill | A
        ROSE        | 2025-26 mid | lens_skill | A
        ROSE        | 2025-26 end | lens_skill | B
        ROSE        | 2024-25 end | lens_skill | C
    """,
    )
    for ref, scores in (("STEP", [3, 3, 3, 3, 3] * 2), ("UP", [3, 3, 3, 3, 2] + [3] * 5), ("GOOD", [4] * 10)):
        for score in scores:
            (case,) = log.add(ref, "2026-06", 1, complications="none")
            log.review(ref, case, [score])
    # Two reviews of one operation are one operation: without this one UP would have an eleventh.
    log.review("UP", case, [1], step="nucleus_disassembly")
    run(db)
    # With two cases level B (3 asked) is not met: C lies two levels above A, B one. With nine every rule through C is
    # met, two levels above A. 7 of 12 are more than half, 6 are not. 3.0 after 2.8 is progress; 4 is above 3.5.
    said = db.execute(f"select {REASONS}, sentence from discussion_reason order by trainee_ref").fetchall()
    assert said == [
        (
            *("A9", "level_and_evidence", "lens_skill"),
            "Lens skill: the committee's level is A (2025-26 end), though every rule through level C is met.",
        ),
        (
            *("C3", "level_and_evidence", "lens_skill"),
            "Lens skill: the committee's level is C (2025-26 end). Not met at level B: A rule: 1 more case.",
        ),
        ("FELL", "level_fell", "lens_skill", "Lens skill: level B at 2025-26 mid, A at 2025-26 end."),
        (
            *("N7", "outcomes_unknown", "capsule_rupture"),
            "An outcome: no outcome is recorded for 7 of the 12 operations for which it should be known by now.",
        ),
        (
            *("STEP", "step_without_progress", "capsulorhexis"),
            "Capsulorhexis: mean score 3 of 5 in the latest 5 reviewed operations, 3 in the 5 before.",
        ),
    ]


# ---- beside earlier trainees


def earlier_ones(db: Db, log: Log, cases: int = 10) -> None:
    """Twelve who completed, in two classes; from the second year on the supervisor was available to all but P00."""
    for place in range(12):
        ref, cohort = f"P{place:02d}", "2018-19" if place < 6 else "2019-20"
        put(
            db,
            "trainees",
            "trainee_ref | cohort | started | expected_completion | completed\n"
            f"{ref} | {cohort} | 2016-07 | 2019-06 | 2019-06",
        )
        put_through(db, {ref: "2019-06"})
        log.add(ref, "2016-09", cases, supervision="observed")
        log.add(ref, "2017-10", 20, supervision="observed" if place == 0 else "available")
        put(
            db,
            "training",
            f"trainee_ref | from | to | kind | value\n{ref} | 2017-10 | 2017-12 | rotation | eye_wing",
        )


def test_pace_and_supervision_are_held_beside_earlier_trainees_at_the_same_active_month() -> None:
    db = database(specialty(requirements={"lens": {"minimum": 25}}))
    log = Log(db)
    earlier_ones(db, log)
    # Month 16, a leave of three months among them: 2025-04 to 2026-10 are nineteen.
    people(
        db,
        """
        SLOW | 2025-04 | 2026-12 |  |  | 2026-10
        EASY | 2025-04 | 2029-12 |  |  | 2026-10
        """,
    )
    for ref in ("SLOW", "EASY"):
        put(db, "training", f"trainee_ref | from | to | kind | value\n{ref} | 2025-06 | 2025-08 | leave |")
    put(
        db,
        "training",
        "trainee_ref | from | to | kind | value\n"
        "SLOW | 2026-01 | 2026-03 | rotation | Eye_wing\nSLOW | 2026-04 | 2026-06 | rotation | eye_wing\n"
        "SLOW | 2026-11 | 2026-12 | rotation | lids",
    )
    log.add("SLOW", "2025-05", 2, supervision="observed", complications="none")
    log.add("SLOW", "2026-09", 12, supervision="observed", complications="none")
    log.add("EASY", "2026-09", 30, supervision="available", complications="none")
    run(db)
    assert table(db, "trainee_clock", "trainee_ref, active_month", "not has_completed") == drawn("""
        EASY | 16.000000
        SLOW | 16.000000
    """)
    said = dict(
        db.execute("select reason, sentence from discussion_reason where trainee_ref = 'SLOW'").fetchall()
    )
    # All twelve had 30 by month 16: nobody had as few as 14, and nothing more came to anybody. Of six of another class
    # no range could be tried.
    assert said["pace_behind"] == (
        "A rule: 14 of 25 after 16 active months. No earlier trainee had so few by then. Forecast: 14 by the end; the chance of"
        " reaching 25 is about 4 %. In the 2 active months left it takes 5.5 a month; in the last six it was 2 a month."
        " Both eye wing rotations are past."
    )
    assert said["close_and_short"].startswith(
        "A rule: 14 of 25 after 16 active months. In the 2 active months left"
    )
    # In quarters 5 and 6 all but P00 had 20 of 20 available; before, nobody. Wilson: 0 of 12 → 0 to 24 %.
    assert said["supervision_not_loosening"] == (
        'Lens surgery: in the latest 2 quarters 0 of 12 operations with a recorded level were at "With spoken guidance"'
        " or above (0 %; 95 % interval 0 % to 24 %). Of 12 earlier trainees in the same quarters, three in four had"
        " at least 100 %, and half at least 100 %."
    )
    own = dict(
        db.execute("select reason, own_sentence from discussion_reason where trainee_ref = 'SLOW'").fetchall()
    )
    assert own["pace_behind"] == (
        "A rule: 14 of 25 after 16 active months. In the 2 active months left it takes 5.5 a month; in the last six"
        " it was 2 a month. Both eye wing rotations are past."
    )
    assert "earlier" not in own["supervision_not_loosening"]
    assert set(said) == {"pace_behind", "close_and_short", "supervision_not_loosening"}
    assert table(db, "discussion_reason", "reason", "trainee_ref = 'EASY'") == ""


def test_an_outcome_over_time_is_said_once_the_chart_lies_above_its_limit_and_not_before() -> None:
    db, log = programme()
    db.execute("update input.programme set cusum_limit = 1")
    for ref, cases, events in (("T01", 4, (2, 3)), *((ref, 10, (1, 2)) for ref in OTHERS)):
        refs = log.add(ref, "2026-08", cases, complications="none", supervisor_agreed=True)
        log.db.execute(
            "update input.cases set complications = 'capsule_rupture' where list_contains(?, case_ref)",
            [[refs[number - 1] for number in events]],
        )
    run(db)
    # T01: the others have 10 events in 50, so two events in a row weigh 2 (ln 2 - ln 1.2) = 1.02, and a case without one
    # takes 0.18 off. Each other: 10 in 44 without them, 2 (ln 2 - ln (1 + 10/44)) = 0.98.
    said = db.execute(f"select {REASONS}, sentence, own_sentence, opens from discussion_reason").fetchall()
    counts = "An outcome: 2 in 4 operations with a recorded outcome"
    closer = "By operation 3 of these they had come closer together than chance usually brings"
    since = "Since then they have become rarer again."
    assert said == [
        (
            *("T01", "outcome_over_time", "capsule_rupture"),
            f"{counts}, where about 0.8 would be expected. {closer} (by the limit for a whole class). {since}",
            f"{counts}. {closer}. {since}",
            "outcome:capsule_rupture",
        )
    ]


def test_the_rules_are_written_out_with_the_numbers_of_the_programme() -> None:
    from pipelines.build.reasons import reason_tables
    from pipelines.store.documents import Reasons

    changed = Reasons.model_validate({"pace_behind": {"chance_below": 0.25, "people": 7}})
    rules = {row["reason"]: row["rule"] for row in reason_tables(changed)["reason_kind"].to_pylist()}
    assert (
        "a chance below 25 %" in rules["pace_behind"]
        and "at least 7 earlier trainees" in rules["pace_behind"]
    )
    assert [row for row in rules.values() if "{" in row] == []
