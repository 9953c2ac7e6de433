"""A spreadsheet book: each sheet that is not empty is a table."""

from __future__ import annotations

import io
import warnings
import zipfile
import zlib
from collections.abc import Callable, Iterator
from fnmatch import fnmatch
from typing import Any

import openpyxl

from pipelines.files import refusals
from pipelines.files.headers import TableMapping
from pipelines.files.native import export_text
from pipelines.files.reading import Sheet
from pipelines.files.records import sheet_from_records
from pipelines.files.refusals import BOOK_CELL_LIMIT, BOOK_LIMIT, ROW_LIMIT, SHEET_LIMIT, NotATable

Records = Iterator[list[str]]
# What openpyxl and zipfile raise on a book that is damaged, cut off, encrypted or no book at all.
DAMAGE = (
    zipfile.BadZipFile, zlib.error, LookupError, ValueError, TypeError, AttributeError, ArithmeticError,
    OSError, EOFError, SyntaxError, NotImplementedError, RuntimeError,
)  # fmt: skip


def read_book(
    data: bytes, mapping: TableMapping, take: Callable[[int, str, Sheet | NotATable], None]
) -> None:
    """Hand over each sheet that is not empty, in the book's order: its number from 1, its title, its table.

    Raises NotATable where the book is damaged or too large.
    """
    try:
        refuse_large(data)
        with warnings.catch_warnings():
            # openpyxl warns of styles and validations it drops; no cell is lost by it.
            warnings.simplefilter("ignore")
            book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=True)
            try:
                for number, tab in enumerate(book.worksheets, start=1):
                    if sheet := read_tab(tab, mapping):
                        take(number, tab.title, sheet)
            finally:
                book.close()
    except DAMAGE as error:
        raise damaged() from error


def read_tab(tab: Any, mapping: TableMapping) -> Sheet | NotATable | None:
    """The table of one sheet, or why it is not read; None where it is empty."""
    if tab.sheet_state != "visible":
        return refusals.hidden()
    try:
        return sheet_from_records(records_of(tab), mapping, of_a_book=True)
    except NotATable as fault:
        return fault


def damaged() -> NotATable:
    return NotATable(
        "the workbook is damaged, or it is not XLSX.", "Save it again as XLSX, or export it as CSV."
    )


def refuse_large(data: bytes) -> None:
    """By the directory of the archive: nothing is unpacked, and no part gives more bytes than it says."""
    with zipfile.ZipFile(io.BytesIO(data)) as book:
        unpacked = sum(entry.file_size for entry in book.infolist())
        sheets = sum(fnmatch(entry.filename, "xl/worksheets/*.xml") for entry in book.infolist())
    if unpacked > BOOK_LIMIT:
        raise NotATable(f"the workbook unpacks to more than {BOOK_LIMIT:,} bytes.", "Export it as CSV.")
    if sheets > SHEET_LIMIT:
        raise NotATable(
            f"the workbook has more than {SHEET_LIMIT} sheets.", "Keep only the sheets to be read."
        )


def records_of(tab: Any) -> Records:
    # What a file says about its own extent is often wrong.
    tab.reset_dimensions()
    cells = 0
    for row, values in enumerate(tab.iter_rows(values_only=True), start=1):
        cells += len(values)
        if row > ROW_LIMIT or cells > BOOK_CELL_LIMIT:
            raise NotATable(
                f"the sheet has more than {BOOK_CELL_LIMIT:,} cells, blank ones included.",
                "Export it as CSV.",
            )
        yield [export_text(value) for value in values]
