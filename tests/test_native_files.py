"""Books and Parquet files: native values read as the text that an export would hold.

What is expected of a value: the contract of the export format.
"""

from __future__ import annotations

import io
import struct
import zipfile
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal

import openpyxl
import pyarrow as pa
import pyarrow.parquet
import pytest

from pipelines.contract.errors import FileRefused
from pipelines.files import books
from pipelines.files.reading import ExportFile
from pipelines.files.refusals import BOOK_LIMIT
from tests.sheets_read import drawn, lines, read, refusal, sheets_of, table

# Books


def book(**sheets: list[list[object]]) -> bytes:
    workbook = openpyxl.Workbook()
    workbook.remove(workbook.active)  # type: ignore[arg-type] - the stub calls the first sheet optional
    for title, rows in sheets.items():
        tab = workbook.create_sheet(title)
        for row in rows:
            tab.append(row)
    target = io.BytesIO()
    workbook.save(target)
    return target.getvalue()


def test_each_sheet_of_a_book_that_is_not_empty_is_a_table() -> None:
    file = ExportFile(
        "book.dat", book(cases=[["a"], [1]], nothing=[], blank=[[" "], []], roster=[["b"], [2]])
    )
    assert {shown: lines(sheet) for shown, sheet in sheets_of(file).items()} == {
        "book.dat [cases]": ["2 | 1"],
        "book.dat [roster]": ["2 | 2"],
    }


@pytest.mark.parametrize(
    ("value", "text"),
    [
        ("  text ", "text"),
        (17, "17"),
        (17.0, "17"),
        (0.1, "0.1"),
        (12.5, "12.5"),
        (True, "yes"),
        (False, "no"),
        (date(2026, 4, 3), "2026-04-03"),
        (datetime(2026, 4, 3, 17, 45), "2026-04-03"),
        (time(0, 1, 5), "0:01:05"),
        (time(13, 30), "13:30:00"),
        (timedelta(hours=26, minutes=3, seconds=4), "26:03:04"),
        ("#N/A", "#N/A"),
    ],
)
def test_a_native_cell_of_a_book_is_read_as_the_text_of_an_export(value: object, text: str) -> None:
    assert lines(read(ExportFile("b.xlsx", book(s=[["a", "b"], ["x", value]])))) == [f"2 | x | {text}"]


def test_a_formula_is_read_as_the_value_it_had() -> None:
    data = with_part(book(s=[["a"], [5]]), "xl/worksheets/sheet1.xml", b"<v>5</v>", b"<f>2+3</f><v>5</v>")
    assert lines(read(ExportFile("b.xlsx", data))) == ["2 | 5"]


def test_rows_of_a_book_are_numbered_as_the_sheet_numbers_them() -> None:
    data = book(s=[[], ["a", None, "c"], [1, 2, 3], [], [None, " "], [4, None, None, "x"]])
    assert drawn(read(ExportFile("b.xlsx", data))) == table("""
        row | a | column_2 | c
        3 | 1 | 2 | 3
        6 | 4 |  |
    """).replace("4 |  |", "4 |  | ")
    assert read(ExportFile("b.xlsx", data)).skipped == (
        "1 line above the header in row 2: not read.",
        "Cells to the right of the last header: not read.",
    )


def test_a_sheet_with_a_header_alone_is_refused_by_a_title_that_names_nobody() -> None:
    file = ExportFile("b.xlsx", book(**{"cases": [["a"], [1]], "Anna Muster": [["a"]]}))
    with pytest.raises(FileRefused) as refused:
        sheets_of(file)
    assert refused.value.findings[0].file_name == "b.xlsx [sheet 2]"


def with_part(data: bytes, name: str, old: bytes, new: bytes) -> bytes:
    """The book with `old` replaced in one of its parts."""
    target = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(data)) as source,
        zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as copy,
    ):
        for entry in source.infolist():
            part = source.read(entry)
            assert entry.filename != name or old in part
            copy.writestr(entry.filename, part.replace(old, new) if entry.filename == name else part)
    return target.getvalue()


