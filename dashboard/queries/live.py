"""How a query reaches the live snapshot: read-only, through views of the viewer's scope; its answer is kept.

And how anything is kept in the process: by everything that it depends on, the latest used first.
"""

from __future__ import annotations

import functools
import json
import os
import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from concurrent.futures import Future
from dataclasses import dataclass
from pathlib import Path
from types import SimpleNamespace
from typing import Any, Generic, TypeVar

import duckdb
import pandas as pd

from dashboard.access import NotYours, Scope
from dashboard.queries.tables import COLUMNS, PLACES, ROWS
from pipelines.store.documents import live_manifest
from pipelines.store.snapshot import LOCKED
from pipelines.store.store import Store

# The functions that a query may read like a table: they list tables and their comments.
CATALOGUE = {"duckdb_tables", "duckdb_columns"}
# What a view may ask of a scope.
VARIABLES = ("programme_ref", "whose", "ref")
# Answers of one snapshot, some 5 kB each: those of 40 people at work are about 1,500.
MOST_ANSWERS = 4096
MOST_READERS = 128


Value = TypeVar("Value")
FileState = tuple[int, int, int]


def state_of(path: Path) -> FileState:
    """What changes with a file's content; zeros where there is none."""
    try:
        stat = os.stat(path)  # noqa: PTH116 - asked at every message, and pathlib takes twice as long
    except OSError:
        return (0, 0, 0)
    return (stat.st_mtime_ns, stat.st_ino, stat.st_size)


class Kept(Generic[Value]):
    """At most so many values by their keys; of those who ask for one at a time the first makes it, the others wait.

    Everybody gets the same object: keep what cannot be changed, or hand on a copy. The key must hold all that the value
    depends on, whose rows it may be made of before all else.
    """

    def __init__(self, most: int) -> None:
        self._most, self._lock = most, threading.Lock()
        self._values: OrderedDict[Hashable, Future[Value]] = OrderedDict()

    def __len__(self) -> int:
        return len(self._values)

    def get(self, key: Hashable, make: Callable[[], Value]) -> Value:
        """The value of the key, made now where it is not kept; what `make` raises is raised and not kept."""
        with self._lock:
            known = self._values.get(key)
            value = known or self._values.setdefault(key, Future())
            self._values.move_to_end(key)
            while len(self._values) > self._most:
                self._values.popitem(last=False)
        if known is None:
            self._make(key, value, make)
        return value.result()

    def _make(self, key: Hashable, value: Future[Value], make: Callable[[], Value]) -> None:
        try:
            value.set_result(make())
        except BaseException as reason:  # noqa: BLE001 - whatever it is, whoever waits gets it too
            with self._lock:
                self._values.pop(key, None)
            value.set_exception(reason)


@dataclass(frozen=True)
class Snapshot:
    """The snapshot that a rerun reads: its number, its file, the day it speaks of, the hash of the SQL that made it."""

    number: int
    path: str
    as_of: str | None
    sql: str = ""


def live_snapshot(store: Store) -> Snapshot:
    """The snapshot that is live now; a new intake shows at the next rerun."""
    try:
        name = (store.root / "CURRENT").read_text(encoding="ascii", errors="replace").strip()
    except OSError:
        name = ""
    return _live(store.root, name, state_of(store.root / "snapshots" / name))


@functools.lru_cache(maxsize=8)
def _live(root: Path, _manifest: str, _state: FileState) -> Snapshot:
    # Read and checked once for as long as it is the same file.
    manifest = live_manifest(root)
    path = root / "snapshots" / manifest.database_name
    return Snapshot(manifest.snapshot, str(path), manifest.as_of, manifest.hashes.sql)


