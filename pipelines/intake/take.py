"""Taking files into a store: a request in, an outcome back. Nothing here prints, prompts or asks the clock.

`try_out` is the same without storing. The command, the screen, the demo and the tests are thin callers of the two.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from pipelines.build import build as building
from pipelines.contract.errors import FileRefused
from pipelines.contract.formats import CASES, Kind
from pipelines.contract.rules import ABOUT_THE_INTAKE
from pipelines.files.reading import Part
from pipelines.intake import replacement, staging
from pipelines.intake.judging import Judged, Progress, Setting, judge
from pipelines.intake.outcome import IntakeOutcome, IntakeRequest, Status
from pipelines.intake.replacement import Reason
from pipelines.specialty.load import Specialty
from pipelines.store.documents import FORMAT, Entry, Line, Programme
from pipelines.store.rows import CHANGE_SCHEMA, FINDING_SCHEMA, files_written, read_findings, write_by_trainee
from pipelines.store.store import Receipt, Store, adopt_intake, writing

# What a finding is about and what it says, whatever its file is called: row, column, rule, words.
Place = tuple[int | None, str | None, str, str]
Places = dict[Any, set[Place]]


def _silent(_text: str) -> None:
    """Say nothing of how far it is."""


def take(store: Store, request: IntakeRequest, progress: Progress = _silent) -> IntakeOutcome:
    """Validate the files, store what is accepted, build and publish: all of them, or none.

    Raises AnotherWriter, WrongUsage, StoreDamaged and AuditFailed; everything about the files is in the outcome.
    """
    # The lock first: of several reasons to end, another writer comes before wrong usage.
    with writing(store):
        request.check()
        # access.yaml is not needed here, and a broken one is said before anything is stored.
        _ = store.access
        store.check_intakes()
        return _judged(request, _setting(store, request), progress, storing=True)


def try_out(store: Store, request: IntakeRequest, progress: Progress = _silent) -> IntakeOutcome:
    """What `take` would find, storing nothing and taking no lock."""
    request.check()
    _ = store.access
    store.check_intakes()
    return _judged(request, _setting(store, request), progress, storing=False)


def try_without_store(
    specialty: Specialty, request: IntakeRequest, progress: Progress = _silent
) -> IntakeOutcome:
    """The same with a specialty alone: rules that need a roster are skipped unless one is among the files."""
    request.check()
    programme = Programme(programme_ref="unnamed", title="No store")
    return _judged(request, Setting(programme, specialty, request.today), progress, storing=False)


def _setting(store: Store, request: IntakeRequest) -> Setting:
    return Setting(
        store.programme,
        store.specialty,
        request.today,
        store,
        store.current(),
        request.source,
        request.append,
        request.through,
        request.accepted_by,
        request.programme_ref,
    )


def _judged(request: IntakeRequest, setting: Setting, progress: Progress, *, storing: bool) -> IntakeOutcome:
    try:
        judged = judge(request.files, setting, progress, storing=storing)
    except FileRefused as refusal:
        return IntakeOutcome("refused", refused=refusal.findings)
    ids = intake_ids(judged)
    parts = parts_that_change(judged)
    changing = {part.shown for part in parts}
    receipts = [judged.receipt(part) for part in judged.parts]
    held = reasons_to_hold(judged, parts)

    def outcome(status: Status, snapshot: int | None = None) -> IntakeOutcome:
        unchanged = [part.shown for part in judged.parts if part.shown not in changing]
        return IntakeOutcome(
            status, [], judged.findings(ids), receipts, held, list(dict.fromkeys(unchanged)), snapshot
        )

    left_out = any(receipt["rows"] > receipt["accepted"] for receipt in receipts)
    if held and not setting.accepted_by:
        return outcome("held")
    if any(_nothing_accepted(receipts, kind) for kind in judged.kinds):
        return outcome("nothing_accepted")
    if left_out and (request.strict or not storing):
        return outcome("left_out")
    if not storing:
        return outcome("sound")
    if not parts:
        return outcome("unchanged")
    result = outcome("stored", setting.manifest.snapshot + 1)
    _store_and_publish(judged, request, parts, ids, receipts, progress)
    return result


def _nothing_accepted(receipts: list[Receipt], kind: Kind) -> bool:
    of_kind = [receipt for receipt in receipts if receipt["kind"] == kind.name]
    return sum(receipt["rows"] for receipt in of_kind) > 0 and not any(
        receipt["accepted"] for receipt in of_kind
    )


def intake_ids(judged: Judged) -> dict[str, str]:
    """For the hash of every file the name under which it would be stored now."""
    store = judged.setting.store
    named = (
        {intake_id for manifest in store.manifests() for intake_id in manifest.intakes()} if store else set()
    )
    taken = [tuple(intake_id.rsplit("-", 1)) for intake_id in named]
    return {
        sha256: f"{sha256}-{max((int(number) for sha, number in taken if sha == sha256), default=0) + 1}"
        for sha256 in {part.sha256 for part in judged.parts}
    }


# ---- what the files would change


def parts_that_change(judged: Judged) -> list[Part]:
    """The tables of those files that would leave anything other than it is: judged by the outcome."""
    changing = set()
    for kind in judged.kinds:
        before = _said_before(judged, kind)
        altered = _altered_trainees(judged, kind, before)
        anew = _says_anew_of_nobody(judged, kind, before)
        for part in judged.parts:
            if (
                part.kind is kind
                and (named := judged.trainees_of(kind, [part]))
                and (anew or named & altered)
            ):
                changing.add(part.sha256)
    return [part for part in judged.parts if part.sha256 in changing]


def _altered_trainees(judged: Judged, kind: Kind, before: Places) -> set[str]:
    """The named trainees of whom a live row, its place in the log, a finding or data_through would change."""
    balances = judged.balances[kind.name]
    altered = {balance.trainee_ref for balance in balances if balance.alters}
    if kind is CASES:
        altered |= replacement.altered_otherwise(judged.connection, replaces=not judged.setting.append)
    lines = {each.trainee_ref: judged.setting.line(kind, each.trainee_ref) for each in balances}
    # Other kinds have no data_through, neither now nor before.
    through = judged.through if kind is CASES else {}
    altered |= {ref for ref, line in lines.items() if line is None or through.get(ref) != line.data_through}
    same_rows = {ref: line for ref, line in lines.items() if line and ref not in altered}
    now = _says_now(judged, kind, list(same_rows))
    return altered | {
        ref
        for ref, line in same_rows.items()
        if not _leaves_findings_unchanged(judged, kind, line, before, now.get(ref, set()))
    }


def _leaves_findings_unchanged(
    judged: Judged, kind: Kind, line: Line, before: Places, now: set[Place]
) -> bool:
    """Would this intake leave the trainee's findings unchanged?"""
    live = _places(before, (entry.intake_id for entry in line.intakes), line.trainee_ref)
    if kind is CASES and judged.setting.append:
        return now <= live
    staying = (entry.intake_id for entry in _staying(judged, kind, line))
    return now | _places(before, staying, line.trainee_ref) == live


