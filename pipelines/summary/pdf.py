"""The pages of the volume summary on paper: tagged PDF that declares PDF/UA-1, made by typst without a network.

The same cover and pages give the same bytes: fonts are those that typst carries, and the day is that of the snapshot.
"""

from __future__ import annotations

import datetime
import json
import re
import unicodedata
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

from pipelines.summary.chart import Chart
from pipelines.summary.pages import Cover, Page, Table, as_shown

TEMPLATE = Path(__file__).with_name("summary.typ")
ACROSS = 265  # millimetres of a landscape page of A4 between its margins
COLUMNS_ACROSS = 7  # of people, each with a name over its numbers
# Signs that the fonts surely have: Latin, Greek, Cyrillic, marks of print, currencies, arrows, mathematics.
SURE = re.compile(
    "[^\n\u0020-\u007e\u00a0-\u024f\u0370-\u04ff\u1e00-\u1eff\u2010-\u2040\u20a0-\u20bf\u2190-\u22ff✓]"
)
REPLACED = "Signs that the type of this file does not have stand as ?; the workbook has them."
Json = dict[str, Any]


def pdf(cover: Cover, pages: Iterable[Page], charts: Iterable[Chart] = ()) -> bytes:
    """The PDF; `charts` stand after the table of the page that is to have them."""
    drawn = list(charts)
    data = _cover(cover) | {
        "sections": [_section(page, drawn if page.chart else []) for page in pages if not page.for_machines]
    }
    try:
        return _compiled(data, cover.day)
    except _SignMissing:
        return _compiled(_replaced(data), cover.day)


class _SignMissing(Exception):
    """A text has a sign that no font has: PDF/UA refuses it, since nobody could read it."""


def _compiled(data: Json, day: datetime.datetime) -> bytes:
    # Imported here: no other command pays for it.
    import typst

    try:
        made = typst.compile(
            TEMPLATE.read_bytes(),
            font_paths=typst.Fonts(include_system_fonts=False),
            ignore_system_fonts=True,
            sys_inputs={"data": json.dumps(data)},
            pdf_standards=["ua-1"],
            timestamp=day.replace(tzinfo=datetime.UTC),
        )
    except typst.TypstError as error:
        if "could not be displayed" in error.message:
            raise _SignMissing from None
        raise
    return bytes(made)


def _replaced(data: Json) -> Json:
    """Every text with `?` for what the fonts may lack, and a word of it in the last section."""
    found: Json = json.loads(
        SURE.sub("?", unicodedata.normalize("NFC", json.dumps(data, ensure_ascii=False)))
    )
    found["sections"][-1]["below"].append({"style": "quiet", "text": REPLACED})
    return found


def _cover(cover: Cover) -> Json:
    day = cover.day
    return cover._asdict() | {"day": [day.year, day.month, day.day]}


def _section(page: Page, charts: list[Chart]) -> Json:
    """A heading, lines, then tables and charts; the caution of the page goes below them."""
    (title, *lines) = [{"style": style, "text": text} for style, text in page.lines if text]
    quiet = [line for line in lines if line["style"] == "quiet" and page.table]
    return {
        "title": title["text"],
        "above": [line for line in lines if line not in quiet],
        "parts": list(_parts(page, charts)),
        "below": quiet,
    }


def _parts(page: Page, charts: list[Chart]) -> Iterator[list[Any]]:
    for place, table in enumerate(_in_reach(page.table, page.frozen_columns) if page.table else ()):
        if place:
            yield ["new page", None]
        yield ["table", _table(table)]
    for chart in charts:
        yield ["chart", chart.said() | {"width": chart.width_on(ACROSS)}]
    if page.below:
        yield ["line", {"style": "text", "text": page.below}]
    if page.table_below:
        yield ["table", _table(page.table_below)]


def _in_reach(table: Table, frozen: int) -> Iterator[Table]:
    """Parts of a table that is too wide, each with the columns that say what a row is about."""
    numbers = all(column.is_number for column in table.columns[frozen:])
    size = COLUMNS_ACROSS if numbers and frozen > 1 else len(table.columns)
    for first in range(frozen, max(len(table.columns), frozen + 1), size):
        places = [*range(frozen), *range(first, min(first + size, len(table.columns)))]
        yield table._replace(
            columns=[table.columns[place] for place in places],
            rows=[[row[place] for place in places] for row in table.rows],
        )


def _table(table: Table) -> Json:
    right = [column.is_number for column in table.columns]
    return {
        "right": right,
        "heads": [{"text": column.head, "right": column.is_number} for column in table.columns],
        "rows": [
            [_cell(cell, at_right) for cell, at_right in zip(row, right, strict=True)] for row in table.rows
        ],
    }


def _cell(cell: object, at_right: bool) -> Mapping[str, Any]:
    shown = as_shown(cell)
    text = "" if shown.value is None else shown.text
    return {
        "text": text,
        "room": shown.room,
        "depth": shown.depth,
        "right": at_right or shown.at_right,
    }
