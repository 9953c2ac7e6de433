"""Taking files into a store: a request in, an outcome back. Nothing here prints, prompts or asks the clock.

`try_out` is the same without storing. The command, the screen, the demo and the tests are thin callers of the two.
"""

from __future__ import annotations

import datetime
import itertools
import json
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import pyarrow as pa
import pyarrow.parquet as pq

from pipelines.build import build as building
from pipelines.contract.errors import FileRefused, Finding, WrongUsage
from pipelines.contract.formats import CASES, Kind
from pipelines.files.reading import ExportFile, Part
from pipelines.intake import questions, replacement, staging
from pipelines.intake.judging import FINDING_COLUMNS, Judged, Progress, Setting, judge
from pipelines.intake.replacement import Change, Reason, changes
from pipelines.intake.trying import Count, counts
from pipelines.specialty.load import Specialty
from pipelines.store.documents import FORMAT, Entry, Line, Programme
from pipelines.store.store import (
    CHANGE_SCHEMA,
    FINDING_SCHEMA,
    Receipt,
    Store,
    adopt_intake,
    files_written,
    write_by_trainee,
    writing,
)

if TYPE_CHECKING:
    from pipelines.mapping.model import SourceMapping

Status = Literal["refused", "held", "nothing_accepted", "left_out", "unchanged", "stored", "sound"]


@dataclass(frozen=True)
class IntakeRequest:
    """The files of one command and how to take them; `today` is the day of the intake.

    `accepted_by` and `reason` are a person's word that what would be held may go; with `take_the_rest` what is held
    holds nobody else. `with_counts` asks a trial for the counts of each requirement before and after, `name_cases` for
    the case that each finding is about. `tally_of` is the day of the
    accreditor's own tally, where the files are one. `programme_ref` is the programme of whoever asks, whose people alone
    the files may name; None for who may act for every programme of the store.
    """

    files: Sequence[ExportFile]
    today: datetime.date
    source: str = "main"
    through: str | None = None
    append: bool = False
    strict: bool = False
    accepted_by: str | None = None
    reason: str | None = None
    programme_ref: str | None = None
    take_the_rest: bool = False
    tally_of: str | None = None
    with_counts: bool = False
    name_cases: bool = False

    def check(self) -> None:
        """Raise WrongUsage where a part of the request cannot be."""
        if not re.fullmatch(r"[A-Za-z0-9_-]{1,64}", self.source):
            raise WrongUsage("--source: use 1 to 64 letters, digits, _ or -.")
        if self.through and not re.fullmatch(r"\d{4}-(0[1-9]|1[0-2])", self.through):
            raise WrongUsage("--through: write YYYY-MM.")
        if self.through and self.through > f"{self.today:%Y-%m}":
            raise WrongUsage("--through: data cannot run through a month that has not come.")
        if self.tally_of and not _is_day_until(self.tally_of, self.today):
            raise WrongUsage("--as-of: write the day of the tally as YYYY-MM-DD; it cannot lie ahead.")
        if bool(self.accepted_by) != bool(self.reason):
            raise WrongUsage("An acceptance needs both who accepts and why.")


def _is_day_until(text: str, last: datetime.date) -> bool:
    try:
        return (
            re.fullmatch(r"\d{4}-\d\d-\d\d", text) is not None and datetime.date.fromisoformat(text) <= last
        )
    except ValueError:
        return False


