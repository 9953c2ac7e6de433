"""What a person must be asked about files, because it would otherwise be guessed or lost."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence

import pyarrow as pa
import pyarrow.compute as pc

from pipelines.contract.formats import Kind
from pipelines.files.headers import COLUMN_OF_SYNONYM, folded
from pipelines.files.reading import Part

# Two numbers and a year: 04/03/2026, which a person reads as a day of March or of April.
LOCAL_DAY = r"^(?P<first>\d{1,2})[./-](?P<second>\d{1,2})[./-]\d{4}"
ORDERS = {"iso": "YYYY-MM-DD", "day_first": "DD/MM/YYYY", "month_first": "MM/DD/YYYY"}
MONTHS = 12
# Of two names, as difflib compares them: one letter more or less in ten.
NEARLY_THE_SAME = 0.9


def of_dates(parts: Iterable[Part], kind: Kind, style: str) -> list[str]:
    """Which columns hold dates in another order than the one said, one sentence a column; `style` as in the settings."""
    tables = [part.rows for part in parts if part.rows is not None]
    dated = [column.name for column in kind.columns if column.type == "date"]
    said = (
        _of_column(name, [table[name] for table in tables if name in table.column_names], style)
        for name in dated
    )
    return [sentence for sentence in said if sentence]


def _of_column(name: str, columns: list[pa.ChunkedArray], style: str) -> str | None:
    cells = pa.chunked_array(
        [chunk for column in columns for chunk in column.cast(pa.string()).chunks], pa.string()
    )
    numbers = pc.extract_regex(cells.drop_null(), pattern=LOCAL_DAY).drop_null()
    if not len(numbers):
        return None
    first, second = (
        pc.max(pc.cast(pc.struct_field(numbers, part), pa.int32())).as_py() for part in ("first", "second")
    )
    fits = [order for order, month in (("day_first", second), ("month_first", first)) if month <= MONTHS]
    if style in fits or not fits:
        return None
    written = " or ".join(f"{ORDERS[order]} (dates: {order})" for order in fits)
    return (
        f"{name}: {len(numbers):,} of {len(cells) - cells.null_count:,} dates are written {written}; the setting says"
        f" {ORDERS[style]} (dates: {style}). If the files are right, change it and take them again."
    )


def of_columns(parts: Iterable[Part]) -> list[str]:
    """Columns that nobody reads and whose name is nearly that of one that the file lacks, one sentence each."""
    said = []
    for part in parts:
        for name in part.unknown_columns:
            ours = _nearly(name, [each for each in part.kind.names if each not in part.header])
            if ours:
                said.append(
                    f"{part.shown}: the column {name} is not part of the format. Did you mean {ours}? Rename it so, or"
                    " say in the source's mapping what it is, or that it is to be ignored."
                )
    return said


def _nearly(name: str, columns: Sequence[str]) -> str | None:
    """The column that a name stands for in other words, or but for a letter."""
    if (exact := COLUMN_OF_SYNONYM.get(folded(name))) in columns:
        return exact
    return next(iter(difflib.get_close_matches(name, columns, 1, NEARLY_THE_SAME)), None)
