"""The commands that take exports: init, check, intake, build."""

from __future__ import annotations

import argparse
import csv
import datetime
import re
import shutil
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from pipelines.build import build as building
from pipelines.build.show import FORMATS
from pipelines.contract.errors import FileRefused, Held, WrongUsage
from pipelines.contract.findings import Finding
from pipelines.contract.formats import TRAINEES
from pipelines.files.reading import ExportFile, Part, read_export
from pipelines.intake.examination import Examination, Setting, examine
from pipelines.intake.holding import Reason
from pipelines.intake.receipts import part_receipt, receipt_text
from pipelines.intake.storing import intake_ids, lines_after, parts_that_change, reasons_to_hold, write_intake
from pipelines.specialty.load import load_specialty
from pipelines.specialty.sentences import rule_sentences
from pipelines.store.disk import refuse_no_folder
from pipelines.store.programme import Programme
from pipelines.store.store import Store, adopt_intake, init_store, writing

FINDING_COLUMNS = [
    "intake_id", "file_name", "source_row", "column_name", "rule",
    "trainee_ref", "severity", "message", "remedy", "data_through",
]  # fmt: skip
FIX_COLUMNS = ["file_name", "source_row", "column_name", "rule", "message", "remedy"]
ROWS_LEFT_OUT = 10


def progress(text: str) -> None:
    """Progress goes to stderr: stdout carries the answer alone."""
    print(text, file=sys.stderr, flush=True)


def init(root: Path, specialty: str, name: str) -> int:
    """Make an empty store with an empty snapshot."""
    store = init_store(root, specialty, name)
    try:
        with writing(store):
            building.build_and_publish(store, building.next_manifest(store, [], datetime.date.today()))
    except BaseException:
        shutil.rmtree(root)
        raise
    print(f"{root}: an empty store for {store.programme.title}, {store.specialty.title}.")
    progress(f"Next: python3 run.py intake ROSTER.csv CASES.csv … --store {root}")
    return 0


def build(root: Path) -> int:
    """Rebuild and audit the snapshot, also when nothing changed."""
    store = Store(root)
    with writing(store):
        _refuse_broken_access(store)
        _ = store.specialty
        manifest = building.next_manifest(store, store.current().live, datetime.date.today())
        building.build_and_publish(store, manifest)
    print(f"Snapshot {manifest.snapshot} is live.")
    return 0


def intake(arguments: argparse.Namespace) -> int:
    """Validate, store, build and publish the files of one command: all of them, or none."""
    store = Store(arguments.store)
    # The lock first: of several reasons to end, another writer comes before wrong usage.
    with writing(store):
        _check_usage(arguments)
        _refuse_broken_access(store)
        examination = examine(_each_once(_opened(arguments.files)), _setting(arguments, store), progress)
        print(receipt_text([part_receipt(examination, part) for part in examination.parts]))
        _write_fixes(examination, arguments.fixes)
        parts = parts_that_change(examination)
        held = reasons_to_hold(examination, parts)
        if held and not arguments.accept_withdrawals:
            raise Held(_held_text(held))
        if arguments.strict and examination.left_out_rows:
            progress("Rows were left out, and --strict was given: nothing was stored.")
            return ROWS_LEFT_OUT
        return _store_and_publish(arguments, store, examination, parts)


def _refuse_broken_access(store: Store) -> None:
    """Raises WrongUsage where access.yaml breaks its schema; the other two are judged where they are used."""
    _ = store.access


def _check_usage(arguments: argparse.Namespace) -> None:
    if not re.fullmatch(r"[A-Za-z0-9_-]{1,64}", arguments.source):
        raise WrongUsage("--source: use 1 to 64 letters, digits, _ or -.")
    if arguments.through and not re.fullmatch(r"\d{4}-(0[1-9]|1[0-2])", arguments.through):
        raise WrongUsage("--through: write YYYY-MM.")
    if arguments.through and arguments.through > f"{datetime.date.today():%Y-%m}":
        raise WrongUsage("--through: data cannot run through a month that has not come.")
    if arguments.accept_withdrawals and not (_says(arguments.by) and _says(arguments.reason)):
        raise WrongUsage("--accept-withdrawals needs --by WHO and --reason TEXT.")
    if arguments.fixes:
        refuse_no_folder("--fixes", arguments.fixes)


def _opened(files: Sequence[Path | ExportFile]) -> list[ExportFile]:
    """What is named is read; an upload is here already."""
    return [
        file if isinstance(file, ExportFile) else read_export(file, number)
        for number, file in enumerate(files, 1)
    ]


def _each_once(files: list[ExportFile]) -> list[ExportFile]:
    """The files without those that another of the same name repeats byte for byte."""
    once = list(dict.fromkeys(files))
    for _ in range(len(files) - len(once)):
        progress("A file was given twice; it is read once.")
    return once


def _says(text: str | None) -> bool:
    return bool(text and text.strip())


def _setting(arguments: argparse.Namespace, store: Store) -> Setting:
    return Setting(
        store.programme,
        store.specialty,
        datetime.date.today(),
        store,
        store.current(),
        arguments.source,
        arguments.append,
        arguments.through,
        arguments.by if arguments.accept_withdrawals else None,
    )


