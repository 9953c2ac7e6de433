"""The volume summary as a workbook: the class at a glance, line by line, a sheet a trainee, rules, intakes, cautions."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import Any

from pipelines.contract.cautions import CAUTION, WHO_MAY_READ
from pipelines.summary.grids import change_since, overview
from pipelines.summary.lines import class_lines, trainee
from pipelines.summary.rows import Summary
from pipelines.summary.sheets import Book, in_print, sheet_names
from pipelines.summary.sources import cautions, intakes, rules
from pipelines.summary.words import origin

FIXED = ("Overview", "Change since", "Class", "Rules", "Intake balance", "Cautions")


def workbook(summary: Summary, labels: Mapping[str, str]) -> bytes:
    """The XLSX; the same summary and labels give the same bytes."""
    book = Book(_properties(summary), _header(summary), FOOTER)
    overview(book, summary, labels)
    if summary.earlier is not None:
        change_since(book, summary, summary.earlier, labels)
    class_lines(book, summary, labels)
    for person, name in zip(
        summary.people, sheet_names([each.trainee_ref for each in summary.people], FIXED), strict=True
    ):
        trainee(book, summary, person, name, labels)
    rules(book, summary)
    intakes(book, summary)
    cautions(book, summary, with_names=bool(labels))
    return book.finished()


def _properties(summary: Summary) -> dict[str, Any]:
    # No clock: the file says when its data were as they are, not when it was written.
    made = datetime.datetime.fromisoformat(summary.manifest.as_of or "2000-01-01")
    return {
        "title": f"Accreditation volume summary, class of {summary.cohort}",
        "subject": summary.programme,
        "author": "Cohort Standing",
        "comments": f"{CAUTION} {WHO_MAY_READ}",
        "created": made,
    }


def _header(summary: Summary) -> str:
    whose = f"{in_print(summary.programme)}, class of {summary.cohort}"
    made_up = " · made-up data" if summary.made_up else ""
    return f"&L{whose}{made_up}&R{origin(summary)}"


FOOTER = "&LNames every trainee. Confidential; see the sheet Cautions.&RPage &P of &N"
