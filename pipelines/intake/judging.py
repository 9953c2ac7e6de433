"""Everything that follows from the files of one command before anything is stored: what is wrong, what would change."""

from __future__ import annotations

import datetime
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import duckdb
import numpy as np
import pyarrow as pa

from pipelines.contract.formats import (
    CASES,
    CONFIRMATIONS,
    KINDS,
    OUTCOMES,
    REVIEWS,
    TRAINEES,
    UNMATCHED,
    Column,
    Kind,
)
from pipelines.contract.rules import LEFT_OUT, SEVERITY, UNKNOWN_COMPLICATION, WARNINGS
from pipelines.files.headers import NO_MAPPING, of_a_tally
from pipelines.files.identifiers import column_shown
from pipelines.files.reading import ExportFile, Part, read_parts
from pipelines.intake import questions, replacement, staging
from pipelines.intake.replacement import Balance
from pipelines.specialty.load import Specialty, all_codes
from pipelines.specialty.tables import specialty_tables
from pipelines.store.documents import Line, Manifest, Programme
from pipelines.store.store import Receipt, Store, load_live, trainees_with_rows

if TYPE_CHECKING:
    from pipelines.mapping.model import SourceMapping

Progress = Callable[[str], None]
MOST_CODES_NAMED = 12
FINDING_COLUMNS = (
    "intake_id", "file_name", "source_row", "column_name", "rule",
    "trainee_ref", "severity", "message", "remedy", "data_through",
)  # fmt: skip


@dataclass(frozen=True)
class Setting:
    """What files are judged against. Without a store nothing is live; `today` is the day of the intake."""

    programme: Programme
    specialty: Specialty
    today: datetime.date
    store: Store | None = None
    manifest: Manifest = field(default_factory=Manifest)
    source: str = "main"
    append: bool = False
    through: str | None = None
    accepted_by: str | None = None
    # The programme whose people alone the files may name; None: every one of the store.
    programme_ref: str | None = None
    # How the source writes what the format calls otherwise.
    mapping: SourceMapping | None = None
    # The day of the accreditor's tally, where the files are one.
    tally_of: str | None = None
    # Trainees of whom nothing of these files is taken.
    left_alone: frozenset[str] = frozenset()

    @property
    def dates(self) -> str:
        """How the days of this source are written."""
        own = self.mapping.dates if self.mapping else None
        return own if own and not own.startswith("?") else self.programme.dates

    def source_of(self, kind: Kind) -> str:
        """Only cases come from several sources."""
        return self.source if kind is CASES else "main"

    def line(self, kind: Kind, trainee_ref: str) -> Line | None:
        """What is live for a trainee, in the source of this command."""
        return self.manifest.line(kind.name, trainee_ref, self.source_of(kind))