def select(snapshot: Snapshot, scope: Scope, query: str, **parameters: Any) -> pd.DataFrame:
    """The rows that a query finds in the tables of the scope; raises NotYours where it names any other.

    An answer is kept for all viewers, by all that it depends on: the snapshot, the query with its parameters, the text of
    the views of the scope, and what these ask of the scope. So rules are read once for everybody of a role, and rows of a
    person once for each scope. The frame is the caller's own: pandas copies what one of several holders changes.
    """
    if scope.whose == "nobody":
        raise NotYours("With this session you may not see anything.")
    views = tuple(_view(snapshot.path, table, scope) for table in _tables_named(query))
    asked = any("getvariable(" in text for text in (query, *views))
    variables = tuple((name, getattr(scope, name)) for name in VARIABLES) if asked else ()
    opened = _OPENED.get(snapshot.path, lambda: _Opened(snapshot.path))
    key = (query, json.dumps(parameters, sort_keys=True), views, variables)
    answer = opened.answers.get(key, lambda: opened.reader(scope).rows(views, query, parameters))
    return answer.copy(deep=False)


class _Opened:
    """A snapshot, opened once for all viewers; how each scope reads it, and the answers so far."""

    def __init__(self, path: str) -> None:
        self._connection = duckdb.connect(path, read_only=True, config=LOCKED)
        self._readers: Kept[_Reader] = Kept(MOST_READERS)
        self.answers: Kept[pd.DataFrame] = Kept(MOST_ANSWERS)

    def reader(self, scope: Scope) -> _Reader:
        return self._readers.get(scope, lambda: _Reader(self._connection.cursor(), scope))


class _Reader:
    """A cursor of one scope, with as many of its views as were asked for: to make them takes as long as to read them."""

    def __init__(self, cursor: duckdb.DuckDBPyConnection, scope: Scope) -> None:
        self._cursor, self._lock = cursor, threading.Lock()
        self._made: set[str] = set()
        for name in VARIABLES:
            cursor.execute(f"set variable {name} = $value", {"value": getattr(scope, name)})

    def rows(self, views: tuple[str, ...], query: str, parameters: dict[str, Any]) -> pd.DataFrame:
        with self._lock:
            for view in views:
                if view not in self._made:
                    self._cursor.execute(view)
                    self._made.add(view)
            return _of_objects(self._cursor.execute(query, parameters).df())


def _of_objects(frame: pd.DataFrame) -> pd.DataFrame:
    """The same with its texts as Python's own: few rows are chosen and read several times faster so."""
    plain = frame.astype({name: object for name, kind in frame.dtypes.items() if kind == "str"})
    return plain.set_axis(frame.columns.astype(object), axis="columns")


# The live snapshot, and the one before it for whoever still looks at that.
_OPENED: Kept[_Opened] = Kept(2)


def _view(path: str, table: str, scope: Scope) -> str:
    """The view that covers a table of the snapshot with what of it is in the scope."""
    columns = COLUMNS[scope.role or ""].get(table)
    if columns is None:
        raise NotYours(f"With this session you may not see the table {table}.")
    source = PLACES.get(table, f"{{db}}.main.{table}")
    view = f"create temp view {table} as select {columns} from {source} where {ROWS.get(table, 'true')}"
    return view.replace("{db}", f'"{Path(path).stem}"')


@functools.cache
def _parser() -> duckdb.DuckDBPyConnection:
    return duckdb.connect(":memory:", config=LOCKED)


@functools.lru_cache(maxsize=256)
def _tables_named(query: str) -> list[str]:
    """Every table that a query names, wherever in it; its own common table expressions are none.

    A function that is read like a table stands among them: most could read a table around the scope.
    """
    with _parser().cursor() as parser:
        ((tree,),) = parser.execute("select json_serialize_sql($query::varchar)", {"query": query}).fetchall()
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
    return [SimpleNamespace(**row) for row in rows(frame)]


def values(column: pd.Series[Any]) -> list[Any]:
    """The values of a column."""
    # Of what pandas and DuckDB know as missing, all but NA is unequal to itself.
    return [None if value is pd.NA or value != value else value for value in column.to_list()]  # noqa: PLR0124 - that is the question


def rows(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """The rows, each by the names of its columns."""
    columns = {str(name): values(column) for name, column in frame.items()}
    return [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]
