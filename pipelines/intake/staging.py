"""The rows of the files in DuckDB: each cell read once, judged by the rules, reduced to what may be kept.

The database is in memory alone. What every kind may read (the context: roster, specialty, day) stands in `main`; each
kind has a schema of its own name, so that no kind can read what another left there:

- `read`: every row in the order of the files: row_id, sheet_number, source_row, too_many_cells, the value of each column
  and, where its type can be wrong, `<column>_fault`
- `fault`: row_id, column_name, rule, cell, stored; one row a finding
- `left_out`: row_id, by_key; the view `accepted`: the rows of `read` that stay
- `new`: row_id, sheet_number and what the store keeps of the accepted rows
- `owner`, of a kind whose rows name an operation and no trainee: with whom each row is stored
- `seat`: what is needed of a row once its cells are not: row_id, sheet_number, source_row, trainee_ref, the key
"""

from __future__ import annotations

import uuid
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import duckdb
import numpy as np
import psutil
import pyarrow as pa
import pyarrow.compute as pc

from pipelines.contract.formats import CASES, SQL_TYPES, UNMATCHED, Column, Kind
from pipelines.contract.rules import CHECKS, OF_ROWS_LEFT_OUT, SEVERITY, Check
from pipelines.files.identifiers import coded
from pipelines.files.reading import Part
from pipelines.specialty.load import Specialty

if TYPE_CHECKING:
    from pipelines.mapping.model import SourceMapping

CELLS = Path(__file__).with_name("cells.sql")
# These are judged among the rows that no other rule leaves out.
JUDGED_LAST = ("key_repeated",)


@dataclass(frozen=True)
class Reading:
    """How cells are read: the style of dates, the names of review periods, the sets of codes, the words of the source."""

    dates: str
    review_periods: tuple[str, ...]
    codes: dict[str, list[str]] = field(repr=False)
    specialty: Specialty = field(repr=False)
    mapping: SourceMapping | None = None


def database_name() -> str:
    """A new name for an in-memory database that a second connection of this process can reach."""
    return f":memory:{uuid.uuid4().hex}"


def open_staging(
    name: str, user_agent: str | None = None, memory_limit: str | None = None
) -> duckdb.DuckDBPyConnection:
    """Open the staging database: in memory alone, so that rows with a day never reach a disk.

    `user_agent` must equal that of every other connection to `name`; `memory_limit` is half of the machine by default.
    """
    connection = duckdb.connect(name, config={"custom_user_agent": user_agent} if user_agent else {})
    limit = memory_limit or f"{psutil.virtual_memory().total // 2_000_000}MB"
    connection.execute("set temp_directory = ''")
    connection.execute(f"set memory_limit = '{limit}'")
    connection.execute(CELLS.read_text(encoding="utf-8"))
    return connection


def create(connection: duckdb.DuckDBPyConnection, name: str, table: pa.Table) -> None:
    """Make a table of an Arrow table."""
    connection.register("arriving", table)
    connection.execute(f"create table {name} as select * from arriving")
    connection.unregister("arriving")


def batches(
    connection: duckdb.DuckDBPyConnection, query: str, parameters: Sequence[Any] = ()
) -> pa.RecordBatchReader:
    """The rows of a query as they come, so that they are never in memory twice."""
    # A cursor of its own: the connection may still hold rows of the query before.
    return connection.cursor().sql(query, params=list(parameters)).to_arrow_reader(20_000)


def stage(connection: duckdb.DuckDBPyConnection, kind: Kind, parts: Sequence[Part], reading: Reading) -> None:
    """Make the schema of a kind with `read`, `fault` and `left_out`; the text of the parts is handed over."""
    connection.execute(f"create schema {kind.name}")
    for part in parts:
        _in_the_formats_words(part, kind, reading)
    text = pa.concat_tables([_with_all_columns(part, kind) for part in parts], promote_options="default")
    staged = _read(connection, text, kind, reading).append_column(
        "row_id", pa.array(np.arange(1, text.num_rows + 1))
    )
    del text
    connection.register("staged", staged)
    # As text a column of faults would take 16 bytes a row.
    faults = [name for name in staged.column_names if name.endswith("_fault")]
    short = ", ".join(f'"{name}"::fault as "{name}"' for name in faults)
    connection.execute(f"create table {kind.name}.read as select * replace ({short}) from staged")
    connection.unregister("staged")
    del staged
    if kind is CASES:
        connection.execute(_NUMBER_THE_UNMAPPED)
    pa.default_memory_pool().release_unused()
    connection.execute(
        f"create table {kind.name}.fault (row_id bigint, column_name varchar, rule varchar, cell varchar, stored boolean)"
    )
    connection.execute(f"create table {kind.name}.left_out (row_id bigint, by_key boolean)")
    connection.execute(
        f"create view {kind.name}.accepted as select * from {kind.name}.read"
        f" where row_id not in (select row_id from {kind.name}.left_out)"
    )


