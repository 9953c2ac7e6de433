"""Everything that follows from the files of one command, before anything is stored.

`check` ends here; `intake` goes on to store what the examination found.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import duckdb
import pyarrow as pa

from pipelines.contract import messages
from pipelines.contract.formats import CASES, FORMAT_CODES, KINDS, REVIEWS, TRAINEES, Kind
from pipelines.files.identifiers import column_shown
from pipelines.files.reading import ExportFile, Part, read_parts
from pipelines.intake import holding, judging, reduction, replacement, staging
from pipelines.intake.holding import Reason
from pipelines.intake.replacement import Balance
from pipelines.specialty.load import Specialty, code_sets, specialty_tables
from pipelines.store import live
from pipelines.store.manifest import Manifest
from pipelines.store.programme import Programme
from pipelines.store.store import Store

Progress = Callable[[str], None]


@dataclass(frozen=True)
class Setting:
    """What files are judged against. Without a store nothing is live; `today` is this machine's day."""

    programme: Programme
    specialty: Specialty
    today: datetime.date
    store: Store | None = None
    manifest: Manifest = field(default_factory=Manifest)
    source: str = "main"
    append: bool = False
    through: str | None = None
    accepted_by: str | None = None


@dataclass
class Examination:
    """The staging database with its tables, and what was found."""

    setting: Setting
    parts: list[Part]
    connection: duckdb.DuckDBPyConnection
    kinds: list[Kind] = field(default_factory=list)
    balances: dict[str, list[Balance]] = field(default_factory=dict)
    held: list[Reason] = field(default_factory=list)

    @property
    def left_out_rows(self) -> int:
        return self._count(
            "select count(distinct (kind, row_id)) from finding_cell where severity = 'left_out'"
        )

    def _count(self, query: str) -> int:
        row = self.connection.execute(query).fetchone()
        return int(row[0]) if row else 0


def examine(files: Sequence[ExportFile], setting: Setting, progress: Progress) -> Examination:
    """Read, screen, judge and compare the files; raises FileRefused if any is not taken at all."""
    progress(f"Reading {len(files)} file{'s' * (len(files) > 1)} …")
    parts = read_parts(files, setting.specialty, setting.programme.refs_are_pseudonyms)
    # Imported here: it costs seconds, and a refused file need not wait for it.
    from pipelines.intake.expectations import USER_AGENT

    database = staging.database_name()
    connection = staging.open_staging(database, USER_AGENT, setting.programme.memory_limit)
    examination = Examination(setting, parts, connection)
    _make_context(examination)
    for kind in KINDS:
        of_kind = [part for part in parts if part.kind is kind]
        if of_kind:
            _examine_kind(examination, database, kind, of_kind, progress)
    _make_findings(examination)
    return examination


def _make_context(examination: Examination) -> None:
    """The tables besides the rows that the rules read."""
    connection, setting = examination.connection, examination.setting
    tables = specialty_tables(setting.specialty)
    for name in ("supervision_role", "stage", "role", "milestone_level"):
        _create(connection, name, tables[name])
    _create(connection, "procedure_table", tables["procedure"])
    _create(connection, "complication_table", tables["complication"])
    connection.execute(
        "create table procedure_group as select procedure, procedure_group from procedure_table"
    )
    connection.execute(
        "create table complication_window as select complication_ref, procedure_group, window_days from complication_table"
    )
    connection.execute("create table intake_day as select ?::date as today", [setting.today])
    connection.execute(judging.FINDING_CELL)
    # The seat of a row in the files, for whoever reads a finding.
    sheets = [{"sheet_number": part.number, "file_name": part.shown} for part in examination.parts]
    _create(connection, "sheet", pa.Table.from_pylist(sheets))
    live.load_live(connection, setting.store, setting.manifest.live, TRAINEES, "live_trainees")
    connection.execute(
        "create table live_roster as select trainee_ref, started, credit_from, expected_completion, programme_ref,"
        " trainee_ref in (select unnest(?::varchar[])) as has_cases from live_trainees",
        [_trainees_with_cases(setting)],
    )
    _make_roster(examination, "live_roster")


def _create(connection: duckdb.DuckDBPyConnection, name: str, table: pa.Table) -> None:
    connection.register("arriving", table)
    connection.execute(f"create table {name} as select * from arriving")
    connection.unregister("arriving")


