"""Rows of a table that are no records: a header that stands again, totals, page titles, notes below the table."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipelines.contract.formats import Kind
from pipelines.files.headers import PASSED_OVER
from pipelines.files.reading import Sheet

Mask = np.ndarray[Any, Any]
NAMED = 5  # row numbers in one sentence
# A row may be a note only in a table that is wider than this.
NARROW = 3
# How totals begin, in the languages of spreadsheets.
TOTAL = (
    r"(?i)^\W*(?:(?:grand|sub)[\s-]*)?(?:totals?|totales|totaux|totaal|sum|sums|summe|gesamt\w*|somme|suma|soma|"
    r"subtotals?|count|average|mean|median|итого|всего|σύνολο|المجموع|合计|合計|总计|總計|小计|小計)(?:$|[\s:=.(])"
)


def without_other_rows(sheet: Sheet, kind: Kind) -> tuple[pa.Table, tuple[str, ...]]:
    """The rows of the table that are records, and in sentences what else was passed over."""
    columns = {
        name: sheet.rows.column(place)
        for place, name in enumerate(sheet.header)
        if not name.startswith(PASSED_OVER)
    }
    known = [columns[column.name] for column in kind.columns if column.name in columns]
    required = [name for name in kind.required if name in columns]
    blanks = count_of([pc.is_null(columns[name]) for name in required])
    filled = count_of([pc.is_valid(column) for column in columns.values()])
    filled_known = count_of([pc.is_valid(column) for column in known])
    typed = dict(zip(sheet.header, sheet.typed, strict=False))
    same = count_of([pc.fill_null(pc.equal(column, typed[name]), False) for name, column in columns.items()])
    too_many = np.asarray(sheet.rows.column(len(sheet.header) + 1).to_numpy())

    header_again = (filled >= 2) & (same == filled)
    total = (blanks >= 1) & begins_as_total(columns) & ~too_many
    outside = (filled_known == 0) & ~too_many
    lonely = (filled == 1) & (blanks >= 1) & (len(columns) > NARROW) & ~too_many
    of_a_page = lonely & before(header_again, lonely | outside)
    below = lonely & after_the_last(~(lonely | outside | total | header_again))
    reasons = (
        (header_again, "the header again: not read."),
        (total, "totals: not read."),
        (of_a_page, "the title of a page: not read."),
        (below, "a note below the table: not read."),
        (outside, "filled only in columns that are not read: passed over."),
    )
    numbers = np.asarray(sheet.rows.column(len(sheet.header)).to_numpy())
    said, gone = [], np.zeros(len(numbers), dtype=bool)
    for where, reason in reasons:
        if (where & ~gone).any():
            said.append(f"{rows_named(numbers[where & ~gone].tolist())}: {reason}")
        gone |= where
    rows = sheet.rows.filter(pa.array(~gone)) if gone.any() else sheet.rows
    return rows, (*sheet.skipped, *said)


def count_of(masks: Sequence[pa.ChunkedArray]) -> Mask:
    """For each row, how many of the masks are true."""
    return np.asarray(np.sum([np.asarray(mask.to_numpy()) for mask in masks], axis=0))


def begins_as_total(columns: dict[str, pa.ChunkedArray]) -> Mask:
    """Whether the first filled cell of a row speaks of a total."""
    first = pc.coalesce(*columns.values())
    return np.asarray(pc.fill_null(pc.match_substring_regex(first, TOTAL), False).to_numpy())


def before(marks: Mask, run: Mask) -> Mask:
    """The rows of each run that ends right before a mark."""
    found = np.zeros(len(marks), dtype=bool)
    for place in np.flatnonzero(marks):
        row = place - 1
        while row >= 0 and run[row]:
            found[row] = True
            row -= 1
    return found


def after_the_last(records: Mask) -> Mask:
    places = np.flatnonzero(records)
    return np.arange(len(records)) > (places[-1] if len(places) else len(records))


def rows_named(numbers: list[int]) -> str:
    """`Row 12`, `Rows 12 and 40`, or the first of many and how many more there are."""
    if len(numbers) == 1:
        return f"Row {numbers[0]}"
    if len(numbers) <= NAMED:
        return f"Rows {', '.join(map(str, numbers[:-1]))} and {numbers[-1]}"
    return f"Rows {', '.join(map(str, numbers[:NAMED]))} and {len(numbers) - NAMED:,} more"
