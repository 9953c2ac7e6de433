"""A store that an earlier version wrote still opens, and one that a later version wrote says so."""

from __future__ import annotations

import json
import tarfile
from pathlib import Path

import pytest

from pipelines.contract.formats import CASES
from pipelines.store.documents import FORMAT
from tests.stores import read_csv, rows_of, run, run_well, write_csv

BEFORE = Path(__file__).with_name("stores_of_before")
# What version 0.1.0 printed of the store for case_volume.
PRINTED = BEFORE / "0.1.0-case_volume.csv"


@pytest.fixture
def store(tmp_path: Path) -> Path:
    with tarfile.open(BEFORE / "0.1.0.tar.gz") as packed:
        packed.extractall(tmp_path, filter="data")
    return tmp_path / "store"


def test_a_store_of_0_1_0_is_shown_built_and_added_to(store: Path, tmp_path: Path) -> None:
    assert rows_of(store, "case_volume", trainee_ref="K02") != []
    run_well("build", "--store", store)
    same = (
        "trainee_ref",
        "requirement_ref",
        "minimum",
        "counted_cases",
        "remaining_cases",
        "met",
        "data_through",
    )
    now = [{name: row[name] for name in same} for row in rows_of(store, "case_volume")]
    assert now == [{name: row[name] for name in same} for row in read_csv(PRINTED)]
    more = "case_ref,trainee_ref,operated_on,procedure,role\nR0100,K01,2026-10-09,phaco_iol,surgeon\n"
    run_well("intake", write_csv(tmp_path / "more.csv", more), "--append", "--store", store)
    (cataract,) = rows_of(store, "case_volume", trainee_ref="K01", requirement_ref="cataract")
    before = next(row for row in now if (row["trainee_ref"], row["requirement_ref"]) == ("K01", "cataract"))
    assert int(cataract["counted_cases"]) == int(before["counted_cases"]) + 1


def test_rows_that_0_1_0_stored_and_lost_are_missed_by_their_count(store: Path) -> None:
    path = next(store.glob("intake/*/cases/K01.parquet"))
    path.unlink()
    result = run("build", "--store", store)
    assert result.code == 13
    assert "cases holds" in result.err


def test_a_column_that_stored_rows_lack_is_null(store: Path) -> None:
    run_well("build", "--store", store)
    # 0.1.0 did not keep the row of the file; the kind says today that it does.
    assert "source_row" in CASES.stored_names
    rules = sorted(row["rule"] for row in rows_of(store, "finding"))
    assert rules == ["date_impossible", "procedure_unmapped", "procedure_unmapped"]


def test_a_store_of_a_newer_format_is_refused_in_words(store: Path) -> None:
    manifest = store / "snapshots" / (store / "CURRENT").read_text().strip()
    manifest.write_text(json.dumps({**json.loads(manifest.read_text()), "format": 99, "what": "is new"}))
    for command in (("build",), ("show", "case_volume"), ("snapshots",)):
        result = run(*command, "--store", store)
        assert result.code == 2, command
        assert f"was written by a newer version (format 99; this version reads up to {FORMAT})" in result.err
