"""The awkward file that is too large to lie in awkward/: made where a test wants it."""

from __future__ import annotations

from pathlib import Path

CELL_CHARACTERS = 2_000_000  # the contract refuses a cell above 1 MB
# A line as in awkward/expected.csv: file, exit_code, source_row, column_name, rule, trainee_ref, options.
EXPECTED = ("cases-cell_too_long.csv", "11", "3", "technique", "cell_too_long", "", "")


def make_large(out: Path) -> Path:
    """Writes the file of EXPECTED into `out`: a good row, and one whose technique is two million letters."""
    path = out / EXPECTED[0]
    rows = [
        "case_ref,trainee_ref,operated_on,procedure,role,technique",
        "X8001,T03,2026-03-04,phaco_iol,surgeon,chop",
        "X8002,T03,2026-03-04,phaco_iol,surgeon," + "c" * CELL_CHARACTERS,
    ]
    path.write_text("\n".join(rows) + "\n", encoding="utf-8", newline="\n")
    return path