def _says_anew_of_nobody(judged: Judged, kind: Kind, before: Places) -> bool:
    """Would findings about no trainee (an unknown column) be others than they are?"""
    named = [balance.trainee_ref for balance in judged.balances[kind.name]]
    lines = [line for trainee_ref in named if (line := judged.setting.line(kind, trainee_ref))]
    live = {entry.intake_id for line in lines for entry in line.intakes}
    now, then = _says_now(judged, kind, [None]).get(None, set()), _places(before, live, None)
    if kind is CASES and judged.setting.append:
        return not now <= then
    others = [line for line in judged.setting.manifest.live if line not in lines]
    staying = {entry.intake_id for line in lines for entry in _staying(judged, kind, line)}
    staying |= live & {entry.intake_id for line in others for entry in line.intakes}
    return now | _places(before, staying, None) != then


def _staying(judged: Judged, kind: Kind, line: Line) -> list[Entry]:
    """The earlier intakes that stay live for a trainee beside the one in hand."""
    if kind is CASES and not judged.setting.append:
        return []
    key = " and ".join(
        f"coalesce(live.\"{name}\", '') = coalesce(compared.\"{name}\", '')" for name in kind.key
    )
    staying = {
        row[0]
        for row in judged.rows(
            f"select distinct live.intake_id from {kind.name}.live as live"
            f" join {kind.name}.comparison as compared on {key}"
            " where live.trainee_ref = ? and outcome in ('untouched', 'kept')",
            [line.trainee_ref],
        )
    }
    return [entry for entry in line.intakes if entry.intake_id in staying]


def _says_now(judged: Judged, kind: Kind, trainees: list[str] | list[None]) -> Places:
    """What these files' findings say about some trainees; about nobody for None."""
    rows = staging.batches(
        judged.connection,
        "select trainee_ref, source_row, column_name, rule, file_name, message, remedy from finding"
        " where kind = ? and stored and coalesce(trainee_ref, '') in (select coalesce(unnest(?::varchar[]), ''))",
        [kind.name, trainees],
    )
    now: Places = {}
    for batch in rows:
        for row in batch.to_pylist():
            _put(now, row["trainee_ref"], row)
    return now


def _said_before(judged: Judged, kind: Kind) -> Places:
    """What the findings of the intakes say that are live for the trainees named, by intake and trainee."""
    store = judged.setting.store
    lines = [judged.setting.line(kind, balance.trainee_ref) for balance in judged.balances[kind.name]]
    before: Places = {}
    if store is None:
        return before
    for intake_id in {entry.intake_id for line in lines if line for entry in line.intakes}:
        for row in read_findings(store, intake_id):
            if row["kind"] == kind.name:
                _put(before, (intake_id, row["trainee_ref"]), row)
    return before


