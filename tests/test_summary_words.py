"""What leaves the house, and the screen that makes it, speak to people: no codes, no names of columns, no memory."""

from __future__ import annotations

import io
import re
from pathlib import Path

import openpyxl
import pytest

from dashboard.access import Viewer
from dashboard.screens import methods, summary
from pipelines.contract.cautions import NOT_YET_CHECKED, source_in_words
from pipelines.contract.codes_in_words import KINDS, RULES
from pipelines.contract.formats import KINDS as FORMAT_KINDS
from pipelines.contract.rules import LEFT_OUT, REFUSALS, WARNINGS
from pipelines.store.store import Store
from pipelines.summary.files import Options, summary_files
from tests.looking import opened_as, said, session, tables
from tests.paper import Paper
from tests.summed import summed_store

__all__ = ["session"]

# A word with underscores is a name of ours, whatever it names.
INTERNAL = re.compile(
    r"[a-z0-9]+(?:_[a-z0-9]+)+"
    r"|\b(?:memory|codes?|views?|nulls?|sql|intakes?|credited|unmapped|true|false)\b",
    re.IGNORECASE,
)
# Names that whoever exported gave: they stand as they are.
THEIRS = {"cases.csv", "roster.csv"}


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return summed_store(tmp_path_factory.getbasetemp())


@pytest.fixture(scope="module")
def files(store: Path) -> dict[str, bytes]:
    return summary_files(Store(store), "harbour-eye", "2027", Options(since=2)).contents


def internal(texts: list[str]) -> list[str]:
    return sorted({found[0] for text in texts if text not in THEIRS for found in INTERNAL.finditer(text)})


def test_the_words_that_are_looked_for_are_found() -> None:
    texts = [
        "number and roles from memory",
        "counted_cases",
        "a code of it",
        "True",
        "phaco_iol",
        "show view",
    ]
    assert internal(texts) == ["True", "code", "counted_cases", "memory", "phaco_iol", "view"]


def test_the_workbook_speaks_in_words(files: dict[str, bytes]) -> None:
    book = openpyxl.load_workbook(io.BytesIO(files["volume-2027.xlsx"]))
    texts = [sheet.title for sheet in book]
    texts += [
        str(cell)
        for sheet in book
        for row in sheet.iter_rows(values_only=True)
        for cell in row
        if cell is not None
    ]
    texts += [str(getattr(book.properties, name)) for name in ("title", "subject", "creator", "description")]
    for sheet in book:
        texts += [sheet.oddHeader.left.text, sheet.oddHeader.right.text, sheet.oddFooter.left.text]
    assert len(texts) > 400
    assert internal(texts) == []
    assert NOT_YET_CHECKED in texts


def test_the_pdf_speaks_in_words(files: dict[str, bytes]) -> None:
    paper = Paper(files["volume-2027.pdf"])
    figures = [figure.alt for figure in paper.root.all("Figure")]
    said = [paper.root.text, paper.text, *figures, *map(str, paper.pdf.docinfo.values())]
    assert len(paper.root.text) > 4000
    assert internal(said) == []
    assert NOT_YET_CHECKED in paper.text


def test_the_csv_and_the_receipt_say_nothing_of_memory(files: dict[str, bytes]) -> None:
    # Their columns and keys are for programs to read.
    for suffix in ("csv", "json"):
        assert "memory" not in files[f"volume-2027.{suffix}"].decode()


def test_no_month_of_an_operation_leaves(store: Path) -> None:
    made = summary_files(Store(store), "harbour-eye", "2027", Options(since=2, final_by="A. Quay")).contents
    book = openpyxl.load_workbook(io.BytesIO(made["volume-2027.xlsx"]))
    cells = [str(cell) for sheet in book for row in sheet.iter_rows(values_only=True) for cell in row]
    said = "\n".join(
        [
            *cells,
            Paper(made["volume-2027.pdf"]).text,
            made["volume-2027.csv"].decode(),
            made["volume-2027.json"].decode(),
        ]
    )
    # Cases were operated from January to May 2025; the data of two people run through January and April.
    assert {month for month in re.findall(r"\b20\d\d-\d\d\b(?!-)", said) if month not in ("2026-27", "2027-28")} == {
        "2025-01", "2025-04",
    }  # fmt: skip
    assert not re.search(r"\b(?:January|February|March|April|May) 2025\b", said)


def test_the_screen_speaks_in_words(store: Path) -> None:
    app = opened_as(summary, Viewer("coordinator", "harbour-eye"), Store(store))
    app.button[0].click().run()
    cells = [cell for table in tables(app) for row in table for cell in row]
    labels = [each.label for each in (*app.button, *app.selectbox, *app.checkbox)]
    assert len(cells) > 40
    assert internal([said(app), *cells, *labels]) == []


def test_no_screen_that_names_sources_speaks_of_memory(store: Path) -> None:
    # The source of the lid rule says "number and roles from memory" in the specialty file of this store.
    for screen in (summary, methods):
        app = opened_as(screen, Viewer("director", "harbour-eye"), Store(store))
        cells = [cell for table in tables(app) for row in table for cell in row]
        assert "made up" in cells
        assert not [text for text in (said(app), *cells) if "memory" in text]


def test_a_source_that_was_remembered_names_no_document() -> None:
    assert source_in_words("A committee, table 2; number and roles from memory") == "A committee, table 2"
    assert source_in_words("From memory") == "no document named"
    assert source_in_words("A committee; memory clinic, 2021") == "A committee; memory clinic, 2021"


def test_every_rule_and_kind_of_file_has_its_words() -> None:
    assert set(RULES) == {*REFUSALS, *LEFT_OUT, *WARNINGS}
    assert set(KINDS) == {kind.name for kind in FORMAT_KINDS}
    assert internal([*RULES.values(), *KINDS.values()]) == []
