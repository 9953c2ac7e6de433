"""Trying changes nothing and says what would change; what was taken can be undone, and that can be undone too."""

from __future__ import annotations

import datetime
from pathlib import Path

import pytest

from pipelines.files.reading import read_export
from pipelines.intake.replacement import Change
from pipelines.intake.take import IntakeOutcome, IntakeRequest, try_out
from pipelines.intake.trying import Count
from pipelines.store.store import Store
from tests.drawn_exports import Desk, desk, log, roster_store
from tests.stores import new_store, read_csv, run, run_well, set_programme, write_csv

pytestmark = pytest.mark.usefixtures("builds_of_the_log")

__all__ = ["desk", "roster_store"]

VIEWS = ("case_volume", "case_credit", "complication_rate", "finding")


def published(desk: Desk) -> list[str]:
    return [run_well("show", view, "--store", desk.store, "--format", "csv").out for view in VIEWS]


def tried(desk: Desk, *files: Path) -> IntakeOutcome:
    exports = [read_export(file, number) for number, file in enumerate(files, 1)]
    return try_out(Store(desk.store), IntakeRequest(exports, datetime.date.today(), with_counts=True))


# ---- trying


def test_a_trial_changes_no_byte_of_the_store_and_says_what_would_change_by_trainee(desk: Desk) -> None:
    cataract = {"supervisor_agreed": "yes"}
    desk.take(desk.file([*log(4, **cataract), *log(3, trainee="T02", **cataract)]))
    before = desk.everything()
    later = [
        *log(3, without=[1], **cataract),  # C001 and C004 would go
        *log(9, without=range(1, 8), operated_on="2026-05-09", **cataract),  # C008 and C009 are new
        *log(
            3, without=[1], trainee="T02", duration_min="40", **cataract
        ),  # C001 would go, C002 and C003 change
    ]
    outcome = tried(desk, desk.file(later))
    assert desk.everything() == before
    assert outcome.changes == [
        Change("T01", "cases", new=2, changed=0, unchanged=2, kept=0, gone=2, before=4, after=4,
               through_before="2026-03", through_after="2026-05"),
        Change("T02", "cases", new=0, changed=2, unchanged=0, kept=0, gone=1, before=3, after=2,
               through_before="2026-03", through_after="2026-03"),
    ]  # fmt: skip
    # T01 has 4 before and after; of T02 one of three goes. The minimum is the shipped one.
    assert outcome.counts == [Count("T02", "Cataract", before=3, after=2, minimum=86)]


def test_the_counts_of_a_trial_are_those_that_taking_it_publishes(desk: Desk) -> None:
    desk.take(desk.file(log(6)), "--source", "theatre")
    desk.take(desk.file([*log(5, procedure="chalazion_excision"), *log(2, trainee="T02")]))
    roster = desk.roster("trainee_ref | started\nT01 | 2026-04\nT02 | 2023-07")
    files = (roster, desk.file([*log(9, operated_on="2026-05-02"), *log(4, trainee="T02", role="assistant")]))
    accepted = {"accepted_by": "coordinator", "reason": "a test"}
    exports = [read_export(file, number) for number, file in enumerate(files, 1)]
    outcome = try_out(
        Store(desk.store), IntakeRequest(exports, datetime.date.today(), with_counts=True, **accepted)
    )

    def volumes() -> dict[tuple[str, str], int]:
        rows = desk.query(
            "select trainee_ref, requirement_title, counted_cases from case_volume"
        ).splitlines()
        return {(ref, title): int(count) for ref, title, count in (row.split(" | ") for row in rows)}

    before = volumes()
    desk.take(*files, "--accept-withdrawals", "--by", "coordinator", "--reason", "a test")
    after = volumes()
    different = {key: (before[key], after[key]) for key in after if before[key] != after[key]}
    assert different
    assert {
        (each.trainee_ref, each.requirement): (each.before, each.after) for each in outcome.counts
    } == different


# ---- undoing


def told(desk: Desk, *words: str) -> list[dict[str, str]]:
    return read_csv(
        write_csv(desk.folder / "told.csv", run_well(*words, "--store", desk.store, "--format", "csv").out)
    )


def test_undo_makes_what_was_live_before_the_last_intake_live_again_as_a_new_snapshot(desk: Desk) -> None:
    desk.take(desk.file(log(3), "march.csv"))
    before, live = published(desk), desk.manifest()["live"]
    april = desk.file([*log(5, duration_min="50"), *log(1, trainee="T02")], "april.csv")
    desk.take(april)
    after = published(desk)
    done = run_well("undo", "--store", desk.store)
    assert (desk.snapshot(), desk.manifest()["restores"]) == (4 + 1, 3)
    assert all(word in done.out for word in ("Snapshot 5 is live", "T01, T02", "april.csv", "march.csv"))
    assert (published(desk), desk.manifest()["live"]) == (before, live)

    # History and snapshots show it; who was not touched has no such line.
    last = told(desk, "history", "--trainee", "T01")[-1]
    assert [last[name] for name in ("snapshot", "kind", "change", "before", "after")] == [
        *("5", "cases", "undone", "4", "3")
    ]
    assert "undone" not in {row["change"] for row in told(desk, "history", "--trainee", "T03")}
    listed = [(row["snapshot"], row["new_intakes"], row["rows_as_in"]) for row in told(desk, "snapshots")]
    assert listed[2:] == [("3", "1", ""), ("4", "1", ""), ("5", "0", "3")]
    # A file that was undone is held when it comes again, like any that was replaced.
    assert desk.intake(april).code == 14

    # A second undo takes that back: nothing was lost. A build in between is no change, and settings stay as they are.
    run_well("undo", "--store", desk.store)
    assert published(desk) == after
    set_programme(desk.store, current_within_days=60)
    run_well("build", "--store", desk.store)
    run_well("undo", "--store", desk.store)
    assert published(desk) == before
    assert desk.query("select current_within_days from input.programme") == "60"

    # What would be live again must be what was written.
    damaged = desk.store / "intake" / desk.line()[0] / "receipt.json"
    run_well("undo", "--store", desk.store)
    text = damaged.read_bytes()
    damaged.write_bytes(text + b" ")
    assert run("undo", "--store", desk.store).code == 13
    damaged.write_bytes(text)


def test_of_a_store_without_rows_there_is_nothing_to_undo(tmp_path: Path) -> None:
    assert run("undo", "--store", new_store(tmp_path)).code == 2