@dataclass
class Judged:
    """The files of a command, judged: the staging database, and what came out for each kind."""

    setting: Setting
    parts: list[Part]
    connection: duckdb.DuckDBPyConnection
    kinds: list[Kind] = field(default_factory=list)
    balances: dict[str, list[Balance]] = field(default_factory=dict)
    # For each kind and rule, how many accepted rows break it by the suite: 0. Empty where nothing is to be stored.
    suite: dict[str, dict[str, int]] = field(default_factory=dict)
    # The month through which each trainee's cases run, as this export has it.
    through: dict[str, str | None] = field(default_factory=dict)
    # For each table how many rows belong to trainees who are left alone.
    held_back: dict[int, int] = field(default_factory=dict)
    # What a person may have to say before the files can be read as they are meant.
    questions: list[str] = field(default_factory=list)

    def rows(self, query: str, parameters: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        """The rows of a query on the staging database."""
        return self.connection.execute(query, list(parameters)).fetchall()

    def left_out(self, part: Part) -> dict[str, int]:
        """How many rows of a table are left out, each counted under its first rule."""
        return dict(
            self.rows(
                "select rule, count(*) from (select row_id, arg_min(rule, list_position(?::varchar[], rule)) as rule"
                " from finding where sheet_number = ? and severity = 'left_out' group by row_id)"
                " group by rule order by list_position(?::varchar[], rule)",
                [list(LEFT_OUT), part.number, list(LEFT_OUT)],
            )
        )

    def trainees_of(self, kind: Kind, parts: Iterable[Part]) -> set[str]:
        """The trainees whom some tables of one kind name."""
        numbers = [part.number for part in parts if part.kind is kind]
        rows = self.rows(
            f"select distinct trainee_ref from {kind.name}.seat where trainee_ref is not null"
            " and list_contains(?::integer[], sheet_number)",
            [numbers],
        )
        return {row[0] for row in rows}

    def rows_by_trainee(self, part: Part) -> list[dict[str, Any]]:
        """For each trainee whom a table names, and for rows of nobody (None, last): rows, accepted, left out by first rule.

        Each number is counted on its own. A row about an operation is of everybody with whom it is stored; left out, it is
        of the first of them.
        """
        kind, rules = part.kind.name, list(LEFT_OUT)
        left_out: dict[str | None, dict[str, int]] = {}
        for trainee_ref, rule, count in self.rows(
            "select trainee_ref, rule, count(*) from (select trainee_ref, row_id,"
            " arg_min(rule, list_position(?::varchar[], rule)) as rule from finding"
            " where sheet_number = ? and severity = 'left_out' group by trainee_ref, row_id)"
            " group by trainee_ref, rule order by list_position(?::varchar[], rule)",
            [rules, part.number, rules],
        ):
            left_out.setdefault(trainee_ref, {})[rule] = count
        seats = f"{kind}.seat left join {kind}.placed using (row_id)"
        if part.kind.of_operation:
            seats = (
                f"(select sheet_number, placed.row_id, case when placed.row_id is not null then owner.trainee_ref"
                f" else nullif(owner.trainee_ref, '{UNMATCHED}') end as trainee_ref from {kind}.read as read"
                f" join {kind}.owner as owner using (row_id) left join {kind}.placed as placed using (row_id)"
                f" where placed.row_id is not null or owner.seat_id = read.row_id) as placed"
            )
        rows = self.rows(
            f"select trainee_ref, count(*), count(placed.row_id) from {seats} where sheet_number = ?"
            " group by trainee_ref order by trainee_ref nulls last",
            [part.number],
        )
        return [
            {"trainee_ref": ref, "rows": count, "accepted": accepted, "left_out": left_out.get(ref, {})}
            for ref, count, accepted in rows
        ]

    def receipt(self, part: Part) -> Receipt:
        """The receipt of one table of a file: rows = accepted + left out, each row under its first rule."""
        left_out = self.left_out(part)
        ((accepted,),) = self.rows(
            f"select count(*) from {part.kind.name}.accepted where sheet_number = ?", [part.number]
        )
        held_back = self.held_back.get(part.number, 0)
        if part.row_count != accepted + sum(left_out.values()) + held_back:
            raise AssertionError(
                f"{part.shown}: {part.row_count} rows do not balance: {accepted} accepted, {left_out} left out."
            )
        warnings = self.rows(
            "select rule, count(*) from finding where sheet_number = ? and severity = 'warning' group by rule"
            " order by rule",
            [part.number],
        )
        named = self.trainees_of(part.kind, [part])
        balances = self.balances[part.kind.name]
        return {
            "kind": part.kind.name,
            "file_name": part.shown,
            "rows": part.row_count,
            "accepted": accepted,
            "left_out": left_out,
            "held_back": held_back,
            "warnings": dict(warnings),
            "skipped": list(part.skipped),
            "trainees": [balance.as_receipt() for balance in balances if balance.trainee_ref in named],
            "by_trainee": self.rows_by_trainee(part),
        }

    def findings(self, ids: dict[str, str], *, name_cases: bool = False) -> pa.Table:
        """Every finding in the order of the files, in FINDING_COLUMNS; `ids` names the intake of each file's hash.

        With `name_cases` a last column `case_ref` names the case that it is about, where its reference is a valid one.

        Equal texts are kept once, and the message comes without the file and row that a reader puts before it: a file
        may break rules in a million cells.
        """
        columns = ", ".join(
            "words as message" if name == "message" else name for name in FINDING_COLUMNS[1:-1]
        )
        names = pa.table(
            {
                "sheet_number": pa.array([part.number for part in self.parts], pa.int32()),
                "intake_id": pa.array([ids[part.sha256] for part in self.parts], pa.string()),
            }
        )
        staging.create(self.connection, "intake_name", names)
        case_ref = case = ""
        if name_cases and CASES in self.kinds:
            valid = "case when regexp_full_match(case_ref, '[A-Za-z0-9_-]{4,64}') then case_ref end"
            case_ref = f", {valid} as case_ref"
            case = " left join (select sheet_number, row_id, case_ref from cases.seat) as seat using (sheet_number, row_id)"
        rows = staging.batches(
            self.connection,
            f"select sheet_number, intake_id, {columns}, null::varchar as data_through{case_ref} from finding"
            f" join intake_name using (sheet_number){case}",
        )
        texts = pa.schema(
            pa.field(column.name, pa.dictionary(pa.int32(), pa.string()))
            if column.type == pa.string()
            else column
            for column in rows.schema
        )
        found = pa.Table.from_batches([batch.cast(texts) for batch in rows], texts).unify_dictionaries()
        # Ordered here: the engine would write every text out to sort by four of the columns.
        keys = [_ranks(found[name]) for name in ("rule", "column_name", "source_row", "sheet_number")]
        return found.take(np.lexsort(keys)).drop_columns("sheet_number")


def _ranks(column: pa.ChunkedArray) -> np.ndarray[Any, Any]:
    """The place of each value in the order of the values, which nulls begin."""
    if not pa.types.is_dictionary(column.type):
        return np.asarray(column.fill_null(-1).to_numpy())
    whole = column.combine_chunks()
    texts = whole.dictionary.to_pylist()
    rank_of = {text: rank for rank, text in enumerate(sorted(texts))}
    ranks = np.array([*(rank_of[text] for text in texts), -1])
    return np.asarray(ranks[whole.indices.fill_null(len(texts)).to_numpy()])


def judge(files: Sequence[ExportFile], setting: Setting, progress: Progress, *, storing: bool) -> Judged:
    """Read, screen, judge and compare the files; raises FileRefused if any is not taken at all.

    Where they are to be stored, the suite has the last word over the rows accepted.
    """
    progress(f"Reading {len(files)} file{'s' * (len(files) > 1)} …")
    user_agent = None
    if storing:
        # Imported here: a file that is only tried need not wait for it.
        from pipelines.intake import suite

        user_agent = suite.USER_AGENT
        suite.load_meanwhile()
    tables = setting.mapping.of_tables() if setting.mapping else NO_MAPPING
    if setting.tally_of:
        tables = of_a_tally(tables, setting.tally_of)
    parts = in_their_order(
        read_parts(files, setting.specialty, setting.programme.refs_are_pseudonyms, tables)
    )
    database = staging.database_name()
    connection = staging.open_staging(database, user_agent, setting.programme.memory_limit)
    judged = Judged(setting, parts, connection)
    _make_context(judged)
    for kind in KINDS:
        of_kind = [part for part in parts if part.kind is kind]
        if of_kind:
            _judge_kind(judged, kind, of_kind, database if storing else None, progress)
    _make_findings(judged)
    return judged


def in_their_order(parts: list[Part]) -> list[Part]:
    """Rosters first; of one kind by the files' names and content, so that the order typed changes nothing.

    A file given twice under one name is read once.
    """
    once = {(part.shown, part.sha256): part for part in reversed(parts)}
    parts = sorted(
        once.values(),
        key=lambda part: (KINDS.index(part.kind), part.shown.partition(" [")[0], part.sha256, part.number),
    )
    for number, part in enumerate(parts, 1):
        part.number = number
    return parts


def _make_context(judged: Judged) -> None:
    """The tables besides the rows that the rules read."""
    connection, setting = judged.connection, judged.setting
    tables = specialty_tables(setting.specialty)
    for name in ("supervision_role", "stage", "role", "milestone_level"):
        staging.create(connection, name, tables[name])
    staging.create(connection, "procedure_table", tables["procedure"])
    staging.create(connection, "complication_table", tables["complication"])
    connection.execute(
        "create table procedure_group as select procedure, procedure_group from procedure_table"
    )
    connection.execute(
        "create table complication_window as select complication_ref, window_days from complication_table"
    )
    staging.create(connection, "complication_group", tables["complication_group"])
    staging.create(connection, "rotation", _rotations(setting.specialty))
    connection.execute("create table intake_day as select ?::date as today", [setting.today])
    sheets = [
        {"sheet_number": part.number, "file_name": part.shown, "stored_as": part.stored_as}
        for part in judged.parts
    ]
    staging.create(connection, "sheet", pa.Table.from_pylist(sheets))
    load_live(connection, setting.store, setting.manifest.live, TRAINEES, "live_trainees")
    # Who has a live case: an export of which every row was left out is no case.
    with_cases = trainees_with_rows(setting.store, setting.manifest.live, CASES) if setting.store else set()
    connection.execute(
        "create table live_roster as select trainee_ref, started, credit_from, expected_completion, programme_ref,"
        " trainee_ref in (select unnest(?::varchar[])) as has_cases from live_trainees",
        [sorted(with_cases)],
    )
    # Whom a roster may not name, and which programme it may not: those of another programme than the asker's.
    own, only = setting.programme.programme_ref, setting.programme_ref
    connection.execute(
        "create table other_programme as select trainee_ref from live_roster"
        " where ?::varchar is not null and coalesce(programme_ref, ?) <> ?",
        [only, own, only],
    )
    connection.execute(
        "create table asker as select ?::varchar as programme_ref, ?::varchar as own", [only, own]
    )
    _make_roster(judged, "live_roster")


def _rotations(specialty: Specialty) -> pa.Table:
    """The services that a rotation may name, by code or title."""
    services = {**specialty.procedure_groups, **specialty.rotations}
    spoken = {
        re.sub(r"[^a-z0-9]+", "_", text.lower()).strip("_"): code
        for code, title in services.items()
        for text in (title, code)
    }
    columns = {"spoken": list(spoken), "rotation": list(spoken.values())}
    return pa.table({name: pa.array(values, pa.string()) for name, values in columns.items()})


def _make_roster(judged: Judged, query: str) -> None:
    own, only = judged.setting.programme.programme_ref, judged.setting.programme_ref
    judged.connection.execute(
        "create or replace table roster as select trainee_ref, coalesce(programme_ref, ?) as programme_ref,"
        " (coalesce(credit_from, started) || '-01')::date as credit_from_day,"
        f" (expected_completion || '-01')::date + interval 1 month as completed_day from {query}"
        " where ?::varchar is null or coalesce(programme_ref, ?) = ?",
        [own, only, own, only],
    )


def _judge_kind(
    judged: Judged, kind: Kind, parts: list[Part], database: str | None, progress: Progress
) -> None:
    connection, setting = judged.connection, judged.setting
    rows = sum(part.row_count for part in parts)
    progress(f"Checking {rows:,} {kind.name} row{'s' * (rows != 1)} …")
    with_roster = setting.store is not None or TRAINEES in judged.kinds
    periods = tuple(setting.programme.review_periods)
    reading = staging.Reading(
        setting.dates, periods, all_codes(setting.specialty), setting.specialty, setting.mapping
    )
    judged.questions += questions.of_dates(parts, kind, reading.dates)
    staging.stage(connection, kind, parts, reading)
    if kind in (REVIEWS, OUTCOMES, CONFIRMATIONS):
        _load_cases(judged)
    if kind.of_operation:
        staging.find_owners(connection, kind, setting.programme_ref or setting.programme.programme_ref)
    judged.held_back |= staging.leave_alone(connection, kind, setting.left_alone)
    staging.find_left_out(connection, kind, with_roster)
    if setting.programme_ref is not None and not kind.of_operation:
        _name_only_own_people(connection, kind)
    _load_live(judged, kind)
    staging.find_warnings(connection, kind, with_roster)
    if database:
        from pipelines.intake import suite

        connection.execute(f"create view accepted_{kind.name} as from {kind.name}.accepted")
        judged.suite[kind.name] = suite.validate(database, kind, staging.checks_of(kind, with_roster))
        connection.execute(f"drop view accepted_{kind.name}")
    if kind is CASES:
        judged.through = _data_through(judged)
    staging.reduce(connection, kind)
    replacement.compare(connection, kind, withdraws=kind is CASES and not setting.append)
    judged.kinds.append(kind)
    judged.balances[kind.name] = replacement.balances(connection, kind)
    if kind is TRAINEES:
        columns = "trainee_ref, started, credit_from, expected_completion, programme_ref"
        _make_roster(
            judged,
            f"(select {columns} from trainees.new union all select {columns} from live_roster"
            " where trainee_ref not in (select trainee_ref from trainees.new))",
        )


def _name_only_own_people(connection: duckdb.DuckDBPyConnection, kind: Kind) -> None:
    """To whoever asks for one programme, whom it does not have is nobody: of others nothing is read, said or replaced."""
    others = (
        "trainee_ref in (select trainee_ref from other_programme)"
        if kind is TRAINEES
        else "trainee_ref not in (select trainee_ref from roster)"
    )
    connection.execute(
        f"update {kind.name}.read set trainee_ref = null where {others}"
        f" and row_id in (select row_id from {kind.name}.left_out)"
    )


def _load_live(judged: Judged, kind: Kind) -> None:
    """Make `live`, what of this source is live of the trainees whom the files name, or stands in the files."""
    setting = judged.setting
    named = {
        row[0]
        for row in judged.rows(
            f"select distinct trainee_ref from {kind.name}.owner"
            if kind.of_operation
            else f"select distinct trainee_ref from {kind.name}.read"
            " where trainee_ref is not null and trainee_ref_fault is null"
        )
    }
    lines = [
        line
        for line in setting.manifest.live
        if line.source == setting.source_of(kind) and (kind.whole or line.trainee_ref in named)
    ]
    load_live(judged.connection, setting.store, lines, kind, f"{kind.name}.live")
    if kind.whole:
        # A record may be live with another trainee than the file says.
        record = ", ".join(f'"{name}"' for name in kind.whole)
        judged.connection.execute(
            f"delete from {kind.name}.live where trainee_ref not in (select unnest(?::varchar[]))"
            f" and ({record}) not in (select ({record}) from {kind.name}.read)",
            [sorted(named)],
        )
    if kind is CASES:
        replacement.name_what_was_unmapped(judged.connection)
        replacement.find_kept(judged.connection)
        _load_elsewhere(judged, named)


def _load_elsewhere(judged: Judged, named: set[str]) -> None:
    """Make `other_source` and `elsewhere`: what is live besides the rows that these files replace."""
    connection, setting = judged.connection, judged.setting
    replaced = [
        line for line in setting.manifest.live if line.trainee_ref in named and line.source == setting.source
    ]
    others = [line for line in setting.manifest.live if line not in replaced]
    other = [line for line in others if line.trainee_ref in named]
    load_live(connection, setting.store, other, CASES, "cases.other_source")
    load_live(connection, setting.store, others, CASES, "cases.beside")
    if setting.append:
        # What is added to stays.
        connection.execute(
            "insert into cases.beside by name select * exclude (procedure_before) from cases.live as live where not exists"
            f" (select 1 from cases.read as read where {replacement.same_key(CASES, 'live', 'read')})"
        )
    connection.execute(
        "create table cases.elsewhere as select distinct case_ref, programme_ref, operated_month from cases.beside"
        " left join roster using (trainee_ref) where case_ref in (select case_ref from cases.read)"
    )
    connection.execute("drop table cases.beside")


def _load_cases(judged: Judged) -> None:
    """Make `live_case`: who of the roster has which operation live once the cases of these files are taken."""
    connection, setting = judged.connection, judged.setting
    named = {balance.trainee_ref for balance in judged.balances.get(CASES.name, [])}
    lines = [
        line
        for line in setting.manifest.live
        if not (line.trainee_ref in named and line.source == setting.source)
    ]
    load_live(connection, setting.store, lines, CASES, "live_case_row")
    anew = (
        " union select trainee_ref, case_ref from cases.comparison where outcome <> 'withdrawn'"
        if CASES in judged.kinds
        else ""
    )
    connection.execute(
        "create or replace table live_case as select trainee_ref, programme_ref, case_ref"
        f" from (select trainee_ref, case_ref from live_case_row{anew}) join roster using (trainee_ref)"
    )
    connection.execute("drop table live_case_row")


def _data_through(judged: Judged) -> dict[str, str | None]:
    """For each trainee named in cases the month through which the export's data run; None without a row that counts.

    The month given with --through; else the later of the month of the latest logged_on and of the latest operation,
    of the accepted rows and of the older versions kept. Of an appended export, not before that of what it is added to.
    """
    setting = judged.setting
    through: dict[str, str | None] = dict(
        judged.rows(
            "select named.trainee_ref, case when max(month) is not null then coalesce(?, max(month)) end"
            " from (select distinct trainee_ref from cases.read where trainee_ref_fault is null"
            " and trainee_ref is not null) as named left join ("
            "select trainee_ref, strftime(greatest(operated_on, coalesce(logged_on, operated_on)), '%Y-%m') as month"
            " from cases.accepted union all"
            " select live.trainee_ref, operated_month from cases.live as live join cases.kept_key as kept_key"
            f" on {replacement.same_key(CASES, 'live', 'kept_key')}) as dated using (trainee_ref) group by 1",
            [setting.through],
        )
    )
    if setting.append:
        for trainee_ref, own in through.items():
            line = setting.line(CASES, trainee_ref)
            before = line.data_through if line else None
            through[trainee_ref] = max((month for month in (own, before) if month), default=None)
    return through


def _make_findings(judged: Judged) -> None:
    """Make the view `finding` in the columns of the published one, without an intake: one row a finding.

    Its words are put together as it is read: of a file with many faults they would fill the memory.
    """
    connection = judged.connection
    faults = " union all ".join(
        f"select '{kind.name}' as kind, fault.*, seat.sheet_number, seat.source_row,"
        f" nullif(seat.trainee_ref, '{UNMATCHED}') as trainee_ref"
        f" from {kind.name}.fault as fault join {kind.name}.seat as seat using (row_id)"
        for kind in judged.kinds
    )
    staging.create(connection, "finding_text", _texts(judged))
    staging.create(connection, "about_columns", _about_columns(judged))
    # Codes are quoted up to 40 printable characters, to whoever handed the file over; the store keeps no word of it.
    cell = "coalesce(left(regexp_replace(cell, '[\\p{C}\\p{Zl}\\p{Zp}]', '', 'g'), 40), '')"
    for view, name, quoted in (("finding", "file_name", cell), ("stored_finding", "stored_as", "'…'")):
        connection.execute(
            f"create view {view} as select sheet_number, kind, row_id, {name} as file_name, source_row, column_name, rule,"
            f" trainee_ref, severity, stored, replace(message, '{{cell}}', {quoted}) as words,"
            f" {name} || ', row ' || source_row || ': ' || words as message,"
            f" replace(remedy, '{{cell}}', {quoted}) as remedy"
            f" from ({faults}) join sheet using (sheet_number) join finding_text using (kind, rule)"
            " where finding_text.about is not distinct from column_name"
            f" union all select sheet_number, kind, null, {name}, source_row, column_name, rule, null, 'warning', true,"
            f" message, {name} || ', row ' || source_row || ': ' || message, remedy"
            " from about_columns join sheet using (sheet_number)"
        )


def _about_columns(judged: Judged) -> pa.Table:
    """What is said of whole columns: those that nobody knows, and what the reading noticed."""
    rows = []
    for part in judged.parts:
        seat = {"sheet_number": part.number, "kind": part.kind.name}
        for name in part.unknown_columns:
            shown = column_shown(part.header, part.header.index(name) + 1)
            message, remedy = (text.format(column=shown) for text in WARNINGS["column_unknown"])
            words = {"message": message, "remedy": remedy}
            rows.append({**seat, "source_row": 1, "column_name": shown, "rule": "column_unknown", **words})
        for finding in part.warnings:
            names = ("source_row", "column_name", "rule", "message", "remedy")
            rows.append({**seat, **{name: getattr(finding, name) for name in names}})
    text = [(name, pa.string()) for name in ("kind", "column_name", "rule", "message", "remedy")]
    numbers = [("sheet_number", pa.int32()), ("source_row", pa.int32())]
    return pa.Table.from_pylist(rows, schema=pa.schema([*numbers, *text]))


def _texts(judged: Judged) -> pa.Table:
    """The words of every rule that was broken, by kind and column, with {cell} still in them."""
    codes = all_codes(judged.setting.specialty)
    rows = []
    for kind in judged.kinds:
        for rule, name in judged.rows(f"select distinct rule, column_name from {kind.name}.fault"):
            column = next((column for column in kind.columns if column.name == name), None)
            message, remedy = _words(rule, name, column, codes, judged.setting.dates)
            words = {"message": message, "remedy": remedy, "severity": SEVERITY[rule]}
            rows.append({"kind": kind.name, "rule": rule, "about": name, **words})
    schema = pa.schema(
        [(name, pa.string()) for name in ("kind", "rule", "about", "message", "remedy", "severity")]
    )
    return pa.Table.from_pylist(rows, schema=schema)


def _words(
    rule: str, name: str | None, column: Column | None, codes: dict[str, list[str]], dates: str
) -> tuple[str, str]:
    message, remedy = (LEFT_OUT | WARNINGS)[rule]
    if rule == "code_unknown" and column and column.type == "events":
        remedy = UNKNOWN_COMPLICATION
    allowed = codes.get("stages" if name == "value" else (column.codes if column else None) or "", [])
    named = ", ".join(allowed[:MOST_CODES_NAMED])
    limits = (
        f"{column.low:g} to {column.high:g}" if column and column.high is not None else "above 0, up to 1"
    )
    months = column is not None and column.type == "month"
    words = {
        "column": name or "",
        "cell": "{cell}",
        "allowed": f"{named}, … ({len(allowed)} in all)" if len(allowed) > MOST_CODES_NAMED else named,
        "range": limits,
        "date_form": "YYYY-MM"
        if months
        else {"iso": "YYYY-MM-DD", "day_first": "DD/MM/YYYY", "month_first": "MM/DD/YYYY"}[dates],
    }
    ending = " The row was left out." if rule in LEFT_OUT else ""
    return message.format(**words) + ending, remedy.format(**words)