def _put(places: Places, key: object, finding: dict[str, Any]) -> None:
    if finding["rule"] not in ABOUT_THE_INTAKE:
        words = f"{finding['message'].removeprefix(finding['file_name'])} {finding['remedy']}"
        place = finding["source_row"], finding["column_name"], finding["rule"], words
        places.setdefault(key, set()).add(place)


def _places(places: Places, intake_ids: Iterable[str], trainee_ref: str | None) -> set[Place]:
    return {place for intake_id in intake_ids for place in places.get((intake_id, trainee_ref), ())}


# ---- what must wait for a person's word


def reasons_to_hold(judged: Judged, parts: Iterable[Part]) -> list[Reason]:
    """Why the tables that change anything must wait for a person's word."""
    setting, changing = judged.setting, list(parts)
    reasons: list[Reason] = []
    if CASES in judged.kinds:
        named = judged.trainees_of(CASES, changing)
        reasons = [
            *replacement.rows_that_go(judged.balances[CASES.name], _unaccepted(setting)),
            *replacement.rows_that_say_less(judged.connection),
            *_data_that_would_go_back(judged),
        ]
        reasons = [reason for reason in reasons if reason.trainee_ref in named]
    return reasons + _taken_before(judged, changing)


def _unaccepted(setting: Setting) -> Callable[[str], int]:
    def unaccepted(trainee_ref: str) -> int:
        line = setting.line(CASES, trainee_ref)
        return line.unaccepted if line else 0

    return unaccepted


def _data_that_would_go_back(judged: Judged) -> list[Reason]:
    lines = {trainee_ref: judged.setting.line(CASES, trainee_ref) for trainee_ref in judged.through}
    return [
        Reason(
            trainee_ref,
            f"the data run through {line.data_through}, and would run through {now or 'no month'}:"
            " this looks like an older export",
        )
        for trainee_ref, now in sorted(judged.through.items())
        if (line := lines[trainee_ref]) and line.data_through and (now or "") < line.data_through
    ]


def _taken_before(judged: Judged, changing: list[Part]) -> list[Reason]:
    """Files whose content was live for a trainee before, and has been replaced since by a newer one."""
    store, reasons = judged.setting.store, []
    known = {
        part.sha256 for part in changing if store and any((store.root / "intake").glob(f"{part.sha256}-*"))
    }
    if not known or store is None:
        return []
    manifests = store.manifests()
    for part in changing:
        if part.sha256 not in known:
            continue
        for trainee_ref in sorted(judged.trainees_of(part.kind, [part])):
            line = judged.setting.line(part.kind, trainee_ref)
            newest = max(line.intakes, key=lambda entry: entry.taken).intake_id if line else ""
            if not newest.startswith(part.sha256) and any(
                entry.intake_id.startswith(part.sha256)
                for manifest in manifests
                if (then := manifest.line(part.kind.name, trainee_ref, judged.setting.source_of(part.kind)))
                for entry in then.intakes
            ):
                reasons.append(
                    Reason(
                        trainee_ref, f"{part.shown} was taken before, and a newer file has replaced it since"
                    )
                )
    return reasons


# ---- storing


def _store_and_publish(
    judged: Judged,
    request: IntakeRequest,
    parts: list[Part],
    ids: dict[str, str],
    receipts: list[Receipt],
    progress: Progress,
) -> None:
    store = judged.setting.store
    if store is None:
        raise AssertionError("Files that are judged without a store cannot be stored.")
    snapshot = judged.setting.manifest.snapshot + 1
    progress(f"Storing, then building snapshot {snapshot} …")
    lines = _lines_after(judged, parts, ids, snapshot)
    header = {
        "format": FORMAT,
        "taken_on": request.today.isoformat(),
        "snapshot": snapshot,
        "source": request.source,
        "mode": "append" if request.append else "replace",
        "through": request.through,
        "withdrawals_accepted_by": request.accepted_by,
        "reason": request.reason,
        "suite": judged.suite,
    }
    by_number = dict(zip((part.number for part in judged.parts), receipts, strict=True))
    for sha256 in dict.fromkeys(part.sha256 for part in parts):
        of_file = [part for part in parts if part.sha256 == sha256]
        folder = store.work / ids[sha256]
        header["parts"] = [by_number[part.number] for part in of_file]
        _write_intake(judged, of_file, folder, {"intake_id": ids[sha256], "sha256": sha256, **header})
        adopt_intake(store, folder, ids[sha256])
    judged.connection.close()
    manifest = building.next_manifest(store, judged.setting.manifest.with_lines(lines), request.today)
    building.build_and_publish(store, manifest)


