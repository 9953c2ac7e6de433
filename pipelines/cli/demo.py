"""The demo: a store of a made-up programme, its cohort printed, its dashboard opened."""

from __future__ import annotations

import contextlib
import datetime
import fcntl
import hashlib
import os
import shutil
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from pipelines.build.build import CALIBRATIONS
from pipelines.cli.cohort_text import cohort_text
from pipelines.cli.commands import progress
from pipelines.contract.errors import UserError
from pipelines.files.reading import read_export
from pipelines.intake.take import IntakeRequest, take
from pipelines.specialty.load import specialty_text
from pipelines.store.documents import yaml_text
from pipelines.store.store import Store, init_store
from pipelines.summary.files import write_summary

CHECKOUT = Path(__file__).parents[2]
FOLDER = CHECKOUT / ".demo"
SEED = CHECKOUT / "seed_data"
CALIBRATION = SEED / "calibration"
MADE_FROM = ("pipelines", "sql", "seed_data")
SUMMARY_OF = "2027"
AS_OF = datetime.date(2026, 11, 15)


class Demo(NamedTuple):
    """A made-up programme: what it is called, and where its exports and its store lie."""

    specialty: str
    title: str
    programme_ref: str
    exports: Path
    calibration: Path | None
    folder: Path


DEMOS = {
    each.specialty: each
    for each in (
        Demo(
            "ophthalmology",
            "Saltmarsh Eye Residency",
            "saltmarsh-eye",
            SEED / "exports",
            CALIBRATION,
            FOLDER,
        ),
        Demo(
            "general_surgery",
            "Windmill Hill General Surgery Residency",
            "windmill-hill-surgery",
            SEED / "surgery_exports",
            None,
            FOLDER / "general_surgery",
        ),
    )
}
FIRST = "ophthalmology"


def run(serve: bool, specialty: str = FIRST) -> int:
    """Build the demo store where it is not up to date, print the cohort, and open the dashboard if asked."""
    demo = DEMOS[specialty]
    with _one_at_a_time():
        if not _up_to_date(demo):
            _make(demo)
    store = Store(demo.folder / "store")
    print(cohort_text(store))
    if not serve:
        paths, _ = write_summary(store, store.programme.programme_ref, SUMMARY_OF, demo.folder)
        for path in paths:
            print(f"Volume summary: {path.relative_to(CHECKOUT)}")
        return 0
    sys.stdout.flush()
    # The dashboard reads what pipelines made, never the other way round: it takes this process over.
    return os.execv(
        sys.executable, [sys.executable, "-P", "-m", "dashboard", "--demo", "--store", str(store.root)]
    )


@contextlib.contextmanager
def _one_at_a_time() -> Iterator[None]:
    FOLDER.mkdir(exist_ok=True)
    with (FOLDER / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield


def _up_to_date(demo: Demo) -> bool:
    made_from = demo.folder / "made-from"
    return (
        made_from.is_file() and made_from.read_text() == _fingerprint() and (demo.folder / "store").is_dir()
    )


def _fingerprint() -> str:
    """Changes when the seed data or any code that makes the store changes."""
    digest = hashlib.sha256()
    for folder in MADE_FROM:
        for path in sorted((CHECKOUT / folder).rglob("*")):
            if path.suffix in (".py", ".sql", ".yaml", ".csv", ".json") and "awkward" not in path.parts:
                digest.update(str(path.relative_to(CHECKOUT)).encode() + path.read_bytes())
    return digest.hexdigest()


def _make(demo: Demo) -> None:
    print("Making the demo store from seed_data …", file=sys.stderr)
    demo.folder.mkdir(exist_ok=True)
    root = demo.folder / "store"
    shutil.rmtree(root, ignore_errors=True)
    (demo.folder / "made-from").unlink(missing_ok=True)
    make_store(root, demo.specialty)
    (demo.folder / "made-from").write_text(_fingerprint())


def make_store(root: Path, specialty: str = FIRST) -> Store:
    """The demo's store in a new folder, with the calibration that is kept beside the exports, where there is one."""
    demo = DEMOS[specialty]
    store = init_store(root, specialty_text(demo.specialty), demo.title)
    settings = store.programme.model_copy(
        update={
            "programme_ref": demo.programme_ref,
            "as_of": AS_OF,
            "demo": True,
            "basis": "Made-up data; nobody is in it.",
        }
    )
    (root / "programme.yaml").write_text(yaml_text(settings), encoding="utf-8")
    if demo.calibration is not None:
        shutil.copytree(demo.calibration, root / CALIBRATIONS)
    files = [read_export(path, number) for number, path in enumerate(sorted(demo.exports.glob("*.csv")), 1)]
    outcome = take(store, IntakeRequest(files, datetime.date.today()), progress)
    if outcome.status != "stored":
        raise UserError(f"The demo store could not be made: its exports are {outcome.status}.")
    return store
