"""Runs sql/: macros and tables, then each definition, stored as a table of the same name, then the audits."""

from __future__ import annotations

from pathlib import Path

import duckdb

SQL = Path(__file__).parents[2] / "sql"

_PERSON = ("programme_ref", "cohort", "trainee_ref")
# The columns that name one row of each published view.
KEYS: dict[str, tuple[str, ...]] = {
    "case_credit": ("programme_ref", "trainee_ref", "case_ref", "procedure", "side", "requirement_ref"),
    "volume_by_month": (*_PERSON, "requirement_ref", "through_month"),
    "case_volume": (*_PERSON, "requirement_ref"),
    "complication_rate": (*_PERSON, "complication_ref", "procedure_group", "attribution"),
    "supervision_mix": (*_PERSON, "procedure_group", "training_quarter", "level_ref"),
    "technique_step": (*_PERSON, "procedure_group", "step", "training_quarter"),
    "milestone_standing": (*_PERSON, "milestone_ref", "level"),
    "volume_summary": (*_PERSON, "requirement_ref"),
    "supervision_band": (*_PERSON, "procedure_group", "training_quarter", "band"),
    "volume_course": (*_PERSON, "requirement_ref", "training_month"),
    "volume_band": ("programme_ref", "requirement_ref", "training_month"),
    "expected_rate": (*_PERSON, "complication_ref", "attribution"),
    "measure_course": (*_PERSON, "measure", "training_quarter"),
    "cohort_comparison": (*_PERSON, "measure"),
    "trainee_log": _PERSON,
    "left_out_rule": (*_PERSON, "severity", "rule"),
    "class_finding": ("programme_ref", "cohort", "severity", "rule"),
    "unverified_item": ("kind", "ref"),
    "finding": ("intake_id", "file_name", "source_row", "column_name", "rule"),
}


def publish(con: duckdb.DuckDBPyConnection, folder: Path = SQL) -> None:
    """Makes every table and published view; needs the schema `input` and the specialty's tables.

    A view that reads another one reads its stored table, as `main.<name>`: a number is worked out once. Without
    `main.` the name inside a definition would mean the definition.
    """
    con.execute("create schema if not exists definition")
    for path in sql_files(folder):
        if path.name[0] != "9":
            con.begin()  # on a disk each comment would else be a write of its own
            _run(con, path)
            if path.name[0] not in "01":
                _store(con, view_name(path))
            con.commit()


def audit(con: duckdb.DuckDBPyConnection, folder: Path = SQL) -> list[tuple[str, list[tuple[object, ...]]]]:
    """File name and rows of every audit that returns any; an empty list means that the snapshot is whole."""
    found = []
    for path in sql_files(folder):
        if path.name[0] == "9":
            rows = con.execute(path.read_text(encoding="utf-8")).fetchall()
            if rows:
                found.append((path.name, rows))
    return found


def sql_files(folder: Path = SQL) -> list[Path]:
    return sorted(folder.glob("*.sql"))


def view_name(path: Path) -> str:
    """`300_case_volume.sql` defines `case_volume`."""
    return path.stem.partition("_")[2]


def _run(con: duckdb.DuckDBPyConnection, path: Path) -> None:
    for statement in con.extract_statements(path.read_text(encoding="utf-8")):
        con.execute(statement)


def _store(con: duckdb.DuckDBPyConnection, view: str) -> None:
    order = ", ".join(f'"{column}" nulls first' for column in KEYS[view])
    con.execute(f'create table main."{view}" as select * from definition."{view}" order by {order}')
    for comment in _comments(con, view):
        con.execute(comment)


def _comments(con: duckdb.DuckDBPyConnection, view: str) -> list[str]:
    """The statements that give the stored table the comments of its view."""
    of_view = con.execute(
        "select comment from duckdb_views() where schema_name = 'definition' and view_name = ?", [view]
    ).fetchall()
    of_columns = con.execute(
        "select column_name, comment from duckdb_columns() "
        "where schema_name = 'definition' and table_name = ? order by column_index",
        [view],
    ).fetchall()
    told = [(f'table main."{view}"', text) for (text,) in of_view]
    told += [(f'column main."{view}"."{name}"', text) for name, text in of_columns]
    return [f"comment on {what} is {_quoted(text)}" for what, text in told if text is not None]


def _quoted(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"
