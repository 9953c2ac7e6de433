"""The accreditor's own tally beside what counts here: the difference, and the cases that could explain it.

Expected counts are by hand from the drawn rows. That the accreditor's tally takes precedence over a programme's own
count: common practice, no source.
"""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import openpyxl
import pytest

from dashboard.access import Viewer
from dashboard.screens import summary
from pipelines.contract.codes_in_words import tally_sentence
from pipelines.store.store import Store
from tests.drawn import database, drawn, example, put, table
from tests.drawn import run as make_all
from tests.looking import opened_as, said, session, tables
from tests.stores import new_store, rows_of, run, run_well, set_programme, write_csv

__all__ = ["session"]

ROSTER = "trainee_ref,cohort,started,expected_completion\n" + "".join(
    f"T0{number},2026-27,2024-07,2027-06\n" for number in (1, 2, 3)
)
# Of T01 three count: one before the tally's month, one in it, one after it, none confirmed; two do not: an assistant's
# and one without a code. Of T02 one counts, confirmed.
CASES = """\
case_ref,trainee_ref,operated_on,procedure,role,supervisor_agreed
C001,T01,2026-02-10,phaco_iol,surgeon,
C002,T01,2026-03-30,phaco_iol,surgeon,
C003,T01,2026-04-02,phaco_iol,surgeon,
C004,T01,2026-02-12,phaco_iol,assistant,
C005,T01,2026-02-13,lens of another kind,surgeon,
C006,T02,2026-02-14,phaco_iol,surgeon,yes
"""
SHOWN = [
    *("trainee_ref", "official_count", "official_as_of", "official_met", "counted_cases", "difference"),
    *("later_cases", "same_month_cases", "unconfirmed_cases", "other_role_cases", "unmapped_cases"),
]


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("tally")
    (folder / "example.yaml").write_bytes(example({"lens": {"title": "Lens surgery", "minimum": 2}}))
    store = new_store(folder, specialty=folder / "example.yaml")
    set_programme(store, as_of="2026-05-31")
    files = [write_csv(folder / "roster.csv", ROSTER), write_csv(folder / "cases.csv", CASES)]
    run_well("intake", *files, "--store", store)
    book = openpyxl.Workbook()
    for trainee, count in (("T01", 2), ("T02", 4)):
        sheet = book.create_sheet(trainee)
        sheet.append(["Requirement", "Count"])
        sheet.append(["Lens surgery", count])
    del book["Sheet"]
    book.save(folder / "tally.xlsx")
    run_well("intake", folder / "tally.xlsx", "--as-of", "2026-03-15", "--store", store)
    return store


def test_a_table_of_requirement_and_count_with_a_trainee_in_the_sheets_name_is_enough(store: Path) -> None:
    rows = rows_of(store, "official_tally")
    assert "\n".join(" | ".join(row[name] for name in SHOWN) for row in rows) == drawn("""
        T01 | 2 | 2026-03-15 | true | 3 | 1  | 1 | 1 | 3 | 1 | 1
        T02 | 4 | 2026-03-15 | true | 1 | -3 | 0 | 0 | 0 | 0 | 0
    """)


def test_the_later_tally_takes_the_place_of_the_earlier_one_of_its_requirement(
    store: Path, tmp_path: Path
) -> None:
    text = "trainee_ref,requirement_ref,count,as_of\nT02,lens,1,2026-05-01\n"
    copy = tmp_path / "store"
    run_well("init", "--store", copy, "--specialty", store / "specialty.yaml", "--programme", "Harbour Eye")
    files = [write_csv(tmp_path / "roster.csv", ROSTER), write_csv(tmp_path / "cases.csv", CASES)]
    first = write_csv(tmp_path / "first.csv", text.replace("1,2026-05-01", "9,2026-04-01"))
    run_well("intake", *files, first, "--store", copy)
    run_well("intake", write_csv(tmp_path / "second.csv", text), "--store", copy)
    (row,) = rows_of(copy, "official_tally")
    assert (row["official_count"], row["official_as_of"], row["difference"]) == ("1", "2026-05-01", "0")


@pytest.mark.parametrize("day", ["2026-03", "15/03/2026", "2026-02-30", "2999-01-01"])
def test_the_day_of_a_tally_is_a_day_that_has_come(day: str, store: Path, tmp_path: Path) -> None:
    file = write_csv(tmp_path / "tally.csv", "trainee_ref,requirement,count\nT01,lens,2\n")
    assert run("check", file, "--as-of", day, "--store", store).code == 2


def test_the_summary_screen_says_which_counts_differ_and_what_could_explain_it(store: Path) -> None:
    programme = Store(store).programme.programme_ref
    app = opened_as(summary, Viewer("coordinator", programme), Store(store))
    shown = said(app)
    assert "0 of 2 counts agree with it." in shown
    (table,) = [rows for rows in tables(app) if rows and "accreditor" in rows[0]]
    assert [row[-1] for row in table[1:]] == [
        "1 operated after that month, 1 operated in that month, 3 not confirmed",
        "nothing that is known here",
    ]


def test_cases_over_a_cap_are_named_as_such_and_under_nothing_else() -> None:
    db = database(
        example({"lens": {"minimum": 2, "roles": ["surgeon", "assistant"], "at_most": {"assistant": 1}}})
    )
    put(db, "trainees", "trainee_ref\nT01")
    put(
        db,
        "cases",
        """
        case_ref | role
        C1       | assistant
        C2       | assistant
        C3       | assistant
        C4       | surgeon
        C5       | observer
        """,
    )
    put(db, "official_counts", "trainee_ref | requirement_ref | count | as_of\nT01 | lens | 4 | 2026-10-05")
    make_all(db)
    columns = "counted_cases, difference, capped_cases, other_role_cases, otherwise_not_counted_cases"
    assert table(db, "official_tally", columns) == "2 | -2 | 2 | 1 | 0"
    (row,) = db.execute("select * from official_tally").df().to_dict("records")
    assert "2 of a kind of which the requirement has as many as it takes" in tally_sentence(
        SimpleNamespace(**row)
    )
