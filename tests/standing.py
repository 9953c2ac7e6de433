"""A small store that stands while something happens to it, and whether it still stands as it did."""

from __future__ import annotations

import shutil
from pathlib import Path

from pipelines.store.store import Store, file_hash
from tests.stores import new_store, rows_of, run_well, write_csv

ROSTER = """\
trainee_ref,cohort,started,expected_completion
T01,2026-27,2024-07,2027-06
T02,2026-27,2024-07,2027-06
"""
EARLIER = """\
case_ref,trainee_ref,operated_on,procedure,role,complications
C001,T01,2025-01-14,phaco_iol,surgeon,none
C002,T01,2025-02-18,phaco_iol,surgeon,capsule_rupture
C003,T02,2025-03-11,phaco_iol,assistant,none
"""
LATER = """\
case_ref,trainee_ref,operated_on,procedure,role,complications
C001,T01,2025-01-14,phaco_iol,surgeon,none
C002,T01,2025-02-18,phaco_iol,surgeon,capsule_rupture
C004,T01,2025-04-22,phaco_iol,surgeon,none
C005,T01,2025-05-20,yag_capsulotomy,surgeon,none
"""
VIEWS = ("case_credit", "case_volume", "complication_rate", "supervision_mix", "finding")
Rows = dict[str, list[dict[str, str]]]


def standing_store(folder: Path) -> Path:
    """A store with the roster and the earlier cases, in snapshot 2."""
    store = new_store(folder)
    roster = write_csv(folder / "roster.csv", ROSTER)
    cases = write_csv(folder / "cases.csv", EARLIER)
    run_well("intake", roster, cases, "--store", store)
    return store


def later_cases(folder: Path) -> Path:
    """An export that brings two more cases of T01."""
    return write_csv(folder / "cases-later.csv", LATER)


def copy_of(store: Path, folder: Path, name: str = "store") -> Path:
    copy = folder / name
    shutil.rmtree(copy, ignore_errors=True)
    shutil.copytree(store, copy)
    return copy


def written_by_hand(store: Path) -> None:
    """Let the live manifest vouch for the database as it is now, which a test has changed."""
    it = Store(store)
    manifest = it.current()
    manifest.hashes.database = file_hash(it.database(manifest.snapshot))
    (store / "snapshots" / manifest.file_name).write_text(manifest.text(), encoding="utf-8")


def published(store: Path) -> Rows:
    """Every row of the views that these cases reach."""
    return {view: rows_of(store, view) for view in VIEWS}


def content(store: Path) -> dict[str, bytes]:
    """Every file of a store but the writer's own: the text of the lock and the scratch folder."""
    files = {path.relative_to(store).as_posix(): path for path in store.rglob("*") if path.is_file()}
    own = ("writer.lock", ".work/")
    return {name: path.read_bytes() for name, path in files.items() if not name.startswith(own)}


def leftovers(store: Path) -> list[str]:
    """Everything in the store that the manifests up to the live one do not account for."""
    opened = Store(store)
    manifests = opened.manifests()
    snapshots = {each.file_name for each in manifests} | {
        opened.database(each.snapshot).name for each in manifests
    }
    intakes = {intake_id for each in manifests for intake_id in each.intakes()}
    fixed = {
        "programme.yaml", "specialty.yaml", "access.yaml", "CURRENT", "writer.lock",
        "intake", "journal", "snapshots", ".work",
    }  # fmt: skip
    found = [path for path in store.iterdir() if path.name not in fixed]
    found += [path for path in (store / "snapshots").iterdir() if path.name not in snapshots]
    found += [path for path in (store / "intake").iterdir() if path.name not in intakes]
    found += (store / ".work").iterdir()
    return sorted(path.relative_to(store).as_posix() for path in found)
