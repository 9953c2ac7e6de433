"""Files put down, read and drawn, for the tests of reading."""

from __future__ import annotations

import pytest

from pipelines.contract.errors import FileRefused
from pipelines.files.identifiers import vocabulary
from pipelines.files.reading import ExportFile, Sheet, named_sheets
from pipelines.files.refusals import NotATable


def sheets_of(file: ExportFile) -> dict[str, Sheet]:
    """The tables of a file by the names that may be printed; raises FileRefused as reading a command's files does."""
    named = [(each.shown, each.read) for each in named_sheets(file, 1, vocabulary(["book", "dat"]))]
    faults = [sheet.finding(shown) for shown, sheet in named if isinstance(sheet, NotATable)]
    if faults:
        raise FileRefused(faults)
    return {shown: sheet for shown, sheet in named if isinstance(sheet, Sheet)}


def read(file: ExportFile) -> Sheet:
    (sheet,) = sheets_of(file).values()
    return sheet


def lines(sheet: Sheet) -> list[str]:
    """One line a row: its number, `+` where it has too many cells, its cells; a blank one as nothing."""
    return [
        " | ".join(
            [f"{row['__source_row']}{'+' * row['__too_many_cells']}", *(row[c] or "" for c in sheet.header)]
        )
        for row in sheet.rows.to_pylist()
    ]


def drawn(sheet: Sheet) -> str:
    return "\n".join([" | ".join(["row", *sheet.header]), *lines(sheet)])


def table(text: str) -> str:
    return "\n".join(line.strip() for line in text.strip().splitlines())


def refusal(file: ExportFile) -> tuple[str, int | None, str | None]:
    with pytest.raises(FileRefused) as refused:
        raise FileRefused(
            [
                sheet.header_twice.finding(shown)
                for shown, sheet in sheets_of(file).items()
                if sheet.header_twice
            ]
        )
    (finding,) = refused.value.findings
    assert refused.value.exit_code == 11
    assert finding.severity == "refused"
    assert finding.file_name in finding.message
    assert finding.remedy
    return finding.rule, finding.source_row, finding.column_name
