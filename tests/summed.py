"""A small store to be summed up, and the files of its summary read back."""

from __future__ import annotations

import functools
from pathlib import Path
from typing import Any

import openpyxl
from openpyxl.worksheet.worksheet import Worksheet

from tests.drawn import example
from tests.stores import new_store, run_well, set_programme, write_csv

RULES: dict[str, Any] = {
    "lens": {"title": "=Lens surgery", "minimum": 3, "verified": True},
    "lid": {
        "title": "Lid surgery, total",
        "minimum": 3,
        "procedures": ["lid_repair", "lid_cyst"],
        "source": "made up; number and roles from memory",
    },
    "cyst": {"title": "Lid cyst", "minimum": 2, "procedures": ["lid_cyst"], "part_of": "lid"},
    "repair": {"title": "Lid repair", "minimum": 1, "procedures": ["lid_repair"], "part_of": "lid"},
    "former": {"title": "A rule of former classes", "cohorts": {"to": 2020}},
    "audit": {
        "title": "Audit of cases in a row",
        "minimum": None,
        "consecutive": {"cases": 2, "within_years": 3},
        "roles": ["surgeon", "assistant"],
    },
}
ROSTER = """\
trainee_ref,cohort,started,expected_completion
T01,2026-27,2024-07,2027-06
T02,2026-27,2024-07,2027-06
-T03,2026-27,2024-07,2027-06
T09,2027-28,2024-07,2028-06
"""
NEWCOMER = "T04,2026-27,2024-07,2027-06\n"
HEADER = "case_ref,trainee_ref,operated_on,procedure,role,supervisor_agreed\n"
EARLIER = """\
C001,T01,2025-01-14,phaco_iol,surgeon,yes
C002,T01,2025-02-18,phaco_iol,surgeon,
C003,T01,2025-02-20,phaco_iol,assistant,
C004,T01,2025-02-21,lid_cyst,surgeon,yes
C005,T01,2025-03-03,lid_cyst,surgeon,
C006,T01,2025-03-04,lid_cyst,surgeon,
C007,T02,2025-01-09,phaco_iol,surgeon,
C008,T01,2025-03-05,phaco_iol,captain,
"""
LATER = "C009,T01,2025-04-22,phaco_iol,surgeon,yes\nC010,T09,2025-05-06,phaco_iol,surgeon,\n"
# Snapshot 1 is the empty store, 2 has the earlier cases, 3 the later one and a trainee more.
AS_OF = "2025-05-31"


@functools.cache
def summed_store(base: Path) -> Path:
    """The store of one run of the tests, made once."""
    folder = base / "summed"
    folder.mkdir()
    specialty = folder / "example.yaml"
    specialty.write_bytes(example(RULES))
    root = new_store(folder, specialty)
    set_programme(root, as_of=AS_OF)
    roster, cases = folder / "roster.csv", folder / "cases.csv"
    run_well("intake", write_csv(roster, ROSTER), write_csv(cases, HEADER + EARLIER), "--store", root)
    more = HEADER + EARLIER + LATER
    run_well("intake", write_csv(roster, ROSTER + NEWCOMER), write_csv(cases, more), "--store", root)
    return root


def summed(store: Path, out: Path, *options: object, cohort: str = "2027") -> dict[str, Path]:
    """Suffix → file of the summary of the class, made by the command, which prints their paths alone."""
    done = run_well("summary", "--store", store, "--cohort", cohort, "--out", out, *options)
    files = {suffix: out / f"volume-{cohort}.{suffix}" for suffix in ("xlsx", "pdf", "csv", "json")}
    assert done.out.splitlines() == [str(path) for path in files.values()]
    return files


def book_of(store: Path, out: Path, *options: object) -> openpyxl.Workbook:
    return openpyxl.load_workbook(summed(store, out, *options)["xlsx"])


def table_of(sheet: Worksheet, name: str) -> list[list[Any]]:
    """The values of a table of a sheet, its heads first."""
    return [[cell.value for cell in row] for row in sheet[sheet.tables[name].ref]]


def roles_of(sheet: Worksheet, name: str) -> dict[str, list[str]]:
    """The same of a table of roles, each cell as it is read: `12 of 15`."""
    return {
        row[0].value: [str(cell.value) + cell.number_format.partition('"')[2].rstrip('"') for cell in row[1:]]
        for row in list(sheet[sheet.tables[name].ref])[1:]
    }


def counts(sheet: Worksheet, name: str) -> dict[str, list[Any]]:
    """First cell → the other cells of each row of a table."""
    return {row[0]: row[1:] for row in table_of(sheet, name)[1:]}
