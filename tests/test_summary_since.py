"""What changed between two snapshots, and why: case by case against what was changed in the exports by hand."""

from __future__ import annotations

import io
import shutil
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from pipelines.store.store import Store
from pipelines.summary.files import Options, summary_files
from tests.drawn import example
from tests.stores import run_well, write_csv
from tests.summed import EARLIER, HEADER, LATER, RULES, summed_store, table_of

# Of T01: C002 is refused by the supervisor, C003 was no assistant's, C005 was a repair, C006 goes, C011 and C012 come. Of
# T02 nothing but the technique is said of C007, which changes no count.
CORRECTED = (HEADER + EARLIER + LATER).replace(
    "C002,T01,2025-02-18,phaco_iol,surgeon,\n", "C002,T01,2025-02-18,phaco_iol,surgeon,no\n"
).replace("C003,T01,2025-02-20,phaco_iol,assistant,\n", "C003,T01,2025-02-20,phaco_iol,surgeon,\n").replace(
    "C005,T01,2025-03-03,lid_cyst,surgeon,\n", "C005,T01,2025-03-03,lid_repair,surgeon,\n"
).replace(
    "C006,T01,2025-03-04,lid_cyst,surgeon,\n", ""
) + "C011,T01,2025-05-05,phaco_iol,surgeon,\nC012,T01,2025-05-06,phaco_iol,surgeon,yes\n"
LENS, LID, CYST, REPAIR = "=Lens surgery", "Lid surgery, total", "Lid cyst", "Lid repair"
WHY = [
    ["T01", CYST, -1, "its procedure or side was corrected"],
    ["T01", CYST, -1, "the case was withdrawn"],
    ["T01", LENS, 2, "the case came in"],
    ["T01", LENS, 1, "before, it does not count: the requirement asks for another role"],
    ["T01", LENS, -1, "now it does not count: role refused by the supervisor"],
    ["T01", LID, 1, "its procedure or side was corrected"],
    ["T01", LID, -1, "its procedure or side was corrected"],
    ["T01", LID, -1, "the case was withdrawn"],
    ["T01", REPAIR, 1, "its procedure or side was corrected"],
]


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("since")
    store = shutil.copytree(summed_store(tmp_path_factory.getbasetemp()), folder / "store")
    word = ("--accept-withdrawals", "--by", "A. Quay", "--reason", "as the supervisor says")
    run_well("intake", write_csv(folder / "cases.csv", CORRECTED), "--store", store, *word)
    # And a fifth snapshot by other rules: repairs count as lens surgery, of which there is a second edition.
    rules = RULES | {
        "lens_2": RULES["lens"] | {"edition": "Second"},
        "lens": RULES["lens"]
        | {"roles": ["surgeon", "assistant"], "procedures": ["phaco_iol", "lid_repair"]},
    }
    (store / "specialty.yaml").write_bytes(example(rules))
    run_well("build", "--store", store)
    return store


def sheets(store: Path, **options: Any) -> openpyxl.Workbook:
    made = summary_files(Store(store), "harbour-eye", "2027", Options(**options)).contents
    return openpyxl.load_workbook(io.BytesIO(made["volume-2027.xlsx"]))


def test_each_case_that_counts_otherwise_has_its_reason(store: Path) -> None:
    assert sorted(table_of(sheets(store, snapshot=4, since=3)["Why"], "why")[1:]) == sorted(WHY)


def test_cases_that_came_and_went_add_up_to_the_change_of_each_count(store: Path) -> None:
    for options in (
        {"snapshot": 4, "since": 3},
        {"snapshot": 4, "since": 2},
        {"since": 3},
        {"since": 2, "through": "2025-03"},
    ):
        book = sheets(store, **options)
        heads, *rows = table_of(book["Change since"], "change_since")
        grid = {(person, row[0]): row[2 + place] for row in rows for place, person in enumerate(heads[2:])}
        summed = dict.fromkeys(grid, 0)
        for person, requirement, cases, _ in table_of(book["Why"], "why")[1:]:
            summed[person, requirement] += cases
        assert summed == grid
        assert any(grid.values()), options


def test_a_rule_that_was_changed_is_said(store: Path) -> None:
    book = sheets(store, since=4)
    lists_it = "the requirement lists it now"
    assert table_of(book["Why"], "why")[1:] == [
        ["T01", f"{LENS}, First", 1, lists_it],
        ["T01", f"{LENS}, Second", 5, lists_it],
        ["T02", f"{LENS}, Second", 1, lists_it],
    ]
    titles = [row[0] for row in table_of(book["Overview"], "overview")]
    assert {f"{LENS}, First", f"{LENS}, Second"} <= set(titles) and LENS not in titles
    assert "exports" not in book["Why"].tables
    said = [row[0] for row in book["Change since"].iter_rows(max_row=4, max_col=1, values_only=True)]
    assert "The rules of the specialty were changed in between." in said
    assert "The rules of the specialty" not in str(
        sheets(store, snapshot=4, since=3)["Change since"]["A3"].value
    )


def test_the_files_in_between_say_which_fields_they_changed(store: Path) -> None:
    _, *rows = table_of(sheets(store, snapshot=4, since=3)["Why"], "exports")
    assert [(row[0], row[2], row[4]) for row in rows] == [
        ("T01", "cases.csv", "role (1), the supervisor’s word (1)"),
        ("T02", "cases.csv", None),
    ]
    # T01 had 7 rows in use: C001, C004 and C009 are as they were, C002 and C003 changed, C005 as a cyst and C006 are gone.
    assert rows[0][3] == "3 added, 3 unchanged, 2 changed, 2 withdrawn"


def test_nothing_that_changed_is_said_so(store: Path) -> None:
    book = sheets(store, snapshot=4, since=3, through="2025-01")
    assert "No case counts otherwise than it did." in book["Why"]["A2"].value