# Of a case the procedure is part of the key: in each operation its unmapped words are told apart by a number.
_NUMBER_THE_UNMAPPED = """
update cases.read set procedure = numbered.name
from (
    select
        row_id,
        'unmapped-' || dense_rank() over (partition by trainee_ref, case_ref order by first_row) as name
    from (
        select
            row_id, trainee_ref, case_ref,
            min(row_id) over (partition by trainee_ref, case_ref, procedure_unmapped) as first_row
        from cases.read
        where procedure_unmapped is not null
    )
) as numbered
where read.row_id = numbered.row_id
"""


def find_owners(connection: duckdb.DuckDBPyConnection, kind: Kind, own_programme: str) -> None:
    """Make `owner`, row_id, seat_id, trainee_ref, programme_ref: with whom a row about an operation is stored.

    These are all who have the operation live; of programmes that use the same case_ref the one in hand comes first. The
    row has a seat with each of them, the first under its own number; where nobody has the operation it waits.
    """
    connection.execute(
        f"create table {kind.name}.owner as with holder as (select row_id, live_case.trainee_ref, programme_ref"
        f" from {kind.name}.read join live_case using (case_ref) qualify dense_rank() over (partition by row_id"
        " order by programme_ref <> $own, programme_ref) = 1)"
        " select row_id, row_id + (row_number() over (partition by row_id order by holder.trainee_ref) - 1)"
        f" * (select max(row_id) from {kind.name}.read) as seat_id,"
        f" coalesce(holder.trainee_ref, '{UNMATCHED}') as trainee_ref,"
        f" coalesce(holder.programme_ref, $own) as programme_ref from {kind.name}.read left join holder using (row_id)",
        {"own": own_programme},
    )


def leave_alone(
    connection: duckdb.DuckDBPyConnection, kind: Kind, trainees: frozenset[str]
) -> dict[int, int]:
    """Take the rows of some trainees out of `read`; how many they were, by the number of their table."""
    if not trainees:
        return {}
    theirs = "list_contains(?::varchar[], trainee_ref)"
    if kind.of_operation:
        connection.execute(f"delete from {kind.name}.owner where {theirs}", [sorted(trainees)])
        theirs = f"row_id not in (select row_id from {kind.name}.owner) and ? is not null"
    rows = connection.execute(
        f"delete from {kind.name}.read where {theirs} returning sheet_number", [sorted(trainees)]
    ).fetchall()
    return dict(Counter(number for (number,) in rows))


def _with_all_columns(part: Part, kind: Kind) -> pa.Table:
    rows = part.take_rows()
    blank = coded(pa.chunked_array([pa.nulls(rows.num_rows, pa.string())]))
    columns = {
        column.name: rows[column.name] if column.name in rows.column_names else blank
        for column in kind.columns
    }
    columns["sheet_number"] = pa.repeat(pa.scalar(part.number, pa.int32()), rows.num_rows)
    columns["source_row"] = rows["__source_row"]
    columns["too_many_cells"] = rows["__too_many_cells"]
    return pa.table(columns)


def _in_the_formats_words(part: Part, kind: Kind, reading: Reading) -> None:
    """Give the part rows whose cells hold codes wherever a word of them means one."""
    if part.rows is None or not (reading.mapping or _speaks_otherwise(part.rows, kind, reading.codes)):
        return
    # Imported here: an export in the format's own words needs none of it.
    from pipelines.mapping.words import translated, words_of

    texts = {name: part.rows[name].cast(pa.string()) for name in part.rows.column_names if name in kind.names}
    new = translated(pa.table(texts), kind, words_of(reading.specialty, reading.mapping))
    rest = {name: part.rows[name] for name in part.rows.column_names if name not in texts}
    part.rows = pa.table({name: coded(new[name]) for name in new.column_names} | rest)


