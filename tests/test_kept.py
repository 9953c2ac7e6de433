"""What is kept in memory for many: made once, bounded, unchangeable, and never one person's for another."""

from __future__ import annotations

import copy
import os
import re
import subprocess
import sys
import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pandas as pd
import pyarrow as pa
import pytest

from dashboard import figure, queries
from dashboard.access import Scope, Viewer
from dashboard.queries import Snapshot
from dashboard.queries.live import Kept, _Opened, _view, select
from dashboard.queries.tables import COLUMNS, ROWS
from pipelines.store.store import Store
from tests.department import department_store
from tests.planted import X, Y
from tests.serving import ROOT


def test_of_those_who_ask_at_one_time_the_first_makes_it_and_the_others_wait() -> None:
    kept, made, all_here = Kept[str](4), [], threading.Barrier(8)

    def make() -> str:
        made.append(threading.get_ident())
        return f"made {len(made)} times"

    def ask() -> str:
        all_here.wait()
        return kept.get("key", make)

    with ThreadPoolExecutor(8) as pool:
        assert {each.result() for each in [pool.submit(ask) for _ in range(8)]} == {"made 1 times"}


def test_the_one_that_was_not_asked_for_longest_goes_first() -> None:
    kept = Kept[str](2)
    for key in ("a", "b", "a", "c"):
        kept.get(key, lambda key=key: f"first {key}")
    assert len(kept) == 2
    assert [kept.get(key, lambda: "anew") for key in ("a", "c", "b")] == ["first a", "first c", "anew"]


def test_what_could_not_be_made_is_tried_again() -> None:
    kept = Kept[str](2)

    def refuse() -> str:
        raise PermissionError

    with pytest.raises(PermissionError):
        kept.get("key", refuse)
    assert kept.get("key", lambda: "made") == "made"


# ---- answers: whoever asked before, each scope gets its own

SCOPES = [
    Viewer(role, programme, ref).scope
    for role, programme, ref in (
        ("director", X, None),
        ("committee_member", X, None),
        ("coordinator", X, None),
        ("reviewer", X, "S01"),
        ("reviewer", X, "S02"),
        ("trainee", X, "T01"),
        ("trainee", X, "T02"),
        ("director", Y, None),
        ("trainee", Y, "ZYX1"),
    )
]


@pytest.fixture(scope="module")
def snapshot(tmp_path_factory: pytest.TempPathFactory) -> Snapshot:
    return queries.live_snapshot(Store(department_store(tmp_path_factory.mktemp("department"))))


# One of the tables that are the same for everybody, and every other.
TABLES = ("requirement", *ROWS)


def _answers(snapshot: Snapshot, scope: Scope) -> dict[str, pd.DataFrame]:
    return {table: select(snapshot, scope, f"select * from {table} order by all") for table in _theirs(scope)}


def _with_nothing_kept(snapshot: Snapshot, scope: Scope) -> dict[str, pd.DataFrame]:
    reader = _Opened(snapshot.path).reader(scope)
    return {
        table: reader.rows((_view(snapshot.path, table, scope),), f"select * from {table} order by all", {})
        for table in _theirs(scope)
    }


def _theirs(scope: Scope) -> list[str]:
    return [table for table in TABLES if table in COLUMNS[scope.role or ""]]


def test_whoever_asked_before_everybody_gets_their_own_rows(snapshot: Snapshot) -> None:
    for scope in SCOPES:
        _answers(snapshot, scope)
    rows = dict.fromkeys(SCOPES, 0)
    for scope in SCOPES:
        kept = _answers(snapshot, scope)
        for table, expected in _with_nothing_kept(snapshot, scope).items():
            pd.testing.assert_frame_equal(kept[table], expected, obj=f"{table} of {scope}")
            rows[scope] += len(expected)
    assert min(rows.values()) > 0
    assert len(set(rows.values())) > len(SCOPES) // 2


def test_a_query_is_kept_by_its_parameters(snapshot: Snapshot) -> None:
    # As planted: the role of C004 is none of the specialty's, so that it was left out.
    query = "select distinct case_ref from case_credit where trainee_ref = $person order by 1"
    for ref, cases in (("T01", ["C001", "C002"]), ("T02", ["C003"]), ("T01", ["C001", "C002"])):
        assert list(select(snapshot, SCOPES[0], query, person=ref)["case_ref"]) == cases


def test_what_one_screen_does_to_its_rows_reaches_no_other(snapshot: Snapshot) -> None:
    director = SCOPES[0]
    mine = queries.trainees(snapshot, director)
    before = mine.copy(deep=True)
    mine["planted"] = "mine alone"
    mine.loc[:, "trainee_ref"] = "changed"
    mine.iloc[0, 0] = "changed too"
    pd.testing.assert_frame_equal(queries.trainees(snapshot, director), before)


