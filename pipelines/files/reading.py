"""Any file a person may hand over: recognised by its content, read as tables of text, screened, or refused."""

from __future__ import annotations

import codecs
import csv
import hashlib
import io
import re
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from typing import ParamSpec, TextIO, TypeVar

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv

from pipelines.contract.errors import FileRefused, Finding, UserError, WrongUsage
from pipelines.contract.formats import KINDS, Kind, kind_of, nearest_kind
from pipelines.files import identifiers, refusals
from pipelines.files.headers import TableMapping, folded
from pipelines.files.identifiers import column_shown, normalised, screen_file_name, shown_name, shown_title
from pipelines.files.refusals import COLUMN_LIMIT, LONGEST_CELL, NotATable
from pipelines.specialty.load import Specialty, code_sets

SOURCE_ROW = "__source_row"
TOO_MANY_CELLS = "__too_many_cells"
BOOK = b"PK\x03\x04"
OLD_BOOK = b"\xd0\xcf\x11\xe0"
PARQUET = b"PAR1"
DELIMITERS = (",", ";", "\t")
# Control characters that no text holds; white space and the four separators are not among them.
CONTROLS = bytes([*range(0x09), *range(0x0E, 0x1C)])
BEGINNING = 1 << 20
BLOCK_BYTES = 1 << 22
ROWS_AT_ONCE = 2_000  # more of them at once leave the processor's cache and cost twice the time

Record = Sequence[str]
P = ParamSpec("P")
T = TypeVar("T")


@dataclass(frozen=True)
class ExportFile:
    """One file handed over: its name, which may be a person's, and its bytes."""

    name: str
    data: bytes = field(repr=False)


@dataclass
class Part:
    """One table of one file, of a kind.

    `shown` is the name under which the store may keep it; `typed` the one for the person at the terminal. `skipped`
    says in sentences what of the table was passed over; `row_count` counts the rows that were not. `header` has the
    name of every column of `rows`, also of those that are not read.
    """

    number: int
    sha256: str
    kind: Kind
    shown: str
    header: list[str]
    row_count: int
    rows: pa.Table | None
    typed: str = ""
    skipped: tuple[str, ...] = ()

    def take_rows(self) -> pa.Table:
        """The text, handed over once: a long file need not be in memory twice."""
        rows, self.rows = self.rows, None
        return rows

    @property
    def unknown_columns(self) -> list[str]:
        known = {column.name for column in self.kind.columns}
        return [name for name in self.header if name not in known]


@dataclass(frozen=True)
class Sheet:
    """One table as text: cells trimmed, blank cells null, rows numbered as in the file.

    `rows` has a text column for each name of `header`, then `__source_row` and `__too_many_cells`. A header that
    stands twice refuses the table, but only after its cells were screened: a name in one of them outranks it. Until
    then take its columns by their place.
    """

    header: list[str]
    rows: pa.Table
    header_twice: NotATable | None = None


def read_export(path: Path, number: int) -> ExportFile:
    """The file at `path`, the `number`th of a command.

    Raises WrongUsage where there is none, UserError where it may not be read, FileRefused where it is a folder or
    larger than FILE_LIMIT.
    """
    shown = shown_name(path.name, number, identifiers.vocabulary(()))
    try:
        if path.is_dir():
            fault = NotATable("this is a folder, not a file.", "Name the files in it.")
            raise FileRefused([fault.finding(shown)])
        with path.open("rb") as file:
            data = file.read(refusals.FILE_LIMIT + 1)
    except FileNotFoundError as error:
        raise WrongUsage(f"{shown}: there is no such file.") from error
    except OSError as error:
        raise UserError(f"{shown}: the file cannot be read: {error.strerror}.") from error
    if len(data) > refusals.FILE_LIMIT:
        raise FileRefused([refusals.file_too_large().finding(shown)])
    return ExportFile(path.name, data)


