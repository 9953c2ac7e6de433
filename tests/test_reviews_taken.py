"""A review replaces the earlier one of its review_ref with all its steps, whoever that was about."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.drawn import drawn
from tests.drawn_exports import Desk, desk, roster_store
from tests.stores import run_well

pytestmark = pytest.mark.usefixtures("builds_of_the_log")

__all__ = ["desk", "roster_store"]

SCORES = "select review_ref, trainee_ref, step, score from input.reviews order by all"


def reviews(desk: Desk, text: str) -> Path:
    return desk.file(text, "reviews.csv", {"reviewer_ref": "A1", "setting": "live", "case_ref": "C001"})


@pytest.fixture
def scored(desk: Desk) -> Desk:
    """T01 has two reviews, T02 has one."""
    desk.take(desk.file("case_ref | trainee_ref\nC001 | T01\nC001 | T02"))
    text = "review_ref | trainee_ref | step | score\nV1 | T01 | incision | 5\nV2 | T01 | incision | 4\nV3 | T02 | flow | 3"
    desk.take(reviews(desk, text))
    return desk


def balance(desk: Desk, trainee: str) -> tuple[int, ...]:
    """Live before, added, changed, withdrawn, live after, of the latest intake of reviews that names the trainee."""
    latest = desk.receipt(desk.line(trainee, kind="reviews")[-1])
    (of_trainee,) = (each for each in latest["parts"][0]["trainees"] if each["trainee_ref"] == trainee)
    return tuple(of_trainee[name] for name in ("live_before", "added", "changed", "withdrawn", "live_after"))


def test_a_review_is_replaced_with_all_its_steps(scored: Desk) -> None:
    scored.take(reviews(scored, "review_ref | trainee_ref | step | score\nV1 | T01 | flow | 2"))
    assert scored.query(SCORES) == drawn("""
        V1 | T01 | flow     | 2
        V2 | T01 | incision | 4
        V3 | T02 | flow     | 3
    """)
    assert balance(scored, "T01") == (2, 1, 0, 1, 2)


def test_a_review_that_was_about_somebody_else_moves(scored: Desk) -> None:
    first = reviews(scored, "review_ref | trainee_ref | step | score\nV1 | T01 | incision | 5")
    moved = reviews(scored, "review_ref | trainee_ref | step | score\nV1 | T02 | incision | 2")
    scored.take(moved)
    at_t02 = drawn("""
        V1 | T02 | incision | 2
        V2 | T01 | incision | 4
        V3 | T02 | flow     | 3
    """)
    assert scored.query(SCORES) == at_t02
    assert balance(scored, "T02") == (1, 1, 0, 0, 2)
    assert "changes nothing" in scored.take(moved).err

    # A, B, A ends with A.
    scored.take(first)
    assert scored.query(SCORES) == drawn("""
        V1 | T01 | incision | 5
        V2 | T01 | incision | 4
        V3 | T02 | flow     | 3
    """)
    assert balance(scored, "T01") == (1, 1, 0, 0, 2)
    scored.take(moved)
    assert scored.query(SCORES) == at_t02


def test_of_whom_a_review_moved_away_the_receipts_and_the_history_know_it(scored: Desk) -> None:
    scored.take(reviews(scored, "review_ref | trainee_ref | step | score\nV1 | T02 | incision | 2"))
    told = run_well("history", "--trainee", "T01", "--format", "csv", "--store", scored.store).out
    assert "reviews,V1 incision,withdrawn" in told
    scored.take(reviews(scored, "review_ref | trainee_ref | step | score\nV4 | T01 | flow | 1"))
    assert balance(scored, "T01") == (1, 1, 0, 0, 2)
    assert scored.query("select count(*) from input.reviews") == "4"
