"""`--append` adds, replaces rows of the same key, withdraws nothing; and through when a trainee's data run."""

from __future__ import annotations

import pytest

from tests.drawn import drawn
from tests.drawn_exports import Desk, desk, log, roster_store

pytestmark = pytest.mark.usefixtures("builds_of_the_log")

__all__ = ["desk", "roster_store"]

MARCH = """
    case_ref | operated_on | duration_min
    ---------+-------------+-------------
    C006     | 2026-03-10  | 46
    C002     | 2026-03-20  | 42
    C001     | 2026-03-25  | 41
    C003     | 2026-04-05  | 43
"""
# One new case early in March, one in April, and C002 told anew.
MORE = """
    case_ref | operated_on | duration_min
    ---------+-------------+-------------
    C004     | 2026-03-01  | 44
    C005     | 2026-04-01  | 45
    C002     | 2026-03-20  | 52
"""


def test_append_adds_replaces_the_same_key_and_withdraws_nothing(desk: Desk) -> None:
    desk.take(desk.file(MARCH))
    desk.take(desk.file(MORE), "--append")
    # Appended rows come after the live rows of their month, whatever their day.
    assert desk.live("operated_month, case_ref, duration_min, case_sequence") == drawn("""
        2026-03 | C006 | 46.0 | 1
        2026-03 | C001 | 41.0 | 2
        2026-03 | C004 | 44.0 | 3
        2026-03 | C002 | 52.0 | 4
        2026-04 | C003 | 43.0 | 5
        2026-04 | C005 | 45.0 | 6
    """)
    assert len(desk.line()) == 2
    (balance,) = desk.receipt(desk.line()[1])["parts"][0]["trainees"]
    # Live before + new keys.
    assert (balance["live_before"], balance["added"], balance["live_after"]) == (4, 2, 4 + 2)
    assert (balance["changed"], balance["withdrawn"]) == (1, 0)


def test_the_same_file_appended_twice_changes_nothing(desk: Desk) -> None:
    desk.take(desk.file(MARCH))
    desk.take(desk.file(MORE), "--append")
    before = desk.everything()
    assert "changes nothing" in desk.take(desk.file(MORE, "again.csv"), "--append").err
    assert desk.everything() == before


def test_a_later_replace_takes_the_place_of_appended_rows_too(desk: Desk) -> None:
    desk.take(desk.file(MARCH))
    desk.take(desk.file(MORE), "--append")
    # Everything but the appended C005.
    desk.take(
        desk.file("""
        case_ref | operated_on
        ---------+------------
        C001     | 2026-03-25
        C002     | 2026-03-20
        C003     | 2026-04-05
        C004     | 2026-03-01
        C006     | 2026-03-10
    """)
    )
    assert desk.live() == "C004\nC006\nC002\nC001\nC003"
    assert len(desk.line()) == 1


def test_an_append_goes_to_its_own_source_alone(desk: Desk) -> None:
    desk.take(desk.file("case_ref | role\nC001 | surgeon\nC002 | surgeon"))
    desk.take(desk.file("case_ref | role\nC002 | observer"), "--append", "--source", "theatre")
    assert desk.live("case_ref, role, source") == drawn("""
        C001 | surgeon  | main
        C002 | observer | theatre
    """)
    assert (len(desk.line()), len(desk.line(source="theatre"))) == (1, 1)


def test_an_appended_row_that_is_left_out_keeps_the_live_version(desk: Desk) -> None:
    desk.take(desk.file("case_ref | duration_min\nC001 | 41\nC002 | 42"))
    desk.take(desk.file("case_ref | duration_min\nC001 | much\nC003 | 43"), "--append")
    assert desk.live("case_ref, duration_min") == drawn("C002 | 42.0\nC003 | 43.0\nC001 | 41.0")
    assert desk.findings() == drawn("2 | number_unreadable\n2 | older_version_kept")
    (balance,) = desk.receipt(desk.line()[1])["parts"][0]["trainees"]
    assert (balance["kept"], balance["live_after"]) == (1, 3)


def test_findings_of_what_was_appended_to_stay(desk: Desk) -> None:
    desk.take(desk.file("case_ref | role\nC001 | surgeon\nC002 | surgoen"))
    desk.take(desk.file("case_ref\nC003"), "--append")
    assert desk.findings() == drawn("3 | code_unknown")


# ---- through when the data run


LOGGED = """
    case_ref | operated_on | logged_on
    ---------+-------------+-----------
    C001     | 2026-01-31  | 2026-02-01
    C002     | 2026-03-31  |
"""


def test_data_run_through_the_month_given_else_the_later_of_the_latest_log_and_the_latest_operation(
    desk: Desk,
) -> None:
    unlogged = desk.file("case_ref | operated_on\nC001 | 2026-01-31\nC002 | 2026-03-31")
    desk.take(unlogged)
    assert desk.through() == "2026-03"
    logged = desk.file(LOGGED)
    desk.take(logged)
    # Logged last in February, operated last in March.
    assert desk.through() == "2026-03"
    desk.take(logged, "--through", "2026-06")
    assert desk.through() == "2026-06"


def test_each_trainee_has_the_month_of_their_own_accepted_rows(desk: Desk) -> None:
    desk.take(
        desk.file("""
        case_ref | trainee_ref | operated_on | role
        ---------+-------------+-------------+--------
        C001     | T01         | 2026-01-31  | surgeon
        C002     | T01         | 2026-05-31  | surgoen
        C003     | T02         | 2026-03-31  | surgeon
        C004     | T03         | 2026-04-30  | surgoen
    """)
    )
    assert [desk.through(trainee) for trainee in ("T01", "T02", "T03")] == ["2026-01", "2026-03", ""]


def test_of_two_sources_the_earlier_month_holds(desk: Desk) -> None:
    desk.take(desk.file("case_ref\nC001"), "--through", "2026-06")
    assert desk.through() == "2026-06"
    desk.take(desk.file("case_ref\nC002"), "--source", "theatre", "--through", "2026-04")
    assert desk.through() == "2026-04"
    desk.take(desk.file("case_ref\nC002"), "--source", "theatre", "--through", "2026-08")
    assert desk.through() == "2026-06"


def test_an_append_never_moves_the_month_back(desk: Desk) -> None:
    desk.take(desk.file("case_ref | operated_on\nC001 | 2026-05-31"))
    desk.take(desk.file("case_ref | operated_on\nC002 | 2026-03-02"), "--append")
    assert desk.through() == "2026-05"
    # Nor once the row that gave the month is told anew with an earlier one.
    desk.take(desk.file("case_ref | operated_on\nC001 | 2026-04-30"), "--append")
    assert desk.through() == "2026-05"
    desk.take(desk.file("case_ref | operated_on\nC003 | 2026-06-01"), "--append")
    assert desk.through() == "2026-06"


@pytest.mark.parametrize("month", ["2026-13", "2026", "03-2026", "2999-01"])
def test_a_month_that_is_none_or_has_not_come_is_wrong_usage(desk: Desk, month: str) -> None:
    before = desk.everything()
    assert desk.intake(desk.file(log(1)), "--through", month).code == 2
    assert desk.everything() == before
