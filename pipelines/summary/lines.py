"""Every count of the class in one flat table, for whoever reads the summary into something else."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pipelines.specialty.model import units_in_words
from pipelines.summary import words
from pipelines.summary.pages import Column, Page, Table
from pipelines.summary.rows import Person, Record, Summary

# What the pages need beside the columns of the view.
BESIDE = ("reviewed_on", "reached_by_title")
SHOWN_NAME = "shown_name"
NUMBERS = {
    *("Minimum", "Counted", "Confirmed by a supervisor", "Remaining", "Parts", "Parts not reached", "Held"),
    "Published minimum",
}


def lines_page(summary: Summary, labels: Mapping[str, str]) -> Page:
    """The table as the last sheet of the workbook, to be filtered there; it is printed nowhere."""
    heads, rows = line_rows(summary, labels)
    columns = [Column(head, is_number=head in NUMBERS, widest=36) for head in heads]
    frozen = heads.index("Trainee") + 1
    return Page("Lines", [], Table("lines", columns, rows, plain=True), frozen, for_machines=True)


def csv_rows(summary: Summary, labels: Mapping[str, str]) -> tuple[list[str], list[list[Any]]]:
    """Columns and rows as `show volume_summary` prints them, for a program to read; the source as the pages say it.

    The shown names stand in a last column where there are labels.
    """
    rows = [
        {name: value for name, value in line.items() if name not in BESIDE}
        | {"source": words.document_text(line)}
        | ({SHOWN_NAME: labels.get(line["trainee_ref"])} if labels else {})
        for line in summary.lines
    ]
    # No line, no columns: a class without a rule in force.
    return list(rows[0]) if rows else ["trainee_ref"], [list(row.values()) for row in rows]


def line_rows(summary: Summary, labels: Mapping[str, str]) -> tuple[list[str], list[list[Any]]]:
    """Heads and rows, one a trainee and requirement; the shown names in a last column where there are labels."""
    people = {person.trainee_ref: person for person in summary.people}
    lines = [_line(summary, line, people[line["trainee_ref"]]) for line in summary.lines]
    if labels:
        lines = [line | {"Name": labels.get(line["Trainee"])} for line in lines]
    # No line, no columns: a class without a rule in force.
    return list(lines[0]) if lines else ["Trainee"], [list(line.values()) for line in lines]


def _line(summary: Summary, line: Record, person: Person) -> Record:
    through = {"Cases through": summary.asked.through} if summary.asked.through else {}
    return {
        "Programme": summary.programme,
        "Class": summary.asked.cohort,
        "State": summary.state.name,
        "Trainee": line["trainee_ref"],
        "Completed": person.completed,
        "Left": person.left,
        "Requirement": line["requirement_title"],
        "Counts": units_in_words(line["unit"], 2),
        "Minimum": line["minimum"],
        "Counted": line["counted_cases"],
        "Confirmed by a supervisor": line["confirmed_cases"],
        "Remaining": line["remaining_cases"],
        "Minimum met": words.yes_no(line["met"]),
        "Parts": line["parts_total"],
        "Parts not reached": line["parts_short"],
        "Reached": words.yes_no(line["reached"]),
        "Reached by": line["reached_by_title"],
        "Held": line["held_cases"],
        "Last month that counts": line["deadline"],
        "Published minimum": line["published_minimum"],
        "Edition": line["edition"],
        "Checked": words.checked_text(line),
        "Source": words.document_text(line),
        **through,
        "Data run through": line["data_through"],
    }
