"""A new export replaces the old one, per trainee and source: contract, "What a new export means"."""

from __future__ import annotations

from hashlib import sha256

import pytest

from tests.drawn import drawn
from tests.drawn_exports import Desk, desk, log, roster_store
from tests.stores import rows_of, run

pytestmark = pytest.mark.usefixtures("builds_of_the_log")

__all__ = ["desk", "roster_store"]

A = """
    case_ref | role
    ---------+----------
    C001     | surgeon
    C002     | assistant
"""
B = """
    case_ref | role
    ---------+---------
    C001     | surgeon
    C003     | observer
"""


ACCEPT = ("--accept-withdrawals", "--by", "coordinator", "--reason", "as it was")


def test_the_same_file_twice_changes_nothing_and_says_so_also_under_another_name(desk: Desk) -> None:
    desk.take(desk.file(A, "march.csv"))
    before = desk.everything()
    for name in ("march.csv", "cases.csv"):
        again = desk.take(desk.file(A, name))
        assert f"{name} changes nothing" in again.err
        assert "Snapshot" not in again.out
        assert desk.everything() == before


def test_a_then_b_then_a_ends_with_the_rows_of_a_stored_a_second_time(desk: Desk) -> None:
    one, two = desk.file(A), desk.file(B)
    desk.take(one)
    (first,) = desk.line()
    desk.take(two)
    assert desk.live("case_ref, role") == drawn("C001 | surgeon\nC003 | observer")
    files = desk.everything()
    held = desk.intake(one)
    assert (held.code, desk.everything()) == (14, files)
    assert "log.csv was in use before, and something newer is now" in held.err
    desk.take(one, *ACCEPT)
    (last,) = desk.line()
    assert desk.live("case_ref, role") == drawn("C001 | surgeon\nC002 | assistant")
    assert (first[-2:], last[-2:]) == ("-1", "-2")
    assert first[:-2] == last[:-2]


def test_an_intake_is_named_by_the_sha_256_of_the_file_and_a_number(desk: Desk) -> None:
    path = desk.file(A)
    desk.take(path)
    assert desk.line() == [f"{sha256(path.read_bytes()).hexdigest()}-1"]


def test_a_file_that_only_moves_data_through_is_a_change(desk: Desk) -> None:
    path = desk.file(A)
    desk.take(path)
    assert desk.through() == "2026-03"
    desk.take(path, "--through", "2026-05")
    assert desk.through() == "2026-05"
    assert desk.line()[0].endswith("-2")
    assert "changes nothing" in desk.take(path, "--through", "2026-05").err
    held = desk.intake(path)
    assert (held.code, desk.through()) == (14, "2026-05")
    assert "the log in use runs through 2026-05, this one through 2026-03" in held.err
    desk.take(path, *ACCEPT)
    assert desk.through() == "2026-03"


def test_an_older_export_is_held_however_few_rows_it_lacks(desk: Desk) -> None:
    months = [f"2026-{month:02}-02" for month in range(1, 11)]
    rows = [{"case_ref": f"C{number:03}", "operated_on": months[number % 10]} for number in range(100)]
    desk.take(desk.file(rows))
    # One row of a hundred is missing, and it is the only one of its month.
    rows[9]["operated_on"] = "2026-10-05"
    desk.take(desk.file([*rows, {"case_ref": "C900", "operated_on": "2026-11-03"}]))
    held = desk.intake(desk.file(rows))
    assert held.code == 14
    assert "T01: the log in use runs through 2026-11, this one through 2026-10" in held.err


def test_a_file_that_only_changes_a_finding_is_a_change(desk: Desk) -> None:
    bad = "case_ref | role\nC001 | surgeon\nC002 | {}"
    desk.take(desk.file(bad.format("surgoen")))
    assert desk.findings() == drawn("3 | code_unknown")
    desk.take(desk.file(bad.format("")))
    assert desk.findings() == drawn("3 | required_blank")
    desk.take(desk.file("case_ref\nC001"))
    assert desk.findings() == ""
    assert desk.live() == "C001"


