"""How a query reaches the live snapshot: read-only, through views of the viewer's scope; its answer is kept."""

from __future__ import annotations

import functools
import json
from dataclasses import dataclass
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import duckdb
import pandas as pd
import streamlit as st

from dashboard.access import NotYours, Scope
from dashboard.queries.tables import COLUMNS, PLACES, ROWS
from pipelines.store.documents import live_manifest
from pipelines.store.snapshot import LOCKED
from pipelines.store.store import Store

# The functions that a query may read like a table: they list tables and their comments.
CATALOGUE = {"duckdb_tables", "duckdb_columns"}


@dataclass(frozen=True)
class Snapshot:
    """The snapshot that a rerun reads: its number, its file, the day it speaks of."""

    number: int
    path: str
    as_of: str | None


def live_snapshot(store: Store) -> Snapshot:
    """The snapshot that is live now; a new intake shows at the next rerun."""
    manifest = live_manifest(store.root)
    path = store.root / "snapshots" / manifest.database_name
    return Snapshot(manifest.snapshot, str(path), manifest.as_of)


def select(snapshot: Snapshot, scope: Scope, query: str, **parameters: Any) -> pd.DataFrame:
    """The rows that a query finds in the tables of the scope; raises NotYours where it names any other."""
    if scope.whose == "nobody":
        raise NotYours("With this session you may not see anything.")
    return _rows(snapshot.path, scope, query, parameters)


# Everything that the answer depends on is an argument: the cache is shared by all viewers.
@st.cache_data(max_entries=256, show_spinner=False)
def _rows(path: str, scope: Scope, query: str, parameters: dict[str, Any]) -> pd.DataFrame:
    cursor = _connection(path).cursor()
    for name in ("programme_ref", "whose", "ref"):
        cursor.execute(f"set variable {name} = $value", {"value": getattr(scope, name)})
    for table in _tables_named(path, query):
        cursor.execute(_view(path, table, scope))
    return cursor.execute(query, parameters).df()


@st.cache_resource(max_entries=2, show_spinner=False)
def _connection(path: str) -> duckdb.DuckDBPyConnection:
    return duckdb.connect(path, read_only=True, config=LOCKED)


def _view(path: str, table: str, scope: Scope) -> str:
    """The view that covers a table of the snapshot with what of it is in the scope."""
    columns = COLUMNS[scope.role or ""].get(table)
    if columns is None:
        raise NotYours(f"With this session you may not see the table {table}.")
    source = PLACES.get(table, f"{{db}}.main.{table}")
    view = f"create temp view {table} as select {columns} from {source} where {ROWS.get(table, 'true')}"
    return view.replace("{db}", f'"{Path(path).stem}"')


@functools.lru_cache(maxsize=256)
def _tables_named(path: str, query: str) -> list[str]:
    """Every table that a query names, wherever in it; its own common table expressions are none.

    A function that is read like a table stands among them: most could read a table around the scope.
    """
    ((tree,),) = (
        _connection(path)
        .cursor()
        .execute("select json_serialize_sql($query::varchar)", {"query": query})
        .fetchall()
    )
    tables: dict[str, None] = {}
    own: set[str] = set()
    waiting = [json.loads(tree)]
    while waiting:
        node = waiting.pop()
        if isinstance(node, dict):
            if node.get("type") == "BASE_TABLE":
                place = (node["catalog_name"], node["schema_name"], node["table_name"])
                tables[".".join(filter(None, place))] = None
            if node.get("type") == "TABLE_FUNCTION" and node["function"]["function_name"] not in CATALOGUE:
                tables[f"{node['function']['function_name']}()"] = None
            own |= {table["key"] for table in node.get("cte_map", {}).get("map", [])}
            waiting += node.values()
        elif isinstance(node, list):
            waiting += node
    return [table for table in tables if table not in own]


def listed(snapshot: Snapshot, scope: Scope, table: str) -> pd.DataFrame:
    """A small table of the specialty in its order: requirement, complication, procedure_group, step."""
    return select(snapshot, scope, f"select * from {table} order by position")


def records(frame: pd.DataFrame) -> list[Any]:
    """The rows as objects with the columns for names; null is None."""
    names = list(frame.columns)
    return [
        SimpleNamespace(
            **{name: None if pd.isna(value) else value for name, value in zip(names, row, strict=True)}
        )
        for row in frame.itertuples(index=False, name=None)
    ]
