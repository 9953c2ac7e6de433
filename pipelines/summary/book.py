"""The pages of the volume summary: the class at a glance, its lines, a page a trainee, tally, rules, files, cautions."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterator, Mapping
from types import SimpleNamespace
from typing import Any

from pipelines.contract.cautions import CAUTION, CAUTIONS, WHO_MAY_READ
from pipelines.contract.codes_in_words import tally_sentence, uncounted_text
from pipelines.summary import words
from pipelines.summary.chart import Bar, Chart, bars
from pipelines.summary.lines import lines_page
from pipelines.summary.logs import files_page, quality_page, rows_page
from pipelines.summary.pages import Column, Cover, Page, Shown, Table
from pipelines.summary.rows import Person, Record, Summary
from pipelines.summary.sheets import sheet_names
from pipelines.summary.since import Earlier
from pipelines.summary.why import why_page

FIXED = (
    "Overview",
    "Change since",
    "Why",
    "Class",
    "Other rules",
    "Accreditor",
    "Rules",
    "Files taken in",
    "Cautions",
    "Lines",
)
# Wider classes are printed on several pages side by side.
TRAINEES_ACROSS = 12
CLASS_COLUMNS = (
    Column("Requirement", widest=44, narrowest=34),
    *(
        Column(head, is_number=True, narrowest=11)
        for head in ("Minimum", "Graduates", "Met", "Below", "Reached")
    ),
    *(Column(head, is_number=True, narrowest=10) for head in ("Mean", "Median", "Fewest", "Most")),
)
TRAINEE_COLUMNS = (
    Column("Requirement", narrowest=34),
    Column("Minimum", is_number=True, narrowest=10),
    Column("Counted", is_number=True, narrowest=10),
    Column("Confirmed", is_number=True, narrowest=11),
    Column("Remaining", is_number=True, narrowest=11),
    Column("Reached", narrowest=20),
    Column("Held", is_number=True, narrowest=8),
    Column("Edition", narrowest=14),
    Column("Checked", narrowest=44),
)
UNCOUNTED_COLUMNS = (
    Column("Trainee", narrowest=10),
    Column("Requirement", widest=40, narrowest=30),
    Column("How far", widest=60, narrowest=40),
    Column("Met", narrowest=8),
    Column("Edition", narrowest=14),
)
TALLY_COLUMNS = (
    Column("Trainee", narrowest=10),
    Column("Requirement", widest=40, narrowest=30),
    Column("Minimum", is_number=True, narrowest=10),
    Column("Accreditor’s count", is_number=True, narrowest=13),
    Column("On", narrowest=13),
    Column("Met by it", narrowest=10),
    Column("Counted here", is_number=True, narrowest=10),
    Column("Difference", is_number=True, narrowest=12),
    Column("What could explain it", narrowest=34),
)
RULE_COLUMNS = (
    Column("Requirement", widest=36),
    Column("Minimum", is_number=True, narrowest=10),
    Column("As", widest=20),
    Column("What counts", widest=70),
    Column("Edition", narrowest=14),
    Column("Checked", narrowest=24, widest=26),
    Column("Source", widest=80),
)


def cover(summary: Summary) -> Cover:
    """How far the counts may be relied on stands in the title, and at the head of each page."""
    state, made_up = summary.state.name, " · made-up data" if summary.made_up else ""
    return Cover(
        title=f"Accreditation volume summary, class of {summary.asked.cohort}: {state}",
        programme=summary.programme,
        about=f"class of {summary.asked.cohort} · {state}{made_up}",
        moment=words.moment_text(summary.moment.manifest),
        remarks=f"{CAUTION} {WHO_MAY_READ}",
        day=datetime.datetime.fromisoformat(summary.moment.manifest.as_of or "2000-01-01"),
    )


def pages(summary: Summary, labels: Mapping[str, str]) -> Iterator[Page]:
    """In their order; the names are those of a workbook's sheets."""
    yield _overview(summary, labels)
    if summary.earlier:
        yield _change_since(summary, summary.earlier, labels)
        yield why_page(summary, summary.earlier, labels)
    yield _class(summary)
    names = sheet_names([person.trainee_ref for person in summary.people], FIXED)
    for number, (person, name) in enumerate(zip(summary.people, names, strict=True), start=1):
        yield _trainee(summary, person, name, number, labels)
    if summary.uncounted:
        yield _uncounted(summary, labels)
    if summary.tally:
        yield _tally(summary, labels)
    yield _rules(summary)
    yield files_page(summary)
    yield rows_page(summary, labels)
    yield quality_page(summary, labels)
    yield _cautions(summary, with_names=bool(labels))
    yield lines_page(summary, labels)


# ---- requirement by trainee


def _overview(summary: Summary, labels: Mapping[str, str]) -> Page:
    rows: list[list[Any]] = []
    for across in _by_requirement(summary):
        rows.append(_grid_row(across, words.standing))
        if across[0]["parts_total"]:
            label = Shown("parts not reached", depth=across[0]["part_depth"] + 1)
            rows.append([label, None, *map(_parts_short, across)])
    if rows:
        through = [Shown(words.through_text(person), at_right=True) for person in summary.people]
        rows.append(["Data run through", None, *through])
    head = f"Has each trainee of the class of {summary.asked.cohort} reached each required number of cases?"
    how = words.HOW_TO_READ if rows else words.NO_RULE
    text = f"{words.source_text(summary)} {words.academic_year_text(summary)} {how}"
    text += "" if summary.tally else f" {words.NO_TALLY}"
    lines = [("title", head), ("state", " ".join(words.sentences(summary))), ("text", text)]
    return _grid(summary, labels, "Overview", rows, *lines)._replace(chart=bool(rows))


