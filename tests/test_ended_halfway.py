"""An intake may end at any moment: what is live stays live, and the next writer finds order."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from pipelines.build import build as definitions
from pipelines.intake import suite
from pipelines.store.store import Store
from tests.killing import killer
from tests.standing import copy_of, later_cases, leftovers, published, standing_store
from tests.stores import run, run_well, write_csv

pytestmark = pytest.mark.usefixtures("builds_of_the_log")


@pytest.fixture(scope="module")
def standing(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return standing_store(tmp_path_factory.mktemp("standing"))


def test_an_intake_killed_at_any_moment_leaves_old_or_new_and_the_next_one_works(
    standing: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = later_cases(tmp_path)
    # Other tests see to the suite; it runs in the process that is killed, and need not in this one.
    monkeypatch.setattr(suite, "validate", lambda *_: {})
    finished = copy_of(standing, tmp_path, "finished")
    run_well("intake", file, "--store", finished)
    old, new = published(standing), published(finished)
    after, ended, found = 0.0, -signal.SIGKILL, 0
    with killer() as killed:
        while ended == -signal.SIGKILL:
            store = copy_of(standing, tmp_path)
            ended = killed(["intake", file, "--store", store], after)
            swapped = (store / "CURRENT").read_text() == "snap-000003.json\n"
            found += bool(leftovers(store))
            assert published(store) == (new if swapped else old)
            run_well("intake", file, "--store", store)
            assert published(store) == new
            assert leftovers(store) == []
            after = after * 2.2 + 0.03
    assert (ended, swapped) == (0, True)
    # Some kill must have hit it in the middle, else this has shown nothing.
    assert found


class Killed(BaseException):
    """Stands for the end of the process at one step."""


STEPS = ("rename", "replace", "fsync", "chmod")


def test_an_intake_ended_at_any_step_leaves_old_or_new_and_the_next_writer_works(
    standing: Path, tmp_path: Path
) -> None:
    file = write_csv(tmp_path / "training.csv", "trainee_ref,from,kind,value\nT01,2024-07,stage,first_year\n")
    finished = copy_of(standing, tmp_path, "finished")
    run_well("intake", file, "--store", finished)
    old, new = published(standing), published(finished)
    last, met = 0, set[tuple[object, ...]]()
    while True:
        store = copy_of(standing, tmp_path)
        if not ended_at_step(last, "intake", file, "--store", store):
            break
        swapped = (store / "CURRENT").read_text() == "snap-000003.json\n"
        assert published(store) == (new if swapped else old), last
        # What the next writer meets is the same after several steps: the file of the store says what was left.
        left = (swapped, *leftovers(store))
        if left not in met:
            run_well("build", "--store", store)
            assert published(store) == (new if swapped else old), last
            assert leftovers(store) == []
        met.add(left)
        last += 1
    # At least: two files of the intake, its folder, its rename; database, manifest and CURRENT of the snapshot.
    assert last >= 12


def ended_at_step(number: int, *argv: object) -> bool:
    """Runs a command that ends at its nth step on the disk; whether it came so far."""
    taken = 0

    def counted(step: Callable[..., Any]) -> Callable[..., Any]:
        def stands_in(*words: Any, **options: Any) -> Any:
            nonlocal taken
            if taken == number:
                raise Killed
            taken += 1
            return step(*words, **options)

        return stands_in

    with pytest.MonkeyPatch.context() as patch:
        # Other tests see to the suite; here it would only take its time, at every step.
        patch.setattr(suite, "validate", lambda *_: {})
        for name in STEPS:
            patch.setattr(os, name, counted(getattr(os, name)))
        try:
            run_well(*argv)
        except Killed:
            return True
    return False


def test_the_next_writer_removes_what_no_manifest_names(standing: Path, tmp_path: Path) -> None:
    store = copy_of(standing, tmp_path)
    before = published(store)
    snapshots = store / "snapshots"
    strays = [
        store / "intake" / "0000-1" / "cases" / "T01.parquet",
        store / "intake" / ".DS_Store",
        store / ".work" / "deep" / "snapshot.duckdb",
        snapshots / "snap-000009.duckdb",
        snapshots / "snap-000002.duckdb.wal",
        snapshots / ".snap-000003.json.new",
        snapshots / "notes.json",
        store / ".CURRENT.new",
    ]
    for path in strays:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(b"left behind")
    assert published(store) == before
    run_well("build", "--store", store)
    assert [path for path in strays if path.exists()] == []
    assert leftovers(store) == []
    assert published(store) == before


def test_a_manifest_that_current_does_not_name_counts_for_nothing(standing: Path, tmp_path: Path) -> None:
    store = copy_of(standing, tmp_path)
    before = published(store)
    live = Store(store).current()
    unborn = live.model_copy(update={"snapshot": 3, "live": []})
    (store / "snapshots" / unborn.file_name).write_text(unborn.text())
    assert published(store) == before
    assert [each.snapshot for each in Store(store).manifests()] == [0, 1, 2]
    assert "3" not in [line.split()[0] for line in run_well("snapshots", "--store", store).out.splitlines()]
    run_well("build", "--store", store)
    assert Store(store).current().snapshot == 3
    assert Store(store).current().live == live.live
    assert published(store) == before


def test_a_failed_audit_ends_with_13_and_changes_nothing(
    standing: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    store = copy_of(standing, tmp_path)
    before = published(store)
    file = later_cases(tmp_path)
    with monkeypatch.context() as patch:
        patch.setattr(definitions, "audit", lambda _: [("900_case_record_audit.sql", [("an offence",)])])
        result = run("intake", file, "--store", store)
    assert result.code == 13
    assert "900_case_record_audit.sql" in result.err
    assert published(store) == before
    run_well("intake", file, "--store", store)
    assert leftovers(store) == []
