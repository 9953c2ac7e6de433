"""Every file in use accounts for its rows: against a plain count over the files, and with each number made wrong in turn."""

from __future__ import annotations

import json
import random
import shutil
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import duckdb
import pyarrow.parquet as pq
import pytest

from pipelines.build import build as building
from pipelines.store.documents import Manifest
from pipelines.store.store import Store, file_hash, files_written
from tests.drawn import Db
from tests.drawn_exports import Desk, log
from tests.some_sql import builds_of
from tests.stores import new_store, run
from tests.test_receipts import ACCEPT, Live, Row, as_cells, random_export, told

LIVE = ("live_before", "added", "unchanged", "changed", "kept", "withdrawn", "live_after")


def offences(con: Db) -> list[tuple[Any, ...]]:
    """What the audit finds in the account as it is now."""
    con.execute("create or replace table main.reconciliation as from definition.reconciliation")
    (path,) = building.SQL.glob("9*_reconciliation_audit.sql")
    return con.execute(path.read_text(encoding="utf-8")).fetchall()


@pytest.fixture(scope="module", autouse=True)
def _builds_make_the_account_alone() -> Iterator[None]:
    with builds_of("reconciliation"):
        yield


def opened(store: Path) -> Db:
    """The store's live intakes in a database in memory, with the tables and the view of the account."""
    it = Store(store)
    db = duckdb.connect(config={"threads": 2})
    building.load_input(db, it, it.current())
    building.make_views(db)
    return db


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Desk:
    folder = tmp_path_factory.mktemp("account")
    desk = Desk(new_store(folder), folder)
    desk.take(desk.roster("trainee_ref\nT01\nT02\nT03"))
    return desk


def _outcomes(*said: str) -> list[dict[str, str]]:
    """What an audit says of some operations, such as "C001 no"."""
    columns = ("case_ref", "occurred", "complication", "day", "source")
    return [dict(zip(columns, (*each.split(), "capsule_rupture", "", "audit"), strict=True)) for each in said]


@pytest.fixture(scope="module")
def full(desk: Desk) -> Desk:
    """Every term above 0: rows left out, held back, changed, kept, withdrawn, added; of a log that is added to, untouched."""
    ours = Desk(shutil.copytree(desk.store, desk.folder / "full"), desk.folder / "files")
    ours.take(ours.file([*log(9), *log(4, trainee="T02"), {"case_ref": "C1"}]))
    later = [
        *log(4, duration_min="50"),
        *log(6, without=[1, 2, 3, 4]),
        {"case_ref": "C007", "role": "surgoen"},
        {"case_ref": "C020"},
        {"case_ref": "C021", "trainee_ref": "T99"},
        {"case_ref": "C022", "trainee_ref": ""},
    ]
    ours.take(ours.file(later), *ACCEPT)
    ours.take(
        ours.file([*log(1, trainee="T02", duration_min="9"), {"case_ref": "C030", "trainee_ref": "T02"}]),
        "--append",
    )
    ours.take(ours.training("from | kind | value\n2024-07 | leave |\n2024-09 | rotation | retina"))
    ours.take(ours.training("from | kind | value\n2024-09 | rotation | cornea\n2025-01 | leave |"))
    ours.take(ours.file(_outcomes("C001 no", "C009 yes"), "audit.csv", {}))
    ours.take(ours.file(_outcomes("C001 yes", "C030 no", "ZZ99 no", "C002 perhaps"), "audit.csv", {}))
    ours.take(
        ours.file([*log(3, trainee="T01", duration_min="60"), *log(6, trainee="T03")], "cases.csv"),
        "--take-the-rest",
    )
    return ours


