"""A spreadsheet book: each sheet that is not empty is a table."""

from __future__ import annotations

import io
import warnings
import zipfile
import zlib
from collections.abc import Iterator
from typing import Any

import openpyxl

from pipelines.contract.errors import FileRefused
from pipelines.files.cells import cell_text
from pipelines.files.identifiers import shown_title
from pipelines.files.sheets import Origin, Record, Sheet, sheet_from_records

UNPACKED_LIMIT = 1_000_000_000  # bytes
LAST_ROW = 1_048_576  # of a sheet
# What openpyxl and zipfile raise on a book that is damaged, cut off, encrypted or no book at all.
DAMAGE = (
    zipfile.BadZipFile, zlib.error, LookupError, ValueError, TypeError, AttributeError, ArithmeticError,
    OSError, EOFError, SyntaxError, NotImplementedError, RuntimeError,
)  # fmt: skip


def read_book(origin: Origin, data: bytes, words: frozenset[str]) -> list[Sheet]:
    """The tables of a book in its order; raises FileRefused where there is none."""
    try:
        refuse_bomb(origin, data)
        with warnings.catch_warnings():
            # openpyxl warns of styles and validations it drops; no cell is lost by it.
            warnings.simplefilter("ignore")
            sheets = filled_sheets(origin, data, words)
    except DAMAGE as error:
        raise damaged(origin) from error
    if not sheets:
        raise origin.refusal("not_a_table", "every sheet of the book is empty.", "Export it again.")
    return sheets


def damaged(origin: Origin) -> FileRefused:
    return origin.refusal(
        "not_a_table", "the book is damaged or no XLSX.", "Save it again as XLSX, or export it as CSV."
    )


def refuse_bomb(origin: Origin, data: bytes) -> None:
    with zipfile.ZipFile(io.BytesIO(data)) as book:
        unpacked = sum(entry.file_size for entry in book.infolist())
    if unpacked > UNPACKED_LIMIT:
        raise origin.refusal(
            "not_a_table",
            f"unpacked, the book is larger than {UNPACKED_LIMIT:,} bytes.",
            "Export it as CSV.",
        )


def filled_sheets(origin: Origin, data: bytes, words: frozenset[str]) -> list[Sheet]:
    book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=True)
    sheets: list[Sheet] = []
    try:
        for tab in book.worksheets:
            shown = f"{origin.shown} [{shown_title(tab.title, len(sheets) + 1, words)}]"
            place = Origin(f"{origin.label} [{tab.title}]", shown)
            sheet = sheet_from_records(place, sheet_records(place, tab))
            sheets += [sheet] if sheet else []
    finally:
        book.close()
    return sheets


def sheet_records(origin: Origin, tab: Any) -> Iterator[Record]:
    # What a file says about its own extent is often wrong.
    tab.reset_dimensions()
    for row, values in enumerate(tab.iter_rows(values_only=True), start=1):
        if row > LAST_ROW:
            raise damaged(origin)
        yield [cell_text(value) for value in values]