def test_a_column_that_is_not_known_is_a_finding_and_its_going_a_change(desk: Desk) -> None:
    desk.take(desk.file("case_ref | mood\nC001 | calm"))
    assert desk.findings() == drawn("1 | column_unknown")
    assert "changes nothing" in desk.take(desk.file("case_ref | mood\nC001 | calm")).err
    desk.take(desk.file("case_ref\nC001"))
    assert desk.findings() == ""


def test_the_findings_of_one_trainee_are_not_taken_for_another_files(desk: Desk) -> None:
    both = "case_ref | trainee_ref | role\nC001 | T01 | surgeon\nC002 | T02 | surgeon\nC003 | T02 | {}"
    desk.take(desk.file(both.format("surgoen")))
    desk.take(desk.file("case_ref | trainee_ref\nC002 | T02"))
    assert desk.findings() == ""
    same = desk.file("case_ref | trainee_ref\nC001 | T01\nC002 | T02")
    assert "changes nothing" in desk.take(same).err


def test_a_file_that_names_no_trainee_changes_nothing(desk: Desk) -> None:
    before = desk.everything()
    nameless = desk.intake(desk.file("case_ref | trainee_ref\nC001 |"))
    assert nameless.code == 10
    assert nameless.out.splitlines()[1].split() == ["log.csv", "cases", "1", "0", "1", "0"]
    assert desk.everything() == before


def test_an_order_of_the_same_day_that_changes_is_a_change(desk: Desk) -> None:
    desk.take(desk.file("case_ref\nC001\nC002\nC003"))
    desk.take(desk.file("case_ref\nC003\nC001\nC002"))
    assert desk.live() == "C003\nC001\nC002"


def test_trainees_whom_the_file_does_not_name_are_untouched(desk: Desk) -> None:
    desk.take(desk.file([*log(3), *log(2, trainee="T02")]))
    desk.take(desk.file("case_ref\nC002\nC009"))
    assert desk.live() == "C002\nC009"
    assert desk.live(where="trainee_ref = 'T02'") == "C001\nC002"


def test_a_row_is_known_by_case_trainee_procedure_and_side(desk: Desk) -> None:
    keys = """
        case_ref | trainee_ref | procedure       | side
        ---------+-------------+-----------------+------
        C001     | T01         | phaco_iol       | left
        C001     | T01         | phaco_iol       | right
        C001     | T01         | phaco_iol       |
        C001     | T01         | yag_capsulotomy | left
        C001     | T02         | phaco_iol       | left
    """
    desk.take(desk.file(keys))
    assert desk.query("select count(*) from case_record") == "5"
    desk.take(
        desk.file("""
        case_ref | procedure       | side  | role
        ---------+-----------------+-------+----------
        C001     | PHACO_IOL       | Left  | assistant
        C001     | phaco_iol       |       | surgeon
        C001     | yag_capsulotomy | left  | surgeon
    """)
    )
    rows = "select trainee_ref, procedure, side, role from case_record order by 1, 2, side nulls first"
    assert desk.query(rows) == drawn("""
        T01 | phaco_iol       |      | surgeon
        T01 | phaco_iol       | left | assistant
        T01 | yag_capsulotomy | left | surgeon
        T02 | phaco_iol       | left | surgeon
    """)


# ---- two sources


def test_two_sources_live_side_by_side_and_a_key_in_both_counts_once_as_taken_last(desk: Desk) -> None:
    desk.take(desk.file("case_ref | role\nC001 | surgeon\nC002 | surgeon"))
    desk.take(desk.file("case_ref | role\nC002 | observer\nC003 | surgeon"), "--source", "theatre")
    assert desk.live("case_ref, role, source") == drawn("""
        C001 | surgeon  | main
        C002 | observer | theatre
        C003 | surgeon  | theatre
    """)
    credit = rows_of(desk.store, "case_credit", requirement_ref="cataract")
    assert [(row["case_ref"], row["credited"]) for row in credit] == [
        ("C001", "true"),
        ("C002", "false"),
        ("C003", "true"),
    ]
    assert desk.findings("rule, severity, source_row") == drawn("in_two_sources | warning | 2")

    desk.take(desk.file("case_ref | role\nC002 | surgeon"))
    assert desk.live("case_ref, role, source") == drawn("""
        C003 | surgeon | theatre
        C002 | surgeon | main
    """)
    assert (len(desk.line()), len(desk.line(source="theatre"))) == (1, 1)