def _speaks_otherwise(rows: pa.Table, kind: Kind, codes: Mapping[str, list[str]]) -> bool:
    """Does any cell of a column of codes hold another text than a code?"""
    for column in kind.columns:
        if column.name in rows.column_names and column.codes:
            known = pa.array([*(code.lower() for code in codes.get(column.codes, ())), "none"], pa.string())
            texts = rows[column.name].combine_chunks().dictionary
            if column.type in ("codes", "events"):
                texts = pc.list_flatten(pc.split_pattern(texts, ";"))
            if column.type == "events":
                texts = pc.replace_substring_regex(texts, r"@\d+$", "")
            if not pc.all(pc.is_in(pc.utf8_lower(texts), known)).as_py() and len(texts):
                return True
    return False


def find_left_out(connection: duckdb.DuckDBPyConnection, kind: Kind, with_roster: bool) -> None:
    """Record what leaves rows out, in `fault` and `left_out`."""
    checks = [check for check in checks_of(kind, with_roster) if SEVERITY[check.rule] == "left_out"]
    for by_key in (False, True):
        _record(connection, kind, [check for check in checks if (check.rule in JUDGED_LAST) == by_key])
        connection.execute(
            f"insert into {kind.name}.left_out select distinct row_id, ?::boolean from {kind.name}.fault"
            f" where row_id not in (select row_id from {kind.name}.left_out)",
            [by_key],
        )


def find_warnings(connection: duckdb.DuckDBPyConnection, kind: Kind, with_roster: bool) -> None:
    """Record what is kept with a warning."""
    checks = [check for check in checks_of(kind, with_roster) if SEVERITY[check.rule] == "warning"]
    _record(connection, kind, checks)


def checks_of(kind: Kind, with_roster: bool) -> list[Check]:
    """The checks of a kind in the order of the rules; without a roster those that need one are skipped."""
    return [check for check in CHECKS[kind.name] if with_roster or not check.needs_roster]


def _record(connection: duckdb.DuckDBPyConnection, kind: Kind, checks: Sequence[Check]) -> None:
    recorded: set[str] = set()
    for check in checks:
        of_accepted = SEVERITY[check.rule] == "warning" and check.rule not in OF_ROWS_LEFT_OUT
        batch = f"{kind.name}.accepted" if of_accepted else f"{kind.name}.read"
        query = check.query.format(batch=batch, kind=kind.name)
        # Two ways to break a rule in one cell are one finding.
        repeated = (
            f" anti join (select * from {kind.name}.fault where rule = '{check.rule}') as known"
            " on faulty.row_id = known.row_id and faulty.column_name is not distinct from known.column_name"
            if check.rule in recorded
            else ""
        )
        connection.execute(
            f"insert into {kind.name}.fault select faulty.row_id, faulty.column_name, ?, faulty.cell, ?"
            f" from ({query}) as faulty{repeated}",
            [check.rule, check.stored],
        )
        recorded.add(check.rule)


def reduce(connection: duckdb.DuckDBPyConnection, kind: Kind) -> None:
    """Make `new` of the accepted rows, and `seat` of all: what steps that store or compare may read of them.

    The cells with the day of an operation are in neither, and in memory alone. A copy of a large export would be a
    second one in memory, so both are views; what a window over all rows says is worked out once, in `placed`.
    """
    windows = [kept for kept in kind.stored if " over (" in kept.sql]
    placed = "".join(f', ({kept.sql})::{SQL_TYPES[kept.type]} as "{kept.name}"' for kept in windows)
    connection.execute(
        f"create table {kind.name}.placed as select row_id{placed} from {kind.name}.accepted as accepted"
    )
    stored = ", ".join(
        f'"{kept.name}"' if kept in windows else f'({kept.sql})::{SQL_TYPES[kept.type]} as "{kept.name}"'
        for kept in kind.stored
    )
    owner = f" join {kind.name}.owner as owner using (row_id)" if kind.of_operation else ""
    row_id = "owner.seat_id as row_id" if kind.of_operation else "row_id"
    connection.execute(
        f"create view {kind.name}.new as select {row_id}, sheet_number, {stored} from {kind.name}.read as accepted"
        f" join {kind.name}.placed using (row_id) join sheet using (sheet_number){owner}"
    )
    if kind.of_operation:
        trainee = "owner.seat_id as row_id, sheet_number, source_row, owner.trainee_ref"
    else:
        trainee = "row_id, sheet_number, source_row, case when trainee_ref_fault is null then trainee_ref end as trainee_ref"
    key = "".join(f', "{name}"' for name in kind.key_columns if name != "trainee_ref")
    connection.execute(f"create view {kind.name}.seat as select {trainee}{key} from {kind.name}.read{owner}")


