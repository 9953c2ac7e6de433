"""What would vanish silently from a trainee's record is held for a person's word: exit code 14."""

from __future__ import annotations

import pytest

from tests.drawn import drawn
from tests.drawn_exports import Desk, desk, log, roster_store, rows_drawn
from tests.stores import run

pytestmark = pytest.mark.usefixtures("builds_of_the_log")

__all__ = ["desk", "roster_store"]

ACCEPT = ("--accept-withdrawals", "--by", "coordinator", "--reason", "entered twice")


def held_trainees(err: str) -> set[str]:
    """The trainees whom the message names."""
    return {line.strip().partition(":")[0] for line in err.splitlines() if line.startswith("    T")}


# ---- more than two rows, and more than one in twenty of those live now


# Each trainee is a log of so many live rows, of which so many go or stay only in an older version.
SHARES = """
    trainee | live | withdrawn | kept | held
    --------+------+-----------+------+-----
    T-2     | 4    | 2         | 0    |
    T-2kept | 4    | 0         | 2    |
    T-3     | 4    | 3         | 0    | yes
    T-3kept | 4    | 0         | 3    | yes
    T-3both | 4    | 2         | 1    | yes
    T-59    | 59   | 3         | 0    | yes
    T-60    | 60   | 3         | 0    |
    T-61    | 61   | 2         | 1    |
    T-80    | 80   | 4         | 0    |
    T-79    | 79   | 2         | 2    | yes
"""


def test_more_than_two_and_more_than_five_in_a_hundred_of_the_rows_live_now_are_held(desk: Desk) -> None:
    roster, before, after = "trainee_ref", [], []
    for drawing in rows_drawn(SHARES):
        name, live = drawing["trainee"], int(drawing["live"])
        withdrawn, kept = int(drawing["withdrawn"]), int(drawing["kept"])
        roster += f"\n{name}"
        before += log(live, trainee=name)
        after += log(live, without=range(1, withdrawn + 1), trainee=name)
        # A row whose role cannot be read is left out: the live version stays.
        for row in after[len(after) - kept :]:
            row["role"] = "surgoen"
    desk.take(desk.roster(roster), desk.file(before))
    files = desk.everything()
    result = desk.intake(desk.file(after), "--all")
    assert result.code == 14
    assert held_trainees(result.err) == {row["trainee"] for row in rows_drawn(SHARES) if row["held"]}
    assert desk.everything() == files
    # `check` ends as `intake --strict` would, holding included, which comes before rows left out.
    assert run("check", desk.file(after), "--store", desk.store).code == 14
    assert desk.intake(desk.file(after), "--strict").code == 14


def test_rows_gone_are_summed_over_the_intakes_of_a_source_until_a_person_accepts(desk: Desk) -> None:
    desk.take(desk.file(log(20)))
    desk.take(desk.file(log(20)), "--source", "theatre")
    desk.take(desk.file(log(20, without=[1])))
    # One kept in an older version counts like one withdrawn.
    one_kept = [
        row | {"role": "surgoen"} if row["case_ref"] == "C002" else row for row in log(20, without=[1])
    ]
    desk.take(desk.file(one_kept))
    # What went from one source is not counted in another.
    desk.take(desk.file(log(20, without=[1, 2])), "--source", "theatre")
    third = desk.file(log(20, without=[1, 3]))
    held = desk.intake(third)
    # 1 withdrawn + 1 kept + 1 withdrawn of 19: more than two, more than 0.95.
    assert (held.code, "3 of 19" in held.err) == (14, True)
    desk.take(third, *ACCEPT)
    assert "C003" not in desk.live(where="source = 'main'")
    # The sum starts again: two more may go.
    desk.take(desk.file(log(20, without=[1, 3, 4, 5])))
    assert desk.intake(desk.file(log(20, without=[1, 3, 4, 5, 6]))).code == 14


def test_an_intake_from_which_nothing_goes_is_not_held_for_what_went_before(desk: Desk) -> None:
    desk.take(desk.file(log(4)))
    desk.take(desk.file(log(4, without=[1, 2])))
    desk.take(desk.file([*log(4, without=[1, 2]), *log(1)]))
    assert desk.live() == "C003\nC004\nC001"


