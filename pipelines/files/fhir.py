"""Procedure resources of HL7 FHIR, R4 and R5, read as cases: NDJSON, or a Bundle.

What is read is a list of elements: identifiers, notes, texts and the names of persons are never selected. What FHIR has
no element for (supervision, takeover, whose hands, follow-up, and any other column of a case) is read from extensions of
ours at the top of the resource, `urn:cohort-standing:<column>`, and the day of a complication from
`urn:cohort-standing:day` in it. A resource that is not completed is no case.
"""

from __future__ import annotations

import json
import re
from collections import Counter
from pathlib import Path
from typing import Any

import duckdb
import pyarrow as pa
import pyarrow.compute as pc

from pipelines.contract.formats import CASES
from pipelines.files import refusals
from pipelines.files.headers import TableMapping
from pipelines.files.reading import Sheet, as_utf8, sheet_from_columns
from pipelines.files.refusals import NotATable

QUERY = Path(__file__).with_name("fhir.sql")
PREFIX = "urn:cohort-standing:"
JSON_LIMIT = 150_000_000  # bytes; a document is in memory three times
CONCEPT: dict[str, Any] = {"coding": [{"code": "VARCHAR"}], "text": "VARCHAR"}
VALUES = ("valueCode", "valueString", "valueBoolean", "valueInteger", "valueDecimal", "valueDate")
EXTENSION = dict.fromkeys(("url", *VALUES), "VARCHAR")
PERIOD = {"start": "VARCHAR", "end": "VARCHAR"}
# The elements of a resource that are read, in the form of json_transform.
STRUCTURE = {
    "id": "VARCHAR",
    "status": "VARCHAR",
    "code": CONCEPT,
    "partOf": [{"reference": "VARCHAR"}],
    "performer": [{"function": CONCEPT, "actor": {"reference": "VARCHAR"}}],
    "bodySite": [CONCEPT],
    "performedDateTime": "VARCHAR",
    "performedPeriod": PERIOD,
    "occurrenceDateTime": "VARCHAR",
    "occurrencePeriod": PERIOD,
    "complication": [{**CONCEPT, "concept": CONCEPT, "extension": [EXTENSION]}],
    "extension": [EXTENSION],
}
READ = (
    "case_ref",
    "trainee_ref",
    "operated_on",
    "procedure",
    "role",
    "side",
    "duration_min",
    "complications",
)
SAID = {"not-done": "not done", "entered-in-error": "entered in error"}


def read_procedures(data: bytes, mapping: TableMapping) -> Sheet:
    """The completed procedures as rows of cases, numbered as the resources are; raises NotATable."""
    text = as_utf8(data)
    if len(text) > JSON_LIMIT:
        raise NotATable(f"the resources are larger than {JSON_LIMIT:,} bytes.", "Export fewer at once.")
    connection = duckdb.connect(config={"threads": 2})
    try:
        load_resources(connection, text)
        connection.execute("set variable structure = ?", [json.dumps(STRUCTURE)])
        connection.execute("set variable prefix = ?", [PREFIX])
        cells: pa.Table = connection.sql(QUERY.read_text(encoding="utf-8")).to_arrow_table()
    except duckdb.Error as error:
        raise NotATable(
            "the resources are damaged, or no Procedures of FHIR.", "Export them again."
        ) from error
    finally:
        connection.close()
    columns = {name: cells.column(name) for name in READ}
    for name, column in extensions_of(cells.column("extensions")).items():
        columns[name] = pc.coalesce(column, columns[name]) if name in columns else column
    filled = {name: column for name, column in columns.items() if column.null_count < len(column)}
    if not filled:
        raise refusals.no_rows()
    sheet = sheet_from_columns(list(filled), list(filled.values()), 0, mapping)
    return Sheet(
        sheet.header, sheet.rows, sheet.header_twice, sheet.typed, 0, not_completed(cells.column("status"))
    )


def load_resources(connection: duckdb.DuckDBPyConnection, text: bytes) -> None:
    """Make the table `resource` of the documents, one a line or one an entry of a Bundle."""
    connection.execute("set temp_directory = ''")
    whole = text.strip()
    if re.search(rb'"resourceType"\s*:\s*"Bundle"', whole):
        connection.execute(
            "create table resource as select unnest(generate_series(1, len(entries))) as place, unnest(entries) as"
            " document from (select json_extract(?::json, '$.entry[*].resource') as entries)",
            [whole.decode()],
        )
    else:
        documents = [whole] if b"\n" in whole and not is_ndjson(whole) else whole.split(b"\n")
        table = pa.table({"document": pa.array(documents, pa.binary()).cast(pa.string())})
        connection.register("lines", table)
        connection.execute(
            "create table resource as select row_number() over () as place, document::json as document from lines"
            " where trim(document) <> ''"
        )
        connection.unregister("lines")
    connection.execute(
        "delete from resource where json_extract_string(document, '$.resourceType') is distinct from 'Procedure'"
    )


def is_ndjson(text: bytes) -> bool:
    """Whether the first line is a document of its own."""
    try:
        json.loads(text.partition(b"\n")[0])
    except ValueError:
        return False
    return True


def extensions_of(column: pa.ChunkedArray) -> dict[str, pa.ChunkedArray]:
    """The columns of a case that stand in extensions; one that stands twice is a list."""
    rows: list[dict[str, str]] = []
    for extensions in column.to_pylist():
        cells: dict[str, str] = {}
        for each in extensions or ():
            if each["name"] in CASES.names and each["value"] is not None:
                cells[each["name"]] = ";".join(filter(None, [cells.get(each["name"]), each["value"]]))
        rows.append(cells)
    names = dict.fromkeys(name for cells in rows for name in cells)
    return {
        name: pa.chunked_array([pa.array([cells.get(name) for cells in rows], pa.string())]) for name in names
    }


def not_completed(status: pa.ChunkedArray) -> tuple[str, ...]:
    """How many resources are no cases, by what they say of themselves."""
    counts = Counter(
        SAID.get(each, "of another status") for each in status.to_pylist() if each != "completed"
    )
    return tuple(
        f"{count} procedure{'s' * (count > 1)} {what}: not read." for what, count in sorted(counts.items())
    )