def _trainees_with_cases(setting: Setting) -> list[str]:
    """Who has a live case: an export of which every row was left out is no case."""
    return (
        sorted(live.trainees_with_rows(setting.store, setting.manifest.live, CASES)) if setting.store else []
    )


def _make_roster(examination: Examination, query: str) -> None:
    examination.connection.execute(
        "create or replace table roster as select trainee_ref, coalesce(programme_ref, ?) as programme_ref,"
        " (coalesce(credit_from, started) || '-01')::date as credit_from_day,"
        f" (expected_completion || '-01')::date + interval 1 month as completed_day from {query}",
        [examination.setting.programme.programme_ref],
    )


def _examine_kind(
    examination: Examination, database: str, kind: Kind, parts: list[Part], progress: Progress
) -> None:
    connection, setting = examination.connection, examination.setting
    rows = sum(part.row_count for part in parts)
    progress(f"Checking {rows:,} {kind.name} row{'s' * (rows != 1)} …")
    with_roster = setting.store is not None or TRAINEES in examination.kinds
    reading = staging.Reading(
        setting.programme.dates, tuple(setting.programme.review_periods), all_codes(setting.specialty)
    )
    staging.stage(connection, kind, parts, reading)
    judging.find_left_out(connection, kind, with_roster)
    _load_live(examination, kind)
    if kind is REVIEWS:
        _load_cases(examination)
    judging.find_warnings(connection, kind, with_roster)
    judging.validate(connection, database, kind, with_roster)
    reduction.reduce(connection, kind)
    replacement.compare(connection, kind, withdraws=kind is CASES and not setting.append)
    replacement.list_changes(connection, kind)
    examination.kinds.append(kind)
    examination.balances[kind.name] = replacement.balances(connection, kind)
    if kind is TRAINEES:
        columns = "trainee_ref, started, credit_from, expected_completion, programme_ref"
        _make_roster(
            examination,
            f"(select {columns} from new_trainees union all select {columns} from live_roster"
            " where trainee_ref not in (select trainee_ref from new_trainees))",
        )
    if kind is CASES:
        examination.held = holding.reasons(connection, examination.balances[kind.name], _unaccepted(setting))


def _unaccepted(setting: Setting) -> Callable[[str], int]:
    manifest = setting.manifest

    def unaccepted(trainee_ref: str) -> int:
        line = manifest.line(CASES.name, trainee_ref, setting.source)
        return line.unaccepted if line else 0

    return unaccepted


def all_codes(specialty: Specialty) -> dict[str, list[str]]:
    """Every set of codes that a column may draw from."""
    return {**{name: list(codes) for name, codes in FORMAT_CODES.items()}, **code_sets(specialty)}


def _load_live(examination: Examination, kind: Kind) -> None:
    """Make `named_<kind>`, the trainees that the files name, and `live_<kind>`, what of this source is theirs or in the files."""
    connection, setting = examination.connection, examination.setting
    connection.execute(
        f"create table named_{kind.name} as select distinct trainee_ref from read_{kind.name}"
        " where trainee_ref is not null and trainee_ref_fault is null"
    )
    named = {row[0] for row in connection.execute(f"select trainee_ref from named_{kind.name}").fetchall()}
    source = source_of(kind, setting)
    lines = [
        line
        for line in setting.manifest.live
        if line.source == source and (kind.whole or line.trainee_ref in named)
    ]
    live.load_live(connection, setting.store, lines, kind, f"live_{kind.name}")
    if kind.whole:
        # A record may be live with another trainee than the file says.
        record = ", ".join(f'"{name}"' for name in kind.whole)
        connection.execute(
            f"delete from live_{kind.name} where trainee_ref not in (select trainee_ref from named_{kind.name})"
            f" and ({record}) not in (select ({record}) from read_{kind.name})"
        )
    if kind is CASES:
        replacement.find_kept(connection)
        _load_elsewhere(examination, named)


def source_of(kind: Kind, setting: Setting) -> str:
    """Only cases come from several sources."""
    return setting.source if kind is CASES else "main"