# ---- a row that says less than it did


# Each trainee has one case, told twice. `-` in `after`: the case is not in the file any more.
TOLD_TWICE = """
    trainee | column        | before                        | after                         | held
    --------+---------------+-------------------------------+-------------------------------+-----
    T-w1    | complications | capsule_rupture               | -                             | yes
    T-w2    | complications | none                          | -                             |
    T-w3    | complications |                               | -                             |
    T-w4    | takeover      | yes                           | -                             | yes
    T-w5    | takeover      | no                            | -                             |
    T-w6    | takeover      |                               | -                             |
    T-c1    | complications | capsule_rupture               | none                          | yes
    T-c2    | complications | capsule_rupture               |                               | yes
    T-c3    | complications | capsule_rupture               | vitreous_loss                 | yes
    T-c4    | complications | capsule_rupture               | capsule_rupture;vitreous_loss |
    T-c5    | complications | capsule_rupture;vitreous_loss | vitreous_loss                 | yes
    T-c6    | complications | none                          |                               |
    T-c7    | complications | none                          | capsule_rupture               |
    T-o1    | complications | other                         | capsule_rupture               |
    T-o2    | complications | other                         | none                          | yes
    T-o3    | complications | other@3                       | other@5;capsule_rupture       |
    T-o4    | complications | other;capsule_rupture         | capsule_rupture               | yes
    T-o5    | complications | other;capsule_rupture         | capsule_rupture;vitreous_loss |
    T-o6    | complications | capsule_rupture               | other                         | yes
    T-o7    | complications | other                         |                               | yes
    T-o8    | complications | other                         | -                             | yes
    T-d1    | complications | endophthalmitis@5             | endophthalmitis@43            | yes
    T-d2    | complications | endophthalmitis@5             | endophthalmitis@42            |
    T-d3    | complications | endophthalmitis@42            | endophthalmitis@43            | yes
    T-d4    | complications | endophthalmitis@43            | endophthalmitis@60            |
    T-d5    | complications | endophthalmitis               | endophthalmitis@43            | yes
    T-d6    | complications | endophthalmitis@5             | endophthalmitis               |
    T-d7    | complications | capsule_rupture@0             | capsule_rupture@9             |
    T-d8    | complications | wound_leak@7                  | wound_leak@8                  | yes
    T-t1    | takeover      | yes                           | no                            | yes
    T-t2    | takeover      | yes                           |                               | yes
    T-t3    | takeover      | no                            | yes                           |
    T-t4    | takeover      | no                            |                               |
    T-h1    | event_hands   | trainee                       | supervisor                    | yes
    T-h2    | event_hands   | trainee                       | unclear                       | yes
    T-h3    | event_hands   | trainee                       |                               | yes
    T-h4    | event_hands   | supervisor                    | trainee                       |
    T-h5    | event_hands   | unclear                       |                               |
    T-r1    | role          | assistant                     | surgeon                       | yes
    T-r2    | role          | teaching_assistant            | assistant                     | yes
    T-r3    | role          | observer                      | teaching_assistant            | yes
    T-r4    | role          | surgeon                       | assistant                     |
    T-r5    | role          | teaching_assistant            | observer                      |
    T-s1    | supervision   | supervisor_available          | performed_jointly             |
    T-s2    | duration_min  | 40                            | 400                           |
"""


def told(which: str) -> list[dict[str, str]]:
    """One export of all: the case of each, and one more so that the file names everybody."""
    rows = []
    for drawing in rows_drawn(TOLD_TWICE):
        rows.append({"case_ref": "C000", "trainee_ref": drawing["trainee"]})
        if drawing[which] != "-":
            rows.append(
                {"case_ref": "C001", "trainee_ref": drawing["trainee"], drawing["column"]: drawing[which]}
            )
    return rows


