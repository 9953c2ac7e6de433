"""`formats --schema` prints what an export may hold, in the words of the Frictionless Table Schema.

Source of the words: Frictionless Data Package standard, version 2, Table Schema (types, constraints, `fieldsMatch`).
"""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from pipelines.contract.formats import KINDS, OUTCOMES
from tests.stores import run_well

EXPORTS = Path(__file__).parents[1] / "seed_data" / "exports"


@pytest.fixture(scope="module")
def schemas() -> dict[str, dict[str, Any]]:
    content: dict[str, dict[str, Any]] = json.loads(run_well("formats", "--schema").out)
    return content


def test_each_kind_that_is_read_has_a_schema_with_its_columns_in_order(
    schemas: dict[str, dict[str, Any]],
) -> None:
    read = list(KINDS)
    assert list(schemas) == [kind.name for kind in read]
    for kind in read:
        schema = schemas[kind.name]
        assert [field["name"] for field in schema["fields"]] == [column.name for column in kind.columns]
        required = [
            field["name"] for field in schema["fields"] if field.get("constraints", {}).get("required")
        ]
        assert required == [column.name for column in kind.columns if column.required]
        # Whose operation it is stands in no file of outcomes; the source of one stands in the store by another name.
        key = ["case_ref", "complication", "source"] if kind is OUTCOMES else list(kind.key)
        assert schema.get("primaryKey") == key or schema["uniqueKeys"] == [key]


def test_a_case_in_the_words_of_the_standard(schemas: dict[str, dict[str, Any]]) -> None:
    fields = {field["name"]: field for field in schemas["cases"]["fields"]}
    assert fields["case_ref"] == {
        "name": "case_ref", "type": "string", "constraints": {"pattern": "[A-Za-z0-9_-]{4,64}", "required": True},
    }  # fmt: skip
    assert fields["operated_on"]["type"] == "date"
    assert fields["side"]["constraints"] == {"enum": ["left", "right", "both"]}
    assert fields["follow_up_days"]["constraints"] == {"minimum": 0, "maximum": 36500}
    assert fields["role"]["description"] == "codes of the specialty: roles"
    assert "primaryKey" not in schemas["cases"]  # the side may be blank
    assert {field["type"] for schema in schemas.values() for field in schema["fields"]} <= {
        "string", "number", "integer", "boolean", "date", "yearmonth", "list",
    }  # fmt: skip


def cells() -> Iterator[tuple[str, str]]:
    for path in sorted(EXPORTS.glob("*.csv"))[:12]:
        with path.open(encoding="utf-8", newline="") as file:
            for row in csv.DictReader(file):
                yield from row.items()


def test_the_made_up_exports_keep_to_their_schemas(schemas: dict[str, dict[str, Any]]) -> None:
    by_name = {field["name"]: field for schema in schemas.values() for field in schema["fields"]}
    checked = 0
    for name, cell in cells():
        field = by_name[name]
        constraints = field.get("constraints", {})
        if not cell:
            continue
        if "pattern" in constraints:
            assert re.fullmatch(constraints["pattern"], cell), (name, cell)
            checked += 1
        if "enum" in constraints and name != "kind":
            assert cell in constraints["enum"], (name, cell)
        if "minimum" in constraints:
            assert constraints["minimum"] <= float(cell) <= constraints["maximum"]
    assert checked > 1000
