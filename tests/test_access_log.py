"""The access log: a chain that shows what was changed, written before anything is answered, by every command."""

from __future__ import annotations

import json
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from pipelines.store import access_log
from pipelines.store.access_log import Record
from tests.stores import new_store, run


@pytest.fixture
def root(tmp_path: Path) -> Path:
    return new_store(tmp_path)


def _records(root: Path, *what: str) -> None:
    for each in what:
        access_log.write(root, Record("head", "director", "harbour-eye", "opened", each, "T07"))


def test_a_line_that_is_changed_taken_out_or_put_in_shows(root: Path) -> None:
    access_log.begin(root)
    _records(root, "first", "second", "third", "fourth")
    path = root / access_log.FILE
    lines = path.read_bytes().splitlines(keepends=True)
    assert [(line.seq, line.record.what, line.holds) for line in access_log.read(root)] == [
        (1, "first", True),
        (2, "second", True),
        (3, "third", True),
        (4, "fourth", True),
    ]
    assert path.stat().st_mode & 0o077 == 0
    first, second, third, fourth = lines
    for tampered, holding in (
        ([first, second.replace(b"T07", b"T08"), third, fourth], 2),
        ([first, third, fourth], 1),
        ([first, third, second, fourth], 1),
        ([first, second, second, third, fourth], 2),
        ([second, third, fourth], 0),
    ):
        path.write_bytes(b"".join(tampered))
        assert [line.holds for line in access_log.read(root)].count(True) == holding
    path.write_bytes(b"".join(lines))
    _records(root, "fifth")
    assert all(line.holds for line in access_log.read(root))


def test_a_line_cut_off_by_a_crash_shows_and_the_log_goes_on(root: Path) -> None:
    access_log.begin(root)
    _records(root, "first", "second")
    path = root / access_log.FILE
    path.write_bytes(path.read_bytes()[:-20])
    _records(root, "third")
    assert [line.record.what for line in access_log.read(root)] == ["first", "", "third"]
    assert [line.holds for line in access_log.read(root)] == [True, False, False]


def test_two_writers_at_once_make_one_chain(root: Path) -> None:
    access_log.begin(root)
    with ThreadPoolExecutor(4) as writers:
        list(writers.map(lambda name: _records(root, name), "abcdefghijklmnop"))
    lines = list(access_log.read(root))
    assert len(lines) == 16 and all(line.holds for line in lines)


def test_a_command_is_written_down_before_it_answers_where_the_store_has_a_log(root: Path) -> None:
    assert run("snapshots", "--store", root).code == 0
    assert not access_log.is_kept(root)
    access_log.begin(root)
    run("snapshots", "--store", root)
    run("history", "--trainee", "T07", "--store", root)
    run("show", "case_volume", "--store", root)
    run("account", "add", "office", "--store", root)
    assert [(line.record.did, line.record.what, line.record.about) for line in access_log.read(root)] == [
        ("ran", "snapshots", ""),
        ("ran", "history", "T07"),
        ("ran", "show case_volume", ""),
        ("ran", "account add", "office"),
    ]
    record = json.loads((root / access_log.FILE).read_text().splitlines()[0])
    assert record["person"] and record["at"].endswith("+00:00")
