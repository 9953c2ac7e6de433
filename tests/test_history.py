"""What each intake changed, the snapshots there are, and what a snapshot is made from."""

from __future__ import annotations

import csv
import datetime
import io
import json
import shutil
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from pipelines.cli import commands
from tests.drawn import drawn
from tests.drawn_exports import Desk, desk, log, roster_store
from tests.stores import run, run_well, set_programme

pytestmark = pytest.mark.usefixtures("builds_of_the_log")

__all__ = ["desk", "roster_store"]

VIEWS = ("case_credit", "case_volume", "complication_rate", "supervision_mix", "finding")


def told(store: Path, *command: object) -> list[dict[str, str]]:
    result = run_well(*command, "--store", store, "--format", "csv")
    return list(csv.DictReader(io.StringIO(result.out)))


def history(desk: Desk, trainee: str = "T01") -> list[dict[str, str]]:
    return told(desk.store, "history", "--trainee", trainee)


def drawing(rows: list[dict[str, str]], *columns: str) -> str:
    return "\n".join(" | ".join(row[name] for name in columns).strip() for row in rows)


def published(desk: Desk) -> dict[str, str]:
    return {view: run_well("show", view, "--store", desk.store, "--format", "csv").out for view in VIEWS}


# ---- history


FIRST = """
    case_ref | role      | duration_min | complications   | operated_on
    ---------+-----------+--------------+-----------------+------------
    C001     | surgeon   | 41           |                 | 2026-03-02
    C002     | surgeon   | 42           | capsule_rupture | 2026-03-02
    C003     | assistant | 43           |                 | 2026-03-02
    C004     | surgeon   | 44           |                 | 2026-03-02
"""
SECOND = """
    case_ref | role      | duration_min | complications                 | operated_on
    ---------+-----------+--------------+-------------------------------+------------
    C001     | assistant | 51           |                               | 2026-02-02
    C002     | surgeon   | 42           | capsule_rupture;vitreous_loss | 2026-03-02
    C003     | assistant | much         |                               | 2026-03-02
    C005     | surgeon   | 45           |                               | 2026-03-02
"""


def test_history_lists_what_each_intake_changed_field_by_field(desk: Desk) -> None:
    desk.take(desk.file(FIRST, "march.csv"))
    desk.take(desk.file(SECOND, "april.csv"))
    cases = [row for row in history(desk) if row["kind"] == "cases"]
    assert drawing(cases, "file_name", "change", "before", "after") == drawn("""
        march.csv | 4 added                                 | 0 | 4
        april.csv | 1 added, 2 changed, 1 kept, 1 withdrawn | 4 | 4
        april.csv | changed   | 41.0            | 51.0
        april.csv | changed   | 2026-03         | 2026-02
        april.csv | changed   | surgeon         | assistant
        april.csv | changed   | capsule_rupture | capsule_rupture;vitreous_loss
        april.csv | kept      |                 |
        april.csv | withdrawn |                 |
    """)
    assert drawing(cases[2:], "key", "field") == drawn("""
        C001 phaco_iol | duration_min
        C001 phaco_iol | operated_month
        C001 phaco_iol | role
        C002 phaco_iol | complications
        C003 phaco_iol |
        C004 phaco_iol |
    """)
    assert [row["snapshot"] for row in cases[:2]] == ["3", "4"]
    # A replaced intake stays in the history.
    assert len({row["intake_id"] for row in cases}) == 2


def test_a_withdrawn_row_of_an_export_in_two_files_is_listed_once(desk: Desk) -> None:
    desk.take(desk.file(log(3)))
    desk.take(desk.file(log(1), "one.csv"), desk.file(log(2, without=[1]), "two.csv"))
    gone = [row for row in history(desk) if row["change"] == "withdrawn"]
    assert drawing(gone, "file_name", "key") == drawn("one.csv | C003 phaco_iol")


def test_history_tells_of_rosters_and_of_one_person_alone(desk: Desk) -> None:
    desk.take(desk.file([*log(1), *log(2, trainee="T02")]))
    desk.take(desk.roster("trainee_ref | cohort\nT02 | 2025-26"))
    rows = [row for row in history(desk, "T02") if row["field"] == "cohort"]
    assert drawing(rows, "kind", "before", "after") == drawn("trainees | 2026-27 | 2025-26")
    assert [row["kind"] for row in history(desk)] == ["trainees", "cases"]


def test_a_trainee_whom_no_intake_names_has_no_history(desk: Desk) -> None:
    assert run("history", "--trainee", "T77", "--store", desk.store).code == 2


# ---- manifests, snapshots, intakes on disk


