"""Exports as drawn tables, taken by the real commands, and what is live afterwards."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import duckdb
import pyarrow.parquet as pq
import pytest

from tests.stores import Result, new_store, run, run_well, write_csv

Rows = Iterable[Mapping[str, str]]

ROSTER = {"cohort": "2026-27", "started": "2023-07", "expected_completion": "2027-06"}
# What a drawn case does not say.
CASE = {"trainee_ref": "T01", "operated_on": "2026-03-02", "procedure": "phaco_iol", "role": "surgeon"}


def rows_drawn(text: str) -> list[dict[str, str]]:
    """The rows of a drawn table: header, rule, rows; a blank cell is an empty text."""
    lines = [line for line in text.strip().splitlines() if set(line.strip()) - set("-+")]
    header, *rows = ([cell.strip() for cell in line.split("|")] for line in lines)
    return [dict(zip(header, row, strict=True)) for row in rows]


def log(count: int, without: Iterable[int] = (), trainee: str = "T01", **cells: str) -> list[dict[str, str]]:
    """An export of `count` cases numbered from 1, but for the numbers in `without`."""
    numbers = [number for number in range(1, count + 1) if number not in set(without)]
    return [{"case_ref": f"C{number:03d}", "trainee_ref": trainee} | cells for number in numbers]


class Desk:
    """A store with T01, T02 and T03 in its roster, and a folder to put exports in."""

    def __init__(self, store: Path, folder: Path) -> None:
        self.store = store
        self.folder = folder
        self.written = 0

    def file(self, content: str | Rows, name: str = "log.csv", defaults: Mapping[str, str] = CASE) -> Path:
        """A drawn table, or rows, as a CSV file in a folder of its own."""
        rows = rows_drawn(content) if isinstance(content, str) else content
        self.written += 1
        place = self.folder / f"export-{self.written}"
        place.mkdir(parents=True)
        return write_csv(place / name, [{**defaults, **row} for row in rows])

    def roster(self, text: str, name: str = "roster.csv") -> Path:
        return self.file(text, name, ROSTER)

    def training(self, text: str) -> Path:
        return self.file(text, "training.csv", {"trainee_ref": "T01"})

    def intake(self, *words: object) -> Result:
        """`intake` of these files and options into the store, however it ends."""
        return run("intake", *words, "--store", self.store)

    def take(self, *words: object) -> Result:
        """The same, which must end well."""
        return run_well("intake", *words, "--store", self.store)

    def manifest(self) -> dict[str, Any]:
        """The live manifest."""
        name = (self.store / "CURRENT").read_text(encoding="ascii").strip()
        manifest: dict[str, Any] = json.loads((self.store / "snapshots" / name).read_text(encoding="utf-8"))
        return manifest

    def snapshot(self) -> int:
        return int(self.manifest()["snapshot"])

    def line(self, trainee: str = "T01", source: str = "main", kind: str = "cases") -> list[str]:
        """The intakes live for a trainee and source, in order."""
        lines = [
            each
            for each in self.manifest()["live"]
            if (each["kind"], each["trainee_ref"], each["source"]) == (kind, trainee, source)
        ]
        return [entry["intake_id"] for each in lines for entry in each["intakes"]]

    def receipt(self, intake_id: str) -> dict[str, Any]:
        path = self.store / "intake" / intake_id / "receipt.json"
        receipt: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
        return receipt

    def stored(self, intake_id: str, trainee: str = "T01", kind: str = "cases") -> list[dict[str, Any]]:
        """The rows in the folder of one intake, read alone."""
        path = self.store / "intake" / intake_id / kind / f"{trainee}.parquet"
        rows: list[dict[str, Any]] = pq.read_table(path).to_pylist() if path.is_file() else []
        return rows

    def query(self, query: str) -> str:
        """Rows of the live snapshot, drawn."""
        path = self.store / "snapshots" / f"snap-{self.snapshot():06d}.duckdb"
        with duckdb.connect(str(path), read_only=True) as connection:
            rows = connection.execute(query).fetchall()
        return "\n".join(" | ".join(_printed(cell) for cell in row).strip() for row in rows)

    def live(self, columns: str = "case_ref", where: str = "trainee_ref = 'T01'") -> str:
        """Columns of the cases that are live, in the order of the log."""
        order = "trainee_ref, case_sequence"
        return self.query(f"select {columns} from case_record where {where} order by {order}")

    def findings(self, columns: str = "source_row, rule") -> str:
        return self.query(f"select {columns} from finding order by file_name, source_row, rule")

    def through(self, trainee: str = "T01") -> str:
        return self.query(f"select distinct data_through from case_volume where trainee_ref = '{trainee}'")

    def everything(self) -> dict[str, bytes]:
        """Every file of the store and what is in it, but for the lock and the scratch folder."""
        files = [path for path in self.store.rglob("*") if path.is_file()]
        names = {path.relative_to(self.store).as_posix(): path for path in files}
        return {
            name: path.read_bytes()
            for name, path in names.items()
            if name != "writer.lock" and not name.startswith(".work/")
        }


def _printed(value: object) -> str:
    if value is None:
        return ""
    return str(value).lower() if isinstance(value, bool) else str(value)


@pytest.fixture(scope="session")
def roster_store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store that holds a roster and nothing else; each test works on a copy."""
    folder = tmp_path_factory.mktemp("roster")
    desk = Desk(new_store(folder), folder)
    desk.take(desk.roster("trainee_ref\nT01\nT02\nT03"))
    return desk.store


@pytest.fixture
def desk(roster_store: Path, tmp_path: Path) -> Desk:
    shutil.copytree(roster_store, tmp_path / "store")
    return Desk(tmp_path / "store", tmp_path)
