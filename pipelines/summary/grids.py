"""Requirement × trainee: where everyone of a class stands, and how that changed since an earlier snapshot."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pipelines.contract.cautions import CAUTION
from pipelines.store.manifest import Manifest
from pipelines.summary.rows import Line, Summary
from pipelines.summary.sheets import Book, Column, Shown, Table
from pipelines.summary.words import counted_through, head_of, moment, of_what, through_text

# Wider classes are printed on several pages side by side.
TRAINEES_ACROSS = 14


def overview(book: Book, summary: Summary, labels: Mapping[str, str]) -> None:
    sheet = book.page("Overview")
    table = Table("overview", _grid_heads(summary, labels), _overview_rows(summary))
    across = table.widths()
    head_row = book.top(
        sheet,
        across,
        (
            "title",
            f"Has each trainee of the class of {summary.cohort} reached each required number of cases?",
        ),
        ("text", f"{of_what(summary)} {_how_to_read(summary)}"),
        ("warning", counted_through(summary)),
        ("quiet", CAUTION),
    )
    book.table(sheet, head_row, table, across)
    _grid_page(sheet, summary, head_row)


def change_since(book: Book, summary: Summary, earlier: Manifest, labels: Mapping[str, str]) -> None:
    sheet = book.page("Change since")
    table = Table("change_since", _grid_heads(summary, labels), _change_rows(summary))
    across = table.widths()
    head_row = book.top(
        sheet,
        across,
        ("title", f"How have the counts changed since snapshot {earlier.snapshot}?"),
        (
            "text",
            f"{of_what(summary)} Counted cases now less those of {moment(earlier)};"
            " “new” where the trainee or the requirement was not there yet. Fewer cases may"
            " mean a correction.",
        ),
        ("text", f"No longer in this class: {', '.join(summary.gone)}." if summary.gone else ""),
        ("warning", counted_through(summary)),
        ("quiet", CAUTION),
    )
    book.table(sheet, head_row, table, across)
    _grid_page(sheet, summary, head_row)


def _change_rows(summary: Summary) -> list[list[Any]]:
    return [
        [
            Shown(line.title, depth=line.depth),
            line.minimum,
            *(_change(summary, person.trainee_ref, line.requirement_ref) for person in summary.people),
        ]
        for line in _requirements(summary)
    ]


def _change(summary: Summary, trainee_ref: str, requirement_ref: str) -> Shown:
    change = (summary.changes or {})[trainee_ref, requirement_ref]
    if change.change is None:
        return Shown(change.counted_cases, '"new: "0')
    return Shown(change.change, "+0;-0;0")


def _overview_rows(summary: Summary) -> list[list[Any]]:
    pairs = _by_pair(summary)
    rows: list[list[Any]] = []
    for line in _requirements(summary):
        cells = [_standing(pairs[person.trainee_ref, line.requirement_ref]) for person in summary.people]
        rows.append([Shown(line.title, depth=line.depth), line.minimum, *cells])
        if line.parts:
            short = [_short(pairs[person.trainee_ref, line.requirement_ref]) for person in summary.people]
            rows.append([Shown("parts not reached", depth=line.depth + 1), None, *short])
    if not rows:
        return []
    return [
        *rows,
        ["Data run through", None, *(Shown(through_text(each), at_right=True) for each in summary.people)],
    ]


def _standing(line: Line) -> Shown:
    # The mark is part of the format, so that the cell stays a number; an empty place of its width aligns the rest.
    mark = '" ✓"' if line.reached else "_ _✓"
    return Shown(line.counted_cases, f'0" / {line.minimum}"{mark}')


def _short(line: Line) -> Shown:
    return Shown(line.parts_short, f'0" of {line.parts}"_ _✓')


def _grid_heads(summary: Summary, labels: Mapping[str, str]) -> list[Column]:
    people = [
        Column(head_of(each, labels), is_number=True, widest=24, narrowest=13) for each in summary.people
    ]
    return [Column("Requirement", widest=44, narrowest=30), Column("Minimum", is_number=True), *people]


def _grid_page(sheet: Any, summary: Summary, head_row: int) -> None:
    sheet.freeze_panes(head_row + 1, 2)
    sheet.repeat_rows(head_row)
    sheet.repeat_columns(0, 1)
    sheet.fit_to_pages(-(-max(len(summary.people), 1) // TRAINEES_ACROSS), 0)


def _by_pair(summary: Summary) -> dict[tuple[str, str], Line]:
    return {(line.trainee_ref, line.requirement_ref): line for line in summary.lines}


def _requirements(summary: Summary) -> list[Line]:
    """A line of each requirement in force, in order."""
    return list({line.requirement_ref: line for line in summary.lines}.values())


def _how_to_read(summary: Summary) -> str:
    if not summary.lines:
        return "No requirement with a minimum is in force for this class."
    reading = "Counted cases / minimum; ✓ reached."
    if any(line.parts for line in summary.lines):
        reading += " A requirement with parts bears ✓ only when each of its parts is reached too."
    return reading
