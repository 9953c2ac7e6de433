"""The name of a file may name a person too: then it is refused, or at least not shown."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipelines.files.identifiers import (
    screen_file_name,
    shown_name,
    shown_title,
    vocabulary,
)
from pipelines.files.refusals import file_name_finding
from tests.identifier_shapes import CERTAIN
from tests.stores import read_csv, run, write_csv

pytestmark = pytest.mark.usefixtures("builds_of_the_log")

WORDS = vocabulary(["phaco_iol", "supervisor_in_room"])


@pytest.mark.parametrize("text", [each for each in CERTAIN if "/" not in each])
@pytest.mark.parametrize("name", ["{}.csv", "cases {}.xlsx", "cases_{}_2026.csv", "book.xlsx [{}]"])
def test_a_certain_shape_in_the_name_of_a_file_refuses_it_and_hides_the_name(text: str, name: str) -> None:
    if name == "cases_{}_2026.csv" and not text[-1].isalnum():
        name = "cases_{}.csv"
    assert screen_file_name(name.format(text))
    assert shown_name(name.format(text), 3, WORDS) == "file 3"


@pytest.mark.parametrize(
    "name",
    [
        "T07.csv",
        "cases_2026-27.csv",
        "T07-0004512.csv",
        "export 2026-04-03 10.30.15.csv",
        "export_20260403-093000.xlsx",
        "cases 2026 04 03 09 30 00.csv",
        "book.xlsx [T07]",
        "v1.2.3.csv",
        "550e8400-e29b-41d4-a716-446655440000.parquet",
    ],
)
def test_an_ordinary_file_name_is_not_refused_and_is_shown(name: str) -> None:
    assert not screen_file_name(name)
    assert shown_name(name, 3, WORDS) == name


@pytest.mark.parametrize(
    "name",
    [
        "Anna Muster.csv",
        "anna_muster.csv",
        "anna.muster",
        "muster-anna-2026.xlsx",
        "Anna Muster cases.csv",
        "cases_Anna_Muster.csv",
        "AnnaMuster.csv",
        "Muster, Anna (export).csv",
        "ANNA MUSTER LOG.csv",
        "Éva Ünlü.csv",
    ],
)
def test_a_file_named_like_a_person_is_shown_as_its_number_but_not_refused(name: str) -> None:
    assert shown_name(name, 3, WORDS) == "file 3"
    assert not screen_file_name(name)


@pytest.mark.parametrize(
    "name",
    [
        "T07.csv",
        "cases.csv",
        "muster.csv",
        "cases_march.csv",
        "Case Log March 2026.xlsx",
        "Phaco IOL.csv",
        "supervisor_in_room.csv",
        "header_twice.csv",
        "t07 x muster b.csv",
        "T07_export.parquet",
        "saltmarsh_cases.csv",
        "Saltmarsh_roster.csv",
        "case_ref_malformed.csv",
    ],
)
def test_a_file_named_by_the_contract_is_shown(name: str) -> None:
    assert shown_name(name, 3, WORDS) == name


def test_the_words_of_the_specialty_name_nobody() -> None:
    assert shown_name("phaco iol.csv", 3, vocabulary(())) == "file 3"
    assert shown_name("phaco iol.csv", 3, WORDS) == "phaco iol.csv"


def test_the_vocabulary_holds_kinds_columns_rules_codes_files_and_months() -> None:
    assert {"cases", "confirmations", "trainee", "ref", "unmapped", "twice", "resident", "audit"} <= WORDS
    assert {"export", "roster", "march", "sep", "phaco", "room"} <= WORDS
    assert all(word == word.lower() and "_" not in word for word in WORDS)


def test_the_finding_on_a_file_name_never_prints_it() -> None:
    finding = file_name_finding(3)
    assert (finding.file_name, finding.rule, finding.severity) == (
        "file 3",
        "identifier_in_file_name",
        "refused",
    )


def test_a_sheet_named_like_a_person_is_shown_by_its_position() -> None:
    assert shown_title("Anna Muster", 2, WORDS) == "sheet 2"
    assert shown_title("T07 [x]", 2, WORDS) == "T07 [x]"


def test_no_cell_of_a_list_of_rows_to_mend_begins_a_formula(tmp_path: Path) -> None:
    # Source of the beginnings: OWASP's page on CSV injection, from memory.
    header = "case_ref,trainee_ref,operated_on,procedure,role,=SUM(A1),+1,@x\n"
    export = write_csv(
        tmp_path / "=x.csv",
        f"{header}C001,T01,2026-03-04,phaco_iol,surgeon,,,\nC002,T01,,phaco_iol,surgeon,,,\n",
    )
    run("check", export, "--specialty", "ophthalmology", "--fixes", tmp_path / "fixes")
    rows = [row for path in (tmp_path / "fixes").iterdir() for row in read_csv(path)]
    assert {row["file_name"] for row in rows} == {"'=x.csv"}
    assert [cell for row in rows for cell in row.values() if cell.startswith(("=", "+", "-", "@"))] == []
