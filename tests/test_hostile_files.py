"""A file that is small to hand over and large to read is refused in bounded memory; a broken one in words."""

from __future__ import annotations

import contextlib
import io
import random
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import openpyxl
import pyarrow as pa
import pyarrow.parquet
import pytest

from pipelines.contract.errors import FileRefused
from pipelines.files import refusals
from pipelines.files.reading import ExportFile, read_export, read_parts
from pipelines.specialty.load import load_specialty
from tests.hostile_files import (
    HEADER,
    HOSTILE,
    REQUIRED,
    ROW,
    book_of,
    inline,
    repeated_parquet,
    wide_rows_csv,
)
from tests.sheets_read import lines, read, refusal

ROOT = Path(__file__).parents[1]
REFUSED = [hostile for hostile in HOSTILE if hostile.code in (11, 12)]
# One process for all of them: to start one costs more than to refuse a file. It says its own peak: what the system counts
# for a child begins with the memory of the process that made it.
CHECK_EACH = """
import re, resource, sys
from pathlib import Path
from pipelines.cli.commands import main
codes = [main(["check", file, "--specialty", "ophthalmology", "--format", "csv"]) for file in sys.argv[1:]]
status = Path("/proc/self/status")
own = status.is_file() and re.search(r"VmHWM:\\s+(\\d+) kB", status.read_text())
print(own[1] if own else resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024)
print(*codes)
"""


def test_what_is_large_to_read_is_refused_within_a_gigabyte(tmp_path: Path) -> None:
    files = [hostile.write(tmp_path, hostile.small) for hostile in REFUSED]
    child = subprocess.run(
        [sys.executable, "-c", CHECK_EACH, *files], check=False, capture_output=True, text=True, cwd=ROOT
    )
    assert child.returncode == 0, child.stderr
    *_, peak, ended = child.stdout.splitlines()
    codes = [int(code) for code in ended.split()]
    assert dict(zip((file.name for file in files), codes, strict=True)) == {
        file.name: hostile.code for file, hostile in zip(files, REFUSED, strict=True)
    }
    assert int(peak) * 1024 < 1_000_000_000


def test_a_row_of_many_blank_cells_is_a_blank_row() -> None:
    assert lines(read(ExportFile("a.csv", wide_rows_csv(0.004)))) == [" | ".join(["2", *ROW])]


def of_width(width: int) -> bytes:
    return (
        ",".join(f"c{number}" for number in range(width)) + "\n" + ",".join(["x"] * width) + "\n"
    ).encode()


def test_five_hundred_columns_are_read_and_one_more_is_not() -> None:
    assert len(read(ExportFile("a.csv", of_width(500))).header) == 500
    assert refusal(ExportFile("a.csv", of_width(501))) == ("not_a_table", 1, None)
    assert refusal(ExportFile("a.csv", b"a,b\n1,2\n" + b"," * 500 + b"x\n")) == ("not_a_table", 3, None)
    with pytest.raises(FileRefused, match="more than 500 columns"):
        read(ExportFile("a.csv", of_width(501)))
    target = io.BytesIO()
    pyarrow.parquet.write_table(pa.table({f"c{number}": ["x"] for number in range(501)}), target)
    with pytest.raises(FileRefused, match="more than 500 columns"):
        read(ExportFile("a.parquet", target.getvalue()))