def test_a_damaged_book_is_not_a_table(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(books, "ROW_LIMIT", 100)  # the rows up to a far one are made one by one
    whole = book(s=[["a"], [1]])
    wrong_part = with_part(whole, "xl/worksheets/sheet1.xml", b"</row>", b"</wor>")
    far_row = with_part(whole, "xl/worksheets/sheet1.xml", b'<row r="2">', b'<row r="101">')
    other_zip = io.BytesIO()
    with zipfile.ZipFile(other_zip, "w") as archive:
        archive.writestr("a.csv", "a\n1\n")
    for data in (whole[: len(whole) // 2], wrong_part, far_row, other_zip.getvalue(), b"PK\x03\x04"):
        assert refusal(ExportFile("b.xlsx", data)) == ("not_a_table", None, None)


def test_a_book_that_unpacks_beyond_the_limit_is_not_opened() -> None:
    # The directory of the archive claims the size of one part; nothing of it is unpacked.
    data = book(s=[["a"], [1]])
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        first, *others = (entry.file_size for entry in archive.infolist())
    entry = data.index(b"PK\x01\x02")
    for size, refused in ((BOOK_LIMIT - sum(others), False), (BOOK_LIMIT - sum(others) + 1, True)):
        claimed = data[: entry + 24] + struct.pack("<I", size) + data[entry + 28 :]
        assert first < size
        if refused:
            assert refusal(ExportFile("b.xlsx", claimed)) == ("not_a_table", None, None)
        else:
            assert lines(read(ExportFile("b.xlsx", claimed))) == ["2 | 1"]


def test_an_old_or_locked_book_says_how_to_save_it() -> None:
    file = ExportFile("b.xls", bytes.fromhex("D0CF11E0A1B11AE1") + b"\0" * 600)
    with pytest.raises(FileRefused, match="Save it as XLSX or CSV"):
        sheets_of(file)


# Parquet


def parquet(**columns: pa.Array) -> bytes:
    target = io.BytesIO()
    pyarrow.parquet.write_table(pa.table(columns), target)
    return target.getvalue()


MOMENT = datetime(2026, 4, 3, 23, 30)


@pytest.mark.parametrize(
    ("values", "texts"),
    [
        (pa.array([" x", "", None]), ["x", None, None]),
        (pa.array(["x", None], pa.large_string()), ["x", None]),
        (pa.array(["x", "y", "x", None]).dictionary_encode(), ["x", "y", "x", None]),
        (pa.array([1, 0, None]), ["1", "0", None]),
        (pa.array([7, None], pa.uint8()), ["7", None]),
        (pa.array([17.0, 0.1, 12.5, None, float("nan")]), ["17", "0.1", "12.5", None, None]),
        (pa.array([17.0, 0.1], pa.float32()), ["17", "0.1"]),
        (pa.array([True, False, None]), ["yes", "no", None]),
        (pa.array([date(2026, 4, 3), date(1969, 12, 31), None]), ["2026-04-03", "1969-12-31", None]),
        (pa.array([date(2026, 4, 3)], pa.date64()), ["2026-04-03"]),
        (pa.array([MOMENT, datetime(1969, 12, 31, 5), None]), ["2026-04-03", "1969-12-31", None]),
        (pa.array([MOMENT], pa.timestamp("ns")), ["2026-04-03"]),
        (pa.array([MOMENT.replace(tzinfo=UTC)], pa.timestamp("us", "Asia/Tokyo")), ["2026-04-04"]),
        (pa.array([Decimal("17.00"), Decimal("0.50"), Decimal("0.00"), None]), ["17", "0.5", "0", None]),
        (pa.array([Decimal("1.2E3")]), ["1200"]),
        (pa.array([["x", "y"], [], None, ["z", None]]), ["x;y", None, None, "z"]),
        (pa.array([time(1, 2, 3), None]), ["1:02:03", None]),
        (pa.array([timedelta(seconds=65), None]), ["0:01:05", None]),
        (pa.array([1_500_000_000], pa.duration("ns")), ["0:00:02"]),
        (pa.array([b"x", None]), ["x", None]),
        (pa.array([None], pa.null()), [None]),
    ],
    ids=str,
)
def test_a_column_of_a_parquet_file_is_read_as_the_text_of_an_export(
    values: pa.Array, texts: list[str | None]
) -> None:
    number = pa.array(range(len(values)))
    sheet = read(ExportFile("p.csv", parquet(n=number, a=values)))
    assert sheet.rows.column("a").to_pylist() == texts
    assert sheet.rows.column("__source_row").to_pylist() == list(range(2, 2 + len(texts)))


@pytest.mark.parametrize(
    "values", [pa.array([{"x": 1}]), pa.array([[1, 2]]), pa.array([b"\xff\xfe"]), pa.array(["x\0"])]
)
def test_a_parquet_column_that_is_no_text_is_refused_by_name(values: pa.Array) -> None:
    data = parquet(**{"a": pa.array(["x"]), "Some Thing": values})
    assert refusal(ExportFile("p.parquet", data)) == ("not_a_table", None, "some_thing")


def test_a_parquet_file_has_the_faults_of_any_file() -> None:
    one = pa.array(["1"])
    assert refusal(ExportFile("a", parquet(**{"a b": one, "A-B": one}))) == ("header_twice", 1, "a_b")
    assert refusal(ExportFile("b", parquet(a=pa.array([], pa.string())))) == ("not_a_table", None, None)
    assert refusal(ExportFile("c", parquet(a=one)[:-8])) == ("not_a_table", None, None)
    assert refusal(ExportFile("d", parquet(a=pa.array(["x" * 1_000_001])))) == ("cell_too_long", 2, "a")
    assert lines(read(ExportFile("e", parquet(a=pa.array([None, "x"]))))) == ["3 | x"]