def read_parts(
    files: Iterable[ExportFile],
    specialty: Specialty,
    refs_are_pseudonyms: bool,
    mapping: TableMapping | None = None,
) -> list[Part]:
    """Read every file, as `mapping` says; rosters first, whatever their order.

    Raises FileRefused with the findings of all refused files together.
    """
    words = identifiers.vocabulary(code for codes in code_sets(specialty).values() for code in codes)
    parts: list[Part] = []
    refused: list[Finding] = []
    for number, file in enumerate(files, 1):
        try:
            parts += parts_of(file, number, words, refs_are_pseudonyms, mapping)
        except FileRefused as refusal:
            refused += refusal.findings
    if refused:
        raise FileRefused(refused)
    parts.sort(key=lambda part: KINDS.index(part.kind))
    for number, part in enumerate(parts, 1):
        part.number = number
    return parts


def parts_of(
    file: ExportFile,
    number: int,
    words: frozenset[str],
    refs_are_pseudonyms: bool,
    mapping: TableMapping | None = None,
) -> list[Part]:
    """The tables of the `number`th file; `words` are those that a printed name may hold.

    Raises FileRefused. Identifiers outrank everything else that is wrong: what is of no kind is screened too.
    """
    if screen_file_name(file.name):
        raise FileRefused([refusals.file_name_finding(number)])
    sha256 = hashlib.sha256(file.data).hexdigest()
    parts, refused = [], []
    for title, shown, read in named_sheets(file, shown_name(file.name, number, words), words):
        if screen_file_name(title):
            refused.append(refusals.file_name_finding(number))
        if isinstance(read, NotATable):
            refused.append(read.finding(shown))
            continue
        sheet = renamed(read, mapping) if mapping else read
        kind = kind_of(sheet.header)
        nearest = kind or nearest_kind(sheet.header)
        refused += identifiers.screen(sheet.header, sheet.rows, nearest, shown, refs_are_pseudonyms, words)
        if sheet.header_twice:
            refused.append(sheet.header_twice.finding(shown))
        elif kind is None or not kind.read:
            refused.append(refusals.not_of_a_kind(sheet.header, kind, shown))
        else:
            parts.append(Part(0, sha256, kind, shown, sheet.header, sheet.rows.num_rows, sheet.rows, shown))
    if refused:
        raise FileRefused(refused)
    return parts


def renamed(sheet: Sheet, mapping: TableMapping) -> Sheet:
    """The table with its headers as a person mapped them."""
    header = [mapping.headers.get(folded(name), name) for name in sheet.header]
    return Sheet(
        header,
        sheet.rows.rename_columns([*header, SOURCE_ROW, TOO_MANY_CELLS]),
        header_twice(header, 1),
    )


def named_sheets(
    file: ExportFile, shown: str, words: frozenset[str]
) -> list[tuple[str, str, Sheet | NotATable]]:
    """Each table, or why it is none, after its title in a book (else blank) and the name that may be printed."""
    sheets: list[tuple[str, str, Sheet | NotATable]] = []

    def take(number: int, title: str, records: Iterator[list[str]]) -> None:
        if sheet := attempt(sheet_from_records, records):
            sheets.append((title, f"{shown} [{shown_title(title, number, words)}]", sheet))

    if not file.data.startswith(BOOK):
        return [("", shown, attempt(read_sheet, file.data))]
    from pipelines.files.books import read_book

    fault = attempt(read_book, file.data, take)
    if not sheets:
        fault = fault or NotATable("every sheet of the workbook is empty.", "Export it again.")
    return [*sheets, *([("", shown, fault)] if fault else [])]


def attempt(read: Callable[P, T], *arguments: P.args, **named: P.kwargs) -> T | NotATable:
    try:
        return read(*arguments, **named)
    except NotATable as fault:
        return fault


def read_sheet(data: bytes) -> Sheet:
    """The table of a file that holds one."""
    if data.startswith(PARQUET):
        from pipelines.files.columnar import read_columnar

        return sheet_from_columns(*read_columnar(data))
    if data.startswith(OLD_BOOK):
        raise NotATable(
            "the workbook is in an old format, or needs a password.", "Save it as XLSX or CSV, without one."
        )
    return read_delimited(data)


# Text with a delimiter


