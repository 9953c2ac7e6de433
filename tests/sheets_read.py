"""Files put down, read and drawn, for the tests of reading."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipelines.contract.errors import FileRefused
from pipelines.files.reading import Sheet, read_file


def read(path: Path) -> Sheet:
    (sheet,) = read_file(path, 1).sheets
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


def refusal(path: Path) -> tuple[str, int | None, str | None]:
    with pytest.raises(FileRefused) as refused:
        raise FileRefused([each.header_twice for each in read_file(path, 1).sheets if each.header_twice])
    (finding,) = refused.value.findings
    assert refused.value.exit_code == 11
    assert finding.severity == "refused"
    assert finding.file_name in finding.message
    assert finding.remedy
    return finding.rule, finding.source_row, finding.column_name