def test_every_term_of_an_account_is_counted(full: Desk) -> None:
    db = opened(full.store)
    assert offences(db) == []
    terms = "rows_in_file, accepted_rows, left_out_rows, held_back_rows, live_before, unchanged_rows, changed_rows,"
    terms += " kept_rows, withdrawn_rows, untouched_rows, added_rows, live_after, left_out_by_rule, balances"
    rows = db.execute(
        f"select trainee_ref, file_name, {terms} from main.reconciliation where kind = 'cases'"
        " order by trainee_ref, live_after nulls first, file_name"
    ).fetchall()
    assert rows == [
        # 8 rows: 4 changed, 2 unchanged, 1 left out whose older version is kept, 1 new; C008 and C009 went.
        ("T01", "log.csv", 8, 7, 1, 0, 9, 2, 4, 1, 2, 0, 1, 8, "code_unknown 1", True),
        # The log that was added to: its own rows alone are judged, since a later file is in use.
        ("T02", "log.csv", 4, 4, 0, 0, *(None,) * 8, None, True),
        # One changed and one new; 3 are not named and stay.
        ("T02", "log.csv", 2, 2, 0, 0, 4, 0, 1, 0, 0, 3, 1, 5, None, True),
        ("T03", "cases.csv", 6, 6, 0, 0, 0, 0, 0, 0, 0, 0, 6, 6, None, True),
        ("T99", "log.csv", 1, 0, 1, 0, 0, 0, 0, 0, 0, 0, 0, 0, "trainee_unknown 1", True),
        # T01's, which were held since too many would go; and a row of nobody.
        (None, "cases.csv", 3, 0, 0, 3, *(None,) * 8, None, True),
        (None, "log.csv", 1, 0, 1, 0, *(None,) * 8, "required_blank 1", True),
    ]  # fmt: skip
    assert db.execute(
        f"select {terms} from main.reconciliation where kind = 'training' and live_after is not null"
    ).fetchall() == [(2, 2, 0, 0, 2, 0, 1, 0, 0, 1, 1, 3, None, True)]
    rows = db.execute(
        f"select trainee_ref, {terms} from main.reconciliation where kind = 'outcomes'"
        " order by trainee_ref, live_after nulls first"
    ).fetchall()
    # A row of an operation is of everybody who has it: C001 of T01 and T02, C030 of T02; C009 and ZZ99
    # are in no log; C002 is left out, of the first who has it.
    assert rows == [
        # An earlier file all of whose rows were replaced is not in use.
        ("T01", 2, 1, 1, 0, 1, 0, 1, 0, 0, 0, 0, 1, "code_unknown 1", True),
        ("T02", 2, 2, 0, 0, 1, 0, 1, 0, 0, 0, 1, 2, None, True),
        ("_unmatched", 1, 1, 0, 0, *(None,) * 8, None, True),
        ("_unmatched", 1, 1, 0, 0, 1, 0, 0, 0, 0, 1, 1, 2, None, True),
    ]


NUMBERS = {
    "receipt_rows": (
        *("rows_in_file", "accepted_rows", "held_back_rows", "live_before", "added_rows", "unchanged_rows"),
        *("changed_rows", "kept_rows", "withdrawn_rows", "live_after"),
    ),
    "receipt_left_out": ("left_out_rows",),
    "stored_rows": ("stored_rows", "changed_rows", "kept_rows", "withdrawn_rows"),
    "live_rows": ("live_rows",),
    "intake": ("rows_in_file", "accepted_rows", "left_out_rows", "held_back_rows"),
}


def test_each_number_that_is_wrong_by_one_is_found(full: Desk) -> None:
    db = opened(full.store)
    assert offences(db) == []
    for table, columns in NUMBERS.items():
        of_whom = {
            "receipt_rows": "and is_live and (is_latest or '{0}' in ('rows_in_file', 'accepted_rows', 'held_back_rows'))",
            # Of a log that was added to since, the changes were judged when it was taken.
            "stored_rows": "and ('{0}' in ('stored_rows', 'kept_rows') or (intake_id, kind, trainee_ref) in"
            " (select (intake_id, kind, trainee_ref) from input.receipt_rows where is_latest))",
        }.get(table, "")
        for column in columns:
            places = db.execute(
                f"select rowid from input.{table} where {column} is not null {of_whom.format(column)}"
            ).fetchall()
            assert places, (table, column)
            for (place,) in {places[0], places[-1]}:
                db.execute(f"update input.{table} set {column} = {column} + 1 where rowid = {place}")
                assert offences(db) != [], (table, column, place)
                db.execute(f"update input.{table} set {column} = {column} - 1 where rowid = {place}")
    db.execute("delete from input.finding where severity = 'left_out' and trainee_ref = 'T01'")
    assert [row[1:] for row in offences(db)] == [("T01", "rows of the file; left out; ")] * 2


def in_every_hash(store: Path, intake_id: str, receipt: dict[str, Any]) -> str:
    """Puts a receipt in the place of an intake's, and its hash into the live manifest, whose name is the answer."""
    folder = store / "intake" / intake_id
    receipt["files"] = files_written(folder)
    (folder / "receipt.json").write_text(json.dumps(receipt), encoding="utf-8")
    manifest = Manifest.model_validate(loaded_manifest(store))
    manifest.receipts[intake_id] = file_hash(folder / "receipt.json")
    (store / "snapshots" / manifest.file_name).write_text(manifest.text(), encoding="utf-8")
    Store(store).check_intakes()
    return manifest.file_name


def loaded_manifest(store: Path) -> dict[str, Any]:
    said: dict[str, Any] = json.loads((store / "snapshots" / full_name(store)).read_text(encoding="utf-8"))
    return {name: value for name, value in said.items() if name != "sha256"}


def test_what_was_rewritten_with_all_its_hashes_stops_the_publish(full: Desk, tmp_path: Path) -> None:
    (intake_id,) = full.manifest()["new_intakes"]
    # A number of the receipt; a row of the stored rows. Only the account itself can tell.
    store = shutil.copytree(full.store, tmp_path / "receipt")
    receipt = full.receipt(intake_id)
    receipt["parts"][0]["trainees"][-1]["unchanged"] += 1
    live = in_every_hash(store, intake_id, receipt)
    result = run("build", "--store", store)
    assert result.code == 13
    assert (
        "the account of cases.csv does not balance', 'T03', 'new, unchanged; in use before; '" in result.err
    )
    assert full_name(store) == live

    store = shutil.copytree(full.store, tmp_path / "rows")
    path = store / "intake" / intake_id / "cases" / "T03.parquet"
    pq.write_table(pq.read_table(path).slice(1), path)
    live = in_every_hash(store, intake_id, full.receipt(intake_id))
    result = run("build", "--store", store)
    assert result.code == 13
    assert "'T03', 'rows of the file; accepted; new, unchanged; in use after; '" in result.err
    assert full_name(store) == live


