"""The lines of a class: the published rows as they are, and a sheet for each trainee."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pipelines.contract.cautions import CAUTION, TO_BE_CONFIRMED
from pipelines.summary.rows import Line, Person, Summary
from pipelines.summary.sheets import Book, Column, Shown, Table, set_widths
from pipelines.summary.words import counted_through, head_of, of_what, through_text

SHOWN_NAME = "shown_name"
COUNTS = {"minimum", "counted_cases", "remaining_cases", "confirmed_cases", "held_cases"}
TRAINEE_COLUMNS = (
    Column("Requirement", narrowest=34),
    Column("Minimum", is_number=True, narrowest=10),
    Column("Counted", is_number=True, narrowest=10),
    Column("Remaining", is_number=True, narrowest=11),
    Column("Reached", narrowest=24),
    Column("Confirmed by the supervisor", is_number=True, narrowest=12),
    Column("Held", is_number=True, narrowest=8),
    Column("Edition", narrowest=14),
    Column("Checked", narrowest=44),
)


def class_rows(summary: Summary, labels: Mapping[str, str]) -> tuple[list[str], list[list[Any]]]:
    """Columns and rows of the published view, with the shown names in a last column where there are labels."""
    if not labels:
        return summary.columns, [list(row) for row in summary.rows]
    place = summary.columns.index("trainee_ref")
    return [*summary.columns, SHOWN_NAME], [[*row, labels.get(row[place])] for row in summary.rows]


def class_lines(book: Book, summary: Summary, labels: Mapping[str, str]) -> None:
    sheet = book.page("Class")
    names, rows = class_rows(summary, labels)
    columns = [Column(name, is_number=name in COUNTS, widest=36) for name in names]
    table = Table("class_lines", columns, rows, plain=True)
    across = table.widths()
    set_widths(sheet, across)
    book.table(sheet, 0, table, across)
    sheet.freeze_panes(1, names.index("trainee_ref") + 1)
    sheet.repeat_rows(0)


def trainee(book: Book, summary: Summary, person: Person, name: str, labels: Mapping[str, str]) -> None:
    sheet = book.page(name)
    rows = [_trainee_row(line) for line in summary.lines if line.trainee_ref == person.trainee_ref]
    table = Table(f"trainee_{summary.people.index(person) + 1}", TRAINEE_COLUMNS, rows)
    across = table.widths()
    head_row = book.top(
        sheet,
        across,
        ("title", f"{head_of(person, labels)}, class of {summary.cohort}"),
        (
            "text",
            f"{of_what(summary)} Data run through: {through_text(person)}. Late logs are not missing operations.",
        ),
        ("warning", counted_through(summary)),
        ("quiet", CAUTION),
    )
    book.table(sheet, head_row, table, across)
    sheet.freeze_panes(head_row + 1, 1)
    sheet.repeat_rows(head_row)


def _trainee_row(line: Line) -> list[Any]:
    return [
        Shown(line.title, depth=line.depth),
        line.minimum,
        line.counted_cases,
        line.remaining_cases,
        _reached(line),
        line.confirmed_cases,
        line.held_cases,
        line.edition,
        None if line.verified else TO_BE_CONFIRMED,
    ]


def _reached(line: Line) -> str | None:
    if line.reached:
        return "✓"
    return f"{line.parts_short} of {line.parts} parts not reached" if line.parts_short else None
