"""Supervision not loosening, and a step without progress: the rules as reason_rule words them, a second time in plain loops.

The people are made up by Python's own generator, dozens of programmes at once, and put where the rules read them. Source of
the expected names: the words of the rules; quantiles of the standard library (Hyndman and Fan 1996, type 7), the interval of
tests/oracle.py. Of each condition somebody stands where it alone decides, so none can go unseen.
"""

from __future__ import annotations

import random
import statistics
from typing import Any, NamedTuple

import pyarrow as pa
import pytest

from pipelines.build.build import SQL
from pipelines.store.documents import Reasons
from tests.drawn import Db, database, run
from tests.example_standing import specialty
from tests.oracle import wilson

PROGRAMMES, RUNNING, QUARTERS = 90, 8, 12
RULE, STEP_RULE = Reasons().supervision_not_loosening, Reasons().step_without_progress
Quarters = dict[int, tuple[int, int]]  # quarter → operations at the level or above, and with a level


class Person(NamedTuple):
    ref: str
    programme: str
    last_quarter: int
    has_completed: bool
    supervised: Quarters
    scores: list[float]  # in the order of the log


def people() -> list[Person]:
    dice = random.Random(41)
    found = []
    for number in range(PROGRAMMES):
        programme, earlier = f"P{number:02d}", dice.choice((9, 10, 13, 16))
        # In some programmes supervision loosens late or never, and operations are few.
        turns, most = dice.choice((4, 6, 8, 40)), dice.choice((9, 14, 20))
        for place in range(earlier + RUNNING):
            is_done = place < earlier
            stays = 0.0 if is_done else dice.choice((0.0, 0.3, 0.5, 0.8, 1.0))
            own_most = most if is_done else dice.choice((6, most))
            last = QUARTERS if is_done and dice.random() < 0.9 else dice.randint(3, 10)
            steps = _scores(dice)
            ref = f"{programme}-{place:02d}"
            found.append(
                Person(ref, programme, last, is_done, _quarters(dice, last, (turns, own_most, stays)), steps)
            )
    return found


def _quarters(dice: random.Random, last: int, how: tuple[int, int, float]) -> Quarters:
    turns, most, stays = how
    found = {}
    for quarter in range(1, last + 1):
        chance = (0.85 if quarter >= turns else 0.3) * (1 - stays)
        known = dice.randint(0, most)
        if known:
            found[quarter] = (sum(dice.random() < chance for _ in range(known)), known)
    return found


def _scores(dice: random.Random) -> list[float]:
    middle, number = dice.choice((2.5, 3.5, 4.0)), dice.choice((8, 9, 10, 11, 14))
    return [min(5.0, max(1.0, middle + dice.choice((-1, -0.5, 0, 0.5, 1)))) for _ in range(number)]


# ---- the rules in plain loops: each condition by itself


def _sum(of: Quarters, first: int, last: int) -> tuple[int, int]:
    return (
        sum(above for quarter, (above, _) in of.items() if first <= quarter <= last),
        sum(known for quarter, (_, known) in of.items() if first <= quarter <= last),
    )


def not_loosening(person: Person, everybody: list[Person]) -> list[bool]:
    until = person.last_quarter
    latest = (until - RULE.quarters + 1, until)
    above, known = _sum(person.supervised, *latest)
    above_before, known_before = _sum(person.supervised, 1, latest[0] - 1)
    others = [
        other
        for other in everybody
        if other.programme == person.programme
        and other.has_completed
        and other.last_quarter >= until
        and _sum(other.supervised, *latest)[1] >= RULE.cases
    ]
    shares = [above / known for above, known in (_sum(other.supervised, *latest) for other in others)]
    before = [_sum(other.supervised, 1, latest[0] - 1) for other in others]
    if len(shares) < 2 or not known:
        return [False, len(shares) >= RULE.people, False, False, False]
    shared_before = sum(above for above, _ in before) / max(1, sum(known for _, known in before))
    own_before = above_before / known_before if known_before else 0.0
    return [
        known >= RULE.cases,
        len(shares) >= RULE.people,
        wilson(above, known)[1] < statistics.quantiles(shares, n=4, method="inclusive")[0],
        statistics.median(shares) - shared_before >= RULE.loosened_by,
        above / known - own_before < RULE.loosened_by,
    ]


