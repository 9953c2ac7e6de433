"""The accreditation volume summary of one class: workbook, PDF, its lines as CSV, and a receipt that says from what."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

from pipelines.build.show import as_csv
from pipelines.contract.cautions import CAUTIONS, WHO_MAY_READ
from pipelines.contract.errors import WrongUsage
from pipelines.store.store import Store, refuse_no_folder, write_whole
from pipelines.summary.book import charts, cover, pages
from pipelines.summary.labels import one_line, read_labels
from pipelines.summary.lines import csv_rows
from pipelines.summary.pdf import pdf
from pipelines.summary.rows import Asked, Person, Summary, cohort_named, read_summary
from pipelines.summary.sheets import workbook
from pipelines.summary.since import Moment
from pipelines.summary.state import State
from pipelines.summary.words import CSV_NOTE, counted_through, sentences
from pipelines.version import VERSION

# What a spreadsheet may take for the beginning of a formula, or drop to find one.
BEGINS_A_FORMULA = ("=", "+", "-", "@", "\t", "\r")


@dataclass(frozen=True)
class Options:
    """Which snapshot (None: the live one), compared with which, cases through which month, names from where.

    `final_by` is who answers for the counts as final ones; without, the files are a draft.
    """

    snapshot: int | None = None
    since: int | None = None
    through: str | None = None
    labels: Path | None = None
    final_by: str | None = None


class Files(NamedTuple):
    """The files by their names, and what they are: `draft`, `provisional` or `final`, in sentences."""

    contents: dict[str, bytes]
    state: State
    said: list[str]


def write_summary(
    store: Store, programme_ref: str, cohort: str, out: Path, options: Options = Options()
) -> tuple[list[Path], Files]:
    """Write `volume-<cohort>.xlsx`, `.pdf`, `.csv` and `.json` into the folder `out`; returns their paths.

    They hold the people of the programme alone, of whatever programmes the store may hold. `cohort` is `2026-27`
    or `2027`, and the files are named as it is typed. Raises WrongUsage for a class, snapshot, month, folder or
    label file that is not there or not as it should be; nothing is written then.
    """
    _refuse_folder(store, out)
    files = summary_files(store, programme_ref, cohort, options)
    out.mkdir(parents=True, exist_ok=True)
    for name, content in files.contents.items():
        write_whole(out / name, content)
    return [out / name for name in files.contents], files


def summary_files(store: Store, programme_ref: str, cohort: str, options: Options = Options()) -> Files:
    """The same snapshot, options and labels give the same bytes."""
    labels = read_labels(options.labels) if options.labels else {}
    summary = _read(store, programme_ref, cohort, options)
    made = {
        "xlsx": workbook(cover(summary), pages(summary, labels)),
        "pdf": pdf(cover(summary), pages(summary, labels), charts(summary)),
        "csv": csv_text(summary, labels).encode(),
    }
    files = {f"volume-{cohort}.{suffix}": content for suffix, content in made.items()}
    receipt = json.dumps(_receipt(summary, files, with_names=bool(labels)), indent=1, ensure_ascii=False)
    contents = files | {f"volume-{cohort}.json": f"{receipt}\n".encode()}
    return Files(contents, summary.state, sentences(summary))


def short_cohort(cohort: str) -> str:
    """`2027` of `2026-27`: as a class is typed for the command, and its files are named."""
    return str(int(cohort[:4]) + 1)


def _read(store: Store, programme_ref: str, cohort: str, options: Options) -> Summary:
    number = store.current().snapshot if options.snapshot is None else options.snapshot
    if options.through is not None and not re.fullmatch(r"\d{4}-(0[1-9]|1[0-2])", options.through):
        raise WrongUsage("--through: write YYYY-MM.")
    if options.since is not None and options.since >= number:
        raise WrongUsage(
            f"--since {options.since}: give a snapshot before snapshot {number}, which is summed up here."
        )
    final_by = None if options.final_by is None else one_line(options.final_by)
    if final_by == "":
        raise WrongUsage("--final: say with --by who answers for the counts.")
    asked = Asked(cohort_named(cohort), programme_ref, options.through, options.since, final_by)
    return read_summary(store, number, asked)


def _refuse_folder(store: Store, out: Path) -> None:
    refuse_no_folder("--out", out)
    if out.resolve().is_relative_to(store.root.resolve()):
        raise WrongUsage("--out: the store holds nothing that people send on. Give a folder outside it.")


def csv_text(summary: Summary, labels: Mapping[str, str]) -> str:
    """The lines of the class as `show volume_summary` prints them, no text readable as a formula."""
    columns, rows = csv_rows(summary, labels)
    return "".join(as_csv(columns, [tuple(map(plain_cell, row)) for row in rows]))


def plain_cell(value: object) -> object:
    """A text that a spreadsheet could take for a formula gets an apostrophe; a number stays a number."""
    return f"'{value}" if isinstance(value, str) and value.startswith(BEGINS_A_FORMULA) else value


def _receipt(summary: Summary, files: Mapping[str, bytes], *, with_names: bool) -> dict[str, Any]:
    """What the files were made from; names of trainees are never in it."""
    return {
        "file": "accreditation volume summary",
        "state": summary.state.name,
        "answered_for_by": summary.state.by,
        "says": sentences(summary),
        "version": VERSION,
        "cohort": summary.asked.cohort,
        "programme": summary.programme,
        "programme_ref": summary.asked.programme_ref,
        "specialty": summary.specialty,
        "made_up": summary.made_up,
        **_source(summary.moment),
        "since": _source(summary.earlier.moment) if summary.earlier else None,
        "through": summary.asked.through,
        "labels": with_names,
        "trainees": [_person(person) for person in summary.people],
        "rows": len(summary.lines),
        "files": {name: hashlib.sha256(content).hexdigest() for name, content in files.items()},
        "notes": [note for note in (counted_through(summary), CSV_NOTE) if note],
        "who_may_read": WHO_MAY_READ,
        "cautions": list(CAUTIONS),
    }


def _person(person: Person) -> dict[str, Any]:
    return {
        "trainee_ref": person.trainee_ref,
        "data_through": person.data_through,
        "is_current": person.is_current,
        "completed": person.completed,
        "left": person.left,
    }


def _source(moment: Moment) -> dict[str, Any]:
    manifest = moment.manifest
    return {
        "snapshot": manifest.snapshot,
        "as_of": manifest.as_of,
        "snapshot_version": manifest.version,
        "hashes": manifest.hashes.model_dump(),
        "journal": manifest.journal.model_dump(),
        "intakes": moment.intakes,
    }