def read_delimited(data: bytes) -> Sheet:
    text = as_utf8(data)
    delimiter = delimiter_of(text)
    sheet = read_fast(text, delimiter) or sheet_from_records(plain_records(text, delimiter))
    if sheet is None:
        raise NotATable("the file is empty.", "Export it again.")
    return sheet


def as_utf8(data: bytes) -> bytes:
    """The text as UTF-8 without a mark, whatever it was written in; raises NotATable."""
    text = data.removeprefix(codecs.BOM_UTF8)
    if b"\0" in text or not is_utf8(text):
        from pipelines.files.encodings import decoded

        try:
            text = decoded(data).encode()
        except UnicodeError as error:
            raise refusals.not_text() from error
    if b"\0" in text or text[:BEGINNING].translate(None, CONTROLS) != text[:BEGINNING]:
        raise refusals.not_text()
    return text


def is_utf8(text: bytes) -> bool:
    # In pieces: the decoded text of a large file would be a second copy of it.
    pieces = (text[start : start + BLOCK_BYTES] for start in range(0, len(text), BLOCK_BYTES))
    try:
        deque(codecs.iterdecode(pieces, "utf-8"), maxlen=0)
    except UnicodeDecodeError:
        return False
    return True


def delimiter_of(text: bytes) -> str:
    """The delimiter that stands most often in the first record that is not blank, outside quotes."""
    beginning = text[:BEGINNING].decode(errors="ignore")
    outside = re.sub(r'"([^"]*)"?', lambda quoted: "x" if quoted[1].strip(" \t\r\n,;") else "", beginning)
    header = re.search(r"^.*[^\s,;].*$", re.sub(r"\r\n?", "\n", outside), re.MULTILINE)
    return max(DELIMITERS, key=header.group().count) if header else DELIMITERS[0]


def lines_of(text: bytes) -> TextIO:
    """Lines end at \\n, \\r or \\r\\n, and keep their end: it may stand inside quotes."""
    return io.TextIOWrapper(io.BytesIO(text), encoding="utf-8", newline="")


def read_fast(text: bytes, delimiter: str) -> Sheet | None:
    """The table by pyarrow; None where only the plain way reads it: quotes, ragged rows, mixed line ends."""
    end, returns = text.find(b"\n"), text.count(b"\r")
    if end < 0 or b'"' in text or (returns and not returns == text.count(b"\r\n") == text.count(b"\n")):
        return None
    header = text[:end].decode().split(delimiter)
    if not any(cell.strip() for cell in header) or len(header) > COLUMN_LIMIT:
        return None
    refuse_too_large(text.count(b"\n") - text.endswith(b"\n"), len(header))
    columns = fast_columns(text, delimiter, len(header))
    return sheet_from_columns(header, columns) if columns else None


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


# Tables


def sheet_from_records(records: Iterable[Record]) -> Sheet | None:
    """The table of `records` (rows of cells, blank = ''); None when every one is blank."""
    numbered = enumerate(records, start=1)
    header: list[str] = []
    header_row = 0
    while not header:
        header_row, cells = next(numbered, (0, None))
        if cells is None:
            return None
        header = header_names(cells, header_row)
    blocks, count, text_bytes = [], 0, 0
    while rows := [checked(cells, row, header) for row, cells in islice(numbered, ROWS_AT_ONCE)]:
        blocks.append(block_of(rows, len(header)))
        count += len(rows)
        text_bytes += sum(column.nbytes for column in blocks[-1])
        refuse_too_large(count, len(header), text_bytes)
    if not blocks:
        raise refusals.no_rows()
    *columns, too_many = [pa.chunked_array(list(chunks)) for chunks in zip(*blocks, strict=True)]
    return finished(header, columns, too_many, header_row)


