"""The volume summary as a workbook: the class at a glance, line by line, a sheet a trainee, rules, intakes, cautions."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterator, Mapping
from typing import Any

from pipelines.contract.cautions import CAUTION, CAUTIONS, NOT_YET_CHECKED, WHO_MAY_READ
from pipelines.summary import words
from pipelines.summary.rows import Earlier, Person, Record, Row, Summary
from pipelines.summary.sheets import Book, Column, Page, Shown, Table, in_print, sheet_names

FIXED = ("Overview", "Change since", "Class", "Rules", "Intake balance", "Cautions")
FOOTER = "&LNames every trainee. Confidential; see the sheet Cautions.&RPage &P of &N"
SHOWN_NAME = "shown_name"
# Wider classes are printed on several pages side by side.
TRAINEES_ACROSS = 14
COUNTS = {
    *("minimum", "counted_cases", "remaining_cases", "confirmed_cases", "held_cases"),
    *("parts_total", "parts_short", "part_depth"),
}
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
RULE_COLUMNS = (
    Column("Code"),
    Column("Requirement", widest=36),
    Column("Minimum", is_number=True, narrowest=10),
    Column("As", widest=24),
    Column("Edition", narrowest=14),
    Column("Checked", narrowest=24, widest=26),
    Column("Source", widest=50),
    Column("The rule in a sentence", widest=70),
)
INTAKE_COLUMNS = (
    Column("File", widest=44, narrowest=30),
    Column("Kind", narrowest=14),
    Column("Source", narrowest=14),
    Column("Taken on", narrowest=13),
    Column("Rows in the file", is_number=True, narrowest=12),
    Column("Accepted", is_number=True, narrowest=12),
    Column("Left out", is_number=True, narrowest=12),
    Column("Balances", narrowest=12),
    Column("Intake", widest=72),
)
FINDING_COLUMNS = (
    Column("Rule"),
    Column("What followed"),
    Column("Findings", is_number=True),
    Column("Rows concerned", is_number=True),
)


def workbook(summary: Summary, labels: Mapping[str, str]) -> bytes:
    """The XLSX; the same summary and labels give the same bytes."""
    book = Book(_properties(summary), _header(summary), FOOTER)
    for page in _pages(summary, labels):
        book.add(page)
    return book.finished()


def class_rows(summary: Summary, labels: Mapping[str, str]) -> tuple[list[str], list[Row]]:
    """Columns and rows of the published view, with the shown names in a last column where there are labels."""
    if not labels:
        return summary.columns, summary.rows
    place = summary.columns.index("trainee_ref")
    return [*summary.columns, SHOWN_NAME], [(*row, labels.get(row[place])) for row in summary.rows]


def _properties(summary: Summary) -> dict[str, Any]:
    # No clock: the file says when its data were as they are, not when it was written.
    made = datetime.datetime.fromisoformat(summary.moment.manifest.as_of or "2000-01-01")
    return {
        "title": f"Accreditation volume summary, class of {summary.asked.cohort}",
        "subject": summary.programme,
        "author": "Cohort Standing",
        "comments": f"{CAUTION} {WHO_MAY_READ}",
        "created": made,
    }


def _header(summary: Summary) -> str:
    whose = f"{in_print(summary.programme)}, class of {summary.asked.cohort}"
    made_up = " · made-up data" if summary.made_up else ""
    return f"&L{whose}{made_up}&R{words.moment_text(summary.moment.manifest)}"


def _pages(summary: Summary, labels: Mapping[str, str]) -> Iterator[Page]:
    yield _overview(summary, labels)
    if summary.earlier:
        yield _change_since(summary, summary.earlier, labels)
    yield _class(summary, labels)
    names = sheet_names([person.trainee_ref for person in summary.people], FIXED)
    for number, (person, name) in enumerate(zip(summary.people, names, strict=True), start=1):
        yield _trainee(summary, person, name, f"trainee_{number}", labels)
    yield _rules(summary)
    yield _intakes(summary)
    yield _cautions(summary, with_names=bool(labels))


# ---- requirement by trainee


def _overview(summary: Summary, labels: Mapping[str, str]) -> Page:
    rows: list[list[Any]] = []
    for across in _by_requirement(summary):
        rows.append(_grid_row(across, _standing))
        if across[0]["parts_total"]:
            label = Shown("parts not reached", depth=across[0]["part_depth"] + 1)
            rows.append([label, None, *map(_parts_short, across)])
    if rows:
        through = [Shown(words.through_text(person), at_right=True) for person in summary.people]
        rows.append(["Data run through", None, *through])
    title = f"Has each trainee of the class of {summary.asked.cohort} reached each required number of cases?"
    text = " ".join(
        (
            words.source_text(summary),
            words.academic_year_text(summary),
            words.HOW_TO_READ if rows else words.NO_RULE,
        )
    )
    return _grid(summary, labels, "Overview", rows, ("title", title), ("text", text))


def _change_since(summary: Summary, earlier: Earlier, labels: Mapping[str, str]) -> Page:
    def change(line: Record) -> Shown:
        before = earlier.counted_cases.get((line["trainee_ref"], line["requirement_ref"]))
        if before is None:
            return Shown(line["counted_cases"], '"new: "0')
        return Shown(line["counted_cases"] - before, "+0;-0;0")

    manifest = earlier.moment.manifest
    return _grid(
        summary,
        labels,
        "Change since",
        [_grid_row(across, change) for across in _by_requirement(summary)],
        ("title", f"How have the counts changed since snapshot {manifest.snapshot}?"),
        ("text", words.change_text(summary, manifest)),
        ("text", words.gone_text(earlier.gone)),
    )


def _grid(
    summary: Summary,
    labels: Mapping[str, str],
    name: str,
    rows: list[list[Any]],
    *lines: tuple[str, str],
) -> Page:
    people = [
        Column(words.name_of(person, labels), is_number=True, widest=24, narrowest=13)
        for person in summary.people
    ]
    columns = [Column("Requirement", widest=44, narrowest=30), Column("Minimum", is_number=True), *people]
    return Page(
        name,
        [*lines, ("warning", words.counted_through(summary)), ("quiet", CAUTION)],
        Table(name.lower().replace(" ", "_"), columns, rows),
        frozen_columns=2,
        pages_across=-(-max(len(people), 1) // TRAINEES_ACROSS),
    )


def _by_requirement(summary: Summary) -> list[list[Record]]:
    """The lines of each requirement in order, in each those of the trainees in order."""
    lines: dict[str, list[Record]] = {}
    for line in summary.lines:
        lines.setdefault(line["requirement_ref"], []).append(line)
    return list(lines.values())


def _grid_row(across: list[Record], cell: Callable[[Record], Shown]) -> list[Any]:
    return [_title(across[0]), across[0]["minimum"], *map(cell, across)]


def _title(line: Record) -> Shown:
    return Shown(words.requirement_text(line), depth=line["part_depth"])


def _standing(line: Record) -> Shown:
    # The mark is part of the format, so that the cell stays a number; an empty place of its width aligns the rest.
    mark = '" ✓"' if line["reached"] else "_ _✓"
    if line["reached"] and not line["reached_by"] and line["confirmed_cases"] < line["minimum"]:
        mark = f'" ✓ ({line["confirmed_cases"]} confirmed)"'
    return Shown(line["counted_cases"], f'0" / {line["minimum"]}"{mark}')


def _parts_short(line: Record) -> Shown:
    return Shown(line["parts_short"], f'0" of {line["parts_total"]}"_ _✓')


# ---- line by line


def _class(summary: Summary, labels: Mapping[str, str]) -> Page:
    names, rows = class_rows(summary, labels)
    columns = [Column(name, is_number=name in COUNTS, widest=36) for name in names]
    table = Table("class_lines", columns, rows, plain=True)
    return Page("Class", [], table, frozen_columns=names.index("trainee_ref") + 1)


def _trainee(summary: Summary, person: Person, name: str, table_name: str, labels: Mapping[str, str]) -> Page:
    rows = [_trainee_row(line) for line in summary.lines if line["trainee_ref"] == person.trainee_ref]
    through = f"Data run through: {words.through_text(person)}."
    if person.data_through and not person.is_current:
        through += " Later months are not entered."
    lines = [
        ("title", f"{words.name_of(person, labels)}, class of {summary.asked.cohort}"),
        ("text", f"{words.source_text(summary)} {through}"),
        ("warning", words.counted_through(summary)),
        ("quiet", CAUTION),
    ]
    return Page(name, lines, Table(table_name, TRAINEE_COLUMNS, rows))


def _trainee_row(line: Record) -> list[Any]:
    return [
        _title(line),
        *(line[name] for name in ("minimum", "counted_cases", "remaining_cases")),
        words.reached_text(line),
        *(line[name] for name in ("confirmed_cases", "held_cases", "edition")),
        None if line["verified"] else NOT_YET_CHECKED,
    ]


# ---- by which rules, from what, and what it cannot say


def _rules(summary: Summary) -> Page:
    rows = [
        [
            *(rule[name] for name in ("requirement_ref", "title", "minimum", "roles", "edition")),
            words.checked_text(rule),
            rule["source"],
            rule["sentence"],
        ]
        for rule in summary.rules
    ]
    title = f"By which rules are the cases of the class of {summary.asked.cohort} counted?"
    lines = [("title", title), ("text", f"{words.source_text(summary)} {words.RULES_NOTE}")]
    return Page("Rules", lines, Table("rules", RULE_COLUMNS, rows), frozen_columns=2)


def _intakes(summary: Summary) -> Page:
    findings = [[rule, words.FOLLOWED[severity], *counts] for rule, severity, *counts in summary.findings]
    return Page(
        "Intake balance",
        [
            ("title", "What came in, and what was left out?"),
            ("text", f"{words.source_text(summary)} {words.INTAKES_NOTE}"),
        ],
        Table("intakes", INTAKE_COLUMNS, summary.intakes),
        below=words.FINDINGS_NOTE if findings else words.NO_FINDING,
        table_below=Table("findings", FINDING_COLUMNS, findings) if findings else None,
    )


def _cautions(summary: Summary, *, with_names: bool) -> Page:
    lines = [
        ("title", "Who may read this file, and what can its numbers not say?"),
        ("text", WHO_MAY_READ),
        ("text", words.NAMES_NOTE if with_names else ""),
        *(("text", caution) for caution in CAUTIONS),
        ("warning", words.counted_through(summary)),
        ("quiet", words.CSV_NOTE),
        ("quiet", words.source_text(summary)),
    ]
    return Page("Cautions", lines)
