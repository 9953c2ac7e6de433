"""How much of a labelled corpus of identifying content is found, and how many clean files are taken.

The corpus is `tests/identifying.py`. Expected: of each kind at least 95 of 100 in free text and references; of clean files
of 600 rows at most 1 in 200 is refused. The whole number of clean files: `python -m tests.benchmarks.reading`.
"""

from __future__ import annotations

import pyarrow as pa
import pytest

from pipelines.contract.formats import CASES, REVIEWS, TRAINEES, Kind
from pipelines.files.free_text import uncertain_texts
from pipelines.files.headers import TableMapping
from pipelines.files.identifiers import Screened, Screening, found_shapes, screen
from pipelines.files.shapes import CERTAIN
from tests.identifying import (
    CHANCE,
    CLEAN_REFERENCES,
    FREE_TEXT,
    REFERENCES,
    clean_column_of_notes,
    clean_notes,
    references_of,
    texts_of,
)  # fmt: skip

ENOUGH = 0.95


def screened(columns: dict[str, list[str]], kind: Kind, mapping: TableMapping | None = None) -> Screened:
    texts = {name: pa.chunked_array([pa.array(cells, pa.string())]) for name, cells in columns.items()}
    count = len(next(iter(columns.values())))
    rows = pa.table({**texts, "row": pa.array(range(2, 2 + count))})
    return screen(Screening(list(columns), rows, kind, "x.csv", mapping=mapping or TableMapping()))


def found_in(column: str, cells: list[str], kind: Kind) -> float:
    """The share of the cells that refuse a table."""
    return len({finding.source_row for finding in screened({column: cells}, kind).refused}) / len(cells)


def test_the_corpus_has_many_kinds_and_enough_of_each() -> None:
    assert len(FREE_TEXT) + len(REFERENCES) >= 60
    assert all(len(texts_of(kind)) >= 5 for kind in FREE_TEXT)


def test_of_each_kind_nearly_all_is_found_in_free_text() -> None:
    # All in one pass: to prepare the patterns costs more than to look.
    texts = {kind: texts_of(kind) for kind in FREE_TEXT}
    every = [text for some in texts.values() for text in some]
    found = {*uncertain_texts([*every, *clean_notes()]), *found_shapes(pa.chunked_array([every]), CERTAIN)}
    shares = {kind: sum(text in found for text in some) / len(some) for kind, some in texts.items()}
    assert {kind: share for kind, share in shares.items() if share < ENOUGH} == {}


@pytest.mark.parametrize("column", ["trainee_ref", "case_ref"])
def test_of_each_kind_nearly_all_is_found_in_references(column: str) -> None:
    kind = TRAINEES if column == "trainee_ref" else CASES
    shares = {name: found_in(column, references_of(name), kind) for name in REFERENCES}
    assert {name: share for name, share in shares.items() if share < ENOUGH} == {}


def test_notes_that_name_nobody_are_kept() -> None:
    CHANCE.seed("notes")
    for _ in range(4):
        assert screened({"comment": clean_column_of_notes()}, REVIEWS) == Screened()


@pytest.mark.parametrize("scheme", CLEAN_REFERENCES)
def test_references_that_name_nobody_are_kept(scheme: str) -> None:
    CHANCE.seed(scheme)
    for _ in range(3):
        assert screened({"case_ref": CLEAN_REFERENCES[scheme]()}, CASES) == Screened()


# One name


def test_a_family_name_is_asked_about_once_and_taken_when_it_is_said_to_be_a_pseudonym() -> None:
    column = {"trainee_ref": ["Hartley", "T07", "Hartley", "Okonkwo"]}
    found = screened(column, CASES)
    assert [finding.message for finding in found.refused] == [
        'x.csv, row 2, trainee_ref: "Hartley" looks like a name.',
        'x.csv, row 5, trainee_ref: "Okonkwo" looks like a name.',
    ]
    assert [(each.key, each.column, each.source_row) for each in found.uncertain] == [
        ("Hartley", "trainee_ref", 2),
        ("Okonkwo", "trainee_ref", 5),
    ]
    said = TableMapping(pseudonyms=frozenset({"Hartley", "Okonkwo"}))
    assert screened(column, CASES, said) == Screened()


def test_a_note_that_was_released_is_taken_and_another_is_not() -> None:
    column = {"comment": ["Seen with Hartley", "Uneventful", "Seen with Hartley", "Anna Muster"]}
    found = screened(column, REVIEWS)
    assert [finding.source_row for finding in found.refused] == [2, 4, 5]
    assert [each.text for each in found.uncertain] == ["Seen with Hartley", "Anna Muster"]
    # What is printed never shows it, nor what a log would hold.
    assert not any(
        "Hartley" in text for text in [repr(found.uncertain), *(each.message for each in found.refused)]
    )
    released = TableMapping(released=frozenset({found.uncertain[0].key}))
    assert [finding.source_row for finding in screened(column, REVIEWS, released).refused] == [5]
    assert [
        finding.source_row for finding in screened({"rationale": column["comment"]}, CASES, released).refused
    ] == []


def test_a_number_of_records_among_other_references_is_found() -> None:
    column = [f"T07-{row:04}" for row in range(600)]
    column[300] = "00123456"
    assert [finding.source_row for finding in screened({"case_ref": column}, CASES).refused] == [302]


def test_the_day_of_the_operation_in_a_reference_is_found_by_the_rows_beside_it() -> None:
    days = [f"2026-{1 + row % 12:02}-{1 + row % 28:02}" for row in range(40)]
    refs = [f"OP{day[2:4]}{day[5:7]}{day[8:10]}x{row}" for row, day in enumerate(days)]
    assert len(screened({"case_ref": refs, "operated_on": days}, CASES).refused) == 20
    other = [f"OP{(row * 7_919_777) % 1_000_000:06}x{row}" for row in range(40)]
    assert screened({"case_ref": other, "operated_on": days}, CASES) == Screened()
