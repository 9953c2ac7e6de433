"""Any file a person may hand over: recognised by its content, read as tables of text, screened, or refused."""

from __future__ import annotations

import codecs
import hashlib
import io
import re
from collections import deque
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from typing import ParamSpec, TypeVar

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv

from pipelines.contract.errors import FileRefused, Finding, Uncertain, UserError, WrongUsage
from pipelines.contract.formats import KINDS, Kind, kind_of, missing_columns
from pipelines.files import identifiers, refusals
from pipelines.files.headers import (
    DROPPED,
    HEADER_AMONG,
    NO_MAPPING,
    PASSED_OVER,
    TableMapping,
    columns_recognised,
    constants,
    delimiter_of_header,
    look_alikes,
    mapped_names,
    nearest,
    place_of_header,
)
from pipelines.files.identifiers import (
    Screening,
    column_shown,
    normalised,
    screen_file_name,
    shown_name,
    shown_title,
    stored_name,
    stored_title,
)
from pipelines.files.refusals import COLUMN_LIMIT, LONGEST_CELL, NotATable
from pipelines.specialty.load import Specialty, code_sets

SOURCE_ROW = "__source_row"
TOO_MANY_CELLS = "__too_many_cells"
BOOK = b"PK\x03\x04"
OLD_BOOK = b"\xd0\xcf\x11\xe0"
PARQUET = b"PAR1"
PROCEDURES = re.compile(rb"(?:\xef\xbb\xbf)?\s*\{")
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

    `shown` is the name for the person who handed the file over, `stored_as` the one that the store may keep: plain
    words of the vocabulary alone. `rows` has the columns of the kind that the table has, each as its different texts and
    where they stand (`coded`); `header` names them and those that are not read. `skipped` says in sentences what of the
    file was passed over, `warnings` what else was noticed; `row_count` counts the rows that were not passed over.
    """

    number: int
    sha256: str
    kind: Kind
    shown: str
    stored_as: str
    header: list[str]
    row_count: int
    rows: pa.Table | None
    skipped: tuple[str, ...] = ()
    warnings: tuple[Finding, ...] = ()

    def take_rows(self) -> pa.Table:
        """The text, handed over once: a long file need not be in memory twice."""
        rows, self.rows = self.rows, None
        return rows

    @property
    def unknown_columns(self) -> list[str]:
        """Those that nobody has said to ignore."""
        return [
            name for name in self.header if name not in self.kind.names and not name.startswith(PASSED_OVER)
        ]


@dataclass(frozen=True)
class Sheet:
    """One table as text: cells trimmed, blank cells null, rows numbered as in the file.

    `rows` has a text column for each name of `header`, then `__source_row` and `__too_many_cells`; `typed` are the
    headers as they stand in row `header_row`. A header that stands twice refuses the table, but only after its cells
    were screened: a name in one of them outranks it. Until then take its columns by their place.
    """

    header: list[str]
    rows: pa.Table
    header_twice: NotATable | None = None
    typed: Sequence[str] = ()
    header_row: int = 1
    skipped: tuple[str, ...] = ()


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
    uncertain: list[Uncertain] = []
    for number, file in enumerate(files, 1):
        try:
            parts += parts_of(file, number, words, refs_are_pseudonyms, mapping or NO_MAPPING)
        except FileRefused as refusal:
            refused += refusal.findings
            uncertain += refusal.uncertain
    if refused:
        raise FileRefused(refused, uncertain)
    parts.sort(key=lambda part: KINDS.index(part.kind))
    for number, part in enumerate(parts, 1):
        part.number = number
    return parts


def parts_of(
    file: ExportFile, number: int, words: frozenset[str], refs_are_pseudonyms: bool, mapping: TableMapping
) -> list[Part]:
    """The tables of the `number`th file; `words` are those that a printed name may hold.

    Raises FileRefused. Identifiers outrank everything else that is wrong: what is of no kind is screened too.
    """
    if screen_file_name(file.name):
        raise FileRefused([refusals.file_name_finding(number)])
    sha256 = hashlib.sha256(file.data).hexdigest()
    parts, refused, passed_over = [], [], []
    uncertain: list[Uncertain] = []
    for named in named_sheets(file, number, words, mapping):
        try:
            parts.append(part_of(named, sha256, words, refs_are_pseudonyms, mapping))
        except NotATable as fault:
            finding = fault.finding(named.shown)
            if fault.passed_over:
                passed_over.append((named.called(fault.passed_over), finding))
            else:
                refused.append(finding)
        except FileRefused as refusal:
            refused += refusal.findings
            uncertain += refusal.uncertain
    if not parts and not refused:
        refused = [finding for _, finding in passed_over]
    if refused:
        raise FileRefused(refused, uncertain)
    parts[0].skipped = (*(said for said, _ in passed_over), *parts[0].skipped)
    return parts


def part_of(
    named: Named, sha256: str, words: frozenset[str], refs_are_pseudonyms: bool, mapping: TableMapping
) -> Part:
    """The table of one sheet; raises NotATable, FileRefused."""
    if screen_file_name(named.title):
        raise FileRefused([refusals.file_name_finding(named.file_number)])
    if isinstance(named.read, NotATable):
        raise named.read
    sheet = named.read
    added = (
        constants(sheet.header, mapping, named.title, named.file_name) if mapping is not NO_MAPPING else {}
    )
    header = [*sheet.header, *added]
    kind = mapped_kind(header, mapping)
    rows, skipped = rows_of_the_table(sheet, kind) if kind else (sheet.rows, ())
    if not rows.num_rows:
        raise refusals.no_rows()
    table = Screening(sheet.header, rows, kind, named.shown, refs_are_pseudonyms, words, mapping)
    screened = identifiers.screen(table)
    refused = screened.refused
    if sheet.header_twice:
        refused.append(sheet.header_twice.finding(named.shown))
    elif kind is None:
        refused.append(no_kind(named, sheet, header, mapping))
    if refused or kind is None:
        raise FileRefused(refused, screened.uncertain)
    columns = dict(zip(sheet.header, table.coded, strict=True))
    columns = {name: texts for name, texts in columns.items() if name in kind.names}
    columns |= {name: pa.repeat(text, rows.num_rows).dictionary_encode() for name, text in added.items()}
    rows = pa.table({**columns, **{name: rows.column(name) for name in (SOURCE_ROW, TOO_MANY_CELLS)}})
    return Part(
        0,
        sha256,
        kind,
        named.shown,
        named.stored_as,
        header,
        rows.num_rows,
        rows,
        skipped,
        tuple(screened.warnings),
    )


def no_kind(named: Named, sheet: Sheet, header: list[str], mapping: TableMapping) -> Finding:
    """What refuses a table of no kind; raises NotATable for a sheet that has no column of any."""
    if named.title and columns_recognised(sheet.typed, mapping) < 2:
        raise refusals.no_table_of_a_kind(header)
    return refusals.not_of_a_kind(
        nearest(header, sheet.typed), header, look_alikes(header, sheet.typed), named.shown
    )


def mapped_kind(header: list[str], mapping: TableMapping) -> Kind | None:
    """The kind whose required columns are all there, of several the one that a person named."""
    named = next((kind for kind in KINDS if kind.name == mapping.kind), None)
    if named and not missing_columns(named, header):
        return named
    return kind_of(header)


def rows_of_the_table(sheet: Sheet, kind: Kind) -> tuple[pa.Table, tuple[str, ...]]:
    """The rows without those that are none (totals, a header that stands again), and what was passed over, in words."""
    places = [sheet.header.index(name) for name in kind.required if name in sheet.header]
    blank = any(sheet.rows.column(place).null_count for place in places)
    if not blank and sheet.rows.column(places[0]).index(sheet.typed[places[0]]).as_py() < 0:
        return sheet.rows, sheet.skipped
    from pipelines.files.skipping import without_other_rows

    return without_other_rows(sheet, kind)


@dataclass(frozen=True)
class Named:
    """One sheet of a file, or why it is none: its title in a book, else blank, and the names that may be printed and
    stored.
    """

    file_number: int
    file_name: str
    title: str
    shown: str
    stored_as: str
    read: Sheet | NotATable

    def called(self, sentence: str) -> str:
        """A sentence about the sheet, with its title where that is plain words."""
        title = self.stored_as.rpartition(" [")[2].removesuffix("]")
        return sentence.format(sheet=title if title.startswith("sheet ") else f"sheet {title}")


def named_sheets(
    file: ExportFile, number: int, words: frozenset[str], mapping: TableMapping = NO_MAPPING
) -> list[Named]:
    """Each table of the `number`th file of a command."""
    shown, stored_as = shown_name(file.name, number, words), stored_name(file.name, number, words)
    if not file.data.startswith(BOOK):
        return [Named(number, file.name, "", shown, stored_as, attempt(read_sheet, file.data, mapping))]
    from pipelines.files.books import read_book

    named: list[Named] = []

    def take(place: int, title: str, read: Sheet | NotATable) -> None:
        printed, kept = shown_title(title, place, words), stored_title(title, place, words)
        named.append(Named(number, file.name, title, f"{shown} [{printed}]", f"{stored_as} [{kept}]", read))

    fault = attempt(read_book, file.data, mapping, take)
    if not named:
        fault = fault or NotATable("every sheet of the workbook is empty.", "Export it again.")
    return [*named, *([Named(number, file.name, "", shown, stored_as, fault)] if fault else [])]


def attempt(read: Callable[P, T], *arguments: P.args, **named: P.kwargs) -> T | NotATable:
    try:
        return read(*arguments, **named)
    except NotATable as fault:
        return fault


def read_sheet(data: bytes, mapping: TableMapping) -> Sheet:
    """The table of a file that holds one."""
    if data.startswith(PARQUET):
        from pipelines.files.columnar import read_columnar

        return sheet_from_columns(*read_columnar(data), mapping=mapping)
    if PROCEDURES.match(data):
        from pipelines.files.fhir import read_procedures

        return read_procedures(data, mapping)
    if data.startswith(OLD_BOOK):
        raise NotATable(
            "the workbook is in an old format, or needs a password.", "Save it as XLSX or CSV, without one."
        )
    return read_delimited(data, mapping)


# Text with a delimiter


def read_delimited(data: bytes, mapping: TableMapping = NO_MAPPING) -> Sheet:
    text = as_utf8(data)
    delimiter = delimiter_of(text, mapping)
    if sheet := read_fast(text, delimiter, mapping):
        return sheet
    from pipelines.files.records import read_plainly

    return read_plainly(text, delimiter, mapping)


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


def delimiter_of(text: bytes, mapping: TableMapping = NO_MAPPING) -> str:
    """The delimiter that stands most often in the header, outside quotes."""
    beginning = text[:BEGINNING].decode(errors="ignore")
    outside = re.sub(r'"([^"]*)"?', lambda quoted: "x" if quoted[1].strip(" \t\r\n,;") else "", beginning)
    found = re.finditer(r"^.*[^\s,;].*$", re.sub(r"\r\n?", "\n", outside), re.MULTILINE)
    lines = [line.group() for line in islice(found, HEADER_AMONG)]
    first = max(DELIMITERS, key=lines[0].count) if lines else DELIMITERS[0]
    if not lines or kind_of([normalised(cell) for cell in lines[0].split(first)]):
        return first
    return delimiter_of_header(lines, DELIMITERS, mapping)


def read_fast(text: bytes, delimiter: str, mapping: TableMapping = NO_MAPPING) -> Sheet | None:
    """The table by pyarrow; None where only the plain way reads it: quotes, ragged rows, mixed line ends."""
    end, returns = text.find(b"\n"), text.count(b"\r")
    if end < 0 or b'"' in text or (returns and not returns == text.count(b"\r\n") == text.count(b"\n")):
        return None
    lines = list(islice(io.BytesIO(text[:BEGINNING] if end < BEGINNING else text), HEADER_AMONG))
    rows = [line.decode(errors="replace").rstrip("\r\n").split(delimiter) for line in lines]
    place = header_place(rows, mapping)
    if place is None or len(rows[place]) > COLUMN_LIMIT:
        return None
    refuse_too_large(text.count(b"\n") - text.endswith(b"\n"), len(rows[place]))
    columns = fast_columns(text, delimiter, len(rows[place]), place + 1)
    return sheet_from_columns(rows[place], columns, place + 1, mapping) if columns else None


def fast_columns(text: bytes, delimiter: str, width: int, skipped: int) -> list[pa.ChunkedArray]:
    """Text columns of all rows but the first `skipped`; none where a row has another number of cells."""
    names = [str(position) for position in range(width)]
    try:
        table = pyarrow.csv.read_csv(
            pa.BufferReader(text),
            pyarrow.csv.ReadOptions(column_names=names, skip_rows=skipped, block_size=BLOCK_BYTES),
            pyarrow.csv.ParseOptions(delimiter=delimiter, quote_char=False, ignore_empty_lines=False),
            pyarrow.csv.ConvertOptions(
                column_types=dict.fromkeys(names, pa.string()), null_values=[""], strings_can_be_null=True
            ),
        )
    except pa.ArrowInvalid:
        return []
    return list(table.columns) if table.num_rows else []


# Tables


def sheet_from_columns(
    header_cells: Record,
    columns: list[pa.ChunkedArray],
    header_row: int = 1,
    mapping: TableMapping = NO_MAPPING,
) -> Sheet:
    """The table of whole text columns under a header. Empties `columns`, to hold no second copy."""
    header = header_names(header_cells, header_row, mapping)
    for position, column in enumerate(columns, start=1):
        length = pc.binary_length(column)
        if (pc.max(length).as_py() or 0) > LONGEST_CELL:
            row = header_row + 1 + pc.index(pc.greater(length, LONGEST_CELL), True).as_py()
            raise refusals.cell_too_long(row, column_shown(header, position))
    beyond = [filled(trimmed(columns.pop())) for _ in range(len(columns) - len(header))]
    too_many = blank_of(columns[0])
    for filled_cells in beyond:
        too_many = pc.or_(too_many, filled_cells)
    return finished(header, columns, too_many, header_row, header_cells)


def blank_of(column: pa.ChunkedArray) -> pa.ChunkedArray:
    """False for each row."""
    return pa.chunked_array([pa.array(np.zeros(len(column), dtype=bool))])


def refuse_too_large(rows: int, columns: int, text_bytes: int = 0) -> None:
    if rows > refusals.ROW_LIMIT or rows * columns > refusals.CELL_LIMIT or text_bytes > refusals.TEXT_LIMIT:
        raise refusals.too_large()


def finished(
    header: list[str],
    columns: list[pa.ChunkedArray],
    too_many: pa.ChunkedArray,
    header_row: int,
    typed: Record,
) -> Sheet:
    """Both ways of reading end here, so that they trim, number and skip blank rows alike."""

    def text_of(place: int) -> pa.ChunkedArray:
        column, columns[place] = columns[place], None  # read once: no second copy stays
        dropped = header[place].startswith(DROPPED)
        return pa.chunked_array([pa.nulls(len(column), pa.string())]) if dropped else trimmed(column)

    with ThreadPoolExecutor() as pool:
        texts = list(pool.map(text_of, range(len(columns))))
    source_row = pa.array(np.arange(header_row + 1, header_row + 1 + len(too_many), dtype=np.int64))
    rows = pa.table([*texts, source_row, too_many], names=[*header, SOURCE_ROW, TOO_MANY_CELLS])
    if all(text.null_count for text in texts):
        filled_rows = too_many
        for text in texts:
            filled_rows = pc.or_(filled_rows, pc.is_valid(text))
        rows = rows.filter(filled_rows)
    if not rows.num_rows:
        raise refusals.no_rows()
    skipped = (refusals.lines_above(header_row),) if header_row > 1 else ()
    return Sheet(
        header, rows, header_twice(header, header_row), [cell.strip() for cell in typed], header_row, skipped
    )


def trimmed(column: pa.ChunkedArray) -> pa.ChunkedArray:
    """Without white space (Unicode's) at both ends; nothing left = null."""
    text = pc.utf8_trim_whitespace(column)
    if pc.min(pc.binary_length(text)).as_py() == 0:
        text = pc.if_else(filled(text), text, pa.scalar(None, text.type))
    return text


def filled(text: pa.ChunkedArray) -> pa.ChunkedArray:
    return pc.fill_null(pc.greater(pc.binary_length(text), 0), False)


def header_place(rows: Sequence[Record], mapping: TableMapping) -> int | None:
    """Which of the first rows is the header, from 0: of most files the first that is not blank."""
    first = next((place for place, cells in enumerate(rows) if any(cell.strip() for cell in cells)), None)
    if first is None or kind_of([normalised(cell) for cell in rows[first]]):
        return first
    return place_of_header(rows, mapping)


def header_names(cells: Record, row: int, mapping: TableMapping) -> list[str]:
    """The columns' names, or what they are normally written like; a blank one at the end dropped, else its position."""
    names = [normalised(cell) for cell in checked(cells, row, [])]
    while names and not names[-1]:
        names.pop()
    if mapping is not NO_MAPPING:
        names = mapped_names(names, cells, mapping)
    return [name or f"column_{position}" for position, name in enumerate(names, start=1)]


def header_twice(names: list[str], row: int) -> NotATable | None:
    """What refuses the first column whose header stands before it already, or is one of ours."""
    seen = {SOURCE_ROW, TOO_MANY_CELLS}
    for position, name in enumerate(names, start=1):
        if name in seen and not name.startswith(PASSED_OVER):
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
