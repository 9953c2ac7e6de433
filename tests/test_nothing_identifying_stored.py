"""What a workbook says outside of its references and comments reaches no byte of the store, but as a word on a list."""

from __future__ import annotations

import io
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import duckdb
import openpyxl
import pyarrow.parquet as pq
import pytest
from openpyxl.comments import Comment
from openpyxl.worksheet.worksheet import Worksheet

from tests.standing import ROSTER
from tests.stores import new_store, run, run_well, write_csv

# No word of any list; beside it the parts of a day that no reference holds.
NAME = "Quillfeather"
DAY = "2026-03-18"


def planted(trainee_ref: str) -> bytes:
    """Cases with the name in every place of a workbook that is no reference and no comment."""
    book = openpyxl.Workbook()
    book.properties.creator = book.properties.title = book.properties.keywords = NAME
    tab = book.active
    assert isinstance(tab, Worksheet)
    tab.title = NAME
    tab.append([f"Log of {NAME}, seen {DAY}"])
    tab.append(
        ["case_ref", "trainee_ref", "operated_on", "procedure", "role", "converted_from", NAME, "Room"]
    )
    for number, procedure in enumerate(["phaco_iol", f"Phaco for {NAME}", f"{NAME} {DAY}"], start=1):
        tab.append([f"C000{number}", trainee_ref, date(2026, 3, 18), procedure, "surgeon", NAME, NAME, DAY])
    tab.append(["C0004", trainee_ref, date(2026, 3, 18), "phaco_iol", f"by {NAME}", "", "", ""])
    tab.append(["TOTAL", NAME, None, 3, None, None, None, None])
    tab["A3"].comment = Comment(f"{NAME} asked", NAME)
    hidden = book.create_sheet(f"{NAME} 2")
    hidden.append([NAME])
    hidden.sheet_state = "hidden"
    target = io.BytesIO()
    book.save(target)
    return target.getvalue()


def texts_of(store: Path) -> Iterator[tuple[str, str]]:
    """Everything that a store holds, unpacked."""
    for path in sorted(path for path in store.rglob("*") if path.is_file()):
        yield path.name, path.name
        if path.suffix == ".parquet":
            table = pq.read_table(path)
            yield path.name, f"{table.schema.metadata} {table.to_pylist()}"
        elif path.suffix == ".duckdb":
            with duckdb.connect(str(path), read_only=True) as database:
                for schema, name in database.execute(
                    "select table_schema, table_name from information_schema.tables where table_type = 'BASE TABLE'"
                ).fetchall():
                    yield path.name, str(database.execute(f'from "{schema}"."{name}"').fetchall())
        else:
            yield path.name, path.read_bytes().decode(errors="replace")


@pytest.mark.parametrize("name", [f"{NAME}.xlsx", f"cases {DAY}.xlsx"])
def test_no_name_and_no_day_of_a_workbook_is_stored(tmp_path: Path, name: str) -> None:
    store = new_store(tmp_path)
    run_well("intake", write_csv(tmp_path / "roster.csv", ROSTER), "--store", store)
    trainee_ref = ROSTER.splitlines()[1].split(",")[0]
    path = tmp_path / name
    path.write_bytes(planted(trainee_ref))
    said = run("intake", path, "--store", store)
    assert said.code == 0, said.err
    held = [(where, text) for where, text in texts_of(store) if NAME.lower() in text.lower() or DAY in text]
    # The day on which the test runs stands in receipts; the day of the operation is another.
    assert held == []