def without_progress(person: Person) -> list[bool]:
    number = STEP_RULE.operations
    enough = len(person.scores) >= 2 * number
    latest = statistics.fmean(person.scores[-number:])
    before = statistics.fmean(person.scores[-2 * number : -number])
    return [enough, latest <= before, latest < STEP_RULE.score_below]


# ---- the same by the SQL


@pytest.fixture(scope="module")
def made() -> tuple[list[Person], Db]:
    db = database(specialty())
    run(db)
    everybody = people()
    for name in ("trainee", "trainee_clock", "supervision_mix", "operation_score"):
        db.execute(f"delete from main.{name}")
    # Of the example's levels of who operates, `guided` is the second highest.
    ranks = dict(db.execute("select level_ref, level_rank from supervision_level").fetchall())
    trainees, clocks, mixed, scored = [], [], [], []
    for person in everybody:
        head = (person.programme, "2026-27", person.ref)
        trainees.append((*head, person.has_completed))
        clocks.append((*head, person.last_quarter, person.has_completed, person.has_completed))
        for quarter, (above, known) in person.supervised.items():
            for level, cases in (("guided", above), ("observed", known - above)):
                mixed.append((*head, "lens", quarter, level, ranks[level], cases))
        scored += [
            (person.ref, "capsulorhexis", place, score) for place, score in enumerate(person.scores, start=1)
        ]
    _insert(db, "trainee (programme_ref, cohort, trainee_ref, training_is_over)", trainees)
    _insert(
        db,
        "trainee_clock (programme_ref, cohort, trainee_ref, last_training_quarter, has_completed, of_completed_class)",
        clocks,
    )
    _insert(
        db,
        "supervision_mix (programme_ref, cohort, trainee_ref, procedure_group, training_quarter, level_ref, level_rank, cases)",
        mixed,
    )
    _insert(db, "operation_score (trainee_ref, step, case_sequence, score)", scored)
    for name in ("524_supervision_loosening", "526_step_progress", "540_discussion_reason"):
        view = name.partition("_")[2]
        db.execute(f"drop view definition.{view}")
        db.execute((SQL / f"{name}.sql").read_text(encoding="utf-8").partition("\ncomment on ")[0])
        db.execute(f"drop table main.{view}")
        db.execute(f"create table main.{view} as select * from definition.{view}")
    return everybody, db


def _insert(db: Db, where: str, rows: list[tuple[Any, ...]]) -> None:
    table, names = where.rstrip(")").split(" (")
    columns = zip(names.split(", "), zip(*rows, strict=True), strict=True)
    db.register("made", pa.table({name: list(values) for name, values in columns}))
    db.execute(f"insert into main.{table} by name select * from made")
    db.unregister("made")


def named(db: Db, reason: str) -> set[str]:
    return {
        ref
        for (ref,) in db.execute(
            "select trainee_ref from discussion_reason where reason = ?", [reason]
        ).fetchall()
    }


@pytest.mark.parametrize("reason", ["supervision_not_loosening", "step_without_progress"])
def test_the_rule_names_those_whom_the_plain_loops_name(made: tuple[list[Person], Db], reason: str) -> None:
    everybody, db = made
    running = [person for person in everybody if not person.has_completed]
    holds = {
        person.ref: not_loosening(person, everybody)
        if reason.startswith("supervision")
        else without_progress(person)
        for person in running
    }
    expected = {ref for ref, conditions in holds.items() if all(conditions)}
    assert len(expected) > 5
    if reason == "step_without_progress":
        # Who has completed has no reason, whatever the scores.
        assert any(all(without_progress(person)) for person in everybody if person.has_completed)
    assert named(db, reason) == expected
    # Where one condition alone keeps somebody out.
    alone = {tuple(place for place, held in enumerate(each) if not held) for each in holds.values()}
    assert {(place,) for place in range(len(next(iter(holds.values()))))} <= alone
