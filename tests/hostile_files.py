"""Files that are small to hand over and large to read, made where a test or the benchmark wants them.

`scale` 1 is the size that once took minutes or gigabytes; a smaller one makes fewer rows of the same.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import NamedTuple

import openpyxl
import pyarrow as pa
import pyarrow.parquet

REQUIRED = ("case_ref", "trainee_ref", "operated_on", "procedure", "role")
ROW = ("C0001", "T01", "2026-04-03", "phaco_iol", "surgeon")
HEADER = ",".join(REQUIRED)


def wide_csv(scale: float) -> bytes:
    """5,000 columns and 1,000 rows."""
    header = ",".join([HEADER, *(f"extra_{number}" for number in range(4_995))])
    row = ",".join([*ROW, *["x"] * 4_995])
    return "\n".join([header, *[row] * int(1_000 * scale), ""]).encode()


def bad_rows_csv(scale: float) -> bytes:
    """200,000 rows with four faults each."""
    rows = [
        f"C{number:06},T01,2026-13-01,phaco_iol,surgeonx{number % 977},middle,abc"
        for number in range(int(200_000 * scale))
    ]
    return "\n".join([f"{HEADER},side,duration_min", *rows, ""]).encode()


def equal_rows_parquet(scale: float) -> bytes:
    """Ten million equal rows in 150 kB."""
    return repeated_parquet(int(10_000_000 * scale), ROW)


def long_text_parquet(scale: float) -> bytes:
    """A million rows that all say the same 900,000 letters."""
    return repeated_parquet(int(1_000_000 * scale), ("x" * 900_000, *ROW[1:]))


def repeated_parquet(rows: int, cells: tuple[str, ...]) -> bytes:
    zeros = pa.repeat(pa.scalar(0, pa.int32()), rows)
    columns = {
        name: pa.DictionaryArray.from_arrays(zeros, [cell])
        for name, cell in zip(REQUIRED, cells, strict=True)
    }
    target = io.BytesIO()
    pyarrow.parquet.write_table(pa.table(columns), target)
    return target.getvalue()


def long_lists_parquet(scale: float) -> bytes:
    """A million lists of the same text of 10,000 letters."""
    rows = int(1_000_000 * scale)
    texts = pa.DictionaryArray.from_arrays(pa.repeat(pa.scalar(0, pa.int32()), rows), ["x" * 10_000])
    lists = pa.ListArray.from_arrays(pa.array(range(rows + 1), pa.int32()), texts)
    target = io.BytesIO()
    pyarrow.parquet.write_table(
        pa.table({**{name: pa.repeat("x", rows) for name in REQUIRED}, "l": lists}), target
    )
    return target.getvalue()


def large_book(scale: float) -> bytes:
    """A book that unpacks to 150 MB."""
    return book_of(
        f'<row r="{row}">{inline("C0001")}{inline("T01")}{inline("2026-04-03")}</row>'
        for row in range(2, int(1_150_000 * scale))
    )


def inline(text: str) -> str:
    return f'<c t="inlineStr"><is><t>{text}</t></is></c>'


def far_cells_book(scale: float) -> bytes:
    """500,000 rows, each of one blank cell in the last column that a sheet can have."""
    return book_of(
        f'<row r="{row}"><c r="XFD{row}" t="inlineStr"><is><t> </t></is></c></row>'
        for row in range(2, int(500_000 * scale))
    )


def many_sheets_book(scale: float) -> bytes:
    """A thousand sheets of one row."""
    book = openpyxl.Workbook(write_only=True)
    for _ in range(int(1_000 * scale)):
        tab = book.create_sheet()
        tab.append(REQUIRED)
        tab.append(ROW)
    target = io.BytesIO()
    book.save(target)
    return target.getvalue()


def book_of(rows: Iterable[str]) -> bytes:
    """A book of one sheet: the header, then these rows of its XML."""
    book = openpyxl.Workbook(write_only=True)
    book.create_sheet("cases").append(REQUIRED)
    plain, target = io.BytesIO(), io.BytesIO()
    book.save(plain)
    with zipfile.ZipFile(plain) as source, zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as copy:
        for entry in source.infolist():
            part = source.read(entry).decode()
            if entry.filename == "xl/worksheets/sheet1.xml":
                part = part.replace("</sheetData>", "".join(rows) + "</sheetData>")
            copy.writestr(entry.filename, part)
    return target.getvalue()


def blank_lines_csv(scale: float) -> bytes:
    """100 MB of blank lines."""
    return f"{HEADER}\n".encode() + b"\n" * int(100_000_000 * scale)


def open_quote_csv(scale: float) -> bytes:
    """A quote that nobody closes, and 60 MB behind it."""
    return f'{HEADER}\n{",".join(ROW[:4])},"'.encode() + b"x\n" * int(30_000_000 * scale)


def wide_rows_csv(scale: float) -> bytes:
    """500 rows of 100,000 blank cells each, and a good one."""
    return f"{HEADER}\n{','.join(ROW)}\n".encode() + (b"," * 100_000 + b"\n") * int(500 * scale)


def identifiers_csv(scale: float) -> bytes:
    """An address in each of 200,000 rows."""
    rows = (
        f"C{number:06},T01,2026-04-03,x{number}@example.org,surgeon" for number in range(int(200_000 * scale))
    )
    return "\n".join([HEADER, *rows, ""]).encode()


class Hostile(NamedTuple):
    """How to make one, how `check` of it ends, and a scale at which it is still beyond the limit."""

    ending: str
    make: Callable[[float], bytes]
    code: int
    small: float

    @property
    def name(self) -> str:
        return f"{self.make.__name__}.{self.ending}"

    def write(self, folder: Path, scale: float) -> Path:
        path = folder / self.name
        path.write_bytes(self.make(scale))
        return path


HOSTILE = [
    Hostile("csv", wide_csv, 11, 0.1),
    Hostile("csv", bad_rows_csv, 10, 0.1),
    Hostile("parquet", equal_rows_parquet, 11, 0.11),
    Hostile("parquet", long_text_parquet, 11, 0.01),
    Hostile("parquet", long_lists_parquet, 11, 0.05),
    Hostile("xlsx", large_book, 11, 0.5),
    Hostile("xlsx", far_cells_book, 11, 0.01),
    Hostile("xlsx", many_sheets_book, 11, 0.11),
    Hostile("csv", blank_lines_csv, 11, 0.1),
    Hostile("csv", open_quote_csv, 11, 0.5),
    Hostile("csv", wide_rows_csv, 0, 0.2),
    Hostile("csv", identifiers_csv, 12, 0.2),
]
