"""One case_ref is one operation of one programme; two different operations under it are remarked on."""

from __future__ import annotations

import pytest

from tests.drawn_exports import Desk, desk, roster_store

pytestmark = pytest.mark.usefixtures("builds_of_the_log")

__all__ = ["desk", "roster_store"]

T01_IN_MARCH = "case_ref | trainee_ref | operated_on\nC001 | T01 | 2025-03-04"


def reused(desk: Desk) -> str:
    return desk.query("select trainee_ref from finding where rule = 'case_ref_reused' order by all")


@pytest.fixture
def two_programmes(desk: Desk) -> Desk:
    """T02 is of another programme than T01 and T03."""
    desk.take(desk.roster("trainee_ref | programme_ref\nT02 | inland-eye"))
    return desk


def test_in_one_file_the_other_programmes_case_is_another(two_programmes: Desk) -> None:
    others = "\nC001 | {} | 2025-04-04"
    two_programmes.take(two_programmes.file(T01_IN_MARCH + others.format("T02")))
    assert reused(two_programmes) == ""
    two_programmes.take(two_programmes.file(T01_IN_MARCH + others.format("T03")))
    assert reused(two_programmes) == "T03"


def test_beside_what_is_live_the_other_programmes_case_is_another(two_programmes: Desk) -> None:
    two_programmes.take(two_programmes.file(T01_IN_MARCH))
    for trainee, found in (("T02", ""), ("T03", "T03")):
        later = f"case_ref | trainee_ref | operated_on\nC001 | {trainee} | 2025-04-04"
        two_programmes.take(two_programmes.file(later))
        assert reused(two_programmes) == found


def test_a_roster_among_the_files_says_whose_programme_it_is(desk: Desk) -> None:
    roster = desk.roster("trainee_ref | programme_ref\nT02 | inland-eye")
    desk.take(roster, desk.file(T01_IN_MARCH + "\nC001 | T02 | 2025-04-04"))
    assert reused(desk) == ""


def test_what_is_appended_is_held_against_what_it_is_added_to(desk: Desk) -> None:
    desk.take(desk.file(T01_IN_MARCH))
    other = "case_ref | operated_on | procedure\nC001 | {} | strabismus_surgery"
    desk.take(desk.file(other.format("2025-03-04")), "--append")
    assert reused(desk) == ""
    desk.take(desk.file(other.format("2025-06-04")), "--append")
    assert reused(desk) == "T01"


def test_the_same_case_told_anew_is_no_other_operation(desk: Desk) -> None:
    desk.take(desk.file(T01_IN_MARCH))
    desk.take(desk.file("case_ref | operated_on\nC001 | 2025-06-04"), "--append")
    assert reused(desk) == ""
