"""What files answer to people: each fault once a value, on one screen, with what to do about it.

Source of the messages wished: what newcomers met when they tried the program with exports of their own. The tests hold
numbers and meaning, not letters.
"""

from __future__ import annotations

import re

import pytest

from pipelines.contract.rules import LEFT_OUT
from pipelines.intake.answers import LEFT_OUT_IN_WORDS
from tests.drawn_exports import Desk, desk, log, roster_store
from tests.stores import read_csv, run

pytestmark = pytest.mark.usefixtures("builds_of_the_log")

__all__ = ["desk", "roster_store"]

ONE_SCREEN = 40
OTHERS = ("T01", "T02", "T03")


def printed(desk: Desk, *words: object, command: str = "check") -> str:
    """What the command says, its lines joined where they were wrapped."""
    result = run(command, *words, "--store", desk.store)
    said = (result.out + result.err).splitlines()
    assert len(said) <= ONE_SCREEN
    return re.sub(r"\n {4,8}", " ", "\n".join(said))


def test_a_word_that_is_not_known_is_said_once_with_its_rows_and_trainees(desk: Desk) -> None:
    primary = [row | {"role": "Primary"} for ref in OTHERS for row in log(40, trainee=ref)]
    chief = log(2, without=[1], role="chief") + log(50, without=range(1, 49), trainee="T02")
    said = printed(desk, desk.file([*primary, *chief]))
    assert re.search(
        r'role "primary": 120 rows, 3 trainees; use one of: surgeon, assistant, .* or map it',
        said,
        re.IGNORECASE,
    )
    assert 'role "chief": 1 row, 1 trainee; as above' in said
    assert said.count("surgeon, assistant") == 1


def test_however_much_is_wrong_the_answer_fits_a_screen_and_all_of_it_can_be_asked_for(desk: Desk) -> None:
    rows = [
        row | {"role": f"role {number}", "side": f"side {number}", "supervision": f"level {number}"}
        for number, row in enumerate(log(60))
    ]
    file = desk.file(rows)
    printed(desk, file)
    everything = run("check", file, "--store", desk.store, "--all")
    for number in range(60):
        assert all(f'"{word} {number}"' in everything.out for word in ("role", "side", "level"))


def test_many_files_of_one_command_are_one_line_a_kind(desk: Desk) -> None:
    files = [desk.file(log(3, without=range(1, number)), f"{number}.csv") for number in range(1, 4)]
    more = [
        desk.file(log(1, trainee=ref, operated_on=f"2026-03-{day:02}"), f"{ref}{day}.csv")
        for ref in OTHERS
        for day in (2, 3)
    ]
    said = printed(desk, *files, *more)
    assert re.search(r"^9 tables +cases +12 +5 +7 ", said, re.MULTILINE)


def test_a_row_left_out_is_said_in_words_for_people(desk: Desk) -> None:
    rows = [*log(20), *log(12)]
    said = printed(desk, desk.file(rows), command="intake")
    assert "Stored: 20 of 32 rows. 12 are copies of rows above." in said
    assert LEFT_OUT_IN_WORDS.keys() == LEFT_OUT.keys()


def test_an_unknown_complication_is_told_what_may_stand_there_before_the_codes(desk: Desk) -> None:
    said = printed(desk, desk.file(log(5, complications="-")))
    ways = re.search(r'complications "-": 5 rows, 1 trainee; (.*?)Codes: (.*)', said)
    assert ways
    assert [word in ways[1] for word in ("none", "blank", "other", ";")] == [True] * 4
    assert ways[2].startswith("capsule_rupture")


def test_a_column_nearly_named_like_one_of_ours_is_asked_about_and_nothing_taken(desk: Desk) -> None:
    before = desk.everything()
    lost = desk.file([row | {"complication": "capsule_rupture"} for row in log(4)])
    said = printed(desk, lost, command="intake")
    assert re.search(r"column complication .*Did you mean complications\?", said)
    assert desk.everything() == before
    assert run("intake", lost, "--store", desk.store).code == 14
    # A column that is like none of ours, and one whose place is taken, hold nothing.
    assert run("check", desk.file(log(2, mood="calm")), "--store", desk.store).code == 0
    both = [row | {"complication": "x", "complications": "none"} for row in log(2)]
    assert run("check", desk.file(both), "--store", desk.store).code == 0


def test_dates_in_another_order_are_asked_about_before_anything_of_the_rows(desk: Desk) -> None:
    days = [f"{day:02}/03/2026" for day in range(1, 32)]
    local = [row | {"operated_on": day} for row, day in zip(log(31), days, strict=True)]
    said = printed(desk, desk.file(local))
    assert re.search(
        r"operated_on: 31 of 31 dates are written DD/MM/YYYY \(dates: day_first\); the setting says YYYY",
        said,
    )
    # Without a day above 12 both orders are possible, and neither is guessed.
    said = printed(desk, desk.file(local[:12]))
    assert (
        "12 of 12 dates are written DD/MM/YYYY (dates: day_first) or MM/DD/YYYY (dates: month_first)" in said
    )


