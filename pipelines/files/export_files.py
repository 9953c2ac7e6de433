"""The files of one command, read, recognised and screened, before any row is judged."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import pyarrow as pa

from pipelines.contract.errors import FileRefused
from pipelines.contract.findings import Finding
from pipelines.contract.formats import KINDS, Kind, kind_of, missing_columns, nearest_kind
from pipelines.files import identifiers
from pipelines.files.reading import Sheet, read_file
from pipelines.specialty.load import Specialty, code_sets


@dataclass
class Part:
    """One table of one file, with its kind and the name that may be shown."""

    number: int
    sha256: str
    kind: Kind
    shown: str
    header: list[str]
    row_count: int
    rows: pa.Table | None

    def take_rows(self) -> pa.Table:
        """The text, handed over once: a long file need not be in memory twice."""
        rows, self.rows = self.rows, None
        return rows

    @property
    def unknown_columns(self) -> list[str]:
        known = {column.name for column in self.kind.columns}
        return [name for name in self.header if name not in known]


def read_parts(paths: Sequence[Path], specialty: Specialty, refs_are_pseudonyms: bool) -> list[Part]:
    """Read every file; rosters first, whatever their order.

    Raises FileRefused with the findings of all refused files together.
    """
    vocabulary = identifiers.vocabulary(code for codes in code_sets(specialty).values() for code in codes)
    parts: list[Part] = []
    refused: list[Finding] = []
    for number, path in enumerate(paths, 1):
        try:
            parts += _parts_of(path, number, vocabulary, refs_are_pseudonyms)
        except FileRefused as refusal:
            refused += refusal.findings
    if refused:
        raise FileRefused(refused)
    parts.sort(key=lambda part: KINDS.index(part.kind))
    for number, part in enumerate(parts, 1):
        part.number = number
    return parts


def _parts_of(path: Path, number: int, vocabulary: frozenset[str], refs_are_pseudonyms: bool) -> list[Part]:
    shown = identifiers.shown_name(path.name, number, vocabulary)
    if identifiers.screen_file_name(path.name):
        raise FileRefused([identifiers.file_name_finding(number)])
    file = read_file(path, number, vocabulary)
    parts, refused = [], []
    for position, sheet in enumerate(file.sheets, 1):
        label = identifiers.shown_label(sheet, path, shown, position, vocabulary)
        kind = kind_of(sheet.header)
        # An unrecognised table is screened too: identifiers outrank everything else that is wrong with a file.
        if identifiers.screen_file_name(sheet.label):
            refused.append(identifiers.file_name_finding(number))
        refused += identifiers.screen(
            sheet, kind or nearest_kind(sheet.header), label, refs_are_pseudonyms, vocabulary
        )
        if sheet.header_twice:
            refused.append(sheet.header_twice)
        elif kind is None or not kind.read:
            refused.append(_not_of_a_kind(sheet, kind, label))
        else:
            parts.append(Part(0, file.sha256, kind, label, sheet.header, sheet.rows.num_rows, sheet.rows))
    if refused:
        raise FileRefused(refused)
    return parts


def _not_of_a_kind(sheet: Sheet, kind: Kind | None, label: str) -> Finding:
    if kind is not None:
        message = f"{label}: {kind.name} files are not read by this version."
        return Finding(label, "kind_unknown", "refused", message, "Leave it out of the command.")
    nearest = nearest_kind(sheet.header)
    missing = missing_columns(nearest, sheet.header)
    remedy = f"Nearest is {nearest.name}; missing: {', '.join(missing)}. Nothing was stored."
    if all(name in missing for name in nearest.required if name != "trainee_ref"):
        return Finding(
            label, "kind_unknown", "refused", f"{label}: the columns are of no kind of export.", remedy
        )
    message = f"{label}: {', '.join(missing)} missing."
    return Finding(label, "column_missing", "refused", message, remedy, source_row=1, column_name=missing[0])
