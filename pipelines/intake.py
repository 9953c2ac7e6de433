"""From an examination to a store: which files change anything, their folders, the lines of the next manifest."""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from pipelines.examination import Examination, source_of
from pipelines.export_files import Part
from pipelines.formats import CASES, Kind
from pipelines.holding import Reason
from pipelines.input_tables import INPUT_TABLES
from pipelines.live import sql_type, stored_columns
from pipelines.manifest import Entry, Line
from pipelines.receipts import Receipt, part_receipt, trainees_of
from pipelines.replacement import resequenced
from pipelines.staging import arrow_table
from pipelines.store import Store

# What a finding is about and what it says, whatever its file is called: trainee, row, column, rule, words.
Place = tuple[str | None, int | None, str | None, str, str]
PLACE_COLUMNS = ("trainee_ref", "source_row", "column_name", "rule", "file_name", "message", "remedy")
# This says what an intake did. Taking the file once more would not do it again, and that is no change.
ABOUT_THE_CHANGE = ("roster_redates_cases",)

FINDING_SCHEMA = pa.schema(
    [(name, pa.int32() if name == "source_row" else pa.string()) for name in (
        "kind", "file_name", "source_row", "column_name", "rule", "trainee_ref", "severity", "message", "remedy"
    )]
)  # fmt: skip


def intake_ids(examination: Examination, store: Store | None) -> dict[str, str]:
    """For the hash of every file the name under which it would be stored now."""
    named = {intake_id for each in store.manifests() for intake_id in each.intakes()} if store else set()
    taken = [tuple(each.rsplit("-", 1)) for each in named]
    return {
        sha256: f"{sha256}-{max((int(number) for sha, number in taken if sha == sha256), default=0) + 1}"
        for sha256 in {part.sha256 for part in examination.parts}
    }


def parts_that_change(examination: Examination) -> list[Part]:
    """The tables of those files that would leave anything other than it is: judged by the outcome."""
    changing = set()
    for kind in examination.kinds:
        altered, anew = _altered_trainees(examination, kind), _says_anew_about_nobody(examination, kind)
        for part in examination.parts:
            if part.kind is kind and (named := trainees_of(examination, kind, [part.number])):
                changing |= {part.sha256} if anew or named & altered else set()
    return [part for part in examination.parts if part.sha256 in changing]


def reasons_to_hold(examination: Examination, parts: Iterable[Part]) -> list[Reason]:
    """Why the parts that change anything must wait for a person's word."""
    if CASES not in examination.kinds:
        return []
    named = trainees_of(examination, CASES, [part.number for part in parts if part.kind is CASES])
    return [reason for reason in examination.held if reason.trainee_ref in named]


def _altered_trainees(examination: Examination, kind: Kind) -> set[str]:
    """The named trainees of whom a live row, its place in the log, a finding or data_through would change."""
    append = examination.setting.append
    through = data_through(examination) if kind is CASES else {}
    moved = resequenced(examination.connection) if kind is CASES and not append else set()
    parts = [part for part in examination.parts if part.kind is kind]
    found = _places(examination, parts)
    altered = {balance.trainee_ref for balance in examination.balances[kind.name] if balance.alters} | moved
    for balance in examination.balances[kind.name]:
        line = live_line(examination, kind, balance.trainee_ref)
        new = {place for place in found if place[0] == balance.trainee_ref}
        if line is None or not _says_the_same(examination, kind, line, new):
            altered.add(balance.trainee_ref)
        elif kind is CASES and through.get(balance.trainee_ref) != _latest(each.data_through for each in line.intakes):
            altered.add(balance.trainee_ref)
    return altered


def _says_the_same(examination: Examination, kind: Kind, line: Line, new: set[Place]) -> bool:
    """Whether the live findings of the trainee would be those that they are."""
    before = _live_places(examination, kind, [entry.intake_id for entry in line.intakes], line.trainee_ref)
    if kind is CASES and examination.setting.append:
        return new <= before
    stays = _stays(examination, kind, line)
    return new | _live_places(examination, kind, [entry.intake_id for entry in stays], line.trainee_ref) == before


def _says_anew_about_nobody(examination: Examination, kind: Kind) -> bool:
    """Whether findings about no trainee (a column that is not known) would be others than they are."""
    named = {balance.trainee_ref for balance in examination.balances[kind.name]}
    lines = [line for each in named if (line := live_line(examination, kind, each))]
    others = [line for line in examination.setting.manifest.live if line not in lines]
    live = {entry.intake_id for line in lines for entry in line.intakes}
    stays = {entry.intake_id for line in lines for entry in _stays(examination, kind, line)}
    stays |= live & {entry.intake_id for line in others for entry in line.intakes}
    found = _places(examination, [part for part in examination.parts if part.kind is kind])
    new = {place for place in found if place[0] is None}
    before = _live_places(examination, kind, live, None)
    if kind is CASES and examination.setting.append:
        return not new <= before
    return new | _live_places(examination, kind, stays, None) != before


