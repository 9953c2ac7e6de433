"""`show` prints a published view to the letter: columns, order, text of each value, conditions, exit codes.

Source: the contract's section on commands ("show") and its table of published views.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import duckdb
import pytest

from pipelines.build.show import cell_text
from pipelines.store.store import Store
from tests.standing import copy_of, standing_store, written_by_hand
from tests.stores import run, run_well

ROOT = Path(__file__).parents[1]
PERSON = "programme_ref cohort trainee_ref"
# The contract's columns, in its order; data_through is the last of every view.
COLUMNS = {
    "case_credit": "programme_ref trainee_ref case_ref procedure side requirement_ref credited reason",
    "case_volume": f"{PERSON} requirement_ref requirement_title minimum counted_cases remaining_cases met edition"
    " confirmed_cases held_cases",
    "complication_rate": f"{PERSON} complication_ref procedure_group attribution events known_outcomes"
    " unknown_outcomes rate rate_low rate_high confidence eligible_cases not_yet_due events_unclear early_events"
    " events_unfollowed possible_low possible_high",
    "supervision_mix": f"{PERSON} procedure_group training_quarter level_ref level_rank cases known_cases share",
    "technique_step": f"{PERSON} procedure_group step training_quarter scored score_mean score_low score_high"
    " done_by_supervisor attempts successes success_low success_high seconds_median",
    "milestone_standing": f"{PERSON} milestone_ref level rules_met rules_total rules_unknown missing committee_level"
    " committee_period",
    "cohort_comparison": f"{PERSON} measure value value_low value_high reference reference_low reference_high"
    " reference_n",
    "volume_summary": f"{PERSON} requirement_ref requirement_title minimum counted_cases remaining_cases met edition"
    " confirmed_cases held_cases source verified",
    "finding": "intake_id file_name source_row column_name rule trainee_ref severity message remedy",
}


@pytest.fixture(scope="module")
def standing(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return standing_store(tmp_path_factory.mktemp("standing"))


@pytest.fixture(scope="module")
def store(standing: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store whose snapshot holds rows that are hard to print, put there by hand and out of order."""
    copy = copy_of(standing, tmp_path_factory.mktemp("by_hand"))
    path = Store(copy).database(2)
    path.unlink()
    with duckdb.connect(str(path)) as connection:
        connection.execute(
            "create table supervision_mix (programme_ref varchar, cohort varchar, trainee_ref varchar,"
            " procedure_group varchar, training_quarter integer, level_ref varchar, level_rank integer, cases bigint,"
            " known_cases hugeint, share double, data_through varchar)"
        )
        connection.executemany("insert into supervision_mix values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", ROWS)
        connection.execute(
            "create table case_credit (programme_ref varchar, trainee_ref varchar, case_ref varchar,"
            " procedure varchar, side varchar, requirement_ref varchar, credited boolean, reason varchar,"
            " data_through varchar)"
        )
        connection.executemany("insert into case_credit values (?, ?, ?, ?, ?, ?, ?, ?, ?)", CREDITS)
    written_by_hand(copy)
    return copy


# By code point U+FF5E comes before U+1D51E; by UTF-16 unit it would come after it.
ROWS: list[tuple[Any, ...]] = [
    ("p", "2026-27", "T1", "\U0001d51e", 1, "guided", 2, 1, 1, 1.0, "2026-01"),
    ("p", "2026-27", "T1", "\uff5e", 1, "guided", 2, 1, 1, 0.0, "2026-01"),
    ("p", "2026-27", "T1", "lens", 10, "guided", 2, 1, 3, 1 / 3, "2026-01"),
    ("p", "2026-27", "T1", "lens", 2, "guided", 2, 1, 3, 2 / 3, "2026-01"),
    ("p", "2026-27", "T1", "lens", 2, None, None, 17, 3, None, None),
    ("p", "2026-27", "T1", "Lens", 2, "guided", 2, 1, 8_000_000, 1 / 8_000_000, "2026-01"),
    ("p", "2026-27", "t1", "ärzte, \"lens\"", 2, "guided", 2, 1, 2, 0.5, "2026-01"),
    ("p", "2026-27", "T10", "lens", 2, "guided", 2, 1, 2, 0.1, "2026-01"),
    (None, "2026-27", "T9", "lens", 2, "guided", 2, 1, 2, 0.25, "2026-01"),
]  # fmt: skip
CREDITS: list[tuple[Any, ...]] = [
    ("p", "T1", "C3", "phaco", "left", "lens", True, "credited", "2026-01"),
    ("p", "T1", "C2", "phaco", None, "lens", False, "role", "2026-01"),
    ("p", "T1", "C1", "phaco", "left", None, None, "no_requirement", None),
]
AS_CSV = """\
programme_ref,cohort,trainee_ref,procedure_group,training_quarter,level_ref,level_rank,cases,known_cases,share,data_through
,2026-27,T9,lens,2,guided,2,1,2,0.25,2026-01
p,2026-27,T1,Lens,2,guided,2,1,8000000,0.000000125,2026-01
p,2026-27,T1,lens,2,,,17,3,,
p,2026-27,T1,lens,2,guided,2,1,3,0.6666666666666666,2026-01
p,2026-27,T1,lens,10,guided,2,1,3,0.3333333333333333,2026-01
p,2026-27,T1,\uff5e,1,guided,2,1,1,0,2026-01
p,2026-27,T1,\U0001d51e,1,guided,2,1,1,1,2026-01
p,2026-27,T10,lens,2,guided,2,1,2,0.1,2026-01
p,2026-27,t1,"ärzte, ""lens\"\"\",2,guided,2,1,2,0.5,2026-01
"""


