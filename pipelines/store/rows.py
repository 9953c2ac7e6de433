"""The rows of a store as Parquet: read as a manifest says, written one file a kind and trainee."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import duckdb
import pyarrow as pa
import pyarrow.parquet as pq

from pipelines.contract.formats import SQL_TYPES, TYPES, Kind
from pipelines.contract.input_tables import ADDED, INPUT_TABLES
from pipelines.store.documents import FORMAT, Line
from pipelines.store.store import Receipt, Store, file_hash

# Of findings.parquet: the columns of the view but for the intake, which is the folder's name.
FINDING_SCHEMA = pa.schema(
    [("kind", pa.string()), *(field for field in INPUT_TABLES["finding"] if field.name != "intake_id")]
)
CHANGE_SCHEMA = pa.schema(
    [(name, pa.string()) for name in ("trainee_ref", "kind", "key", "change", "field", "before", "after")]
)


def load_live(
    connection: duckdb.DuckDBPyConnection, store: Store | None, lines: Iterable[Line], kind: Kind, table: str
) -> None:
    """Make `table`: of every key of a trainee and source the row that was taken last.

    Its columns are the stored ones (null where a row was stored before there was the column), then those of ADDED.
    """
    columns = [f'null::{SQL_TYPES[kept.type]} as "{kept.name}"' for kept in kind.stored]
    columns += [f'null::{_sql_type(field.type)} as "{field.name}"' for field in ADDED]
    connection.execute(f"create or replace table {table} as select {', '.join(columns)} limit 0")
    files = _files(store, lines, kind) if store else []
    for several in (False, True):
        chosen = [file for file in files if file["several"] == several]
        if chosen:
            connection.register("live_file", pa.Table.from_pylist(chosen))
            connection.execute(f"insert into {table} by name {_reading(kind, chosen, several)}")
            connection.unregister("live_file")


def _sql_type(kind: pa.DataType) -> str:
    return next(SQL_TYPES[name] for name, stored in TYPES.items() if stored == kind)


def trainees_with_rows(store: Store, lines: Iterable[Line], kind: Kind) -> set[str]:
    """Whose live intakes hold any row of a kind."""
    return {
        line.trainee_ref
        for line in lines
        if any(pq.read_metadata(file["path"]).num_rows for file in _files(store, [line], kind))
    }


def _files(store: Store, lines: Iterable[Line], kind: Kind) -> list[dict[str, Any]]:
    files: list[dict[str, Any]] = []
    for line in lines:
        if line.kind != kind.name:
            continue
        for entry in line.intakes:
            path = store.intake(entry.intake_id) / kind.name / f"{line.trainee_ref}.parquet"
            if path.is_file():
                files.append(
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
    return files


def _reading(kind: Kind, files: list[dict[str, Any]], several: bool) -> str:
    paths = ", ".join("'" + file["path"].replace("'", "''") + "'" for file in files)
    record = ", ".join(f'kept."{name}"' for name in kind.record)
    # All rows of a record that came with the latest intake: a review has one a step.
    latest = f"qualify rank() over (partition by source, {record} order by taken desc) = 1" if several else ""
    return (
        "select kept.* exclude (path), source, source_taken::integer as source_taken, taken::integer as taken,"
        f" intake_id from read_parquet([{paths}], filename = 'path', hive_partitioning = false, union_by_name = true)"
        f" as kept join live_file using (path) {latest}"
    )


def write_by_trainee(rows: pa.RecordBatchReader, schema: pa.Schema, folder: Path) -> None:
    """One Parquet file a trainee below `folder`, so that one person can be taken out. `rows` are ordered by trainee."""
    writer: Any = None
    writing = None
    metadata = {"standing_format": str(FORMAT)}
    try:
        for batch in rows:
            for trainee_ref, own in _runs(batch):
                if trainee_ref != writing:
                    if writer:
                        writer.close()
                    folder.mkdir(parents=True, exist_ok=True)
                    path = folder / f"{trainee_ref}.parquet"
                    writer = pq.ParquetWriter(path, schema.with_metadata(metadata), compression="zstd")
                    writing = trainee_ref
                writer.write_table(pa.Table.from_batches([own]).select(schema.names).cast(schema))
    finally:
        if writer:
            writer.close()


def _runs(batch: pa.RecordBatch) -> Iterator[tuple[str, pa.RecordBatch]]:
    refs = batch.column("trainee_ref")
    codes = refs.dictionary_encode().indices.to_numpy()
    starts = [0, *(codes[1:] != codes[:-1]).nonzero()[0] + 1, len(codes)] if len(codes) else []
    for start, end in itertools.pairwise(starts):
        yield refs[start].as_py(), batch.slice(start, end - start)


def files_written(folder: Path) -> Receipt:
    """For a receipt: every Parquet file below `folder`, with its rows and its hash."""
    return {
        path.relative_to(folder).as_posix(): {
            "rows": int(pq.read_metadata(path).num_rows),
            "sha256": file_hash(path),
        }
        for path in sorted(folder.rglob("*.parquet"))
    }


def read_findings(store: Store, intake_id: str) -> list[dict[str, Any]]:
    """The findings of an intake as it was taken, one row a finding, in the columns of FINDING_SCHEMA."""
    rows: list[dict[str, Any]] = pq.read_table(store.intake(intake_id) / "findings.parquet").to_pylist()
    return rows