def _stays(examination: Examination, kind: Kind, line: Line) -> list[Entry]:
    """The earlier intakes that stay live for a trainee beside the one in hand."""
    if kind is CASES and not examination.setting.append:
        return []
    return _contributing(examination, kind, line)


def live_line(examination: Examination, kind: Kind, trainee_ref: str) -> Line | None:
    """What is live for a trainee, in the source of this command."""
    return examination.setting.manifest.line(kind.name, trainee_ref, source_of(kind, examination.setting))


def _places(examination: Examination, parts: Iterable[Part]) -> set[Place]:
    rows = examination.connection.execute(
        f"select {', '.join(PLACE_COLUMNS)} from finding where list_contains(?::integer[], sheet_number)",
        [[part.number for part in parts]],
    ).fetchall()
    return {_place(dict(zip(PLACE_COLUMNS, row, strict=True))) for row in rows if row[3] not in ABOUT_THE_CHANGE}


def _live_places(
    examination: Examination, kind: Kind, intake_ids: Iterable[str], trainee_ref: str | None
) -> set[Place]:
    """What stored intakes found about a trainee in one kind; None: about nobody."""
    store = examination.setting.store
    found: set[Place] = set()
    for intake_id in intake_ids if store else ():
        assert store is not None
        rows = pq.read_table(store.intake(intake_id) / "findings.parquet").to_pylist()
        found |= {
            _place(row)
            for row in rows
            if row["kind"] == kind.name and row["trainee_ref"] == trainee_ref and row["rule"] not in ABOUT_THE_CHANGE
        }
    return found


def _place(finding: dict[str, Any]) -> Place:
    words = f"{finding['message'].removeprefix(finding['file_name'])} {finding['remedy']}"
    return finding["trainee_ref"], finding["source_row"], finding["column_name"], finding["rule"], words


def data_through(examination: Examination) -> dict[str, str | None]:
    """For each trainee named in cases the month through which the export's data run.

    The month given with --through; else of the latest logged_on, else of the latest operation; over the accepted
    rows of the trainee, None without one. Of an appended export, not before that of what it is appended to.
    """
    setting = examination.setting
    rows = examination.connection.execute(
        "select trainee_ref, case when count(accepted.row_id) > 0 then coalesce(?,"
        " strftime(max(logged_on), '%Y-%m'), strftime(max(operated_on), '%Y-%m')) end"
        " from named_cases left join accepted_cases as accepted using (trainee_ref) group by trainee_ref",
        [setting.through],
    ).fetchall()
    through: dict[str, str | None] = dict(rows)
    if setting.append:
        for trainee_ref in through:
            line = live_line(examination, CASES, trainee_ref)
            before = [entry.data_through for entry in line.intakes] if line else []
            through[trainee_ref] = _latest([through[trainee_ref], *before])
    return through


def _latest(months: Iterable[str | None]) -> str | None:
    return max((each for each in months if each), default=None)


def write_intake(
    examination: Examination, parts: list[Part], folder: Path, intake_id: str, header: Receipt
) -> None:
    """Write one file's folder: its rows by kind and trainee, its findings, what it changed, its receipt."""
    folder.mkdir()
    numbers = [part.number for part in parts]
    for kind in {part.kind.name: part.kind for part in parts}.values():
        _write_rows(examination, kind, numbers, folder / kind.name)
        _write_changes(examination, kind, numbers, folder / "changes")
    findings = arrow_table(
        examination.connection,
        f"select {', '.join(FINDING_SCHEMA.names)} from finding where list_contains(?::integer[], sheet_number)"
        " order by sheet_number, source_row, column_name, rule",
        [numbers],
    )
    pq.write_table(findings.cast(FINDING_SCHEMA), folder / "findings.parquet")
    receipt = {"intake_id": intake_id, **header, "parts": [part_receipt(examination, part) for part in parts]}
    (folder / "receipt.json").write_text(json.dumps(receipt, indent=1) + "\n", encoding="utf-8")


def _write_rows(examination: Examination, kind: Kind, numbers: list[int], folder: Path) -> None:
    schema = pa.schema([field for field in INPUT_TABLES[kind.name] if field.name in stored_columns(kind)])
    columns = ", ".join(f'"{name}"' for name in schema.names)
    within = ("case_sequence",) if kind is CASES else kind.key
    order = ", ".join(f'"{name}"' for name in ("trainee_ref", *within))
    table = arrow_table(
        examination.connection,
        f"select {columns} from ({_stored_rows(kind, columns)}) where list_contains(?::integer[], sheet_number)"
        f" order by {order}",
        [numbers],
    )
    _write_by_trainee(table.cast(schema), folder)