def sheet_from_columns(header_cells: Record, columns: list[pa.ChunkedArray]) -> Sheet:
    """The table of whole text columns under a header in row 1. Empties `columns`, to hold no second copy."""
    header = header_names(header_cells, 1)
    for position, column in enumerate(columns, start=1):
        length = pc.binary_length(column)
        if (pc.max(length).as_py() or 0) > LONGEST_CELL:
            row = 2 + pc.index(pc.greater(length, LONGEST_CELL), True).as_py()
            raise refusals.cell_too_long(row, column_shown(header, position))
    beyond = [filled(trimmed(columns.pop())) for _ in range(len(columns) - len(header))]
    too_many = pa.chunked_array([pa.array(np.zeros(len(columns[0]), dtype=bool))])
    for filled_cells in beyond:
        too_many = pc.or_(too_many, filled_cells)
    return finished(header, columns, too_many, 1)


def refuse_too_large(rows: int, columns: int, text_bytes: int = 0) -> None:
    if rows > refusals.ROW_LIMIT or rows * columns > refusals.CELL_LIMIT or text_bytes > refusals.TEXT_LIMIT:
        raise refusals.too_large()


def finished(
    header: list[str], columns: list[pa.ChunkedArray], too_many: pa.ChunkedArray, header_row: int
) -> Sheet:
    """Both ways of reading end here, so that they trim, number and skip blank rows alike."""
    texts = []
    while columns:
        texts.append(trimmed(columns.pop(0)))
    source_row = pa.array(np.arange(header_row + 1, header_row + 1 + len(too_many), dtype=np.int64))
    rows = pa.table([*texts, source_row, too_many], names=[*header, SOURCE_ROW, TOO_MANY_CELLS])
    if all(text.null_count for text in texts):
        filled_rows = too_many
        for text in texts:
            filled_rows = pc.or_(filled_rows, pc.is_valid(text))
        rows = rows.filter(filled_rows)
    if not rows.num_rows:
        raise refusals.no_rows()
    return Sheet(header, rows, header_twice(header, header_row))


def trimmed(column: pa.ChunkedArray) -> pa.ChunkedArray:
    """Without white space (Unicode's) at both ends; nothing left = null."""
    text = pc.utf8_trim_whitespace(column)
    if pc.min(pc.binary_length(text)).as_py() == 0:
        text = pc.if_else(filled(text), text, pa.scalar(None, text.type))
    return text


def filled(text: pa.ChunkedArray) -> pa.ChunkedArray:
    return pc.fill_null(pc.greater(pc.binary_length(text), 0), False)


def header_names(cells: Record, row: int) -> list[str]:
    """Normalised names; blank ones at the end dropped, one in the middle named by its position."""
    names = [normalised(cell) for cell in checked(cells, row, [])]
    while names and not names[-1]:
        names.pop()
    return [name or f"column_{position}" for position, name in enumerate(names, start=1)]


def header_twice(names: list[str], row: int) -> NotATable | None:
    """What refuses the first column whose header stands before it already, or is one of ours."""
    seen = {SOURCE_ROW, TOO_MANY_CELLS}
    for position, name in enumerate(names, start=1):
        if name in seen:
            remedy = "Give each column a header of its own and export again."
            column = column_shown(names, position)
            return NotATable("another column has the same header.", remedy, row, column, "header_twice")
        seen.add(name)
    return None


def checked(cells: Record, row: int, header: list[str]) -> Record:
    """The cells of a row, of a very wide one without its blank end; raises NotATable for too many or too long."""
    if len(cells) > COLUMN_LIMIT:
        if "".join(cells[COLUMN_LIMIT:]).strip():
            raise refusals.too_many_columns(row)
        cells = cells[:COLUMN_LIMIT]
    if sum(map(len, cells)) > LONGEST_CELL // 4:
        for position, cell in enumerate(cells, start=1):
            if len(cell.encode()) > LONGEST_CELL:
                raise refusals.cell_too_long(row, column_shown(header, position))
    return cells


def block_of(rows: list[Record], width: int) -> list[pa.Array]:
    """`width` text columns and one that says which rows have a filled cell beyond them."""
    fitted = [
        cells if len(cells) == width else [*cells[:width], *[""] * (width - len(cells))] for cells in rows
    ]
    columns = [pa.array(cells, pa.string()) for cells in zip(*fitted, strict=True)]
    return [*columns, pa.array([any(cell.strip() for cell in cells[width:]) for cells in rows])]
