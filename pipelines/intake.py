"""From an examination to a store: which files change anything, their folders, the lines of the next manifest."""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq

from pipelines.examination import Examination, source_of
from pipelines.export_files import Part
from pipelines.formats import CASES, Kind
from pipelines.input_tables import INPUT_TABLES
from pipelines.live import sql_type, stored_columns
from pipelines.manifest import Entry, Line
from pipelines.receipts import Receipt, part_receipt, trainees_of
from pipelines.store import Store

# What a finding is about, whatever its file is called: trainee, row, column, rule.
Place = tuple[str | None, int | None, str | None, str]

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
        for sha256 in {part.file.sha256 for part in examination.parts}
    }


def parts_that_change(examination: Examination) -> list[Part]:
    """The tables of those files that would leave anything other than it is: judged by the outcome."""
    altered = {kind.name: _altered_trainees(examination, kind) for kind in examination.kinds}
    changing = {part.file.sha256 for part in examination.parts if _changes(examination, part, altered[part.kind.name])}
    return [part for part in examination.parts if part.file.sha256 in changing]


def _changes(examination: Examination, part: Part, altered: set[str]) -> bool:
    if trainees_of(examination, part.kind, [part.number]) & altered:
        return True
    about_nobody = {place for place in _places(examination, [part]) if place[0] is None}
    return not about_nobody <= _live_places(examination, part.kind)


def _altered_trainees(examination: Examination, kind: Kind) -> set[str]:
    """The named trainees of whom a live row, a finding or data_through would change."""
    through = data_through(examination) if kind is CASES else {}
    parts = [part for part in examination.parts if part.kind is kind]
    new, old = _places(examination, parts), _live_places(examination, kind)
    altered = set()
    for balance in examination.balances[kind.name]:
        trainee_ref = balance.trainee_ref
        line = live_line(examination, kind, trainee_ref)
        new_of, old_of = ({each for each in places if each[0] == trainee_ref} for places in (new, old))
        same_findings = new_of <= old_of if examination.setting.append else new_of == old_of
        same_through = line is not None and through.get(trainee_ref) == _latest(entry.data_through for entry in line.intakes)
        if balance.alters or not same_findings or not (same_through or (line and kind is not CASES)):
            altered.add(trainee_ref)
    return altered


def live_line(examination: Examination, kind: Kind, trainee_ref: str) -> Line | None:
    """What is live for a trainee, in the source of this command."""
    return examination.setting.manifest.line(kind.name, trainee_ref, source_of(kind, examination.setting))


def _places(examination: Examination, parts: Iterable[Part]) -> set[Place]:
    rows = examination.connection.execute(
        "select trainee_ref, source_row, column_name, rule from finding where list_contains(?::integer[], sheet_number)",
        [[part.number for part in parts]],
    ).fetchall()
    return {(row[0], row[1], row[2], row[3]) for row in rows}


def _live_places(examination: Examination, kind: Kind) -> set[Place]:
    """The findings of the intakes that are live for the trainees that the files name."""
    store = examination.setting.store
    lines = [live_line(examination, kind, each.trainee_ref) for each in examination.balances[kind.name]]
    intakes = {entry.intake_id for line in lines if line for entry in line.intakes}
    found: set[Place] = set()
    for intake_id in intakes if store else ():
        assert store is not None
        rows = pq.read_table(store.intake(intake_id) / "findings.parquet").to_pylist()
        found |= {
            (row["trainee_ref"], row["source_row"], row["column_name"], row["rule"])
            for row in rows
            if row["kind"] == kind.name
        }
    return found


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
    findings = examination.connection.execute(
        f"select {', '.join(FINDING_SCHEMA.names)} from finding where list_contains(?::integer[], sheet_number)"
        " order by sheet_number, source_row, column_name, rule",
        [numbers],
    ).to_arrow_table()
    pq.write_table(findings.cast(FINDING_SCHEMA), folder / "findings.parquet")
    receipt = {"intake_id": intake_id, **header, "parts": [part_receipt(examination, part) for part in parts]}
    (folder / "receipt.json").write_text(json.dumps(receipt, indent=1) + "\n", encoding="utf-8")


def _write_rows(examination: Examination, kind: Kind, numbers: list[int], folder: Path) -> None:
    schema = pa.schema([field for field in INPUT_TABLES[kind.name] if field.name in stored_columns(kind)])
    columns = ", ".join(f'"{name}"' for name in schema.names)
    order = "trainee_ref, case_sequence" if kind is CASES else ", ".join(f'"{name}"' for name in kind.key)
    table = examination.connection.execute(
        f"select {columns} from ({_stored_rows(kind, columns)}) where list_contains(?::integer[], sheet_number)"
        f" order by {order}",
        [numbers],
    ).to_arrow_table()
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
    """What changed field by field; a row withdrawn stands with every file that names its trainee."""
    named = sorted(trainees_of(examination, kind, numbers))
    table = examination.connection.execute(
        f"select trainee_ref, '{kind.name}' as kind, key, change, field, before, after from change_{kind.name} as change"
        " where list_contains(?::varchar[], trainee_ref) and (row_id is null or row_id in"
        f" (select row_id from read_{kind.name} where list_contains(?::integer[], sheet_number)))"
        " order by trainee_ref, key, field",
        [named, numbers],
    ).to_arrow_table()
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
                    intake_id=ids[part.file.sha256],
                    mode="replace" if replaces else "append",
                    taken=snapshot,
                    data_through=through.get(trainee_ref),
                )
                for part in of_kind
                if trainee_ref in trainees_of(examination, kind, [part.number])
            ]
            kept = [] if replaces or before is None else _contributing(examination, kind, before)
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