def _read(connection: duckdb.DuckDBPyConnection, text: pa.Table, kind: Kind, reading: Reading) -> pa.Table:
    """The text of a kind's columns as values and faults, beside the other columns of `text`.

    Each different text of a column is read once; a blank cell has no value and no fault.
    """
    read = {name: text.column(name) for name in text.column_names if name not in kind.names}
    with ThreadPoolExecutor() as pool:
        for column in kind.columns:
            cells = text.column(column.name).combine_chunks()
            connection.register("different", pa.table({column.name: cells.dictionary}))
            expressions = ", ".join(_column_expressions(column, reading))
            values = connection.sql(f"select {expressions} from different").to_arrow_table()
            connection.unregister("different")
            read |= {
                name: pool.submit(values.column(name).take, cells.indices) for name in values.column_names
            }
    return pa.table(
        {name: cells.result() if isinstance(cells, Future) else cells for name, cells in read.items()}
    )


def _column_expressions(column: Column, reading: Reading) -> list[str]:
    cell = f'"{column.name}"'
    value, fault = _VALUE_AND_FAULT[column.type]
    known = reading.codes.get(column.codes or "", [])
    words = {
        "cell": cell,
        "style": _literal(reading.dates),
        "low": column.low,
        "high": column.high,
        "known": _list(known),
        "in_known": ", ".join(_literal(code.lower()) for code in known) or "null",
        "periods": _list(reading.review_periods),
    }
    expressions = [f"{value.format(**words)} as {cell}"]
    expressions += [f'{text.format(**words)} as "{column.name}_{suffix}"' for suffix, text in fault.items()]
    return expressions


def _list(words: Iterable[str]) -> str:
    return "[" + ", ".join(_literal(word.lower()) for word in words) + "]::varchar[]"


def _literal(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"


# For each type of column: the value, and what can be wrong with it.
_VALUE_AND_FAULT: dict[str, tuple[str, dict[str, str]]] = {
    "ref": ("{cell}", {"fault": "ref_fault({cell})"}),
    "case_ref": ("{cell}", {"fault": "case_ref_fault({cell})"}),
    "date": ("date_value({cell}, {style})", {"fault": "date_fault({cell}, {style})"}),
    "month": ("month_value({cell}, {style})", {"fault": "month_fault({cell}, {style})"}),
    "cohort": ("cohort_value({cell})", {"fault": "cohort_fault({cell})"}),
    "code": (
        "lower({cell})",
        {
            "fault": "case when {cell} is not null and lower({cell}) not in ({in_known}) then 'code_unknown'::fault end"
        },
    ),
    # A word that is no code stands beside it, for what is said of it; it is never stored.
    "procedure": (
        "case when lower({cell}) in ({in_known}) then lower({cell}) when {cell} is not null then 'unmapped' end",
        {"unmapped": "case when lower({cell}) not in ({in_known}) then lower({cell}) end"},
    ),
    "codes": (
        "list_of({cell})",
        {
            "fault": "case when {cell} is not null and lower({cell}) <> 'none' "
            "then codes_fault(list_of({cell}), {known}) end",
            "none_beside": "case when contains({cell}, ';') then none_beside(list_of({cell})) else false end",
        },
    ),
    "events": (
        "list_of({cell})",
        {
            "fault": "case when {cell} is not null and lower({cell}) <> 'none' "
            "then codes_fault(event_codes(list_of({cell})), {known}) end",
            "none_beside": "case when contains({cell}, ';') then none_beside(event_codes(list_of({cell}))) else false end",
            "day_faults": "case when contains({cell}, '@') then event_day_faults(list_of({cell}), {low}, {high})::varchar[] end",
        },
    ),
    "yes_no": ("yes_no_value({cell})", {"fault": "yes_no_fault({cell})"}),
    "whole": ("whole_value({cell})", {"fault": "whole_fault({cell}, {low}, {high})"}),
    "number": ("try_cast({cell} as double)", {"fault": "number_fault({cell}, {low}, {high})"}),
    "clock": ("clock_value({cell})", {"fault": "clock_fault({cell})"}),
    "period": ("period_value({cell})", {"fault": "period_fault({cell}, {periods})"}),
    "text": ("{cell}", {}),
}