@pytest.mark.parametrize("quote", ["", '"'])
def test_a_table_of_as_many_rows_as_a_sheet_holds_is_read_and_one_more_is_not(
    quote: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(refusals, "ROW_LIMIT", 3)
    text = f"a,b\n{quote}1{quote},2\n1,2\n1,2\n"
    assert read(ExportFile("a.csv", text.encode())).rows.num_rows == 3
    assert refusal(ExportFile("a.csv", f"{text}1,2\n".encode())) == ("not_a_table", None, None)


@pytest.mark.parametrize("quote", ["", '"'])
def test_cells_are_counted_too(quote: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(refusals, "CELL_LIMIT", 6)
    text = f"a,b\n{quote}1{quote},2\n1,2\n1,2\n"
    assert read(ExportFile("a.csv", text.encode())).rows.num_rows == 3
    assert refusal(ExportFile("a.csv", f"{text}1,2\n".encode())) == ("not_a_table", None, None)


def test_the_limits_are_those_of_the_manual() -> None:
    # As many rows as a sheet of a spreadsheet holds: 2 to the 20th.
    assert refusals.ROW_LIMIT == 2**20
    assert refusal(ExportFile("a.parquet", repeated_parquet(2**20 + 1, ROW))) == ("not_a_table", None, None)
    # What is meant to be read: 1,000,000 rows of 22 columns, 134 MB.
    assert refusals.CELL_LIMIT >= 22_000_000
    assert refusals.FILE_LIMIT >= 134_000_000


def test_a_file_above_the_limit_is_not_read_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(refusals, "FILE_LIMIT", 10)
    path = tmp_path / "a.csv"
    path.write_bytes(b"a\n" + b"1" * 8)
    assert read_export(path, 1).data == path.read_bytes()
    path.write_bytes(b"a\n" + b"1" * 9)
    with pytest.raises(FileRefused, match=r"a\.csv: the file is larger than 10 bytes"):
        read_export(path, 1)


# Broken files

SPECIALTY = load_specialty("ophthalmology")


def a_parquet(**more: list[object]) -> bytes:
    target = io.BytesIO()
    table = pa.table({name: [cell] * 3 for name, cell in zip(REQUIRED, ROW, strict=True)} | more)
    pyarrow.parquet.write_table(table, target, compression="none", use_dictionary=False, store_schema=False)
    return target.getvalue()


def test_a_parquet_file_whose_text_or_header_is_no_utf_8_is_damaged() -> None:
    whole = a_parquet(technique=["chop", "chop", "chop"])
    assert read(ExportFile("p.parquet", whole)).header[-1] == "technique"
    for old, new in ((b"chop", b"ch\xffp"), (b"technique", b"techniqu\xff")):
        assert old in whole
        assert refusal(ExportFile("p.parquet", whole.replace(old, new))) == ("not_a_table", None, None)


def broken_files() -> Iterator[bytes]:
    """Whole files of each kind, cut off, with bytes flipped, in wrong encodings, with NULs, quotes and long cells."""
    chance = random.Random(20261126)
    text = "\n".join([f"{HEADER},comment", *(",".join([*ROW, "déjà vu – 5°"]) for _ in range(20)), ""])
    book = io.BytesIO()
    plain = openpyxl.Workbook()
    for row in (REQUIRED, ROW, ROW):
        plain.active.append(row)
    plain.save(book)
    whole = [
        text.encode(),
        text.encode("utf-16"),
        text.encode("cp1252"),
        book.getvalue(),
        a_parquet(flag=[True, None, False], number=[1.5, None, 2.0], lists=[["a"], [], None]),
    ]
    yield from whole
    for data in whole:
        for _ in range(6):
            yield data[: chance.randrange(len(data))]
        for _ in range(20):
            flipped = bytearray(data)
            for _ in range(chance.choice([1, 3, 20])):
                flipped[chance.randrange(4, len(flipped))] = chance.randrange(256)
            yield bytes(flipped)
    for encoding in ("utf-32", "utf-7", "utf-16-be", "cp037", "iso8859-2", "mac_roman"):
        yield text.encode(encoding, "replace")
    for strange in ("\0", '"', '""x', "\r", "\x1a", "\u2028", "\ufeff", "," * 600, "x" * 1_000_001):
        for _ in range(2):
            place = chance.randrange(len(text))
            yield (text[:place] + strange + text[place:]).encode()
    yield book_of(['<row r="9"><c r="ZZZZ9"><v>1</v></c></row>', f'<row r="x">{inline("a")}</row>'])


def test_of_a_broken_file_come_parts_or_a_refusal_and_nothing_else() -> None:
    taken = refused = 0
    for data in broken_files():
        with contextlib.suppress(FileRefused):
            refused += 1
            parts = read_parts([ExportFile("cases.csv", data)], SPECIALTY, False)
            assert all(part.row_count for part in parts)
            taken, refused = taken + 1, refused - 1
    # Some damage does not show, most does.
    assert taken > 10
    assert refused > 50
