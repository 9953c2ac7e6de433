"""Tests as drawn tables: a text table in, a text table out, over an in-memory database with the real sql/."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import Any

import duckdb
import yaml

from pipelines.build.build import KEYS, audit, make_views
from pipelines.build.reasons import reason_tables
from pipelines.contract.input_tables import INPUT_TABLES
from pipelines.specialty.load import parse_specialty, specialty_text
from pipelines.specialty.tables import specialty_tables
from pipelines.store.documents import Reasons
from tests.built_tables import load_built_tables
from tests.some_sql import builds_of

Db = duckdb.DuckDBPyConnection

# What a drawn table does not say. `case_sequence` is the row's place in the drawing.
DEFAULTS: dict[str, dict[str, str]] = {
    "trainees": {"cohort": "2026-27", "started": "2023-07", "expected_completion": "2027-06"},
    "cases": {
        "trainee_ref": "T01",
        "operated_month": "2026-01",
        "procedure": "phaco_iol",
        "role": "surgeon",
        "source": "main",
        "source_taken": "1",
        "taken": "1",
        "intake_id": "a-1",
    },
    "data_through": {"source": "main"},
}
_RULE: dict[str, Any] = {
    "title": "A rule",
    "minimum": 2,
    "procedures": ["phaco_iol"],
    "roles": ["surgeon"],
    "edition": "First",
    "source": "made up",
    "verified": False,
    "reviewed_on": "2026-11-24",
}
_OUTCOME: dict[str, Any] = {
    "title": "An outcome",
    "group": "lens",
    "window_days": 0,
    "definition": "made up",
    "source": "made up",
    "verified": False,
}
_EXAMPLE = """
specialty: example
title: Example surgery
roles: {surgeon: Surgeon, teaching_assistant: Teaching assistant, assistant: Assistant, observer: Observer}
supervision:
  observed: {title: Observed, roles: [observer, assistant], band: observed or helped}
  guided: {title: With spoken guidance, roles: [surgeon], band: guided}
  available: {title: Supervisor available, roles: [surgeon], band: available}
stages: {first_year: First year, chief: Chief year}
techniques: {chop: Chop}
attributes: {simulated: Simulated, pediatric: Under 18, large: Large}
risk_factors: {small_pupil: Pupil under 3 mm}
procedure_groups: {lens: Lens surgery, lid: Lid surgery}
procedures:
  phaco_iol: {title: Phacoemulsification with lens, group: lens}
  manual_lens: {title: Manual lens extraction, group: lens}
  lid_repair: {title: Lid repair, group: lid}
  lid_cyst: {title: Lid cyst, group: lid}
"""
RUPTURE: dict[str, Any] = {"capsule_rupture": {}}


def example(requirements: dict[str, Any] | None = None, complications: dict[str, Any] | None = None) -> bytes:
    """The example specialty as YAML; a rule or outcome says only what differs from the plain one.

    A requirement without the key `minimum: None` is a counted one of 2 phaco_iol as surgeon.
    """
    content = yaml.safe_load(_EXAMPLE)
    content["requirements"] = {
        ref: {key: value for key, value in {**_RULE, **rule}.items() if value is not None}
        for ref, rule in (requirements if requirements is not None else {"lens": {}}).items()
    }
    content["complications"] = {
        ref: {**_OUTCOME, **outcome} for ref, outcome in (complications or RUPTURE).items()
    }
    text = yaml.safe_dump(content, sort_keys=False)
    return text.replace("'2026-11-24'", "2026-11-24").encode()


def ophthalmology() -> bytes:
    return specialty_text("ophthalmology")


def database(specialty: bytes | None = None) -> Db:
    """The schema `input`, empty but for the programme, and the specialty's tables."""
    db = duckdb.connect(config={"threads": 2})
    db.execute("create schema input")
    for name, schema in INPUT_TABLES.items():
        _load(db, f"input.{name}", schema.empty_table())
    for name, rows in _tables(specialty or example()).items():
        _load(db, f"main.{name}", rows)
    load_built_tables(db)
    db.execute(
        "insert into input.programme values ('harbour-eye', 'Harbour Eye', 7, 45, 5, '2026-11-24', 2, 0.05, null)"
    )
    for name, rows in reason_tables(Reasons()).items():
        db.register("loaded", rows)
        db.execute(f"insert into input.{name} by name select * from loaded")
        db.unregister("loaded")
    return db


@cache
def _tables(specialty: bytes) -> dict[str, Any]:
    return specialty_tables(parse_specialty(specialty, "example.yaml"))


def _load(db: Db, table_name: str, rows: Any) -> None:
    db.register("loaded", rows)
    db.execute(f"create table {table_name} as select * from loaded")
    db.unregister("loaded")


def put(db: Db, table_name: str, text: str) -> None:
    """Inserts a drawn table into `input.<table_name>`: header, rule, rows; a blank cell is null."""
    header, *rows = _cells(text)
    for place, row in enumerate(rows, start=1):
        drawn_row = dict(zip(header, row, strict=True))
        record = {**DEFAULTS.get(table_name, {}), **drawn_row}
        if table_name == "cases":
            record.setdefault("case_sequence", str(place))
        names = ", ".join(f'"{name}"' for name in record)
        marks = ", ".join("?" for _ in record)
        values = [value or None for value in record.values()]
        db.execute(f"insert into input.{table_name} ({names}) values ({marks})", values)


def _cells(text: str) -> list[list[str]]:
    lines = [line for line in text.strip().splitlines() if set(line.strip()) - set("-+")]
    return [[cell.strip() for cell in line.split("|")] for line in lines]


def run(db: Db, views: Sequence[str] = ()) -> None:
    """Makes the views and what they read the way a build does, or all; no audit of these may return a row."""
    with builds_of(*views):
        make_views(db)
        assert audit(db) == []


def table(db: Db, view: str, columns: str, where: str = "true") -> str:
    """The rows of a table or view, in the order of its key, drawn."""
    order = ", ".join(f'"{key}" nulls first' for key in KEYS.get(view, ())) or columns
    rows = db.execute(f"select {columns} from {view} where {where} order by {order}").fetchall()
    return "\n".join(" | ".join(_printed(value) for value in row).strip() for row in rows)


def _printed(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    return f"{value:.9g}" if isinstance(value, float) else str(value)


def drawn(text: str) -> str:
    """A drawn result in the form that `table` gives."""
    return "\n".join(" | ".join(row).strip() for row in _cells(text))
