"""One table of a file as text: header normalised, cells trimmed, blank cells null, rows numbered."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipelines.contract.errors import FileRefused
from pipelines.contract.findings import Finding

SOURCE_ROW = "__source_row"
TOO_MANY_CELLS = "__too_many_cells"
CELL_LIMIT = 1_000_000  # bytes of UTF-8
ROWS_AT_ONCE = 2_000  # more of them at once leave the processor's cache and cost twice the time

Record = Sequence[str]
NumberedRecord = tuple[int, Record]


@dataclass(frozen=True)
class Sheet:
    """One table: `rows` has a text column a name of `header`, then `__source_row` and `__too_many_cells`.

    `label` is the raw name of the file, in a book with the sheet: `book.xlsx [sheet]`. A header that stands twice
    refuses the table, but only after its cells were screened: a name in one of them outranks it. Until then take its
    columns by their place.
    """

    label: str
    header: list[str]
    rows: pa.Table
    header_twice: Finding | None = None


@dataclass(frozen=True)
class Origin:
    """Where a table stands: `label` is its raw name, `shown` the name that may be printed."""

    label: str
    shown: str

    def fault(
        self, rule: str, says: str, remedy: str, row: int | None = None, column: str | None = None
    ) -> Finding:
        """What refuses the whole file, saying where."""
        place = ", ".join([self.shown, *([f"row {row}"] if row else []), *([column] if column else [])])
        return Finding(self.shown, rule, "refused", f"{place}: {says}", remedy, row, column)

    def refusal(
        self, rule: str, says: str, remedy: str, row: int | None = None, column: str | None = None
    ) -> FileRefused:
        """The error that refuses it at once."""
        return FileRefused([self.fault(rule, says, remedy, row, column)])

    def no_rows(self) -> FileRefused:
        return self.refusal(
            "not_a_table", "there is no row under the header.", "Export it again with its rows."
        )


def sheet_from_records(origin: Origin, records: Iterable[Record]) -> Sheet | None:
    """The table of `records` (rows of cells, blank = ''); None when every one is blank."""
    numbered = enumerate(records, start=1)
    first = next(((row, cells) for row, cells in numbered if not is_blank(cells)), None)
    if first is None:
        return None
    header_row, cells = first
    header = header_names(origin, cells, header_row)
    blocks = [block_of(origin, rows, len(header)) for rows in blocks_of_rows(numbered)]
    if not blocks:
        raise origin.no_rows()
    columns = [pa.chunked_array(list(chunks)) for chunks in zip(*blocks, strict=True)]
    too_many = columns.pop()
    refuse_long_cells(origin, header, columns, header_row)
    return finished(origin, header, columns, too_many, header_row)


def sheet_from_columns(origin: Origin, header_cells: Record, columns: list[pa.ChunkedArray]) -> Sheet:
    """The table of whole text columns under a header in row 1. Empties `columns`, to hold no second copy."""
    header = header_names(origin, header_cells, 1)
    refuse_long_cells(origin, header, columns, 1)
    beyond = [filled(trimmed(columns.pop())) for _ in range(len(columns) - len(header))]
    count = len(columns[0])
    too_many = pa.chunked_array([pa.array(np.zeros(count, dtype=bool))])
    for each in beyond:
        too_many = pc.or_(too_many, each)
    return finished(origin, header, columns, too_many, 1)


def finished(
    origin: Origin,
    header: list[str],
    columns: list[pa.ChunkedArray],
    too_many: pa.ChunkedArray,
    header_row: int,
) -> Sheet:
    """Both ways of reading end here, so that they trim, number and skip blank rows alike."""
    texts = []
    while columns:
        texts.append(trimmed(columns.pop(0)))
    source_row = pa.array(np.arange(header_row + 1, header_row + 1 + len(too_many), dtype=np.int64))
    rows = pa.table([*texts, source_row, too_many], names=[*header, SOURCE_ROW, TOO_MANY_CELLS])
    rows = without_blank_rows(rows, texts, too_many)
    if not rows.num_rows:
        raise origin.no_rows()
    return Sheet(origin.label, header, rows, header_twice(origin, header, header_row))


def trimmed(column: pa.ChunkedArray) -> pa.ChunkedArray:
    """Without white space (Unicode's) at both ends; nothing left = null."""
    text = pc.utf8_trim_whitespace(column)
    if pc.min(pc.binary_length(text)).as_py() == 0:
        text = pc.if_else(filled(text), text, pa.scalar(None, text.type))
    return text


def filled(text: pa.ChunkedArray) -> pa.ChunkedArray:
    return pc.fill_null(pc.greater(pc.binary_length(text), 0), False)


def without_blank_rows(rows: pa.Table, texts: list[pa.ChunkedArray], too_many: pa.ChunkedArray) -> pa.Table:
    if any(text.null_count == 0 for text in texts):
        return rows
    keep = too_many
    for text in texts:
        keep = pc.or_(keep, pc.is_valid(text))
    return rows.filter(keep)


def refuse_long_cells(
    origin: Origin, header: list[str], columns: list[pa.ChunkedArray], header_row: int
) -> None:
    for position, column in enumerate(columns, start=1):
        length = pc.binary_length(column)
        if (pc.max(length).as_py() or 0) > CELL_LIMIT:
            row = header_row + 1 + pc.index(pc.greater(length, CELL_LIMIT), True).as_py()
            raise cell_too_long(origin, row, column_shown(header, position))


def cell_too_long(origin: Origin, row: int, column: str) -> FileRefused:
    return origin.refusal(
        "cell_too_long",
        f"the cell is longer than {CELL_LIMIT:,} bytes.",
        "Shorten it and export again; no column of the format needs as much.",
        row,
        column,
    )


# The header


def header_names(origin: Origin, cells: Record, row: int) -> list[str]:
    """Normalised names; blank ones at the end dropped, one in the middle named by its position."""
    for position, cell in enumerate(cells, start=1):
        if is_too_long(cell):
            raise cell_too_long(origin, row, f"column {position}")
    names = [normalised(cell) for cell in cells]
    while names and not names[-1]:
        names.pop()
    return [name or f"column_{position}" for position, name in enumerate(names, start=1)]


def normalised(cell: str) -> str:
    return re.sub(r"[\s-]", "_", cell.strip().lower())


def header_twice(origin: Origin, names: list[str], row: int) -> Finding | None:
    """What refuses the first column whose header stands before it already, or is one of ours."""
    seen = {SOURCE_ROW, TOO_MANY_CELLS}
    for position, name in enumerate(names, start=1):
        if name in seen:
            remedy = "Give each column a header of its own and export again."
            column = column_shown(names, position)
            return origin.fault("header_twice", "two columns have this header.", remedy, row, column)
        seen.add(name)
    return None


def column_shown(header: list[str], position: int) -> str:
    """The name of a column where it is a plain word, else `column 5`: a header may hold anything."""
    name = header[position - 1] if position <= len(header) else ""
    return name if re.fullmatch(r"[a-z][a-z0-9_]{0,39}", name) else f"column {position}"


# Records


def is_blank(cells: Record) -> bool:
    return not any(cell.strip() for cell in cells)


def is_too_long(cell: str) -> bool:
    return len(cell) > CELL_LIMIT or (len(cell) > CELL_LIMIT // 4 and len(cell.encode()) > CELL_LIMIT)


def blocks_of_rows(numbered: Iterator[NumberedRecord]) -> Iterator[list[NumberedRecord]]:
    while rows := list(islice(numbered, ROWS_AT_ONCE)):
        yield rows


def block_of(origin: Origin, rows: list[NumberedRecord], width: int) -> list[pa.Array]:
    """`width` text columns and one that says which rows have a filled cell beyond them."""
    fitted = [cells if len(cells) == width else fitted_to(cells, width) for _, cells in rows]
    columns = [pa.array(cells, pa.string()) for cells in zip(*fitted, strict=True)]
    too_many = [len(cells) > width and filled_beyond(origin, row, cells, width) for row, cells in rows]
    return [*columns, pa.array(too_many, pa.bool_())]


def fitted_to(cells: Record, width: int) -> list[str]:
    return [*cells[:width], *[""] * (width - len(cells))]


def filled_beyond(origin: Origin, row: int, cells: Record, width: int) -> bool:
    for position, cell in enumerate(cells[width:], start=width + 1):
        if is_too_long(cell):
            raise cell_too_long(origin, row, f"column {position}")
    return not is_blank(cells[width:])
