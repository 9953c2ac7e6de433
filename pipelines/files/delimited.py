"""Text with a delimiter: its encoding, its delimiter, its records."""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections.abc import Iterable, Iterator
from typing import TextIO

import pyarrow as pa
import pyarrow.csv

from pipelines.contract.errors import FileRefused
from pipelines.files.sheets import Origin, Sheet, sheet_from_columns, sheet_from_records

DELIMITERS = (",", ";", "\t")
UTF_16_MARKS = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
# Control characters that no text holds; white space and the four separators are not among them.
CONTROLS = bytes([*range(0x09), *range(0x0E, 0x1C)])
BEGINNING = 65_536
DECODED_AT_ONCE = 1 << 22
BLOCK_BYTES = 1 << 22


def read_delimited(origin: Origin, data: bytes) -> Sheet:
    """The one table of `data`; raises FileRefused where it is none."""
    text = as_utf8(origin, data)
    delimiter = delimiter_of(lines_of(text))
    sheet = read_fast(origin, text, delimiter) or read_plain(origin, text, delimiter)
    if sheet is None:
        raise origin.refusal("not_a_table", "the file is empty.", "Export it again.")
    return sheet


# Encoding


def as_utf8(origin: Origin, data: bytes) -> bytes:
    """The text as UTF-8 without a mark, whatever it was written in."""
    try:
        text = decoded(data)
    except UnicodeDecodeError as error:
        raise not_text(origin) from error
    if b"\0" in text or text[:BEGINNING].translate(None, CONTROLS) != text[:BEGINNING]:
        raise not_text(origin)
    return text


def decoded(data: bytes) -> bytes:
    if encoding := utf_16_of(data):
        return data.decode(encoding).encode()
    if is_utf8(data):
        return data.removeprefix(codecs.BOM_UTF8)
    return data.decode("cp1252").encode()


def not_text(origin: Origin) -> FileRefused:
    return origin.refusal(
        "not_a_table",
        "the file is not readable text.",
        "Export it as CSV in UTF-8, as XLSX or as Parquet.",
    )


def utf_16_of(data: bytes) -> str | None:
    """The UTF-16 of `data`: by its mark, else where every second byte of the beginning is mostly NUL."""
    if data.startswith(UTF_16_MARKS):
        return "utf-16"
    beginning = data[:4096]
    even, odd = beginning[::2].count(0), beginning[1::2].count(0)
    mostly = len(beginning) // 4
    if odd > mostly and not even:
        return "utf-16-le"
    if even > mostly and not odd:
        return "utf-16-be"
    return None


def is_utf8(data: bytes) -> bool:
    """Checked in pieces: the decoded text of a large file would be a second copy of it."""
    if data.isascii():
        return True
    decoder = codecs.getincrementaldecoder("utf-8")()
    try:
        for start in range(0, len(data), DECODED_AT_ONCE):
            decoder.decode(data[start : start + DECODED_AT_ONCE])
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return False
    return True


# Delimiter


def lines_of(text: bytes) -> TextIO:
    """Lines end at \\n, \\r or \\r\\n, and keep their end: it may stand inside quotes."""
    return io.TextIOWrapper(io.BytesIO(text), encoding="utf-8", newline="")


def delimiter_of(lines: Iterable[str]) -> str:
    """The delimiter that stands most often in the header, outside quotes."""
    outside = re.sub(r'"[^"]*"', "", header_text(lines))
    return max(DELIMITERS, key=outside.count)


def header_text(lines: Iterable[str]) -> str:
    """The first record that is not blank; it may run over several lines inside quotes."""
    record: list[str] = []
    in_quotes = False
    for line in lines:
        record.append(line)
        in_quotes ^= line.count('"') % 2 == 1
        if not in_quotes:
            if re.search(r'[^\s,;"]', "".join(record)):
                break
            record.clear()
    return "".join(record)


# Records


def read_fast(origin: Origin, text: bytes, delimiter: str) -> Sheet | None:
    """The table by pyarrow; None where only the plain way reads it: quotes, ragged rows, mixed line ends."""
    header = plain_header(text, delimiter)
    if header is None:
        return None
    columns = fast_columns(text, delimiter, len(header))
    return sheet_from_columns(origin, header, columns) if columns else None


def plain_header(text: bytes, delimiter: str) -> list[str] | None:
    end = text.find(b"\n")
    if end < 0 or b'"' in text or not one_line_end(text):
        return None
    line = text[:end].removesuffix(b"\r").decode()
    return line.split(delimiter) if line.replace(delimiter, "").strip() else None


def one_line_end(text: bytes) -> bool:
    returns = text.count(b"\r")
    return returns == 0 or returns == text.count(b"\r\n") == text.count(b"\n")


def fast_columns(text: bytes, delimiter: str, width: int) -> list[pa.ChunkedArray]:
    """Text columns of all rows but the first; none where a row has another number of cells."""
    names = [str(position) for position in range(width)]
    try:
        table = pyarrow.csv.read_csv(
            pa.BufferReader(text),
            pyarrow.csv.ReadOptions(column_names=names, skip_rows=1, block_size=BLOCK_BYTES),
            pyarrow.csv.ParseOptions(delimiter=delimiter, quote_char=False, ignore_empty_lines=False),
            pyarrow.csv.ConvertOptions(
                column_types=dict.fromkeys(names, pa.string()), null_values=[""], strings_can_be_null=True
            ),
        )
    except pa.ArrowInvalid:
        return []
    return list(table.columns) if table.num_rows else []


def read_plain(origin: Origin, text: bytes, delimiter: str) -> Sheet | None:
    return sheet_from_records(origin, plain_records(origin, text, delimiter))


def plain_records(origin: Origin, text: bytes, delimiter: str) -> Iterator[list[str]]:
    """The records, a blank line as an empty one.

    Strict: a quote that is never closed, or closed in the middle of a cell, would swallow rows unseen.
    """
    count = 0
    # A cell that is too long is refused later, with its column: the module's own error does not name it.
    limit = csv.field_size_limit(len(text) + 1)
    try:
        for record in csv.reader(lines_of(text), delimiter=delimiter, strict=True):
            count += 1
            yield record
    except csv.Error as error:
        raise open_quote(origin, count + 1) from error
    finally:
        csv.field_size_limit(limit)


def open_quote(origin: Origin, row: int) -> FileRefused:
    return origin.refusal(
        "not_a_table",
        "a quote that opens in this row is never closed, or text follows its end.",
        "Close the quote, write a quote inside a quoted cell twice, and export again.",
        row,
    )