def test_a_source_taken_again_after_the_other_counts_again(desk: Desk) -> None:
    main = desk.file("case_ref | role\nC002 | surgeon")
    theatre = desk.file("case_ref | role\nC002 | observer")
    for _ in range(2):
        for source, file, role in (("main", main, "surgeon"), ("theatre", theatre, "observer")):
            desk.take(file, "--source", source)
            assert desk.live("role, source") == f"{role} | {source}"
            assert "changes nothing" in desk.take(file, "--source", source).err


def test_a_source_that_says_the_same_as_the_other_changes_nothing(desk: Desk) -> None:
    file = desk.file("case_ref | role\nC002 | surgeon")
    for source in ("main", "theatre", "main"):
        desk.take(file, "--source", source)
    assert "changes nothing" in desk.take(file, "--source", "theatre").err


# ---- rows left out whose key is live


KEPT_BEFORE = "case_ref | duration_min\nC001 | 41\nC002 | 42\nC003 | 43\nC004 | 44"
KEPT_AFTER = """
    case_ref | duration_min | role
    ---------+--------------+--------
    C001     | 51           | surgeon
    C002     | 52           | surgoen
    C004     | 44           | surgeon
    C005     | 55           | surgoen
"""


def test_a_left_out_row_keeps_the_live_version_and_one_not_in_the_file_is_withdrawn(desk: Desk) -> None:
    desk.take(desk.file(KEPT_BEFORE))
    desk.take(desk.file(KEPT_AFTER))
    # C002 stays as it was, after the rows of its month; C003 is withdrawn; C005 was never live.
    assert desk.live("case_ref, duration_min") == drawn("C001 | 51.0\nC004 | 44.0\nC002 | 42.0")
    (intake_id,) = desk.line()
    (balance,) = desk.receipt(intake_id)["parts"][0]["trainees"]
    assert [balance[name] for name in ("unchanged", "changed", "kept", "withdrawn")] == [1, 1, 1, 1]
    assert desk.findings() == drawn("""
        3 | code_unknown
        3 | older_version_kept
        5 | code_unknown
    """)


def test_the_copies_of_older_versions_lie_in_the_new_folder_which_can_be_read_alone(desk: Desk) -> None:
    desk.take(desk.file(KEPT_BEFORE))
    (old,) = desk.line()
    desk.take(desk.file(KEPT_AFTER))
    (new,) = desk.line()
    alone = {row["case_ref"]: row["duration_min"] for row in desk.stored(new)}
    assert alone == {"C001": 51.0, "C002": 42.0, "C004": 44.0}
    assert {row["case_ref"] for row in desk.stored(old)} == {"C001", "C002", "C003", "C004"}


def test_a_trainee_all_of_whose_rows_are_left_out_keeps_what_is_live(desk: Desk) -> None:
    desk.take(desk.file("case_ref | duration_min\nC001 | 41\nC002 | 42"))
    bad = "case_ref | trainee_ref | duration_min\nC001 | T01 | much\nC002 | T01 | little\nC003 | T02 | 4"
    desk.take(desk.file(bad))
    assert desk.live("case_ref, duration_min") == drawn("C001 | 41.0\nC002 | 42.0")
    # The older versions kept are data too: nothing went back.
    assert desk.through() == "2026-03"


def test_a_command_in_which_no_row_of_a_kind_was_accepted_stores_nothing_and_ends_with_10(desk: Desk) -> None:
    files = desk.everything()
    good, bad = desk.roster("trainee_ref\nT08"), desk.file("case_ref | duration_min\nC001 | much")
    ended = desk.intake(good, bad)
    assert (ended.code, desk.everything()) == (10, files)
    assert "No row of cases was accepted, so nothing of this command was stored." in ended.err
    assert desk.intake(good, desk.file("case_ref | duration_min\nC001 | much\nC002 | 4")).code == 0