def test_no_accepted_word_makes_a_file_take_the_place_of_newer_cases_that_it_cannot_read(desk: Desk) -> None:
    desk.take(desk.file(log(22)))
    before = desk.everything()
    unreadable = desk.file(log(30, operated_on="04/03/2026"))
    accepted = ("--accept-withdrawals", "--by", "coordinator", "--reason", "it is right")
    result = desk.intake(unreadable, *accepted)
    assert (result.code, "No row of cases was accepted" in result.err) == (10, True)
    assert desk.everything() == before


def test_an_older_export_is_named_as_one_with_what_the_newer_one_has_more(desk: Desk) -> None:
    older = desk.file(log(22), "may.csv")
    desk.take(older)
    desk.take(desk.file(log(26), "july.csv"))
    said = printed(desk, older, command="intake")
    assert re.search(
        r"T01: may\.csv was in use before, and something newer is now, with 4 more of its rows", said
    )
    assert re.search(r"T01: 4 of 26 cases in use would go .*\(4 not in the file\)", said)


def test_of_a_row_left_out_whose_case_stays_it_is_said_which_and_how_to_change_it(desk: Desk) -> None:
    desk.take(desk.file(log(3)))
    folder = desk.folder / "fixes"
    desk.take(desk.file([*log(2), *log(3, without=[1, 2], role="chief")]), "--fixes", folder)
    fixes = read_csv(folder / "T01-fixes.csv")
    assert [row["rule"] for row in fixes] == ["older_version_kept", "code_unknown"]
    assert all(row["message"].startswith("log.csv, row 4, case C003: ") for row in fixes)
    assert "leave its row out of the export" in fixes[0]["remedy"]
    # What the format allows is quoted row by row.
    assert "surgeon, assistant, teaching_assistant, observer" in fixes[1]["remedy"]


def test_a_fix_list_names_no_case_by_a_reference_that_is_not_one(desk: Desk) -> None:
    folder = desk.folder / "fixes"
    desk.take(desk.file([*log(3), {"case_ref": "C7"}]), "--fixes", folder)
    assert ["case" in row["message"].split(":")[0] for row in read_csv(folder / "T01-fixes.csv")] == [False]


def test_a_free_text_procedure_is_told_as_a_word_to_map_and_not_as_a_fault(desk: Desk) -> None:
    said = printed(desk, desk.file(log(6, procedure="Phaco + IOL OD")))
    assert re.search(
        r'Please check: procedure "phaco \+ iol od": 6 rows, 1 trainee; use a code or a title',
        said,
        re.IGNORECASE,
    )


def test_many_refusals_fit_a_screen(desk: Desk) -> None:
    files = [desk.file("alpha | beta\n1 | 2", f"{number}.csv", {}) for number in range(60)]
    result = run("check", *files, "--store", desk.store)
    assert (result.code, len((result.out + result.err).splitlines()) <= ONE_SCREEN) == (11, True)
    assert "--all" in result.err


# ---- what a person may choose


def test_adding_is_offered_where_only_the_rows_that_the_file_lacks_are_held(desk: Desk) -> None:
    desk.take(desk.file(log(30)))
    newest = log(33, without=range(1, 31))
    offered = printed(desk, desk.file(newest), command="intake")
    assert "--append" in offered
    desk.take(desk.file(newest), "--append")
    assert len(desk.live().split()) == 33
    # A case that says less would be held if it were added, too.
    desk.take(desk.file([*log(33, complications="capsule_rupture")]))
    assert "--append" not in printed(desk, desk.file(log(1, complications="none")), command="intake")


def test_a_hold_blocks_only_its_trainee_if_a_person_says_so(desk: Desk) -> None:
    desk.take(desk.file([*log(8), *log(8, trainee="T02")]))
    export = desk.file([*log(2), *log(9, trainee="T02"), *log(1, trainee="T03")], "all.csv")
    held = desk.intake(export)
    assert (held.code, "--take-the-rest" in held.err) == (14, True)
    taken = desk.take(export, "--take-the-rest")
    counts = "select trainee_ref, count(*) from case_record group by all order by all"
    assert desk.query(counts) == "T01 | 8\nT02 | 9\nT03 | 1"
    assert "Stored: 10 of 12 rows." in taken.out
    assert "2 rows of T01 are held: nothing of theirs changed" in taken.out
    (part,) = desk.receipt(desk.line("T02")[0])["parts"]
    # Rows of the file = accepted + left out + held back.
    assert (part["rows"], part["accepted"], sum(part["left_out"].values()), part["held_back"]) == (
        12,
        10,
        0,
        2,
    )
    counts = "select rows_in_file, accepted_rows, left_out_rows from live_intake where file_name = 'all.csv'"
    assert desk.query(counts) == "12 | 10 | 0"
    # Where everybody is held, nobody is left to take.
    before = desk.everything()
    assert desk.intake(desk.file(log(1)), "--take-the-rest").code == 14
    assert desk.everything() == before