def test_csv_is_the_text_of_the_contract(store: Path) -> None:
    result = run("show", "supervision_mix", "--store", store, "--format", "csv")
    assert (result.code, result.out, result.err) == (0, AS_CSV, "")


def test_csv_writes_booleans_in_words_and_nulls_empty(store: Path) -> None:
    assert run_well("show", "case_credit", "--store", store, "--format", "csv").out == (
        "programme_ref,trainee_ref,case_ref,procedure,side,requirement_ref,credited,reason,data_through\n"
        "p,T1,C1,phaco,left,,,no_requirement,\n"
        "p,T1,C2,phaco,,lens,false,role,2026-01\n"
        "p,T1,C3,phaco,left,lens,true,credited,2026-01\n"
    )


def test_json_is_an_array_of_objects_in_the_same_order(store: Path) -> None:
    printed = json.loads(run_well("show", "supervision_mix", "--store", store, "--format", "json").out)
    by_position = [tuple(each.values()) for each in printed]
    order = [8, 5, 4, 3, 2, 1, 0, 7, 6]  # the places in ROWS of the lines of AS_CSV
    assert by_position == [ROWS[place] for place in order]
    assert {tuple(each) for each in printed} == {tuple(AS_CSV.splitlines()[0].split(","))}
    credit = json.loads(run_well("show", "case_credit", "--store", store, "--format", "json").out)
    assert [each["credited"] for each in credit] == [None, False, True]


def test_json_of_no_row_is_an_empty_array_and_csv_still_has_its_header(store: Path) -> None:
    nothing = ("--store", store, "--where", "trainee_ref=T404")
    assert json.loads(run_well("show", "case_credit", *nothing, "--format", "json").out) == []
    assert run_well("show", "case_credit", *nothing, "--format", "csv").out.splitlines() == [
        "programme_ref,trainee_ref,case_ref,procedure,side,requirement_ref,credited,reason,data_through"
    ]


def test_the_table_for_reading_has_a_line_a_row(store: Path) -> None:
    lines = run_well("show", "case_credit", "--store", store).out.splitlines()
    assert lines[0].split() == AS_WORDS
    assert len(lines) == 2 + len(CREDITS)


AS_WORDS = [
    "programme_ref",
    "trainee_ref",
    "case_ref",
    "procedure",
    "side",
    "requirement_ref",
    "credited",
    "reason",
    "data_through",
]


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (None, ""),
        (True, "true"),
        (False, "false"),
        (17, "17"),
        (17.0, "17"),
        (10**20, "100000000000000000000"),
        (2 / 7, "0.2857142857142857"),
        (1e-7, "0.0000001"),
        (1.5e-12, "0.0000000000015"),
        (0.95, "0.95"),
        ("2026-07", "2026-07"),
    ],
)
def test_a_value_is_printed_in_full_and_without_an_exponent(value: object, text: str) -> None:
    assert cell_text(value) == text


# ---- --where


