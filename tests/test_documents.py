"""What the documents say of the code is what the code says."""

from __future__ import annotations

import pytest

from pipelines.build.build import KEYS
from pipelines.build.show import questions
from pipelines.contract.formats import KINDS
from tests.documents import DEVELOPERS, documented
from tests.stores import run


def test_the_generated_parts_of_the_document_are_those_of_the_code() -> None:
    text = DEVELOPERS.read_text(encoding="utf-8")
    assert documented(text) == text, "rewrite them: .venv/bin/python -m tests.documents"


@pytest.mark.parametrize("changed", ["| `operated_on`* |", "| `date_in_future` |", "**`case_volume`** Has"])
def test_a_document_that_says_otherwise_would_be_seen(changed: str) -> None:
    text = DEVELOPERS.read_text(encoding="utf-8")
    assert text.count(changed) == 1
    assert documented(text.replace(changed, "another")) == text


def test_a_document_without_a_place_for_a_part_is_a_fault() -> None:
    text = DEVELOPERS.read_text(encoding="utf-8")
    with pytest.raises(KeyError, match="rules"):
        documented(text.replace("<!-- generated: rules -->", ""))


def test_every_view_opens_with_its_question() -> None:
    assert questions().keys() == KEYS.keys()
    assert [question for question in questions().values() if not question.endswith("?")] == []


def test_the_help_of_show_lists_every_view_with_its_question_and_needs_no_store() -> None:
    result = run("show", "--help")
    assert result.code == 0
    words = " ".join(result.out.split())
    assert [view for view, question in questions().items() if f"{view} {question}" not in words] == []


def test_every_column_of_every_kind_stands_in_the_document() -> None:
    text = DEVELOPERS.read_text(encoding="utf-8")
    for kind in KINDS:
        section = text.split(f"**`{kind.name}`**, key ")[1].split("\n**`")[0]
        assert [column.name for column in kind.columns if f"`{column.name}`" not in section] == [], kind.name