def _held_text(held: list[Reason]) -> str:
    lines = [f"    {reason.trainee_ref}: {reason.text}" for reason in held]
    return (
        "Held: something would vanish from a trainee's record, so nothing of this command was stored.\n"
        + "\n".join(lines)
        + "\nIf this is right: --accept-withdrawals --by WHO --reason TEXT"
    )


def _store_and_publish(
    arguments: argparse.Namespace, store: Store, examination: Examination, parts: list[Part]
) -> int:
    for name in {part.shown for part in examination.parts} - {part.shown for part in parts}:
        progress(f"{name} changes nothing: every live row, finding and month stays as it is.")
    if not parts:
        return 0
    ids = intake_ids(examination, store)
    snapshot = store.current().snapshot + 1
    progress(f"Storing, then building snapshot {snapshot} …")
    lines = lines_after(examination, parts, ids, snapshot)
    for sha256 in dict.fromkeys(part.sha256 for part in parts):
        of_file = [part for part in parts if part.sha256 == sha256]
        folder = store.work / ids[sha256]
        write_intake(examination, of_file, folder, ids[sha256], _header(arguments, of_file[0], snapshot))
        adopt_intake(store, folder, ids[sha256])
    examination.connection.close()
    manifest = building.next_manifest(store, store.current().with_lines(lines), datetime.date.today())
    building.build_and_publish(store, manifest)
    print(f"Snapshot {manifest.snapshot} is live.")
    return 0


def _header(arguments: argparse.Namespace, part: Part, snapshot: int) -> dict[str, Any]:
    return {
        "sha256": part.sha256,
        "taken_on": datetime.date.today().isoformat(),
        "snapshot": snapshot,
        "source": arguments.source,
        "mode": "append" if arguments.append else "replace",
        "through": arguments.through,
        "withdrawals_accepted_by": arguments.by if arguments.accept_withdrawals else None,
        "reason": arguments.reason if arguments.accept_withdrawals else None,
    }


def check(arguments: argparse.Namespace) -> int:
    """Validate and store nothing; ends as `intake --strict` would."""
    if not arguments.files:
        return _check_specialty(arguments)
    _check_usage(arguments)
    try:
        examination = examine(_each_once(_opened(arguments.files)), _setting_of_check(arguments), progress)
    except FileRefused as refusal:
        _print_findings(arguments.format, [_refused_row(each) for each in refusal.findings])
        return refusal.exit_code
    _print_findings(arguments.format, _finding_rows(examination))
    receipt = receipt_text([part_receipt(examination, part) for part in examination.parts])
    print(receipt, file=sys.stdout if arguments.format == "table" else sys.stderr)
    _write_fixes(examination, arguments.fixes)
    held = reasons_to_hold(examination, parts_that_change(examination))
    if held and not arguments.accept_withdrawals:
        progress(_held_text(held))
        return Held.exit_code
    return ROWS_LEFT_OUT if examination.left_out_rows else 0


def _check_specialty(arguments: argparse.Namespace) -> int:
    if not arguments.specialty:
        raise WrongUsage("check: name the files to check, or a specialty with --specialty.")
    print("\n".join(rule_sentences(load_specialty(arguments.specialty))))
    return 0


def _setting_of_check(arguments: argparse.Namespace) -> Setting:
    if not arguments.specialty:
        store = Store(arguments.store)
        _refuse_broken_access(store)
        return _setting(arguments, store)
    specialty = load_specialty(arguments.specialty)
    progress(
        f"No store is read: rules that need a roster are skipped unless a {TRAINEES.name} file is among the files."
    )
    return Setting(Programme(programme_ref="unnamed", title="No store"), specialty, datetime.date.today())


def _print_findings(form: str, rows: list[tuple[Any, ...]]) -> None:
    sys.stdout.write(FORMATS[form](FINDING_COLUMNS, rows))


def _refused_row(finding: Finding) -> tuple[Any, ...]:
    return tuple(getattr(finding, name, None) for name in FINDING_COLUMNS)


def _finding_rows(examination: Examination) -> list[tuple[Any, ...]]:
    ids = intake_ids(examination, examination.setting.store)
    by_number = {part.number: ids[part.sha256] for part in examination.parts}
    rows = examination.connection.execute(
        f"select sheet_number, {', '.join(FINDING_COLUMNS[1:-1])}, null from finding"
        " order by sheet_number, source_row nulls first, column_name nulls first, rule"
    ).fetchall()
    return [(by_number[row[0]], *row[1:]) for row in rows]


def _write_fixes(examination: Examination, folder: Path | None) -> None:
    """One list a trainee, for the person who keeps the log to mend it by."""
    if folder is None:
        return
    folder.mkdir(parents=True, exist_ok=True)
    rows = examination.connection.execute(
        f"select coalesce(trainee_ref, 'no-trainee'), {', '.join(FIX_COLUMNS)} from finding"
        " order by 1, sheet_number, source_row nulls first, column_name nulls first, rule"
    ).fetchall()
    for trainee_ref in dict.fromkeys(row[0] for row in rows):
        with (folder / f"{trainee_ref}-fixes.csv").open("w", encoding="utf-8", newline="") as file:
            writer = csv.writer(file, lineterminator="\n")
            writer.writerow(FIX_COLUMNS)
            writer.writerows(row[1:] for row in rows if row[0] == trainee_ref)