def _change_since(summary: Summary, earlier: Earlier, labels: Mapping[str, str]) -> Page:
    def change(line: Record) -> Shown:
        by = earlier.changes[line["trainee_ref"], line["requirement_ref"]]
        return Shown(line["counted_cases"], before="new: ") if by is None else Shown(by, signed=True)

    manifest = earlier.moment.manifest
    return _grid(
        summary,
        labels,
        "Change since",
        [_grid_row(across, change) for across in _by_requirement(summary)],
        ("title", f"How have the counts changed since snapshot {manifest.snapshot}?"),
        ("text", words.change_text(summary, manifest)),
        ("text", words.gone_text(earlier.gone)),
        ("text", " ".join(earlier.definitions)),
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


def charts(summary: Summary) -> list[Chart]:
    """The overview in a picture, drawn from its lines."""
    rows = [
        (
            words.requirement_text(across[0]),
            across[0]["part_depth"],
            [
                Bar(line["counted_cases"], line["minimum"], line["remaining_cases"], line["reached"])
                for line in across
            ],
        )
        for across in _by_requirement(summary)
    ]
    return bars([person.trainee_ref for person in summary.people], rows) if rows else []


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


def _parts_short(line: Record) -> Shown:
    return Shown(line["parts_short"], after=f" of {line['parts_total']}", room=" ✓*")


# ---- line by line


def _class(summary: Summary) -> Page:
    titles = {line["requirement_ref"]: _title(line) for line in summary.lines}
    rows = [
        [
            titles[line["requirement_ref"]],
            *(line[name] for name in ("minimum", "graduates", "met", "below", "reached")),
            *(Shown(line[name], decimals=1) for name in ("cases_mean", "cases_median")),
            *(line[name] for name in ("cases_lowest", "cases_highest")),
        ]
        for line in summary.class_lines
    ]
    head = f"How far is the class of {summary.asked.cohort} with each required number of cases?"
    lines = [
        ("title", head),
        ("text", f"{words.source_text(summary)} {words.GRADUATES_NOTE} {words.gone_before(summary)}".strip()),
        ("warning", words.counted_through(summary)),
        ("quiet", CAUTION),
    ]
    return Page("Class", lines, Table("class_lines", CLASS_COLUMNS, rows))


def _trainee(summary: Summary, person: Person, name: str, number: int, labels: Mapping[str, str]) -> Page:
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
    by_role = _by_role(summary, person, number)
    return Page(
        name,
        lines,
        Table(f"trainee_{number}", TRAINEE_COLUMNS, rows),
        below=words.ROLES_NOTE if by_role else "",
        table_below=by_role,
    )


def _trainee_row(line: Record) -> list[Any]:
    return [
        _title(line),
        *(line[name] for name in ("minimum", "counted_cases", "confirmed_cases", "remaining_cases")),
        words.reached_text(line),
        *(line[name] for name in ("held_cases", "edition")),
        words.checked_text(line),
    ]


def _by_role(summary: Summary, person: Person, number: int) -> Table | None:
    """Requirement by role: cases that count, of all that were logged."""
    own = [each for each in summary.by_role if each["trainee_ref"] == person.trainee_ref]
    if not own:
        return None
    titles = {line["requirement_ref"]: _title(line) for line in summary.lines}
    cells: dict[str, list[Any]] = {}
    for each in own:
        row = cells.setdefault(each["requirement_ref"], [titles[each["requirement_ref"]]])
        of_all = f" of {each['logged_cases']}" if each["logged_cases"] else ""
        row.append(Shown(each["counted_cases"], after=of_all))
    roles = dict.fromkeys(each["role"] for each in own)
    columns = [Column("Counted, by role"), *(Column(role, is_number=True) for role in roles)]
    return Table(f"roles_{number}", columns, list(cells.values()))


def _uncounted(summary: Summary, labels: Mapping[str, str]) -> Page:
    rows = [
        [
            words.named(line["trainee_ref"], labels),
            line["requirement_title"],
            uncounted_text(SimpleNamespace(**line)),
            words.yes_no(line["met"]),
            line["edition"],
        ]
        for line in summary.uncounted
    ]
    lines = [
        ("title", "How far is each trainee with the rules that ask for no number of cases?"),
        ("text", f"{words.source_text(summary)} {words.UNCOUNTED_NOTE}"),
        ("quiet", CAUTION),
    ]
    return Page("Other rules", lines, Table("other_rules", UNCOUNTED_COLUMNS, rows), 2)


def _tally(summary: Summary, labels: Mapping[str, str]) -> Page:
    rows = [
        [
            words.named(line["trainee_ref"], labels),
            line["requirement_title"],
            *(line[name] for name in ("minimum", "official_count", "official_as_of")),
            words.yes_no(line["official_met"]),
            line["counted_cases"],
            Shown(line["difference"], signed=True),
            tally_sentence(SimpleNamespace(**line)) if line["difference"] else None,
        ]
        for line in summary.tally
    ]
    lines = [
        ("title", "What does the accreditor count, and what is counted here?"),
        ("text", f"{words.source_text(summary)} {words.TALLY_NOTE}"),
        ("quiet", CAUTION),
    ]
    return Page("Accreditor", lines, Table("accreditor", TALLY_COLUMNS, rows), 2)


# ---- by which rules, from what, and what it cannot say


def _rules(summary: Summary) -> Page:
    rows = [
        [
            *(rule[name] for name in ("title", "minimum", "roles", "sentence", "edition")),
            words.checked_text(rule),
            words.document_text(rule),
        ]
        for rule in summary.rules
    ]
    head = f"By which rules are the cases of the class of {summary.asked.cohort} counted?"
    lines = [("title", head), ("text", f"{words.source_text(summary)} {words.RULES_NOTE}")]
    return Page("Rules", lines, Table("rules", RULE_COLUMNS, rows))


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
