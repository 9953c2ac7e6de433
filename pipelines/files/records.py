"""Tables of records, one after the other: text with quotes or ragged rows, and the sheets of a book."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator
from dataclasses import replace
from itertools import chain, islice
from typing import TextIO

import pyarrow as pa
import pyarrow.compute as pc

from pipelines.files import refusals
from pipelines.files.headers import HEADER_AMONG, NO_MAPPING, TableMapping
from pipelines.files.reading import (
    Record,
    Sheet,
    blank_of,
    checked,
    finished,
    header_names,
    header_place,
    refuse_too_large,
)
from pipelines.files.refusals import NotATable

ROWS_AT_ONCE = 2_000  # more of them at once leave the processor's cache and cost twice the time


def read_plainly(text: bytes, delimiter: str, mapping: TableMapping = NO_MAPPING) -> Sheet:
    """The table of a text, by Python's own reader; raises NotATable."""
    sheet = sheet_from_records(plain_records(text, delimiter), mapping)
    if sheet is None:
        raise NotATable("the file is empty.", "Export it again.")
    return sheet


def lines_of(text: bytes) -> TextIO:
    """Lines end at \\n, \\r or \\r\\n, and keep their end: it may stand inside quotes."""
    return io.TextIOWrapper(io.BytesIO(text), encoding="utf-8", newline="")


def plain_records(text: bytes, delimiter: str) -> Iterator[list[str]]:
    """The records, a blank line as an empty one.

    Strict: a quote that is never closed, or closed in the middle of a cell, would swallow rows unseen.
    """
    count = 0
    # A cell that is a little too long is refused later, with its column: the module's own error does not name it.
    limit = csv.field_size_limit(refusals.LONGEST_FIELD)
    try:
        for record in csv.reader(lines_of(text), delimiter=delimiter, strict=True):
            count += 1
            yield record
    except csv.Error as error:
        too_long = "field limit" in str(error)
        raise (
            refusals.cell_too_long(count + 1, None) if too_long else refusals.open_quote(count + 1)
        ) from error
    finally:
        csv.field_size_limit(limit)


def sheet_from_records(
    records: Iterable[Record], mapping: TableMapping = NO_MAPPING, of_a_book: bool = False
) -> Sheet | None:
    """The table of `records` (rows of cells, blank = ''); None when every one is blank.

    In a book a cell cannot have slipped to the right: what stands beyond the header is passed over.
    """
    numbered = enumerate(records, start=1)
    beginning = list(islice(numbered, HEADER_AMONG))
    place = header_place([cells for _, cells in beginning], mapping)
    while place is None:
        beginning = list(islice(numbered, HEADER_AMONG))
        if not beginning:
            return None
        place = header_place([cells for _, cells in beginning], mapping)
    header_row, typed = beginning[place]
    header = header_names(typed, header_row, mapping)
    below = chain(beginning[place + 1 :], numbered)
    blocks, count, text_bytes = [], 0, 0
    while rows := [checked(cells, row, header) for row, cells in islice(below, ROWS_AT_ONCE)]:
        blocks.append(block_of(rows, len(header)))
        count += len(rows)
        text_bytes += sum(column.nbytes for column in blocks[-1])
        refuse_too_large(count, len(header), text_bytes)
    if not blocks:
        raise refusals.no_rows()
    *columns, too_many = [pa.chunked_array(list(chunks)) for chunks in zip(*blocks, strict=True)]
    beyond = of_a_book and pc.any(too_many).as_py()
    sheet = finished(header, columns, blank_of(too_many) if beyond else too_many, header_row, typed)
    return replace(sheet, skipped=(*sheet.skipped, refusals.BEYOND_THE_HEADER)) if beyond else sheet


def block_of(rows: list[Record], width: int) -> list[pa.Array]:
    """`width` text columns and one that says which rows have a filled cell beyond them."""
    fitted = [
        cells if len(cells) == width else [*cells[:width], *[""] * (width - len(cells))] for cells in rows
    ]
    columns = [pa.array(cells, pa.string()) for cells in zip(*fitted, strict=True)]
    return [*columns, pa.array([any(cell.strip() for cell in cells[width:]) for cells in rows])]