def test_a_row_that_now_says_less_about_an_event_or_more_about_a_role_is_held(desk: Desk) -> None:
    trainees = [row["trainee"] for row in rows_drawn(TOLD_TWICE)]
    desk.take(desk.roster("\n".join(["trainee_ref", *trainees])), desk.file(told("before")))
    files = desk.everything()
    expected = {row["trainee"] for row in rows_drawn(TOLD_TWICE) if row["held"]}
    result = desk.intake(desk.file(told("after")), "--all")
    assert (result.code, held_trainees(result.err)) == (14, expected)
    # Appended, a row is not withdrawn, but it may say less.
    appended = desk.intake(desk.file(told("after")), "--append", "--all")
    assert (appended.code, held_trainees(appended.err)) == (14, expected - {"T-w1", "T-w4", "T-o8"})
    assert desk.everything() == files
    # The others alone, in one command, are not held.
    innocent = [row for row in told("after") if row["trainee_ref"] not in expected]
    desk.take(desk.file(innocent))


def test_the_message_says_which_case_and_what_to_do_about_it(desk: Desk) -> None:
    desk.take(desk.file("case_ref | takeover\nC001 | yes"))
    result = desk.intake(desk.file("case_ref | takeover\nC001 | no"))
    assert "T01: case C001: the takeover is no longer recorded" in result.err
    assert "--take-the-rest" not in result.err  # nobody else is named
    assert "--accept-withdrawals --by WHO --reason TEXT" in result.err


def test_an_event_in_a_row_that_is_left_out_now_stays_as_it_was_and_is_not_held(desk: Desk) -> None:
    desk.take(desk.file("case_ref | complications\nC001 | capsule_rupture"))
    desk.take(desk.file("case_ref | complications\nC001 | capsule_ruptrue\nC002 | none"))
    assert desk.live("case_ref, complications") == drawn("C002 | none\nC001 | capsule_rupture")


# ---- nothing of the whole command


def test_a_held_trainee_holds_the_innocent_files_of_the_command_too(desk: Desk) -> None:
    desk.take(desk.file("case_ref | takeover\nC001 | yes"))
    files = desk.everything()
    innocent = desk.file("case_ref | trainee_ref\nC009 | T02")
    command = (desk.roster("trainee_ref\nT08"), innocent, desk.file("case_ref | takeover\nC001 | no"))
    assert desk.intake(*command).code == 14
    assert desk.everything() == files
    # A person's word stores all of it, and stands in every receipt of it.
    desk.take(*command, *ACCEPT)
    assert desk.live("trainee_ref, case_ref, takeover", "true") == drawn("T01 | C001 | false\nT02 | C009 |")
    for trainee in ("T01", "T02"):
        receipt = desk.receipt(desk.line(trainee)[0])
        assert (receipt["withdrawals_accepted_by"], receipt["reason"]) == ("coordinator", "entered twice")
    assert desk.query("select count(*) from trainee where trainee_ref = 'T08'") == "1"


@pytest.mark.parametrize(
    "words",
    [
        (),
        ("--by", "coordinator"),
        ("--reason", "entered twice"),
        ("--by", "", "--reason", "entered twice"),
        ("--by", "coordinator", "--reason", " "),
    ],
)
def test_accepting_needs_a_name_and_a_reason(desk: Desk, words: tuple[str, ...]) -> None:
    files = desk.everything()
    assert desk.intake(desk.file(log(1)), "--accept-withdrawals", *words).code == 2
    assert desk.everything() == files


def test_a_name_and_a_reason_without_the_option_accept_nothing(desk: Desk) -> None:
    desk.take(desk.file("case_ref | takeover\nC001 | yes"))
    less = desk.file("case_ref | takeover\nC001 | no")
    assert desk.intake(less, "--by", "coordinator", "--reason", "entered twice").code == 14


def test_a_role_that_goes_back_up_to_what_it_was_is_held_like_any_other(desk: Desk) -> None:
    first = desk.file("case_ref | role\nC001 | surgeon")
    desk.take(first)
    desk.take(desk.file("case_ref | role\nC001 | observer"))
    # Upward again, to what it was before: still upward.
    assert desk.intake(first).code == 14