def _stored_rows(kind: Kind, columns: str) -> str:
    """The accepted rows, and for cases copies of the older versions that stay live.

    Of a copy the day is not known any more, so it comes after the rows of its month.
    """
    rows = f"select {columns}, sheet_number from new_{kind.name}"
    if kind is not CASES:
        return rows
    kept = ", ".join(f"live.{name}" for name in columns.split(", ")).replace(
        'live."case_sequence"', '(live."case_sequence" + (select count(*) from new_cases))::integer'
    )
    return (
        f"{rows} union all select {kept}, kept_key.sheet_number from live_cases as live join kept_key"
        " on live.trainee_ref = kept_key.trainee_ref and live.case_ref = kept_key.case_ref"
        " and live.procedure = kept_key.procedure and coalesce(live.side, '') = coalesce(kept_key.side, '')"
    )


def _write_by_trainee(table: pa.Table, folder: Path) -> None:
    """One Parquet file a trainee, so that one person can be taken out. `table` is ordered by trainee."""
    refs = table["trainee_ref"].combine_chunks()
    if not len(refs):
        return
    folder.mkdir(parents=True, exist_ok=True)
    codes = refs.dictionary_encode().indices.to_numpy()
    starts = [0, *(codes[1:] != codes[:-1]).nonzero()[0] + 1, len(codes)]
    for start, end in zip(starts, starts[1:], strict=False):
        pq.write_table(table.slice(start, end - start), folder / f"{refs[start].as_py()}.parquet", compression="zstd")


def _write_changes(examination: Examination, kind: Kind, numbers: list[int], folder: Path) -> None:
    """What changed field by field; a row withdrawn or kept stands with the first file that names its trainee."""
    table = arrow_table(
        examination.connection,
        f"select trainee_ref, '{kind.name}' as kind, key, change, field, before, after from change_{kind.name} as change"
        f" left join (select row_id, sheet_number from read_{kind.name}) as seat using (row_id)"
        f" join (select trainee_ref, min(sheet_number) as first_number from read_{kind.name} group by trainee_ref)"
        " as first_seat using (trainee_ref)"
        " where list_contains(?::integer[], coalesce(sheet_number, first_number)) order by trainee_ref, key, field",
        [numbers],
    )
    _write_by_trainee(table, folder / kind.name)


def lines_after(
    examination: Examination, parts: list[Part], ids: dict[str, str], snapshot: int
) -> list[Line]:
    """The manifest's lines of the trainees that these parts name, as they are once the parts are stored."""
    setting = examination.setting
    lines = []
    for kind in {part.kind.name: part.kind for part in parts}.values():
        through = data_through(examination) if kind is CASES else {}
        of_kind = [part for part in parts if part.kind is kind]
        for trainee_ref in sorted(trainees_of(examination, kind, [part.number for part in of_kind])):
            before = live_line(examination, kind, trainee_ref)
            replaces = kind is CASES and not setting.append
            new = [
                Entry(
                    intake_id=ids[part.sha256],
                    mode="replace" if replaces else "append",
                    taken=snapshot,
                    data_through=through.get(trainee_ref),
                )
                for part in of_kind
                if trainee_ref in trainees_of(examination, kind, [part.number])
            ]
            kept = _stays(examination, kind, before) if before else []
            lines.append(
                Line(
                    kind=kind.name,
                    trainee_ref=trainee_ref,
                    source=source_of(kind, setting),
                    intakes=[*kept, *new],
                    unaccepted=_unaccepted_after(examination, kind, before, trainee_ref),
                )
            )
    return lines


def _contributing(examination: Examination, kind: Kind, line: Line) -> list[Entry]:
    """Earlier intakes from which a row of the trainee stays live."""
    rows = examination.connection.execute(
        f"select distinct live.intake_id from live_{kind.name} as live join comparison_{kind.name} as compared on "
        + " and ".join(f"coalesce(live.\"{name}\", '') = coalesce(compared.\"{name}\", '')" for name in kind.key)
        + " where live.trainee_ref = ? and outcome in ('untouched', 'kept')",
        [line.trainee_ref],
    ).fetchall()
    contributing = {row[0] for row in rows}
    return [entry for entry in line.intakes if entry.intake_id in contributing]


def _unaccepted_after(examination: Examination, kind: Kind, before: Line | None, trainee_ref: str) -> int:
    if kind is not CASES or examination.setting.accepted_by:
        return 0
    balance = next(each for each in examination.balances[kind.name] if each.trainee_ref == trainee_ref)
    return (before.unaccepted if before else 0) + balance.kept + balance.withdrawn
