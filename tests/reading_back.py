"""Every file of a store, read back: text as it is, Parquet column by column, every table of every snapshot."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import duckdb
import pyarrow.parquet as pq


def files(store: Path) -> list[Path]:
    return sorted(path for path in store.rglob("*") if path.is_file())


def columns(store: Path) -> Iterator[tuple[str, str, list[Any]]]:
    """Where, type and values of every column that lies in a file of the store."""
    for path in files(store):
        if path.suffix == ".parquet":
            table = pq.read_table(path)
            for field in table.schema:
                yield f"{path.name} {field.name}", str(field.type), table[field.name].to_pylist()
        if path.suffix == ".duckdb":
            with duckdb.connect(str(path), read_only=True) as connection:
                yield from columns_of_database(connection, path.name)


def columns_of_database(
    connection: duckdb.DuckDBPyConnection, name: str
) -> Iterator[tuple[str, str, list[Any]]]:
    for schema, table in connection.execute("select schema_name, table_name from duckdb_tables()").fetchall():
        read = connection.execute(f'select * from "{schema}"."{table}"')
        kinds = [(column, str(kind)) for column, kind, *_ in read.description or []]
        rows = read.fetchall()
        for position, (column, kind) in enumerate(kinds):
            yield f"{name} {schema}.{table}.{column}", kind, [row[position] for row in rows]


def texts(store: Path) -> Iterator[tuple[str, str]]:
    """Everything in a store as text: the bytes of each file, and the values that compression hides in them."""
    for path in files(store):
        yield path.relative_to(store).as_posix(), path.read_bytes().decode("latin-1")
    for where, _, values in columns(store):
        yield where, "\n".join(str(value) for value in values if value is not None)


def places(store: Path, wanted: str) -> list[str]:
    """Where a word stands in a store, in small letters, in capitals or as a name."""
    spelled = (wanted.lower(), wanted.upper(), wanted.capitalize())
    return [where for where, text in texts(store) if any(each in text for each in spelled)]