@dataclass(frozen=True)
class IntakeOutcome:
    """How a request ended.

    status: refused (a file is not taken at all) · held (something would vanish) · nothing_accepted (a kind of file had
    rows and none was accepted) · left_out (rows were left out of a strict or tried request) · unchanged · stored ·
    sound (tried, and every row would be accepted). Only `stored` changed the store; with `held` reasons beside it,
    their trainees were left as they are. `changes` has a row for each trainee and kind, `counts` for each requirement
    whose count would change; `questions` are for a person to answer first.
    """

    status: Status
    refused: list[Finding] = field(default_factory=list)
    findings: pa.Table | None = None
    receipts: list[Receipt] = field(default_factory=list)
    held: list[Reason] = field(default_factory=list)
    unchanged: list[str] = field(default_factory=list)
    snapshot: int | None = None
    questions: list[str] = field(default_factory=list)
    changes: list[Change] = field(default_factory=list)
    counts: list[Count] = field(default_factory=list)

    @property
    def rows(self) -> int:
        return sum(int(receipt["rows"]) for receipt in self.receipts)

    @property
    def left_out_rows(self) -> int:
        taken = sum(int(receipt["accepted"]) + int(receipt["held_back"]) for receipt in self.receipts)
        return self.rows - taken

    def finding_rows(self) -> Iterable[tuple[Any, ...]]:
        """The findings in FINDING_COLUMNS, one at a time."""
        if self.findings is None:
            for finding in self.refused:
                yield tuple(getattr(finding, name, None) for name in FINDING_COLUMNS)
            return
        file, row, message = (FINDING_COLUMNS.index(name) for name in ("file_name", "source_row", "message"))
        for batch in self.findings.select(FINDING_COLUMNS).to_batches(max_chunksize=10_000):
            for values in zip(*map(_values, batch.columns), strict=True):
                words = f"{values[file]}, row {values[row]}: {values[message]}"
                yield (*values[:message], words, *values[message + 1 :])

    def fixes(self) -> Iterator[dict[str, Any]]:
        """The findings in FINDING_COLUMNS; the message names the case too, where the request asked for it."""
        named = self.findings is not None and "case_ref" in self.findings.schema.names
        cases = self.findings["case_ref"].to_pylist() if self.findings is not None and named else []
        for row, case_ref in itertools.zip_longest(self.finding_rows(), cases):
            finding = dict(zip(FINDING_COLUMNS, row, strict=True))
            if case_ref:
                place = f"row {finding['source_row']}"
                finding["message"] = finding["message"].replace(f"{place}:", f"{place}, case {case_ref}:", 1)
            yield finding


def _values(column: pa.Array) -> list[Any]:
    """A column as Python values; texts kept once are not made anew for each row."""
    if not pa.types.is_dictionary(column.type):
        values: list[Any] = column.to_pylist()
        return values
    texts = [*column.dictionary.to_pylist(), None]
    places = column.indices.fill_null(len(texts) - 1).to_numpy().tolist()
    return [texts[place] for place in places]


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
    return _judged(
        request,
        Setting(programme, specialty, request.today, tally_of=request.tally_of),
        progress,
        storing=False,
    )


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
        _mapping(store, request.source),
        request.tally_of,
    )


def _mapping(store: Store, source: str) -> SourceMapping | None:
    """How the source writes, if a person has said so."""
    if not store.mapping_file(source).is_file():
        return None
    from pipelines.mapping.model import load_mapping

    return load_mapping(store.mapping_file(source), store.specialty)


def _judged(request: IntakeRequest, setting: Setting, progress: Progress, *, storing: bool) -> IntakeOutcome:
    try:
        judged = judge(request.files, setting, progress, storing=storing)
    except FileRefused as refusal:
        return IntakeOutcome("refused", refused=refusal.findings)
    ids = intake_ids(judged)
    parts = replacement.parts_that_change(judged)
    changing = {part.shown for part in parts}
    receipts = [judged.receipt(part) for part in judged.parts]
    asked = questions.of_columns(judged.parts)
    held = [*replacement.reasons_to_hold(judged, parts), *(Reason("", text) for text in asked)]
    if request.take_the_rest and _somebody_is_left(judged, held):
        rest = replace(setting, left_alone=frozenset(reason.trainee_ref for reason in held))
        judged.connection.close()
        return replace(_judged(request, rest, progress, storing=storing), held=held)

    def outcome(status: Status, snapshot: int | None = None) -> IntakeOutcome:
        unchanged = [part.shown for part in judged.parts if part.shown not in changing]
        return IntakeOutcome(
            status,
            findings=judged.findings(ids, name_cases=request.name_cases),
            receipts=receipts,
            held=held,
            unchanged=list(dict.fromkeys(unchanged)),
            snapshot=snapshot,
            questions=judged.questions,
            changes=changes(judged),
            counts=counts(judged) if request.with_counts and not storing else [],
        )

    left_out = any(sum(receipt["left_out"].values()) for receipt in receipts)
    if held and not setting.accepted_by:
        return outcome("held")
    if any(_nothing_accepted(receipts, kind) for kind in judged.kinds):
        return outcome("nothing_accepted")
    if left_out and (request.strict or not storing):
        return outcome("left_out")
    if not parts:
        return outcome("unchanged")
    if not storing:
        return outcome("sound")
    result = outcome("stored", setting.manifest.snapshot + 1)
    _store_and_publish(judged, request, parts, ids, receipts, progress)
    return result


