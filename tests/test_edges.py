"""Where each rule begins: the last value that is taken, and the first that is not.

Source: the contract's export format ("How a cell is read", and the table of what follows from a bad cell).
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator

import duckdb
import pytest

from pipelines.files.reading import ExportFile
from pipelines.intake import staging
from pipelines.intake.judging import Setting, judge
from pipelines.specialty.load import load_specialty
from pipelines.store.documents import Programme

pytestmark = pytest.mark.usefixtures("builds_of_the_log")

# ---- one cell


@pytest.fixture(scope="module")
def cells() -> Iterator[duckdb.DuckDBPyConnection]:
    with staging.open_staging(staging.database_name()) as connection:
        yield connection


def read(cells: duckdb.DuckDBPyConnection, kind: str, cell: str, *words: object) -> tuple[object, object]:
    """The value and the fault of one cell."""
    more = "".join(f", {word!r}" for word in words)
    value = f"{kind}_value(?{more if kind not in ('whole', 'number') else ''})"
    if kind == "number":
        value = "try_cast(? as double)"
    row = cells.execute(f"select {value}, {kind}_fault(?{more})", [cell, cell]).fetchone()
    assert row is not None
    return row[0], row[1]


@pytest.mark.parametrize(
    ("style", "cell", "value", "fault"),
    [
        ("iso", "2026-03-04", "2026-03-04", None),
        ("iso", "2026-03-04T10:15", "2026-03-04", None),
        ("iso", "2026-03-04 10:15:30", "2026-03-04", None),
        ("iso", "2024-02-29", "2024-02-29", None),
        ("iso", "2025-02-29", None, "date_impossible"),
        ("iso", "2026-13-01", None, "date_impossible"),
        ("iso", "2026-00-10", None, "date_impossible"),
        ("iso", "2026-3-4", None, "date_unreadable"),
        ("iso", "2026-03", None, "date_unreadable"),
        ("iso", "20260304", None, "date_unreadable"),
        ("iso", "46085", None, "date_unreadable"),
        ("iso", "4 March 2026", None, "date_unreadable"),
        ("iso", "03/04/2026", None, "date_ambiguous"),
        ("iso", "12/12/2026", None, "date_ambiguous"),
        ("iso", "13/12/2026", None, "date_unreadable"),
        ("iso", "12/13/2026", None, "date_unreadable"),
        ("iso", "3.4.2026", None, "date_ambiguous"),
        ("iso", "31/12/26", None, "date_ambiguous"),
        ("day_first", "03/04/2026", "2026-04-03", None),
        ("day_first", "3.4.2026", "2026-04-03", None),
        ("day_first", "31-12-2026", "2026-12-31", None),
        ("day_first", "12/31/2026", None, "date_impossible"),
        ("day_first", "31/02/2026", None, "date_impossible"),
        ("day_first", "03/04/26", None, "date_ambiguous"),
        ("day_first", "2026-04-03", "2026-04-03", None),
        ("month_first", "03/04/2026", "2026-03-04", None),
        ("month_first", "12/31/2026", "2026-12-31", None),
        ("month_first", "31/12/2026", None, "date_impossible"),
    ],
)
def test_a_date(
    cells: duckdb.DuckDBPyConnection, style: str, cell: str, value: str | None, fault: str | None
) -> None:
    found, wrong = read(cells, "date", cell, style)
    assert (found and str(found), wrong) == (value, fault)


@pytest.mark.parametrize(
    ("cell", "value", "fault"),
    [
        ("2026-07", "2026-07", None),
        ("2026-12", "2026-12", None),
        ("2026-01", "2026-01", None),
        ("2026-13", None, "date_impossible"),
        ("2026-00", None, "date_impossible"),
        ("2026-07-15", "2026-07", None),
        ("2026-7", None, "date_unreadable"),
        ("July 2026", None, "date_unreadable"),
        ("07/2026", None, "date_unreadable"),
    ],
)
def test_a_month(cells: duckdb.DuckDBPyConnection, cell: str, value: str | None, fault: str | None) -> None:
    assert read(cells, "month", cell, "iso") == (value, fault)


@pytest.mark.parametrize(
    ("cell", "value", "fault"),
    [
        ("2026-27", "2026-27", None),
        ("2027", "2026-27", None),
        ("2099-00", "2099-00", None),
        ("2100", "2099-00", None),
        ("2026-28", None, "date_impossible"),
        ("2026-26", None, "date_impossible"),
        ("26-27", None, "date_unreadable"),
        ("2026/27", None, "date_unreadable"),
    ],
)
def test_a_cohort(cells: duckdb.DuckDBPyConnection, cell: str, value: str | None, fault: str | None) -> None:
    assert read(cells, "cohort", cell) == (value, fault)


@pytest.mark.parametrize("yes", ["yes", "YES", "y", "Y", "true", "True", "1"])
def test_a_yes(cells: duckdb.DuckDBPyConnection, yes: str) -> None:
    assert read(cells, "yes_no", yes) == (True, None)


@pytest.mark.parametrize("no", ["no", "No", "n", "N", "false", "FALSE", "0"])
def test_a_no(cells: duckdb.DuckDBPyConnection, no: str) -> None:
    assert read(cells, "yes_no", no) == (False, None)


@pytest.mark.parametrize("cell", ["NA", "null", "-", "2", "yes!", "maybe", "ja", "t", "f", "x"])
def test_neither_yes_nor_no(cells: duckdb.DuckDBPyConnection, cell: str) -> None:
    assert read(cells, "yes_no", cell) == (None, "yes_no_unreadable")


@pytest.mark.parametrize(
    ("kind", "cell", "fault"),
    [
        ("number", "1", None),
        ("number", "1440", None),
        ("number", "1440.0", None),
        ("number", "+45.5", None),
        ("number", "0.9", "number_out_of_range"),
        ("number", "1440.1", "number_out_of_range"),
        ("number", "-5", "number_out_of_range"),
        ("number", "45,5", "number_unreadable"),
        ("number", "1e2", "number_unreadable"),
        ("number", "45 min", "number_unreadable"),
        ("number", ".5", "number_unreadable"),
        ("number", "nan", "number_unreadable"),
        ("number", "NA", "number_unreadable"),
        ("whole", "1", None),
        ("whole", "30.0", None),
        ("whole", "1440", None),
        ("whole", "0", "number_out_of_range"),
        ("whole", "1441", "number_out_of_range"),
        ("whole", "99999999999999999999", "number_out_of_range"),
        ("whole", "30.5", "number_unreadable"),
        ("whole", "3e1", "number_unreadable"),
        ("whole", "-", "number_unreadable"),
    ],
)
def test_a_number_between_1_and_1440(
    cells: duckdb.DuckDBPyConnection, kind: str, cell: str, fault: str | None
) -> None:
    assert read(cells, kind, cell, 1, 1440)[1] == fault


@pytest.mark.parametrize(
    ("kind", "cell", "good"),
    [
        ("ref", "T", True),
        ("ref", "T_0-7", True),
        ("ref", "x" * 64, True),
        ("ref", "x" * 65, False),
        ("ref", "T.7", False),
        ("ref", "T 7", False),
        ("ref", "Té", False),
        ("ref", "T7\n", False),
        ("case_ref", "C001", True),
        ("case_ref", "C01", False),
        ("case_ref", "x" * 64, True),
        ("case_ref", "x" * 65, False),
        ("case_ref", "C/001", False),
    ],
)
def test_a_reference(cells: duckdb.DuckDBPyConnection, kind: str, cell: str, good: bool) -> None:
    (row,) = cells.execute(f"select {kind}_fault(?)", [cell]).fetchall()
    assert row == (None if good else f"{kind}_malformed",)


# ---- one row, on a day that is given


SPECIALTY = load_specialty("ophthalmology")
TODAY = datetime.date(2026, 3, 10)
ROSTER = """\
trainee_ref,cohort,started,expected_completion,credit_from
T01,2026-27,2024-07,2027-06,
T02,2026-27,2024-07,2027-06,2024-03
T03,2024-25,2022-07,2025-06,
"""


def examined(name: str, text: str, roster: str = ROSTER) -> duckdb.DuckDBPyConnection:
    """The tables of an examination of a file and the roster beside it."""
    setting = Setting(Programme(programme_ref="p", title="P"), SPECIALTY, TODAY)
    files = [ExportFile("roster.csv", roster.encode()), ExportFile(f"{name}.csv", text.encode())]
    return judge(files, setting, lambda _: None, storing=False).connection


def rules_of(name: str, text: str, roster: str = ROSTER) -> list[str]:
    """The rules that the rows of a file break, without those of the roster beside it."""
    found = examined(name, text, roster)
    rows = found.execute(
        "select rule from finding where file_name = ? order by rule", [f"{name}.csv"]
    ).fetchall()
    return [row[0] for row in rows]


CASES = "case_ref,trainee_ref,operated_on,procedure,role,side,logged_on,complications,supervision\n"


@pytest.mark.parametrize(
    ("row", "rule"),
    [
        ("T01,2026-03-10,phaco_iol,surgeon,,,,", None),
        ("T01,2026-03-11,phaco_iol,surgeon,,,,", "date_in_future"),
        ("T01,2026-03-09,phaco_iol,surgeon,,2026-03-10,,", None),
        ("T01,2026-03-09,phaco_iol,surgeon,,2026-03-11,,", "date_in_future"),
        ("T01,2024-07-01,phaco_iol,surgeon,,,,", None),
        ("T01,2024-06-30,phaco_iol,surgeon,,,,", "before_credit_from"),
        ("T02,2024-03-01,phaco_iol,surgeon,,,,", None),
        ("T02,2024-02-29,phaco_iol,surgeon,,,,", "before_credit_from"),
        ("T03,2025-06-30,phaco_iol,surgeon,,,,", None),
        ("T03,2025-07-01,phaco_iol,surgeon,,,,", "after_expected_completion"),
        ("T01,2025-05-06,phaco_iol,surgeon,,2025-05-06,,", None),
        ("T01,2025-05-06,phaco_iol,surgeon,,2025-05-05,,", "logged_before_operated"),
        ("T01,2025-05-06,phaco_iol,surgeon,BOTH,,NONE,", None),
        ("T01,2025-05-06,phaco_iol,surgeon,,,none;none,", None),
        ("T01,2025-05-06,phaco_iol,surgeon,,,none;capsule_rupture,", "none_beside_code"),
        ("T01,2025-05-06,phaco_iol,surgeon,,,none@5,", "code_unknown"),
        ("T01,2025-05-06,phaco_iol,surgeon,,,Capsule_Rupture,", None),
        ("T01,2025-05-06,phaco_iol,surgeon,,,wound_leak@0,", None),
        ("T01,2025-05-06,phaco_iol,surgeon,,,wound_leak@-1,", "number_out_of_range"),
        ("T01,2025-05-06,phaco_iol,surgeon,,,wound_leak@,", "number_unreadable"),
        ("T01,2025-05-06,phaco_iol,surgeon,,,wound_leak@2@3,", "number_unreadable"),
        ("T01,2025-05-06,phaco_iol,surgeon,,,wound_leak@two,", "number_unreadable"),
        ("T01,2025-05-06,phaco_iol,surgeon,,,wound_leak,", "event_day_missing"),
        ("T01,2025-05-06,strabismus_surgery,surgeon,,,capsule_rupture,", "complication_not_eligible"),
        ("T01,2025-05-06,phaco_iol,surgeon,,,,performed_jointly", None),
        ("T01,2025-05-06,phaco_iol,surgeon,,,,assisted", "supervision_contradicts_role"),
        ("T01,2025-05-06,phaco_iol,observer,,,capsule_rupture,", "takeover_not_recorded"),
        ("T01,2025-05-06,phaco_iol,teaching_assistant,,,capsule_rupture,", None),
        ("t01,2025-05-06,phaco_iol,surgeon,,,,", "trainee_unknown"),
    ],
)  # fmt: skip
def test_a_case(row: str, rule: str | None) -> None:
    assert rules_of("cases", f"{CASES}C0001,{row}\n") == ([rule] if rule else [])


@pytest.mark.parametrize(
    ("cell", "stored"),
    [
        ("wound_leak@9;capsule_rupture;Wound_Leak@5", "capsule_rupture;wound_leak@5"),
        # An event without a day is within its window, whatever a second mention of it says.
        ("wound_leak;wound_leak@50", "wound_leak"),
        ("wound_leak@50;wound_leak", "wound_leak"),
        ("wound_leak@50", "wound_leak@50"),
        ("NONE", "none"),
    ],
)
def test_an_event_that_is_named_twice_is_one(cell: str, stored: str) -> None:
    found = examined("cases", f"{CASES}C0001,T01,2025-05-06,phaco_iol,surgeon,,,{cell},\n")
    assert found.execute("select complications from cases.new").fetchall() == [(stored,)]


@pytest.mark.parametrize(
    ("period", "stored", "rule"),
    [
        ("2026-27 mid", "2026-27 mid", None),
        ("2027   MID", "2026-27 mid", None),
        ("2027 end", "2026-27 end", None),
        ("2026-27", None, "code_unknown"),
        ("2026-27 spring", None, "code_unknown"),
        ("2026-28 mid", None, "date_unreadable"),
        ("mid 2026-27", None, "date_unreadable"),
    ],
)
def test_a_review_period_is_one_text_however_it_was_typed(
    period: str, stored: str | None, rule: str | None
) -> None:
    milestone = next(iter(SPECIALTY.milestones.items))
    text = f"trainee_ref,period,milestone,level\nT01,{period},{milestone},B\n"
    found = examined("milestones", text)
    rows = found.execute("select period from milestones.new").fetchall()
    assert rows == ([(stored,)] if stored else [])
    assert found.execute("select rule from finding").fetchall() == ([(rule,)] if rule else [])


@pytest.mark.parametrize(
    ("row", "rule"),
    [
        ("2025-03,2025-03,leave,", None),
        ("2025-03,2025-02,leave,", "date_impossible"),
        ("2025-03,,part_time,1", None),
        ("2025-03,,part_time,0.01", None),
        ("2025-03,,part_time,0", None),
        ("2025-03,,part_time,50 %", None),
        ("2025-03,,part_time,33.3%", None),
        ("2025-03,,part_time,100.5 %", "number_out_of_range"),
        ("2025-03,,part_time,%", "number_unreadable"),
        ("2025-03,,part_time,half %", "number_unreadable"),
        ("2025-03,,part_time,-0.1", "number_out_of_range"),
        ("2025-03,,part_time,1.01", "number_out_of_range"),
        ("2025-03,,part_time,", "required_blank"),
        ("2025-03,,stage,FIRST_YEAR", None),
        ("2025-03,,stage,", "required_blank"),
        ("2025-03,,rotation,anything at all", "service_unlisted"),
    ],
)
def test_a_period_of_training(row: str, rule: str | None) -> None:
    text = f"trainee_ref,from,to,kind,value\nT01,{row}\n"
    assert rules_of("training", text) == ([rule] if rule else [])


@pytest.mark.parametrize(
    ("row", "rule"),
    [
        ("T10,2026-27,2024-07,2024-07", None),
        ("T10,2026-27,2024-07,2024-06", "date_impossible"),
        ("t01,2026-27,2024-07,2027-06", "key_repeated"),
        ("T01,2026-27,2024-07,2027-06", "key_repeated"),
    ],
)
def test_a_trainee(row: str, rule: str | None) -> None:
    text = f"trainee_ref,cohort,started,expected_completion\n{row}\n"
    assert rules_of("trainees", text) == ([rule] if rule else [])
