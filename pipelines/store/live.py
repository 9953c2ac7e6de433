"""The rows that are live in a store, read from the Parquet files that a manifest names."""

from __future__ import annotations

from collections.abc import Iterable

import duckdb
import pyarrow as pa
import pyarrow.parquet as pq

from pipelines.contract.formats import Kind
from pipelines.contract.input_tables import INPUT_TABLES
from pipelines.store.manifest import Line
from pipelines.store.store import Store

# What a build adds to the stored columns of a case.
ADDED = ("source", "source_taken", "taken", "intake_id")


def stored_columns(kind: Kind) -> list[str]:
    """The columns of the stored Parquet files of a kind, in order."""
    return [name for name in INPUT_TABLES[kind.name].names if name not in ADDED]


def load_live(
    connection: duckdb.DuckDBPyConnection, store: Store | None, lines: Iterable[Line], kind: Kind, table: str
) -> None:
    """Make `table`: of every key of a trainee and source the row that was taken last.

    Its columns are the stored ones, then `source, source_taken, taken, intake_id`.
    """
    files = _files(store, lines, kind) if store else []
    connection.execute(f"create or replace table {table} as {_empty(kind)}")
    for several in (False, True):
        chosen = [each for each in files if each["several"] == several]
        if chosen:
            connection.register("live_file", pa.Table.from_pylist(chosen))
            connection.execute(f"insert into {table} {_reading(kind, chosen, several)}")
            connection.unregister("live_file")


def trainees_with_rows(store: Store, lines: Iterable[Line], kind: Kind) -> set[str]:
    """Whose live intakes hold any row of a kind."""
    return {
        line.trainee_ref
        for line in lines
        if any(pq.read_metadata(each["path"]).num_rows for each in _files(store, [line], kind))
    }


def _files(store: Store, lines: Iterable[Line], kind: Kind) -> list[dict[str, object]]:
    found: list[dict[str, object]] = []
    for line in lines:
        if line.kind != kind.name:
            continue
        for entry in line.intakes:
            path = store.intake(entry.intake_id) / kind.name / f"{line.trainee_ref}.parquet"
            if path.is_file():
                found.append(
                    {
                        "path": str(path),
                        "source": line.source,
                        "source_taken": max(each.taken for each in line.intakes),
                        "taken": entry.taken,
                        "intake_id": entry.intake_id,
                        # A review may move to another trainee's file.
                        "several": len(line.intakes) > 1 or kind.whole is not None,
                    }
                )
    return found


def _empty(kind: Kind) -> str:
    columns = ", ".join(
        f'null::{sql_type(INPUT_TABLES[kind.name].field(name).type)} as "{name}"'
        for name in stored_columns(kind)
    )
    return f"select {columns}, null::varchar as source, 0 as source_taken, 0 as taken, null::varchar as intake_id limit 0"


def sql_type(kind: pa.DataType) -> str:
    """The DuckDB type of a stored column."""
    return {pa.string(): "varchar", pa.bool_(): "boolean", pa.float64(): "double"}.get(kind, "integer")


def _reading(kind: Kind, files: list[dict[str, object]], several: bool) -> str:
    paths = ", ".join("'" + str(each["path"]).replace("'", "''") + "'" for each in files)
    columns = ", ".join(f'kept."{name}"' for name in stored_columns(kind))
    record = ", ".join(f'kept."{name}"' for name in kind.record)
    # All rows of a record that came with the latest intake: a review has one a step.
    latest = f"qualify rank() over (partition by source, {record} order by taken desc) = 1" if several else ""
    return (
        f"select {columns}, source, source_taken, taken, intake_id"
        f" from read_parquet([{paths}], filename = 'path', hive_partitioning = false) as kept join live_file using (path) {latest}"
    )