@pytest.mark.parametrize(
    ("conditions", "cases"),
    [
        (["credited=true"], ["C3"]),
        (["credited=false"], ["C2"]),
        (["credited="], ["C1"]),
        (["side="], ["C2"]),
        (["reason=role", "reason=credited"], ["C2", "C3"]),
        (["reason=role", "side=left"], []),
        (["reason=role", "reason=credited", "side=left"], ["C3"]),
        (["requirement_ref=lens"], ["C2", "C3"]),
        (["requirement_ref=LENS"], []),
        (["requirement_ref=lens "], []),
    ],
)
def test_where_compares_the_printed_text(conditions: list[str], cases: list[str], store: Path) -> None:
    words = [word for condition in conditions for word in ("--where", condition)]
    rows = json.loads(run_well("show", "case_credit", "--store", store, "--format", "json", *words).out)
    assert [row["case_ref"] for row in rows] == cases


@pytest.mark.parametrize(
    ("condition", "count"),
    [("share=0.3333333333333333", 1), ("share=0.333", 0), ("share=1", 1), ("share=1.0", 0), ("cases=17", 1)],
)
def test_where_compares_a_number_as_printed(condition: str, count: int, store: Path) -> None:
    out = run_well("show", "supervision_mix", "--store", store, "--format", "json", "--where", condition).out
    assert len(json.loads(out)) == count


def test_a_value_may_hold_an_equals_sign(store: Path) -> None:
    result = run("show", "case_credit", "--store", store, "--where", "reason=a=b", "--format", "json")
    assert (result.code, json.loads(result.out)) == (0, [])


# ---- what does not exist


@pytest.mark.parametrize(
    "words",
    [
        ["show", "case_volumes"],
        ["show", "sqlite_master"],
        ["show", 'case_credit" --'],
        ["show", "case_credit", "--where", "person=T1"],
        ["show", "case_credit", "--where", "trainee_ref"],
        ["show", "case_credit", "--where", "=T1"],
    ],
)
def test_a_view_or_column_that_does_not_exist_ends_with_2(words: list[str], store: Path) -> None:
    result = run(*words, "--store", store)
    assert (result.code, result.out) == (2, "")
    assert len(result.err.splitlines()) == 1


def test_a_store_that_is_not_there_ends_with_2(tmp_path: Path) -> None:
    result = run("show", "case_credit", "--store", tmp_path / "none")
    assert (result.code, result.out) == (2, "")
    assert not (tmp_path / "none").exists()


@pytest.mark.parametrize("words", [["show"], ["show", "case_credit", "--format", "xml"], ["shew"], []])
def test_wrong_usage_ends_with_2(words: list[str]) -> None:
    result = run(*words)
    assert (result.code, result.out) == (2, "")


# ---- which store


def test_the_store_is_the_one_named_then_cohort_store_then_the_folder_store(
    store: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COHORT_STORE", str(tmp_path / "none"))
    assert run("show", "case_credit").code == 2
    assert run("show", "case_credit", "--store", store).code == 0
    monkeypatch.setenv("COHORT_STORE", str(store))
    assert run("show", "case_credit").code == 0
    for unset in (lambda: monkeypatch.setenv("COHORT_STORE", ""), lambda: monkeypatch.delenv("COHORT_STORE")):
        unset()
        assert run("show", "case_credit").code == 2
    (tmp_path / "store").symlink_to(store)
    assert run("show", "case_credit").code == 0


# ---- columns of a real snapshot


@pytest.mark.parametrize("view", COLUMNS)
def test_a_view_has_the_columns_of_the_contract_in_its_order(view: str, standing: Path) -> None:
    header = run_well("show", view, "--store", standing, "--format", "csv").out.splitlines()[0]
    # Later work adds columns after the last, but before data_through.
    promised = COLUMNS[view].split()
    assert header.split(",")[: len(promised)] == promised
    assert header.endswith(",data_through")


# ---- as a process


def started(store: Path, **environment: str) -> subprocess.Popen[bytes]:
    words = [
        sys.executable,
        "-m",
        "pipelines",
        "show",
        "supervision_mix",
        "--store",
        str(store),
        "--format",
        "csv",
    ]
    return subprocess.Popen(
        words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=ROOT, env={**os.environ, **environment}
    )


def test_output_is_utf_8_whatever_the_terminal_speaks(store: Path) -> None:
    with started(store, PYTHONIOENCODING="latin-1", PYTHONUTF8="0", LC_ALL="C") as process:
        out, err = process.communicate()
    assert (process.returncode, out, err) == (0, AS_CSV.encode(), b"")


def test_a_reader_that_has_heard_enough_is_no_error(store: Path) -> None:
    with started(store) as process:
        assert process.stdout is not None and process.stderr is not None
        process.stdout.close()
        said = process.stderr.read()
        assert process.wait() == 0
    assert said == b""
