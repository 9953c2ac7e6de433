"""The text of the files in DuckDB: one table a kind, each cell read once, with what is wrong with it.

`read_<kind>` holds, for every row of the files in the order given, `row_id`, `sheet_number`, `source_row`,
`too_many_cells`, and for each column of the kind its value and, where its type can be wrong, `<column>_fault`.
"""

from __future__ import annotations

import os
import uuid
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import duckdb
import numpy as np
import pyarrow as pa

from pipelines.contract.formats import Column, Kind
from pipelines.files.reading import Part

CELLS = Path(__file__).with_name("cells.sql")


@dataclass(frozen=True)
class Reading:
    """How cells are read: the style of dates, the names of review periods, the sets of codes."""

    dates: str
    review_periods: tuple[str, ...]
    codes: dict[str, list[str]] = field(repr=False)


def database_name() -> str:
    """A new name for an in-memory database that a second connection of this process can reach."""
    return f":memory:{uuid.uuid4().hex}"


def open_staging(
    name: str, user_agent: str | None = None, memory_limit: str | None = None
) -> duckdb.DuckDBPyConnection:
    """Open the staging database: in memory alone, so that rows with a day never reach a disk.

    `user_agent` must equal that of every other connection to `name`.
    """
    connection = duckdb.connect(name, config={"custom_user_agent": user_agent} if user_agent else {})
    connection.execute("set temp_directory = ''")
    connection.execute(f"set memory_limit = '{memory_limit or half_of_memory()}'")
    connection.execute(CELLS.read_text(encoding="utf-8"))
    return connection


def arrow_table(connection: duckdb.DuckDBPyConnection, query: str, parameters: list[Any]) -> pa.Table:
    """The rows of a query as an Arrow table."""
    # A cursor of its own: the connection may still hold rows of the query before.
    with connection.cursor() as cursor:
        return cursor.sql(query, params=parameters).to_arrow_table()


def half_of_memory() -> str:
    return f"{os.sysconf('SC_PAGE_SIZE') * os.sysconf('SC_PHYS_PAGES') // 2 // 1_000_000}MB"


def stage(connection: duckdb.DuckDBPyConnection, kind: Kind, parts: Sequence[Part], reading: Reading) -> None:
    """Make `read_<kind>` of the parts, whose rows are joined in the order given and handed over."""
    text = pa.concat_tables([_with_all_columns(part, kind) for part in parts], promote_options="default")
    text = text.append_column("row_id", pa.array(np.arange(1, text.num_rows + 1)))
    connection.register("staged_text", text)
    connection.execute(f"create table read_{kind.name} as {_reading_query(kind, reading)}")
    connection.unregister("staged_text")


def _with_all_columns(part: Part, kind: Kind) -> pa.Table:
    rows = part.take_rows()
    blank = pa.nulls(rows.num_rows, pa.string())
    columns = {
        column.name: rows[column.name].cast(pa.string()) if column.name in part.header else blank
        for column in kind.columns
    }
    columns["sheet_number"] = pa.repeat(pa.scalar(part.number, pa.int32()), rows.num_rows)
    columns["source_row"] = rows["__source_row"]
    columns["too_many_cells"] = rows["__too_many_cells"]
    return pa.table(columns)


def _reading_query(kind: Kind, reading: Reading) -> str:
    columns = ", ".join(part for column in kind.columns for part in _column_expressions(column, reading))
    return f"select row_id, sheet_number, source_row, too_many_cells, {columns} from staged_text"


def _column_expressions(column: Column, reading: Reading) -> list[str]:
    cell = f'"{column.name}"'
    value, fault = _VALUE_AND_FAULT[column.type]
    known = reading.codes.get(column.codes or "", [])
    words = {
        "cell": cell,
        "style": _literal(reading.dates),
        "low": column.low,
        "high": column.high,
        "known": "[" + ", ".join(_literal(code.lower()) for code in known) + "]::varchar[]",
        "in_known": ", ".join(_literal(code.lower()) for code in known) or "null",
        "periods": "["
        + ", ".join(_literal(name.lower()) for name in reading.review_periods)
        + "]::varchar[]",
    }
    expressions = [f"{value.format(**words)} as {cell}"]
    expressions += [f'{text.format(**words)} as "{column.name}_{suffix}"' for suffix, text in fault.items()]
    return expressions


def _literal(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"


# For each type of column: the value, and what can be wrong with it.
_VALUE_AND_FAULT: dict[str, tuple[str, dict[str, str]]] = {
    "ref": ("{cell}", {"fault": "ref_fault({cell})"}),
    "case_ref": ("{cell}", {"fault": "case_ref_fault({cell})"}),
    "date": ("date_value({cell}, {style})", {"fault": "date_fault({cell}, {style})"}),
    "month": ("month_value({cell}, {style})", {"fault": "month_fault({cell}, {style})"}),
    "cohort": ("cohort_value({cell})", {"fault": "cohort_fault({cell})"}),
    "code": (
        "lower({cell})",
        {
            "fault": "case when {cell} is not null and lower({cell}) not in ({in_known}) then 'code_unknown'::fault end"
        },
    ),
    "procedure": (
        "lower({cell})",
        {"unmapped": "coalesce({cell} is not null and lower({cell}) not in ({in_known}), false)"},
    ),
    "codes": (
        "list_of({cell})",
        {
            "fault": "case when {cell} is not null then codes_fault(list_of({cell}), {known}) end",
            "none_beside": "{cell} is not null and none_beside(list_of({cell}))",
        },
    ),
    "events": (
        "list_of({cell})",
        {
            "fault": "case when {cell} is not null and lower({cell}) <> 'none' "
            "then codes_fault(event_codes(list_of({cell})), {known}) end",
            "none_beside": "{cell} is not null and lower({cell}) <> 'none' and none_beside(event_codes(list_of({cell})))",
            "day_faults": "case when contains({cell}, '@') then event_day_faults(list_of({cell}), {low}, {high}) end",
        },
    ),
    "yes_no": ("yes_no_value({cell})", {"fault": "yes_no_fault({cell})"}),
    "whole": ("whole_value({cell})", {"fault": "whole_fault({cell}, {low}, {high})"}),
    "number": ("try_cast({cell} as double)", {"fault": "number_fault({cell}, {low}, {high})"}),
    "clock": ("clock_value({cell})", {"fault": "clock_fault({cell})"}),
    "period": ("period_value({cell})", {"fault": "period_fault({cell}, {periods})"}),
    "text": ("{cell}", {}),
}
