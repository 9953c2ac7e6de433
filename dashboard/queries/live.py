"""How a query reaches the live snapshot: read-only, with the viewer's scope in it, its answer kept for all viewers."""

from __future__ import annotations

from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any

import duckdb
import pandas as pd
import streamlit as st

from dashboard.access import Scope
from pipelines.store.snapshot import LOCKED
from pipelines.store.store import Store

IN_SCOPE = "programme_ref = $programme_ref and ($trainee_ref is null or trainee_ref = $trainee_ref)"


@dataclass(frozen=True)
class Snapshot:
    """The snapshot that a rerun reads: its number, its file, the day it speaks of."""

    number: int
    path: str
    as_of: str | None


def live_snapshot(store: Store) -> Snapshot:
    """The snapshot that is live now; a new intake shows at the next rerun."""
    manifest = store.current()
    return Snapshot(manifest.snapshot, str(store.database(manifest.snapshot)), manifest.as_of)


@st.cache_resource(max_entries=2, show_spinner=False)
def _connection(path: str) -> duckdb.DuckDBPyConnection:
    return duckdb.connect(path, read_only=True, config=LOCKED)


@st.cache_data(max_entries=256, show_spinner=False)
def rows(path: str, query: str, parameters: dict[str, Any]) -> pd.DataFrame:
    # Everything that the answer depends on is an argument: the cache is shared by all viewers.
    return _connection(path).cursor().execute(query, parameters).df()


def select(snapshot: Snapshot, scope: Scope, query: str, **parameters: Any) -> pd.DataFrame:
    named = {"programme_ref": scope.programme_ref, "trainee_ref": scope.trainee_ref, **parameters}
    used = {name: value for name, value in named.items() if f"${name}" in query}
    return rows(snapshot.path, query, used)


def records(frame: pd.DataFrame) -> list[Any]:
    """The rows as objects with the columns for names; null is None."""
    names = list(frame.columns)
    return [
        SimpleNamespace(
            **{name: None if pd.isna(value) else value for name, value in zip(names, row, strict=True)}
        )
        for row in frame.itertuples(index=False, name=None)
    ]
