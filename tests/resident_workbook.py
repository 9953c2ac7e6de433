"""A workbook as programmes keep them: a sheet a resident, titles above the header, own headers and words, day first.

Written by XlsxWriter, which stores the cached value of a formula. What stands in it is common practice, no source.
"""

from __future__ import annotations

import datetime
import random
from pathlib import Path
from typing import Any

import xlsxwriter

HEADER = [
    "Case ID", "Date of Surgery", "Operation", "Role", "Attending", "Complication", "Minutes", "Supervision Level",
    "Remarks",
]  # fmt: skip
PEOPLE = ("T01", "T02", "T03")
OPERATIONS = ("Phaco + IOL", "Trabeculectomy", "Laser Trabeculoplasty", "Intravitreal injection")
# What a person answers; of everything else the first proposal is right.
ANSWERS = {
    "trainee_ref": "sheet",
    "Remarks": "ignore",
    "Assisting": "assistant",
    "Primary": "surgeon",
    "PCR": "capsule_rupture",
    "Second eye done": "blank",
}
FIRST, DAYS = datetime.date(2025, 1, 15), 400
LATER = datetime.date(2026, 3, 1)


def resident_workbook(path: Path, later: int = 0) -> list[dict[str, Any]]:
    """Write the workbook, with so many later cases of each person; its cases, each once, in the order of its sheets."""
    chance, of_later = random.Random(5), random.Random(6)
    cases: list[dict[str, Any]] = []
    with xlsxwriter.Workbook(path) as book:
        day = book.add_format({"num_format": "dd/mm/yyyy"})
        bold = book.add_format({"bold": True})
        for person in PEOPLE:
            sheet = book.add_worksheet(person)
            sheet.merge_range(0, 0, 0, len(HEADER) - 1, "Operative log, Saltmarsh programme", bold)
            sheet.write_row(2, 0, HEADER)
            own = [_case(chance, person, number, FIRST) for number in range(30)]
            own += [_case(of_later, person, 30 + number, LATER) for number in range(later)]
            rows = [*own[:20], None, *own[20:], own[4]]
            for place, case in enumerate(rows, start=3):
                if case is None:
                    sheet.write_row(place, 0, HEADER)
                    continue
                _write(sheet, place, case, day if place % 2 else None)
            sheet.write(len(rows) + 3, 0, "TOTAL")
            sheet.write_formula(len(rows) + 3, 6, f"=SUM(G4:G{len(rows) + 3})", None, 1234)
            cases += own
        notes = book.add_worksheet("Notes")
        notes.write(0, 0, "ask about the second list")
        notes.hide()
    return cases


def _case(chance: random.Random, person: str, number: int, first: datetime.date) -> dict[str, Any]:
    return {
        "case_ref": f"SM{PEOPLE.index(person)}-{number:04d}",
        "trainee_ref": person,
        "day": first + datetime.timedelta(days=chance.randrange(DAYS if first == FIRST else 28)),
        "operation": chance.choice(OPERATIONS),
        "eye": chance.choice(["OD", "OS"]),
        "role": chance.choice(["Primary", "Primary", "Assisting"]),
        "complication": chance.choice(["-", "-", "none", "PCR"]),
        "minutes": chance.choice([25, 40, "n/a"]),
        "level": chance.choice(["In the room", "n/a"]),
    }


def _write(sheet: Any, place: int, case: dict[str, Any], as_day: Any) -> None:
    sheet.write(place, 0, case["case_ref"])
    if as_day:
        sheet.write_datetime(place, 1, datetime.datetime.combine(case["day"], datetime.time()), as_day)
    else:
        sheet.write(place, 1, f"{case['day']:%d/%m/%Y}")
    sheet.write(place, 2, f"{case['operation']} {case['eye']}")
    sheet.write(place, 3, case["role"])
    sheet.write(place, 4, "S1")
    sheet.write(place, 5, case["complication"])
    # A formula, as a person writes it, with the value that the program kept beside it.
    if case["minutes"] == "n/a":
        sheet.write(place, 6, "n/a")
    else:
        sheet.write_formula(place, 6, f"={case['minutes'] - 5}+5", None, case["minutes"])
    sheet.write(place, 7, case["level"])