def _load_elsewhere(examination: Examination, named: set[str]) -> None:
    """Make `other_source_key` and `live_operation`: what is live besides the rows that these files replace."""
    connection, setting = examination.connection, examination.setting
    other = [
        line for line in setting.manifest.live if line.trainee_ref in named and line.source != setting.source
    ]
    live.load_live(connection, setting.store, other, CASES, "other_source_key")
    others = [
        line
        for line in setting.manifest.live
        if not (line.trainee_ref in named and line.source == setting.source)
    ]
    live.load_live(connection, setting.store, others, CASES, "live_elsewhere")
    if setting.append:
        # What is added to stays.
        connection.execute(
            "insert into live_elsewhere select * from live_cases as live where not exists"
            f" (select 1 from read_cases where {replacement.same_key(CASES, 'live', 'read_cases')})"
        )
    connection.execute(
        "create table live_operation as select distinct case_ref, programme_ref, operated_month from live_elsewhere"
        " left join roster using (trainee_ref) where case_ref in (select case_ref from read_cases)"
    )
    connection.execute("drop table live_elsewhere")


def _load_cases(examination: Examination) -> None:
    """Make `live_case`: the references of all cases that are live once the cases of these files are taken."""
    connection, setting = examination.connection, examination.setting
    replaced = CASES in examination.kinds
    named = {each.trainee_ref for each in examination.balances.get(CASES.name, [])}
    lines = [
        line
        for line in setting.manifest.live
        if not (replaced and line.trainee_ref in named and line.source == setting.source)
    ]
    live.load_live(connection, setting.store, lines, CASES, "live_case_row")
    connection.execute("create table live_case as select distinct case_ref from live_case_row")
    connection.execute("drop table live_case_row")
    if replaced:
        connection.execute(
            "insert into live_case select case_ref from comparison_cases where outcome <> 'withdrawn'"
        )


def _make_findings(examination: Examination) -> None:
    """Make `finding` in the columns of the view, without an intake: one row a finding, in the order of the files."""
    connection = examination.connection
    seats = " union all ".join(
        f"select '{kind.name}' as kind, row_id, sheet_number, source_row,"
        f" case when trainee_ref_fault is null then trainee_ref end as trainee_ref from read_{kind.name}"
        f" where row_id in (select row_id from finding_cell where kind = '{kind.name}')"
        for kind in examination.kinds
    )
    _create(connection, "finding_text", _texts(examination))
    connection.execute(
        "create table finding as select sheet_number, kind, row_id, file_name, source_row::integer as source_row,"
        " finding_cell.column_name, finding_cell.rule, trainee_ref, finding_cell.severity,"
        # Codes are quoted up to 40 printable characters.
        " file_name || ', row ' || source_row || ': ' || replace(message, '{cell}',"
        " coalesce(left(regexp_replace(cell, '[^[:print:]]', '', 'g'), 40), '')) as message,"
        " replace(remedy, '{cell}', coalesce(left(regexp_replace(cell, '[^[:print:]]', '', 'g'), 40), '')) as remedy"
        f" from finding_cell join ({seats}) as seat using (kind, row_id) join sheet using (sheet_number)"
        " join finding_text on finding_text.kind = finding_cell.kind and finding_text.rule = finding_cell.rule"
        " and finding_text.column_name is not distinct from finding_cell.column_name"
    )
    for part in examination.parts:
        for name in part.unknown_columns:
            _add_unknown_column(examination, part, name)


def _add_unknown_column(examination: Examination, part: Part, name: str) -> None:
    shown = column_shown(part.header, part.header.index(name) + 1)
    message, remedy = messages.message_and_remedy("column_unknown", "warning", part.kind, shown, {}, "iso")
    examination.connection.execute(
        "insert into finding select ?, ?, null, ?, 1, ?, 'column_unknown', null, 'warning', ?, ?",
        [part.number, part.kind.name, part.shown, shown, f"{part.shown}, row 1: {message}", remedy],
    )


def _texts(examination: Examination) -> pa.Table:
    codes = all_codes(examination.setting.specialty)
    kinds = {kind.name: kind for kind in examination.kinds}
    rows = examination.connection.execute(
        "select distinct kind, rule, column_name, severity from finding_cell"
    ).fetchall()
    found = []
    for kind, rule, column, severity in rows:
        message, remedy = messages.message_and_remedy(
            rule, severity, kinds[kind], column, codes, examination.setting.programme.dates
        )
        found.append(
            {"kind": kind, "rule": rule, "column_name": column, "message": message, "remedy": remedy}
        )
    schema = pa.schema([(name, pa.string()) for name in ("kind", "rule", "column_name", "message", "remedy")])
    return pa.Table.from_pylist(found, schema=schema)
