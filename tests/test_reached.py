"""Reached, said by every surface alike: screens, workbook, CSV, printed views, the text of the demo.

Drawn by hand: lid surgery (3) with the part repairs (1), whose part is lacerations (2), and the part cysts (1).
"""

from __future__ import annotations

import io
import json
from typing import Any

import openpyxl
import pandas as pd
import pytest

from dashboard import queries, wording
from dashboard.access import Viewer
from dashboard.queries import live_snapshot
from pipelines.cli.cohort_text import cohort_text
from pipelines.store.store import Store
from pipelines.summary.files import summary_files
from tests.drawn import example
from tests.drawn_exports import ROSTER
from tests.stores import new_store, rows_of, run_well, set_programme, write_csv
from tests.summed import table_of
from tests.test_sql_volume import PARTS

# Repairs and cysts of each, and what must be said of `lid` and of `repair`: reached, short parts of how many.
COHORT = {
    "T01": (1, 1, (False, 1, 3), (False, 1, 1)),  # below its own minimum
    "T02": (1, 2, (False, 1, 3), (False, 1, 1)),  # at it, and a part of a part is short
    "T03": (3, 0, (False, 1, 3), (True, 0, 1)),  # at it, and a part is short
    "T04": (2, 1, (True, 0, 3), (True, 0, 1)),  # everything at its minimum
    "T05": (6, 6, (True, 0, 3), (True, 0, 1)),  # above
    "T06": (0, 0, (False, 3, 3), (False, 1, 1)),  # nothing
}
TITLES = {
    "lid": "All of lid",
    "repair": "Repairs",
    "laceration": "Lacerations",
    "cyst": "Cysts",
    "lens": "Lens",
}
Said = dict[tuple[str, str], tuple[bool, int, int]]
EXPECTED: Said = {
    (trainee, ref): said
    for trainee, (_, _, *both) in COHORT.items()
    for ref, said in zip(("lid", "repair"), both, strict=True)
}


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    folder = tmp_path_factory.mktemp("reached")
    rules = {ref: rule | {"title": TITLES.get(ref, ref)} for ref, rule in PARTS.items()}
    specialty = folder / "example.yaml"
    specialty.write_bytes(example(rules))
    root = new_store(folder, specialty)
    set_programme(root, as_of="2026-10-31")
    roster = write_csv(folder / "roster.csv", [ROSTER | {"trainee_ref": trainee} for trainee in COHORT])
    cases = [
        {"case_ref": f"{trainee}-{procedure}-{number}", "trainee_ref": trainee, "operated_on": "2026-09-01",
         "procedure": procedure, "role": "surgeon", "supervisor_agreed": "yes"}
        for trainee, (repairs, cysts, *_) in COHORT.items()
        for procedure, count in (("lid_repair", repairs), ("lid_cyst", cysts))
        for number in range(count)
    ]  # fmt: skip
    run_well("intake", roster, write_csv(folder / "cases.csv", cases), "--store", root)
    return Store(root)


def of_rows(rows: list[dict[str, Any]]) -> Said:
    return {
        (row["trainee_ref"], row["requirement_ref"]): (
            str(row["reached"]).lower() == "true", int(row["parts_short"]), int(row["parts_total"])
        )
        for row in rows
        if row["requirement_ref"] in ("lid", "repair")
    }  # fmt: skip


@pytest.fixture(scope="module")
def files(store: Store) -> dict[str, bytes]:
    return summary_files(store, "harbour-eye", "2027").contents


def test_the_printed_views_say_it(store: Store) -> None:
    for view in ("case_volume", "volume_summary"):
        assert of_rows(rows_of(store.root, view)) == EXPECTED
        printed = run_well("show", view, "--store", store.root, "--format", "json").out
        assert of_rows(json.loads(printed)) == EXPECTED


def test_the_screens_say_it(store: Store) -> None:
    snapshot, scope = live_snapshot(store), Viewer("director", "harbour-eye").scope
    frame = queries.volume(snapshot, scope, tuple(COHORT))
    assert of_rows(frame.to_dict("records")) == EXPECTED
    assert of_rows(queries.volume_summary(snapshot, scope, "2026-27").to_dict("records")) == EXPECTED
    marks = {
        (row.trainee_ref, row.requirement_ref): wording.volume_mark(row) for row in queries.records(frame)
    }
    assert {pair for pair, mark in marks.items() if mark.startswith("✓") and pair in EXPECTED} == {
        pair for pair, (reached, *_) in EXPECTED.items() if reached
    }
    assert (marks["T02", "lid"], marks["T04", "lid"]) == ("3, 1 of 3 short", "✓ 3")


def of_lines(rows: list[dict[str, Any]]) -> Said:
    refs = {title: ref for ref, title in TITLES.items() if ref in ("lid", "repair")}
    return {
        (row["Trainee"], refs[row["Requirement"]]): (
            row["Reached"] == "yes", int(row["Parts not reached"]), int(row["Parts"])
        )
        for row in rows
        if row["Requirement"] in refs
    }  # fmt: skip


def test_the_csv_and_the_sheet_of_the_lines_say_it(files: dict[str, bytes]) -> None:
    assert of_rows(pd.read_csv(io.BytesIO(files["volume-2027.csv"])).to_dict("records")) == EXPECTED
    heads, *rows = table_of(book(files)["Lines"], "lines")
    assert of_lines([dict(zip(heads, row, strict=True)) for row in rows]) == EXPECTED


def book(files: dict[str, bytes]) -> openpyxl.Workbook:
    return openpyxl.load_workbook(io.BytesIO(files["volume-2027.xlsx"]))


def test_the_overview_of_the_workbook_says_it(files: dict[str, bytes]) -> None:
    sheet = book(files)["Overview"]
    heads, *rows = sheet[sheet.tables["overview"].ref]
    people = [cell.value for cell in heads[2:]]
    shown = {
        (person, ref): cell
        for row in rows
        for ref, title in TITLES.items()
        if row[0].value == title
        for person, cell in zip(people, row[2:], strict=True)
    }
    for pair, (reached, _, _) in EXPECTED.items():
        assert (" ✓" in shown[pair].number_format.partition("_")[0]) == reached, pair
    # Below the whole and below its part: how many parts are short, of how many.
    short = [row[2:] for row in rows if row[0].value == "parts not reached"]
    for ref, cells in zip(("lid", "repair"), short, strict=True):
        for person, cell in zip(people, cells, strict=True):
            _, parts_short, parts_total = EXPECTED[person, ref]
            assert (cell.value, f" of {parts_total}" in cell.number_format) == (parts_short, True)


def test_the_sheet_of_each_trainee_says_it(files: dict[str, bytes]) -> None:
    for number, trainee in enumerate(COHORT, start=1):
        lines = {row[0]: row for row in table_of(book(files)[trainee], f"trainee_{number}")}
        for ref in ("lid", "repair"):
            reached, short, total = EXPECTED[trainee, ref]
            missing = f"{short} of {total} parts not reached" if short else None
            assert lines[TITLES[ref]][5] == ("✓" if reached else missing)


def test_the_text_of_the_demo_says_it(store: Store) -> None:
    # The columns stand in the order of the rules: lens, lid, repair, laceration, cyst.
    lines = [line.split() for line in cohort_text(store).splitlines() if line.startswith("2026-27")][:6]
    for _, trainee, _, lid, repair, *_ in lines:
        for ref, cell in (("lid", lid), ("repair", repair)):
            assert cell.startswith("+") == EXPECTED[trainee, ref][0], (trainee, ref)
