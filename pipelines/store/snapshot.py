"""A published snapshot, opened for reading and locked against everything else."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator

import duckdb

from pipelines.contract.errors import WrongUsage
from pipelines.store.store import Store


@contextlib.contextmanager
def open_snapshot(store: Store, snapshot: int | None = None) -> Iterator[duckdb.DuckDBPyConnection]:
    """Open a snapshot (the live one if no number is given); raises WrongUsage where there is none."""
    number = store.current().snapshot if snapshot is None else snapshot
    path = store.database(number)
    if not path.is_file():
        raise WrongUsage(
            f"Snapshot {number} is not there. See: python3 run.py snapshots --store {store.root}"
        )
    connection = duckdb.connect(str(path), read_only=True, config=LOCKED)
    try:
        yield connection
    finally:
        connection.close()


LOCKED: dict[str, str | bool | int | float | list[str]] = {
    "enable_external_access": False,
    "autoinstall_known_extensions": False,
    "autoload_known_extensions": False,
    "lock_configuration": True,
}