def _lines_after(judged: Judged, parts: list[Part], ids: dict[str, str], snapshot: int) -> list[Line]:
    """The manifest's lines of the trainees that these parts name, as they are once the parts are stored."""
    setting = judged.setting
    lines = []
    for kind in {part.kind.name: part.kind for part in parts}.values():
        of_kind = [(part, judged.trainees_of(kind, [part])) for part in parts if part.kind is kind]
        for trainee_ref in sorted({ref for _, named in of_kind for ref in named}):
            before = setting.line(kind, trainee_ref)
            new = [
                Entry(
                    intake_id=intake_id,
                    mode="replace" if kind is CASES and not setting.append else "append",
                    taken=snapshot,
                    data_through=judged.through.get(trainee_ref) if kind is CASES else None,
                )
                # Two tables of a book are one intake.
                for intake_id in dict.fromkeys(
                    ids[part.sha256] for part, named in of_kind if trainee_ref in named
                )
            ]
            lines.append(
                Line(
                    kind=kind.name,
                    trainee_ref=trainee_ref,
                    source=setting.source_of(kind),
                    intakes=[*(_staying(judged, kind, before) if before else []), *new],
                    unaccepted=_unaccepted_after(judged, kind, trainee_ref),
                )
            )
    return lines


def _unaccepted_after(judged: Judged, kind: Kind, trainee_ref: str) -> int:
    if kind is not CASES or judged.setting.accepted_by:
        return 0
    balance = next(each for each in judged.balances[kind.name] if each.trainee_ref == trainee_ref)
    return _unaccepted(judged.setting)(trainee_ref) + balance.kept + balance.withdrawn


def _write_intake(judged: Judged, parts: list[Part], folder: Path, receipt: Receipt) -> None:
    """Write one file's folder: its rows by kind and trainee, its findings, what it changed, its receipt."""
    folder.mkdir()
    numbers = [part.number for part in parts]
    for kind in {part.kind.name: part.kind for part in parts}.values():
        rows = staging.batches(judged.connection, _stored_rows(kind), [numbers])
        write_by_trainee(rows, kind.schema, folder / kind.name)
        changes = staging.batches(judged.connection, _changes(kind), [numbers])
        write_by_trainee(changes, CHANGE_SCHEMA, folder / "changes" / kind.name)
    with pq.ParquetWriter(folder / "findings.parquet", FINDING_SCHEMA) as writer:
        for batch in staging.batches(
            judged.connection,
            f"select {', '.join(FINDING_SCHEMA.names)} from finding where stored and list_contains(?::integer[], sheet_number)"
            " order by sheet_number, source_row, column_name, rule",
            [numbers],
        ):
            writer.write_table(pa.Table.from_batches([batch]).cast(FINDING_SCHEMA))
    receipt = {**receipt, "files": files_written(folder)}
    (folder / "receipt.json").write_text(json.dumps(receipt, indent=1) + "\n", encoding="utf-8")


def _stored_rows(kind: Kind) -> str:
    """The accepted rows, and for cases copies of the older versions that stay live, ordered by trainee.

    Of a copy the day is not known any more, so it comes after the rows of its month.
    """
    columns = ", ".join(f'"{name}"' for name in kind.stored_names)
    within = ("case_sequence",) if kind is CASES else kind.key
    order = ", ".join(f'"{name}"' for name in ("trainee_ref", *within))
    rows = f"select {columns}, sheet_number from {kind.name}.new"
    if kind is CASES:
        kept = ", ".join(
            'live."case_sequence" + (select count(*) from cases.new)'
            if name == "case_sequence"
            else f'live."{name}"'
            for name in kind.stored_names
        )
        rows += (
            f" union all select {kept}, kept_key.sheet_number from cases.live as live"
            f" join cases.kept_key as kept_key on {replacement.same_key(CASES, 'live', 'kept_key')}"
        )
    return f"select {columns} from ({rows}) where list_contains(?::integer[], sheet_number) order by {order}"


def _changes(kind: Kind) -> str:
    """What changed field by field; a row withdrawn or kept stands with the first file that names its trainee.

    A review that moved away stands with the first file, which need not name its trainee.
    """
    return (
        "select trainee_ref, change.kind, key, change, field, before, after"
        f" from ({replacement.changes_query(kind)}) as change"
        f" left join (select row_id, sheet_number from {kind.name}.seat) as seat using (row_id)"
        f" left join (select trainee_ref, min(sheet_number) as first_number from {kind.name}.seat group by trainee_ref)"
        " as first_seat using (trainee_ref) where list_contains(?::integer[],"
        f" coalesce(sheet_number, first_number, (select min(sheet_number) from {kind.name}.seat)))"
        " order by trainee_ref, key, field"
    )
