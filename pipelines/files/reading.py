"""Any file a person may hand over: told by its content, read as tables of text, or refused."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

from pipelines.contract.errors import UserError, WrongUsage
from pipelines.files.books import read_book
from pipelines.files.columnar import read_columnar
from pipelines.files.delimited import read_delimited
from pipelines.files.identifiers import shown_name, vocabulary
from pipelines.files.sheets import SOURCE_ROW, TOO_MANY_CELLS, Origin, Sheet

__all__ = ["SOURCE_ROW", "TOO_MANY_CELLS", "Sheet", "SourceFile", "read_file"]

BOOK = b"PK\x03\x04"
OLD_BOOK = b"\xd0\xcf\x11\xe0"
PARQUET = b"PAR1"
CONTRACT_WORDS = vocabulary(())


@dataclass(frozen=True)
class SourceFile:
    """One file of a command, the `number`th of it; `sha256` is of its bytes."""

    path: Path
    number: int
    sha256: str
    sheets: list[Sheet]


def read_file(path: Path, number: int, words: frozenset[str] = CONTRACT_WORDS) -> SourceFile:
    """The tables of a file. `words` are those that a printed file name may hold (identifiers.vocabulary).

    Raises FileRefused (not_a_table, cell_too_long), WrongUsage where there is no such path,
    UserError where it may not be read.
    """
    origin = Origin(path.name, shown_name(path.name, number, words))
    data = bytes_of(path, origin)
    return SourceFile(path, number, hashlib.sha256(data).hexdigest(), sheets_of(origin, data, words))


def bytes_of(path: Path, origin: Origin) -> bytes:
    try:
        if not path.exists():
            raise WrongUsage(f"{origin.shown}: there is no such file.")
        if not path.is_file():
            raise origin.refusal("not_a_table", "this is a folder, not a file.", "Name the files in it.")
        return path.read_bytes()
    except OSError as error:
        raise UserError(f"{origin.shown}: the file cannot be read: {error.strerror}.") from error


def sheets_of(origin: Origin, data: bytes, words: frozenset[str]) -> list[Sheet]:
    if data.startswith(BOOK):
        return read_book(origin, data, words)
    if data.startswith(PARQUET):
        return [read_columnar(origin, data)]
    if data.startswith(OLD_BOOK):
        raise origin.refusal(
            "not_a_table", "the book is in an old format or locked.", "Save it as XLSX or CSV, unlocked."
        )
    return [read_delimited(origin, data)]
