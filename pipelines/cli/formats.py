"""`formats --schema`: the export format as Frictionless Table Schemas, for whoever writes an export."""

from __future__ import annotations

import json
from typing import Any

import click

from pipelines.contract.formats import FORMAT_CODES, KINDS, Column, Kind

PROFILE = "https://datapackage.org/profiles/2.0/tableschema.json"
REFERENCE = "[A-Za-z0-9_-]{%s,64}"
# For each type of column the field of a Table Schema.
FIELDS: dict[str, dict[str, Any]] = {
    "ref": {"type": "string", "constraints": {"pattern": REFERENCE % 1}},
    "case_ref": {"type": "string", "constraints": {"pattern": REFERENCE % 4}},
    "date": {"type": "date"},
    "month": {"type": "yearmonth"},
    "cohort": {"type": "string", "constraints": {"pattern": "[0-9]{4}(-[0-9]{2})?"}},
    "code": {"type": "string"},
    "procedure": {"type": "string"},
    "codes": {"type": "list", "delimiter": ";", "itemType": "string"},
    "events": {"type": "list", "delimiter": ";", "itemType": "string"},
    "yes_no": {"type": "boolean", "trueValues": ["yes", "y", "true", "1"], "falseValues": ["no", "n", "false", "0"]},
    "whole": {"type": "integer"},
    "number": {"type": "number"},
    "clock": {"type": "string", "constraints": {"pattern": "([0-9]{1,2}:)?[0-9]{1,3}:[0-5][0-9]"}},
    "period": {"type": "string"},
    "text": {"type": "string"},
}  # fmt: skip


def add_to(group: click.Group) -> None:
    """Add the command to the others."""

    @group.command("formats", help="the export format, for whoever writes an export")
    @click.option(
        "--schema", is_flag=True, required=True, help="a Frictionless Table Schema of each kind, as JSON"
    )
    def formats(schema: bool) -> int:
        if schema:
            print(json.dumps({kind.name: table_schema(kind) for kind in KINDS}, indent=2))
        return 0


def table_schema(kind: Kind) -> dict[str, Any]:
    """The Table Schema of one kind of file; the codes of a specialty stand in its own file."""
    # A primary key has no blank cell; the side of a case may be blank.
    whole = all(kind.column(name).required for name in kind.key_columns)
    return {
        "$schema": PROFILE,
        "name": kind.name,
        "fieldsMatch": ["partial"],
        "fields": [field_of(column) for column in kind.columns],
        **({"primaryKey": list(kind.key_columns)} if whole else {"uniqueKeys": [list(kind.key_columns)]}),
        "missingValues": [""],
    }


def field_of(column: Column) -> dict[str, Any]:
    field = {"name": column.name, **FIELDS[column.type]}
    constraints = {**field.pop("constraints", {})}
    if column.required:
        constraints["required"] = True
    if column.type in ("whole", "number"):
        constraints |= {
            name: limit
            for name, limit in (("minimum", column.low), ("maximum", column.high))
            if limit is not None
        }
    if column.codes in FORMAT_CODES and column.type == "code":
        constraints["enum"] = list(FORMAT_CODES[column.codes])
    elif column.codes:
        field["description"] = f"codes of the specialty: {column.codes}"
    return {**field, **({"constraints": constraints} if constraints else {})}