# ---- pictures: kept by all that they are drawn from

PEOPLE = {"trainee": ["T01", "T02"], "rate": [0.25, None], "known": [4, 0], "in": [True, False]}
LIKE_IT = [
    PEOPLE,
    PEOPLE | {"trainee": ["T01", "T03"]},
    PEOPLE | {"trainee": ["T02", "T01"]},
    PEOPLE | {"rate": [0.25, 0.0]},
    PEOPLE | {"rate": [None, 0.25]},
    PEOPLE | {"known": [4.0, 0.5]},
    PEOPLE | {"known": ["4", "0"]},
    PEOPLE | {"in": [1, 0]},
    {"ref" if name == "trainee" else name: values for name, values in PEOPLE.items()},
    dict(reversed(PEOPLE.items())),
]


def test_frames_that_differ_in_anything_are_never_one_picture() -> None:
    contents = [figure._content(pd.DataFrame(each)) for each in LIKE_IT]
    assert len(set(contents)) == len(LIKE_IT)
    assert contents[0] == figure._content(pd.DataFrame(copy.deepcopy(PEOPLE)))


def test_whoever_draws_a_picture_cannot_change_it_for_the_next() -> None:
    steps = pd.DataFrame(
        {
            "step": ["incision", "closing"],
            "step_order": [1, 2],
            "phase": ["opening", "closing"],
            "score_mean": [3.5, None],
            "score_low": [3.0, None],
            "score_high": [4.0, None],
            "scored": [4, 0],
        }
    )
    picture = figure._picture("technique_steps", (steps,), {"dark": False})
    first = picture.spec()
    untouched = copy.deepcopy(first)
    first["title"]["text"] = ["changed"]
    del first["datasets"], first["layer"]
    assert picture.spec() == untouched
    rows = [
        row
        for table in map(pa.ipc.open_stream, untouched["datasets"].values())
        for row in table.read_all().to_pylist()
    ]
    assert {row["step"] for row in rows} == {"incision", "closing"}


# ---- tables: as pandas writes them, which knows the rules of HTML

CELLS = {
    "plain": ["a", "b", "c"],
    "signs": ["<b>", "R&D", 'say "so"'],
    "number": [1, 20, 300],
    "share_of": [0.5, None, 12.0],
    "may_be": [True, None, False],
    "lines": ["one\u2028two", " padded ", ""],
    "int_or_none": pd.array([1, None, 3], dtype="Int64"),
}


@pytest.mark.parametrize("rows", [3, 0])
def test_a_table_says_what_the_writer_of_pandas_says(rows: int) -> None:
    frame = pd.DataFrame(CELLS).head(rows)
    plain = frame.astype(object).where(frame.notna(), None)
    words = plain.map(figure._cell).rename(columns=lambda name: name.replace("_", " "))
    written = words.to_html(index=False, border=0, escape=True).replace(figure.LINE, "<br>")
    assert _cells(figure.table_markup(frame)) == _cells(written)
    assert 'class="plain number-3 number-4 number-7"' in figure.table_markup(frame)


def test_a_table_of_people_beside_each_other_has_a_head_for_each_column() -> None:
    marks = pd.DataFrame({"requirement": ["lens", "lens"], "trainee": ["T01", "T02"], "mark": ["74", "✓ 90"]})
    beside = marks.pivot(index="requirement", columns="trainee", values="mark").reset_index()
    assert _cells(figure.table_markup(beside)) == [["requirement", "T01", "T02"], ["lens", "74", "✓ 90"]]


def _cells(markup: str) -> list[list[str]]:
    """The cells of each row as they stand in the markup, without space around them."""
    rows = re.findall(r"<tr[^>]*>(.*?)</tr>", markup, re.DOTALL)
    return [[cell.strip() for cell in re.findall(r"<t[hd]>(.*?)</t[hd]>", row, re.DOTALL)] for row in rows]


# ---- and nobody waits for a long command


@pytest.mark.parametrize(("command", "gives_way"), [("build", True), ("snapshots", False)])
def test_a_long_command_makes_way_for_who_looks(command: str, gives_way: bool, tmp_path: Path) -> None:
    """It lowers its own priority before it begins."""
    told = subprocess.run(
        [
            *(sys.executable, "-P", "-c"),
            "import os, runpy, sys\n"
            "try:\n    runpy.run_module('pipelines', run_name='__main__', alter_sys=True)\n"
            "except SystemExit as end:\n    print(os.nice(0), end.code)\n",
            *(command, "--store", str(tmp_path / "none")),
        ],
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=True,
    )
    niceness, code = map(int, told.stdout.split())
    assert ((niceness > os.nice(0)), code) == (gives_way, 2)