def test_a_file_with_an_older_version_kept_is_not_counted_again_when_it_is_taken_again(desk: Desk) -> None:
    desk.take(desk.file(log(10)))
    # Two of ten kept: not more than two. Counted twice they would be four, and held.
    two = desk.file([row | {"role": "x"} if row["case_ref"] < "C003" else row for row in log(10)])
    desk.take(two)
    assert "changes nothing" in desk.take(two).err
    assert run("check", two, "--store", desk.store).code == 10


def test_a_left_out_row_of_a_repeated_key_keeps_nothing_older(desk: Desk) -> None:
    desk.take(desk.file("case_ref | duration_min\nC001 | 41"))
    desk.take(desk.file("case_ref | duration_min\nC001 | 51\nC001 | 61"))
    assert desk.live("case_ref, duration_min") == drawn("C001 | 51.0")
    assert desk.findings() == drawn("3 | key_repeated")


# ---- several files of one command


def test_case_files_of_one_command_are_one_export(desk: Desk) -> None:
    desk.take(desk.file("case_ref | duration_min\nC007 | 7"))
    first = "case_ref | duration_min | operated_on\nC001 | 11 | 2026-03-04\nC002 | 12 | 2026-03-02"
    second = "case_ref | duration_min | operated_on\nC001 | 21 | 2026-03-04\nC003 | 23 | 2026-03-03"
    desk.take(desk.file(first, "one.csv"), desk.file(second, "two.csv"))
    # By day, then row, across the joined files; the key repeated across them is left out.
    assert desk.live("case_ref, duration_min, case_sequence") == drawn("""
        C002 | 12.0 | 1
        C003 | 23.0 | 2
        C001 | 11.0 | 3
    """)
    assert desk.findings("file_name, source_row, rule") == drawn("two.csv | 2 | key_repeated")
    assert len(desk.line()) == 2


def test_of_rows_of_one_day_that_of_the_file_whose_name_comes_first_is_first(desk: Desk) -> None:
    first = desk.file("case_ref | duration_min\nC003 | 3\nC001 | 9", "a.csv")
    second = desk.file("case_ref\nC001\nC002", "b.csv")
    # The order typed changes nothing.
    desk.take(second, first)
    assert desk.live("case_ref, duration_min") == drawn("C003 | 3.0\nC001 | 9.0\nC002 |")


def test_a_file_given_twice_is_read_once(desk: Desk) -> None:
    path = desk.file("case_ref | role\nC001 | surgeon\nC002 | surgoen")
    desk.take(path, path)
    assert desk.live() == "C001"
    assert desk.findings() == drawn("3 | code_unknown")


def test_a_file_given_under_two_names_is_one_intake_with_its_rows_repeated(desk: Desk) -> None:
    desk.take(desk.file(A, "one.csv"), desk.file(A, "two.csv"))
    assert len(desk.line()) == 1
    assert desk.live() == "C001\nC002"
    assert desk.findings("file_name, source_row, rule") == drawn("""
        two.csv | 2 | key_repeated
        two.csv | 3 | key_repeated
    """)
    (one, two) = desk.receipt(desk.line()[0])["parts"]
    assert [(part["rows"], part["accepted"]) for part in (one, two)] == [(2, 2), (2, 0)]
    assert "changes nothing" in desk.take(desk.file(A, "one.csv"), desk.file(A, "two.csv")).err


def test_rosters_are_taken_first_whatever_the_order_of_the_files(desk: Desk) -> None:
    cases = desk.file("case_ref | trainee_ref | operated_on\nC001 | T09 | 2026-03-02")
    training = desk.training("trainee_ref | from | kind | value\nT09 | 2026-01 | stage | third_year")
    desk.take(cases, training, desk.roster("trainee_ref\nT09"))
    assert desk.live("case_ref, stage", "trainee_ref = 'T09'") == drawn("C001 | third_year")


NOT_A_TABLE = "colour | taste\nred | sweet"
IDENTIFIER = "case_ref | patient_name\nC001 | x"


@pytest.mark.parametrize(("bad", "code"), [(NOT_A_TABLE, 11), (IDENTIFIER, 12)])
def test_one_refused_file_refuses_the_whole_command(desk: Desk, bad: str, code: int) -> None:
    before = desk.everything()
    defaults = (
        {}
        if code == 11
        else {"trainee_ref": "T02", "operated_on": "2026-03-02", "procedure": "phaco_iol", "role": "surgeon"}
    )
    files = desk.file(A), desk.file(bad, "bad.csv", defaults), desk.roster("trainee_ref\nT08")
    assert desk.intake(*files).code == code
    assert desk.everything() == before


