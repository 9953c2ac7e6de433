"""From an examination to a store: which files change anything, their folders, the lines of the next manifest."""

from __future__ import annotations

import itertools
import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from pipelines.contract.formats import CASES, Kind
from pipelines.contract.input_tables import INPUT_TABLES
from pipelines.files.reading import Part
from pipelines.intake.examination import Examination, source_of
from pipelines.intake.holding import Reason
from pipelines.intake.receipts import Receipt, part_receipt, trainees_of
from pipelines.intake.replacement import outlived, resequenced
from pipelines.intake.staging import arrow_table
from pipelines.store.live import stored_columns
from pipelines.store.manifest import Entry, Line
from pipelines.store.store import Store

# What a finding is about and what it says, whatever its file is called: row, column, rule, words.
Place = tuple[int | None, str | None, str, str]
# The findings of each live intake and trainee; None: about nobody.
Said = dict[tuple[str, str | None], set[Place]]
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
        said = _said_before(examination, kind)
        altered, anew = (
            _altered_trainees(examination, kind, said),
            _says_anew_of_nobody(examination, kind, said),
        )
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


def _altered_trainees(examination: Examination, kind: Kind, said: Said) -> set[str]:
    """The named trainees of whom a live row, its place in the log, a finding or data_through would change."""
    balances = examination.balances[kind.name]
    altered = {balance.trainee_ref for balance in balances if balance.alters}
    if kind is CASES:
        altered |= outlived(examination.connection)
    if kind is CASES and not examination.setting.append:
        altered |= resequenced(examination.connection)
    through, new = data_through(examination) if kind is CASES else {}, _says_now(examination, kind)
    for trainee_ref in {balance.trainee_ref for balance in balances} - altered:
        line = live_line(examination, kind, trainee_ref)
        # Other kinds have no data_through, neither now nor before.
        if (
            line is None
            or through.get(trainee_ref) != _latest(each.data_through for each in line.intakes)
            or not _says_the_same(examination, kind, line, said, new.get(trainee_ref, set()))
        ):
            altered.add(trainee_ref)
    return altered


def _says_the_same(examination: Examination, kind: Kind, line: Line, said: Said, new: set[Place]) -> bool:
    """Whether the live findings of the trainee would be those that they are."""
    before = _places(said, (entry.intake_id for entry in line.intakes), line.trainee_ref)
    if kind is CASES and examination.setting.append:
        return new <= before
    stays = _stays(examination, kind, line)
    return new | _places(said, (entry.intake_id for entry in stays), line.trainee_ref) == before


def _says_anew_of_nobody(examination: Examination, kind: Kind, said: Said) -> bool:
    """Whether findings about no trainee (a column that is not known) would be others than they are."""
    named = {balance.trainee_ref for balance in examination.balances[kind.name]}
    lines = [line for each in named if (line := live_line(examination, kind, each))]
    live = {entry.intake_id for line in lines for entry in line.intakes}
    new, before = _says_now(examination, kind).get(None, set()), _places(said, live, None)
    if kind is CASES and examination.setting.append:
        return not new <= before
    others = [line for line in examination.setting.manifest.live if line not in lines]
    stays = {entry.intake_id for line in lines for entry in _stays(examination, kind, line)}
    stays |= live & {entry.intake_id for line in others for entry in line.intakes}
    return new | _places(said, stays, None) != before


def _stays(examination: Examination, kind: Kind, line: Line) -> list[Entry]:
    """The earlier intakes that stay live for a trainee beside the one in hand."""
    if kind is CASES and not examination.setting.append:
        return []
    return _contributing(examination, kind, line)


def live_line(examination: Examination, kind: Kind, trainee_ref: str) -> Line | None:
    """What is live for a trainee, in the source of this command."""
    return examination.setting.manifest.line(kind.name, trainee_ref, source_of(kind, examination.setting))


def _says_now(examination: Examination, kind: Kind) -> dict[str | None, set[Place]]:
    """What these files' findings say about each trainee, and about nobody."""
    rows = examination.connection.execute(
        f"select {', '.join(PLACE_COLUMNS)} from finding where kind = ?", [kind.name]
    ).fetchall()
    found: dict[str | None, set[Place]] = {}
    for row in rows:
        _put(found, row[0], dict(zip(PLACE_COLUMNS, row, strict=True)))
    return found


def _said_before(examination: Examination, kind: Kind) -> Said:
    """What the findings of the intakes say that are live for the trainees named."""
    store = examination.setting.store
    lines = [live_line(examination, kind, each.trainee_ref) for each in examination.balances[kind.name]]
    found: Said = {}
    if store is None:
        return found
    for intake_id in {entry.intake_id for line in lines if line for entry in line.intakes}:
        for row in pq.read_table(store.intake(intake_id) / "findings.parquet").to_pylist():
            if row["kind"] == kind.name:
                _put(found, (intake_id, row["trainee_ref"]), row)
    return found


def _put(found: dict[Any, set[Place]], key: object, finding: dict[str, Any]) -> None:
    if finding["rule"] not in ABOUT_THE_CHANGE:
        words = f"{finding['message'].removeprefix(finding['file_name'])} {finding['remedy']}"
        place = finding["source_row"], finding["column_name"], finding["rule"], words
        found.setdefault(key, set()).add(place)


def _places(said: Said, intake_ids: Iterable[str], trainee_ref: str | None) -> set[Place]:
    return {place for each in intake_ids for place in said.get((each, trainee_ref), ())}


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
        for trainee_ref, own in through.items():
            line = live_line(examination, CASES, trainee_ref)
            before = [entry.data_through for entry in line.intakes] if line else []
            through[trainee_ref] = _latest([own, *before])
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
    for start, end in itertools.pairwise(starts):
        pq.write_table(
            table.slice(start, end - start), folder / f"{refs[start].as_py()}.parquet", compression="zstd"
        )


def _write_changes(examination: Examination, kind: Kind, numbers: list[int], folder: Path) -> None:
    """What changed field by field; a row withdrawn or kept stands with the first file that names its trainee.

    A review that moved away stands with the first file, which need not name its trainee.
    """
    table = arrow_table(
        examination.connection,
        f"select trainee_ref, '{kind.name}' as kind, key, change, field, before, after from change_{kind.name} as change"
        f" left join (select row_id, sheet_number from read_{kind.name}) as seat using (row_id)"
        f" left join (select trainee_ref, min(sheet_number) as first_number from read_{kind.name} group by trainee_ref)"
        " as first_seat using (trainee_ref) where list_contains(?::integer[],"
        f" coalesce(sheet_number, first_number, (select min(sheet_number) from read_{kind.name})))"
        " order by trainee_ref, key, field",
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
        of_kind = [
            (part, trainees_of(examination, kind, [part.number])) for part in parts if part.kind is kind
        ]
        for trainee_ref in sorted({each for _, named in of_kind for each in named}):
            before = live_line(examination, kind, trainee_ref)
            new = [
                Entry(
                    intake_id=intake_id,
                    mode="replace" if kind is CASES and not setting.append else "append",
                    taken=snapshot,
                    data_through=through.get(trainee_ref),
                )
                # Two tables of a book are one intake.
                for intake_id in dict.fromkeys(
                    ids[part.sha256] for part, named in of_kind if trainee_ref in named
                )
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
        + " and ".join(
            f"coalesce(live.\"{name}\", '') = coalesce(compared.\"{name}\", '')" for name in kind.key
        )
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
