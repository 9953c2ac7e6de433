"""Published views, printed: the same rows and the same text every time."""

from __future__ import annotations

import csv
import datetime
import io
import itertools
import json
from collections.abc import Iterable, Iterator, Sequence
from decimal import Decimal
from typing import Any

from pipelines.build.build import KEYS, order_of, sql_files, view_name
from pipelines.contract.errors import WrongUsage
from pipelines.store.snapshot import open_snapshot
from pipelines.store.store import Store

# Printed by a CSV writer as cell_text would.
AS_IT_IS = {str, int, type(None)}
Row = tuple[Any, ...]


def questions() -> dict[str, str]:
    """The question that each published view answers: the first line of its file."""
    first = {view_name(path): path.read_text(encoding="utf-8").partition("\n")[0] for path in sql_files()}
    return {view: line.removeprefix("-- ") for view, line in first.items() if view in KEYS}


def published_rows(store: Store, view: str, where: Sequence[str] = ()) -> tuple[list[str], list[Row]]:
    """The columns and rows of a view of the live snapshot, ordered by its key: nulls first, text by code point.

    `where` holds column=value; the same column twice means either, different columns mean all.
    """
    if view not in KEYS:
        raise WrongUsage(f"There is no view {view}. There are: {', '.join(sorted(KEYS))}.")
    with open_snapshot(store) as connection:
        columns = [row[0] for row in connection.execute(f'describe main."{view}"').fetchall()]
        wanted = _conditions(where, columns, view)
        rows = connection.execute(f'select * from main."{view}" order by {order_of(view)}').fetchall()
    return columns, [row for row in rows if _fits(row, columns, wanted)]


def _conditions(where: Sequence[str], columns: list[str], view: str) -> dict[str, set[str]]:
    wanted: dict[str, set[str]] = {}
    for condition in where:
        column, equals, value = condition.partition("=")
        if not equals or column not in columns:
            raise WrongUsage(f"--where {condition}: write column=value; {view} has {', '.join(columns)}.")
        wanted.setdefault(column, set()).add(value)
    return wanted


def _fits(row: Row, columns: list[str], wanted: dict[str, set[str]]) -> bool:
    return all(cell_text(row[columns.index(column)]) in values for column, values in wanted.items())


def cell_text(value: object) -> str:
    """A value as printed: null is empty, proportions keep every digit and no exponent."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        text = format(Decimal(repr(value)), "f")
        return text.removesuffix(".0")
    if isinstance(value, datetime.date):
        return value.isoformat()
    return str(value)


def as_csv(columns: Sequence[str], rows: Iterable[Row]) -> Iterator[str]:
    """Comma, header always, line feeds; text a thousand rows at a time."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    for some in batched(rows, 1000):
        writer.writerows(row if AS_IT_IS.issuperset(map(type, row)) else map(cell_text, row) for row in some)
        yield text.getvalue()
        text.seek(0)
        text.truncate()
    yield text.getvalue()


def as_json(columns: Sequence[str], rows: Iterable[Row]) -> Iterator[str]:
    """An array of objects, null for null."""
    before = "[\n"
    for row in rows:
        lines = json.dumps(dict(zip(columns, row, strict=True)), indent=1, ensure_ascii=False, default=str)
        yield before + " " + lines.replace("\n", "\n ")
        before = ",\n"
    yield "[]\n" if before == "[\n" else "\n]\n"


def as_table(columns: Sequence[str], rows: Iterable[Row]) -> Iterator[str]:
    """Columns aligned for reading; numbers to the right, proportions to four digits."""
    remaining = iter(rows)
    # A long table need not be in memory whole: its first rows say how wide the columns are.
    body = [[_short(value) for value in row] for row in itertools.islice(remaining, 10_000)]
    widths = [max(len(name), *(len(row[number]) for row in body), 0) for number, name in enumerate(columns)]
    numeric = [_is_numeric(body, number) for number in range(len(columns))]
    more = ([_short(value) for value in row] for row in remaining)
    for lines in ([list(columns), ["-" * width for width in widths]], body, more):
        yield from (_line(cells, widths, numeric) + "\n" for cells in lines)


def batched(rows: Iterable[Row], size: int) -> Iterator[list[Row]]:
    """The rows in lists of at most `size`."""
    remaining = iter(rows)
    while some := list(itertools.islice(remaining, size)):
        yield some


def _short(value: object) -> str:
    return f"{value:.4f}" if isinstance(value, float) else cell_text(value)


def _is_numeric(body: list[list[str]], number: int) -> bool:
    cells = [row[number] for row in body if row[number]]
    return bool(cells) and all(cell.replace(".", "", 1).lstrip("-").isdigit() for cell in cells)


def _line(cells: list[str], widths: list[int], numeric: list[bool]) -> str:
    aligned = [
        cell.rjust(width) if right else cell.ljust(width)
        for cell, width, right in zip(cells, widths, numeric, strict=True)
    ]
    return "  ".join(aligned).rstrip()


FORMATS = {"csv": as_csv, "json": as_json, "table": as_table}