def full_name(store: Path) -> str:
    return (store / "CURRENT").read_text(encoding="ascii").strip()


# ---- drawn at random, against a plain count


def account(
    live: Live, files: list[list[Row]], append: bool
) -> tuple[Live, dict[str, int], list[dict[str, Any]]]:
    """Of one trainee's rows in the files of a command: what is live then, the terms of the command, those of each file."""
    rows = [row for file in files for row in file]
    after, counts, _ = told(live, rows, append)
    seen, terms = set(), []
    for file in files:
        left_out: Counter[str] = Counter()
        for row in file:
            if not row.readable:
                left_out["yes_no_unreadable"] += 1
            elif row.key in seen:
                left_out["key_repeated"] += 1
            else:
                seen.add(row.key)
        terms.append({"rows": len(file), "left_out": left_out})
    return after, counts, terms


def test_accounts_of_files_drawn_at_random_are_those_of_a_plain_count(desk: Desk) -> None:
    ours = Desk(shutil.copytree(desk.store, desk.folder / "random"), desk.folder / "drawn")
    chance = random.Random(5)
    model: dict[tuple[str, str], Live] = {}
    for turn in range(3):
        rows, append = random_export(chance), chance.random() < 0.4
        source = chance.choice(["main", "theatre"])
        cut = chance.randrange(1, len(rows) + 1)
        parts = [
            (f"{turn}-{name}.csv", part) for name, part in (("a", rows[:cut]), ("b", rows[cut:])) if part
        ]
        files = [ours.file([as_cells(row) for row in part], name) for name, part in parts]
        ours.take(*files, "--source", source, *(["--append"] if append else []), *ACCEPT)
        expected = {}
        for trainee in {row.trainee for row in rows}:
            own = [[row for row in part if row.trainee == trainee] for _, part in parts]
            model[trainee, source], counts, terms = account(model.get((trainee, source), {}), own, append)
            named = {name: each for (name, _), each in zip(parts, terms, strict=True) if each["rows"]}
            expected |= {(trainee, name): (each, counts) for name, each in named.items()}
        with opened(ours.store) as db:
            assert offences(db) == []
            assert answered(db, turn) == {key: as_answer(*each, append) for key, each in expected.items()}


def as_answer(of_file: dict[str, Any], counts: dict[str, int], append: bool) -> dict[str, Any]:
    left_out = of_file["left_out"]
    untouched = counts["live_before"] - sum(
        counts[name] for name in ("unchanged", "changed", "kept", "withdrawn")
    )
    assert append or untouched == 0
    return {
        "rows_in_file": of_file["rows"],
        "accepted_rows": of_file["rows"] - left_out.total(),
        "left_out_rows": left_out.total(),
        "left_out_by_rule": "; ".join(
            f"{rule} {left_out[rule]}" for rule in ("key_repeated", "yes_no_unreadable") if left_out[rule]
        )
        or None,
        "untouched_rows": untouched,
        **{name if "live" in name else f"{name}_rows": counts[name] for name in LIVE},
        "balances": True,
    }


def answered(db: Db, turn: int) -> dict[tuple[str, str], dict[str, Any]]:
    names = list(as_answer({"rows": 0, "left_out": Counter()}, dict.fromkeys(LIVE, 0), append=False))
    found = db.execute(
        f"select trainee_ref, file_name, {', '.join(names)} from main.reconciliation"
        f" where kind = 'cases' and file_name like '{turn}-%'"
    ).fetchall()
    return {(ref, name): dict(zip(names, rest, strict=True)) for ref, name, *rest in found}


def test_whoever_stands_in_two_files_keeps_the_rows_of_both_though_one_file_changed_nothing(
    desk: Desk,
) -> None:
    ours = Desk(shutil.copytree(desk.store, desk.folder / "two"), desk.folder / "two-files")
    both = [*log(2), *log(2, trainee="T02")]
    other = [{"case_ref": "C050", "trainee_ref": "T02"}, {"case_ref": "C051", "trainee_ref": "T02"}]
    ours.take(ours.file(both, "a.csv"), ours.file(other, "b.csv"))
    # T01 changed; of T02 nothing did, in neither file.
    ours.take(ours.file([*both, {"case_ref": "C009"}], "a.csv"), ours.file(other, "b.csv"))
    assert len(ours.line("T02")) == 2
    with opened(ours.store) as db:
        assert offences(db) == []
        assert db.execute("select count(*) from input.cases where trainee_ref = 'T02'").fetchone() == (4,)
