"""The names that stand beside the references: a file kept outside the store, read only when it is asked for."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable
from pathlib import Path

from pipelines.contract.errors import WrongUsage
from pipelines.files.identifiers import normalised
from pipelines.files.reading import as_utf8, delimiter_of
from pipelines.files.records import lines_of
from pipelines.files.refusals import NotATable

COLUMNS = ("trainee_ref", "shown_name")
LONGEST_NAME = 80


def read_labels(path: Path) -> dict[str, str]:
    """trainee_ref → shown name; a blank name is no name.

    Raises WrongUsage where the file is not there, is not text, lacks a column or names one trainee twice. No
    message quotes a cell: this file holds names.
    """
    if not path.is_file():
        raise WrongUsage(f"--labels: {path} is not there.")
    try:
        text = as_utf8(path.read_bytes())
    except NotATable:
        raise WrongUsage("--labels: the file is not readable text. Export it as CSV in UTF-8.") from None
    reader = csv.reader(lines_of(text), delimiter=delimiter_of(text))
    try:
        return _labels(list(reader))
    except csv.Error:
        raise WrongUsage("--labels: the file is not readable as CSV.") from None


def _labels(records: list[list[str]]) -> dict[str, str]:
    header = [normalised(cell) for cell in records[0]] if records else []
    missing = [name for name in COLUMNS if name not in header]
    if missing:
        raise WrongUsage(f"--labels: the file has no column {' and no column '.join(missing)}.")
    places = [header.index(name) for name in COLUMNS]
    pairs = [_pair(record, places) for record in records[1:]]
    _refuse_twice(ref for ref, _ in pairs)
    return {ref: name for ref, name in pairs if ref and name}


def _pair(record: list[str], places: list[int]) -> tuple[str, str]:
    ref, name = (record[place] if place < len(record) else "" for place in places)
    return ref.strip(), one_line(name)


def one_line(name: str) -> str:
    """A name as it can stand in the head of a table: no line breaks or control characters, not too long."""
    return " ".join(re.sub(r"[\x00-\x1f\x7f-\x9f\u2028\u2029\ufffe\uffff]", " ", name).split())[:LONGEST_NAME]


def _refuse_twice(refs: Iterable[str]) -> None:
    seen: set[str] = set()
    for row, ref in enumerate(refs, start=2):
        if ref and ref in seen:
            raise WrongUsage(f"--labels, row {row}: this trainee_ref stands in the file twice.")
        seen.add(ref)