def databases(desk: Desk) -> list[str]:
    return sorted(path.stem for path in (desk.store / "snapshots").glob("*.duckdb"))


def test_a_replaced_intake_stays_on_disk_and_in_the_older_manifests_but_not_in_the_live_one(
    desk: Desk,
) -> None:
    desk.take(desk.file(log(2)))
    (old,) = desk.line()
    desk.take(desk.file(log(3)))
    (new,) = desk.line()
    # The next writer removes what no kept manifest names: this intake is not among it.
    run_well("build", "--store", desk.store)
    live = {entry["intake_id"] for line in desk.manifest()["live"] for entry in line["intakes"]}
    assert new in live
    assert old not in live
    assert len(desk.stored(old)) == 2
    manifests = sorted((desk.store / "snapshots").glob("*.json"))
    named = {
        entry["intake_id"]
        for path in manifests
        for line in json.loads(path.read_text(encoding="utf-8"))["live"]
        for entry in line["intakes"]
    }
    assert named == {path.name for path in (desk.store / "intake").iterdir()} >= {old, new}


def test_databases_beyond_five_are_pruned_and_manifests_never(desk: Desk) -> None:
    for _ in range(5):
        run_well("build", "--store", desk.store)
    assert databases(desk) == [f"snap-{number:06d}" for number in range(3, 8)]
    # 0 is the store before its first snapshot.
    manifests = sorted(path.stem for path in (desk.store / "snapshots").glob("*.json"))
    assert manifests == [f"snap-{number:06d}" for number in range(8)]
    listed = told(desk.store, "snapshots")
    assert drawing(listed, "snapshot", "database_kept", "is_live", "new_intakes") == drawn("""
        1 | false | false | 0
        2 | false | false | 1
        3 | true  | false | 0
        4 | true  | false | 0
        5 | true  | false | 0
        6 | true  | false | 0
        7 | true  | true  | 0
    """)


def test_build_makes_a_new_snapshot_with_equal_rows_of_every_published_view(desk: Desk) -> None:
    desk.take(desk.file(FIRST))
    desk.take(desk.file(SECOND))
    before, rows = desk.snapshot(), published(desk)
    run_well("build", "--store", desk.store)
    assert desk.snapshot() == before + 1
    assert published(desk) == rows
    assert all(len(text.splitlines()) > 1 for text in rows.values())


def test_the_same_inputs_give_the_same_rows_in_two_stores(desk: Desk, tmp_path: Path) -> None:
    shutil.copytree(desk.store, tmp_path / "second")
    second = Desk(tmp_path / "second", tmp_path)
    for drawn_export in (FIRST, SECOND):
        path = desk.file(drawn_export)
        desk.take(path)
        second.take(path)
    assert published(second) == published(desk)


# ---- the day as of which


def fixed_day(day: str) -> SimpleNamespace:
    """The module datetime with another day for today."""

    class Date(datetime.date):
        @classmethod
        def today(cls) -> Date:
            return cls.fromisoformat(day)

    return SimpleNamespace(date=Date)


def take_on(monkeypatch: pytest.MonkeyPatch, day: str, desk: Desk, *words: Any) -> None:
    monkeypatch.setattr(commands, "datetime", fixed_day(day))
    desk.take(*words)


def test_as_of_is_the_day_of_the_newest_live_intake_unless_a_setting_says_otherwise(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    take_on(monkeypatch, "2031-03-05", desk, desk.file(log(1)))
    assert desk.manifest()["as_of"] == "2031-03-05"
    # Neither a later build nor an export that changes nothing moves it.
    monkeypatch.setattr(commands, "datetime", fixed_day("2031-04-01"))
    run_well("build", "--store", desk.store)
    assert desk.manifest()["as_of"] == "2031-03-05"
    take_on(monkeypatch, "2031-05-01", desk, desk.file(log(1, trainee="T02")))
    assert told(desk.store, "snapshots")[-1]["as_of"] == "2031-05-01"
    # 30 April 2026 + 45 days lies before it: nobody is current.
    assert desk.query("select bool_or(is_current) from trainee") == "false"

    set_programme(desk.store, as_of="2026-05-15")
    run_well("build", "--store", desk.store)
    assert desk.manifest()["as_of"] == "2026-05-15"
    # 31 March + 45 days is 15 May; T03 has no data at all.
    current = "select trainee_ref, is_current from trainee order by 1"
    assert desk.query(current) == drawn("T01 | true\nT02 | true\nT03 | false")
    set_programme(desk.store, as_of="2026-05-16")
    run_well("build", "--store", desk.store)
    assert desk.query("select bool_or(is_current) from trainee") == "false"