def test_under_strict_one_left_out_row_leaves_the_whole_command_out(desk: Desk) -> None:
    before = desk.everything()
    files = desk.file(A), desk.file("case_ref | role | trainee_ref\nC009 | surgoen | T02")
    assert desk.intake(*files, "--strict").code == 10
    assert desk.everything() == before
    assert desk.intake(*files).code == 0


def test_all_files_of_a_command_are_published_in_one_snapshot(desk: Desk) -> None:
    before = desk.snapshot()
    desk.take(desk.roster("trainee_ref\nT08"), desk.file("case_ref | trainee_ref\nC001 | T08"), desk.file(A))
    assert desk.snapshot() == before + 1
    assert desk.query("select count(distinct trainee_ref) from case_record") == "2"


# ---- kinds that never withdraw


def test_a_roster_row_replaces_the_row_of_its_trainee_and_withdraws_nobody(desk: Desk) -> None:
    desk.take(desk.roster("trainee_ref | cohort\nT02 | 2025-26"))
    assert desk.query("select trainee_ref, cohort from trainee order by 1") == drawn("""
        T01 | 2026-27
        T02 | 2025-26
        T03 | 2026-27
    """)
    assert "changes nothing" in desk.take(desk.roster("trainee_ref | cohort\nT02 | 2025-26")).err


def test_a_training_row_replaces_that_of_its_trainee_month_and_kind_and_withdraws_none(desk: Desk) -> None:
    desk.take(
        desk.training("""
        from    | to      | kind  | value
        --------+---------+-------+------------
        2023-07 | 2024-06 | stage | first_year
        2024-07 |         | stage | second_year
        2024-07 | 2024-09 | leave |
    """)
    )
    change = "from | to | kind | value\n2024-07 | 2025-06 | stage | third_year"
    desk.take(desk.training(change))
    rows = 'select "from", "to", kind, "value" from input.training order by "from", kind'
    assert desk.query(rows) == drawn("""
        2023-07 | 2024-06 | stage | first_year
        2024-07 | 2024-09 | leave |
        2024-07 | 2025-06 | stage | third_year
    """).replace("leave | ", "leave |")
    assert len(desk.line(kind="training")) == 2
    assert "changes nothing" in desk.take(desk.training(change)).err


def test_a_roster_row_that_is_left_out_leaves_the_live_one(desk: Desk) -> None:
    desk.take(desk.roster("trainee_ref | started\nT02 | soon\nT08 | 2024-07"))
    assert desk.query("select started from trainee where trainee_ref = 'T02'") == "2023-07"


def test_a_roster_change_redates_accepted_cases_and_leaves_none_out(desk: Desk) -> None:
    desk.take(desk.file("case_ref | operated_on\nC001 | 2023-08-01\nC002 | 2026-03-02"))
    assert desk.live("case_ref, training_quarter, performed_elsewhere") == drawn("""
        C001 | 1  | false
        C002 | 11 | false
    """)
    later = desk.roster("trainee_ref | started\nT01 | 2024-01")
    desk.take(later)
    assert desk.live("case_ref, performed_elsewhere") == drawn("C001 | true\nC002 | false")
    assert desk.live("training_quarter", "case_ref = 'C002'") == "9"
    assert desk.findings("rule, trainee_ref, column_name") == drawn("roster_redates_cases | T01 | started")
    # Taken again it would redate nothing: the warning is about what it did.
    assert "changes nothing" in desk.take(later).err
    assert desk.findings("rule") == "roster_redates_cases"


def test_a_roster_redates_no_case_of_whom_no_case_is_live(desk: Desk) -> None:
    desk.take(desk.file("case_ref | operated_on | trainee_ref\nC001 | soon | T01\nC002 | 2026-03-02 | T02"))
    desk.take(desk.roster("trainee_ref | started\nT01 | 2024-01"))
    assert desk.query("select rule from finding where trainee_ref = 'T01' order by rule") == "date_unreadable"
