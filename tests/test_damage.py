"""A damaged store is named as one, and nothing is built or shown from it."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.standing import copy_of, later_cases, standing_store
from tests.stores import Result, run, run_well


@pytest.fixture(scope="module")
def standing(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return standing_store(tmp_path_factory.mktemp("standing"))


def cases_of(store: Path, trainee: str = "T01") -> Path:
    (path,) = store.glob(f"intake/*/cases/{trainee}.parquet")
    return path


def flip(path: Path, at: int | None = None) -> None:
    content = bytearray(path.read_bytes())
    content[len(content) // 2 if at is None else at] ^= 0x01
    path.chmod(0o644)
    path.write_bytes(content)


def a_receipt(store: Path) -> Path:
    return cases_of(store).parents[1] / "receipt.json"


def a_count_of_the_receipt(store: Path) -> None:
    receipt = a_receipt(store)
    receipt.write_text(receipt.read_text().replace('"accepted": 3', '"accepted": 2'))


def the_manifest(store: Path) -> Path:
    return store / "snapshots" / (store / "CURRENT").read_text().strip()


def the_as_of(store: Path) -> None:
    manifest = json.loads(the_manifest(store).read_text())
    the_manifest(store).write_text(json.dumps({**manifest, "as_of": "2031-01-01"}))


DAMAGE: dict[str, tuple[Callable[[Path], object], str]] = {
    "rows gone": (lambda store: cases_of(store).unlink(), "cases/T01.parquet is missing"),
    "a byte of rows": (lambda store: flip(cases_of(store)), "cases/T01.parquet is not what was written"),
    "findings gone": (
        lambda store: (a_receipt(store).parent / "findings.parquet").unlink(),
        "findings.parquet is missing",
    ),
    "receipt gone": (lambda store: a_receipt(store).unlink(), "receipt.json is missing"),
    "receipt no JSON": (lambda store: flip(a_receipt(store), 0), "receipt.json is not what was written"),
    "a count of the receipt": (a_count_of_the_receipt, "receipt.json is not what was written"),
    "CURRENT gone": (lambda store: (store / "CURRENT").unlink(), "CURRENT is missing"),
    "CURRENT empty": (lambda store: (store / "CURRENT").write_text(""), "CURRENT names no snapshot"),
    "CURRENT names nothing": (
        lambda store: (store / "CURRENT").write_text("snap-000099.json\n"),
        "CURRENT names no snapshot",
    ),
    "CURRENT no text": (lambda store: (store / "CURRENT").write_bytes(b"\xff\xfe"), "CURRENT cannot be read"),
    "manifest gone": (lambda store: the_manifest(store).unlink(), "CURRENT names no snapshot"),
    "a byte of the manifest": (
        lambda store: flip(the_manifest(store)),
        "snap-000002.json is not what was written",
    ),
    "the manifest's day": (the_as_of, "snap-000002.json is not what was written"),
    "programme.yaml gone": (lambda store: (store / "programme.yaml").unlink(), "programme.yaml is missing"),
}
COMMANDS = {
    "build": lambda store, _: run("build", "--store", store),
    "show": lambda store, _: run("show", "case_volume", "--store", store),
    "check": lambda store, file: run("check", file, "--store", store),
    "intake": lambda store, file: run("intake", file, "--store", store),
    "history": lambda store, _: run("history", "--trainee", "T01", "--store", store),
    "snapshots": lambda store, _: run("snapshots", "--store", store),
    "summary": lambda store, file: run(
        "summary", "--cohort", "2027", "--out", file.parent / "out", "--store", store
    ),
}


@pytest.mark.parametrize("damage", DAMAGE)
def test_every_command_names_the_file_and_says_restore(damage: str, standing: Path, tmp_path: Path) -> None:
    store, file = copy_of(standing, tmp_path), later_cases(tmp_path)
    hurt, words = DAMAGE[damage]
    hurt(store)
    before = {
        path: path.read_bytes() for path in store.rglob("*") if path.is_file() and path.name != "writer.lock"
    }
    for name, command in COMMANDS.items():
        result: Result = command(store, file)
        assert result.code == 13, (name, result)
        assert result.err.startswith("The store is damaged: "), (name, result.err)
        assert words in result.err, name
        assert "Restore it from a backup." in result.err
        assert "init" not in result.err
        assert result.out == ""
    after = {
        path: path.read_bytes() for path in store.rglob("*") if path.is_file() and path.name != "writer.lock"
    }
    assert after == before


def test_a_damaged_database_is_named_and_build_makes_it_anew(standing: Path, tmp_path: Path) -> None:
    store = copy_of(standing, tmp_path)
    flip(store / "snapshots" / "snap-000002.duckdb")
    shown = run("show", "case_volume", "--store", store)
    assert shown.code == 13
    assert "snapshots/snap-000002.duckdb is not what was written (build makes it anew)" in shown.err
    run_well("build", "--store", store)
    assert run("show", "case_volume", "--store", store).code == 0


def test_a_folder_that_never_was_a_store_is_none(tmp_path: Path) -> None:
    result = run("show", "case_volume", "--store", tmp_path)
    assert result.code == 2
    assert "is not a store. Make one with" in result.err