def _somebody_is_left(judged: Judged, held: list[Reason]) -> bool:
    """Whether some are held, nothing is asked about the files as a whole, and somebody is not held."""
    refs = {reason.trainee_ref for reason in held}
    named = {balance.trainee_ref for balances in judged.balances.values() for balance in balances}
    return bool(refs) and "" not in refs and not judged.setting.accepted_by and bool(named - refs)


def _nothing_accepted(receipts: list[Receipt], kind: Kind) -> bool:
    of_kind = [receipt for receipt in receipts if receipt["kind"] == kind.name]
    judged_rows = sum(receipt["rows"] - receipt["held_back"] for receipt in of_kind)
    return judged_rows > 0 and not any(receipt["accepted"] for receipt in of_kind)


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
        "mapping": store.mapping_hash(request.source),
    }
    by_number = dict(zip((part.number for part in judged.parts), receipts, strict=True))
    for sha256 in dict.fromkeys(part.sha256 for part in parts):
        of_file = [part for part in parts if part.sha256 == sha256]
        folder = store.work / ids[sha256]
        header["parts"] = [{**by_number[part.number], "file_name": part.stored_as} for part in of_file]
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
                    intakes=[*(replacement.staying(judged, kind, before) if before else []), *new],
                    unaccepted=_unaccepted_after(judged, kind, trainee_ref),
                )
            )
    return lines


def _unaccepted_after(judged: Judged, kind: Kind, trainee_ref: str) -> int:
    if kind is not CASES or judged.setting.accepted_by:
        return 0
    balance = next(each for each in judged.balances[kind.name] if each.trainee_ref == trainee_ref)
    return replacement.unaccepted(judged.setting)(trainee_ref) + balance.kept + balance.withdrawn


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
            f"select {', '.join(FINDING_SCHEMA.names)} from stored_finding where stored"
            " and list_contains(?::integer[], sheet_number) order by sheet_number, source_row, column_name, rule",
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
    """What changed field by field; a row kept stands with the file that holds its copy, a row withdrawn with the first.

    The first that names its trainee; a review that moved away stands with the first file, which need not name its trainee.
    """
    copy = (
        f"select {replacement.shown_key(kind)} as key, trainee_ref, sheet_number as copy_number from cases.kept_key"
        if kind is CASES
        else "select null as key, null as trainee_ref, null as copy_number where false"
    )
    return (
        "select trainee_ref, change.kind, key, change, field, before, after"
        f" from ({replacement.changes_query(kind)}) as change"
        f" left join (select row_id, sheet_number from {kind.name}.seat) as seat using (row_id)"
        f" left join (select trainee_ref, min(sheet_number) as first_number from {kind.name}.seat group by trainee_ref)"
        f" as first_seat using (trainee_ref) left join ({copy}) as copy using (trainee_ref, key)"
        " where list_contains(?::integer[], coalesce(sheet_number, copy_number, first_number,"
        f" (select min(sheet_number) from {kind.name}.seat)))"
        " order by trainee_ref, key, field"
    )
