"""`check` validates, stores nothing, takes no lock, and ends as `intake --strict` would."""

from __future__ import annotations

import csv
import io
import json
import re
from pathlib import Path

import pytest

from pipelines.store.store import Store, writing
from tests.standing import EARLIER, ROSTER, content, copy_of, standing_store
from tests.stores import (
    read_csv,
    rows_of,
    run,
    run_well,
    shipped_specialty,
    shown,
    write_csv,
    write_specialty,
)

pytestmark = pytest.mark.usefixtures("builds_of_the_log")

HEADER = "case_ref,trainee_ref,operated_on,procedure,role,complications\n"
# What is live for T01, C001 and C002, and then one row more.
T01 = HEADER + "".join(line + "\n" for line in EARLIER.splitlines()[1:3])
GOOD = T01 + "C010,T01,2025-06-17,phaco_iol,surgeon,none\n"
WARNED = T01 + "C010,T01,2025-06-17,cataract_by_hand,surgeon,none\n"
LEFT_OUT = T01 + "C010,T01,2025-06-17,phaco_iol,chief,none\n"
HOLDING = HEADER + "C001,T01,2025-01-14,phaco_iol,surgeon,none\n"  # C002, with its complication, is gone
HOLDING_AND_LEFT_OUT = HOLDING + "C010,T01,2025-06-17,phaco_iol,chief,none\n"
NO_KIND = "alpha,beta\n1,2\n"
NAMED = HEADER + "C010,T01,2025-06-17,phaco_iol,surgeon,someone@example.org\n"
ACCEPTED = ("--accept-withdrawals", "--by", "chair", "--reason", "agreed")


@pytest.fixture(scope="module")
def standing(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return standing_store(tmp_path_factory.mktemp("standing"))


# ---- how it ends


@pytest.mark.parametrize(
    ("text", "options", "code"),
    [
        (GOOD, (), 0),
        (WARNED, (), 0),
        (LEFT_OUT, (), 10),
        (HOLDING, (), 14),
        (HOLDING + "C010,T01,2025-06-17,phaco_iol,surgeon,none\n", ("--append",), 0),
        (HOLDING, ACCEPTED, 0),
        (HOLDING_AND_LEFT_OUT, (), 14),
        (HOLDING_AND_LEFT_OUT, ACCEPTED, 10),
        (NO_KIND, (), 11),
        (NAMED, (), 12),
        (GOOD, ("--through", "2025-13"), 2),
        (GOOD, ("--source", "a b"), 2),
        (HOLDING, ("--accept-withdrawals",), 2),
    ],
)
def test_check_ends_as_a_strict_intake_would_and_stores_nothing(
    text: str, options: tuple[str, ...], code: int, standing: Path, tmp_path: Path
) -> None:
    file = write_csv(tmp_path / "cases.csv", text)
    before = content(standing)
    assert run("check", file, "--store", standing, *options).code == code
    assert content(standing) == before
    store = copy_of(standing, tmp_path)
    assert run("intake", file, "--strict", "--store", store, *options).code == code
    assert (content(store) == before) == (code != 0)


def test_the_gravest_of_several_files_decides(standing: Path, tmp_path: Path) -> None:
    left_out = write_csv(tmp_path / "cases-1.csv", LEFT_OUT)
    no_kind = write_csv(tmp_path / "cases-2.csv", NO_KIND)
    named = write_csv(tmp_path / "cases-3.csv", NAMED)
    missing = tmp_path / "cases-4.csv"
    for files, code in (((left_out, no_kind), 11), ((no_kind, named), 12), ((named, no_kind, missing), 2)):
        for command in (("check",), ("intake", "--strict")):
            assert run(*command, *files, "--store", standing).code == code


def test_a_hold_is_said_with_its_reason(standing: Path, tmp_path: Path) -> None:
    result = run("check", write_csv(tmp_path / "cases.csv", HOLDING), "--store", standing, "--format", "csv")
    assert "C002" in result.err
    assert "--accept-withdrawals" in result.err


def test_check_takes_no_lock(standing: Path, tmp_path: Path) -> None:
    file = write_csv(tmp_path / "cases.csv", LEFT_OUT)
    with writing(Store(standing)):
        assert run("intake", file, "--strict", "--store", standing).code == 15
        assert run("check", file, "--store", standing).code == 10


# ---- what it prints


def test_findings_come_on_stdout_in_the_columns_of_the_view(standing: Path, tmp_path: Path) -> None:
    file = write_csv(tmp_path / "cases.csv", LEFT_OUT)
    result = run("check", file, "--store", standing, "--format", "csv")
    reader = csv.DictReader(io.StringIO(result.out))
    rows = list(reader)
    assert reader.fieldnames == shown(standing, "finding")[0]
    assert [(row["file_name"], row["source_row"], row["column_name"], row["rule"]) for row in rows] == [
        ("cases.csv", "4", "role", "code_unknown")
    ]
    assert (rows[0]["trainee_ref"], rows[0]["severity"]) == ("T01", "left_out")
    assert rows[0]["message"].startswith('cases.csv, row 4: role: "chief"')
    # The receipt: three rows, of which one was left out.
    assert re.search(r"cases\.csv +cases +3 +2 +1 +0", result.err)


def test_a_finding_is_the_same_in_check_and_after_the_intake(standing: Path, tmp_path: Path) -> None:
    file = write_csv(tmp_path / "cases.csv", WARNED)
    result = run_well("check", file, "--store", standing, "--format", "csv")
    (checked,) = csv.DictReader(io.StringIO(result.out))
    store = copy_of(standing, tmp_path)
    run_well("intake", file, "--store", store)
    (taken,) = rows_of(store, "finding")
    # What the file said in a cell is quoted to whoever hands it over, and not stored.
    quoted = re.sub(r'"[^"]*"', '"…"', checked["message"])
    # `check` knows no month through which data run: nothing is live of what it reads.
    assert {**taken, "data_through": ""} == {**checked, "message": quoted}
    assert taken["intake_id"].endswith("-1")


def test_json_and_the_table_say_the_same(standing: Path, tmp_path: Path) -> None:
    file = write_csv(tmp_path / "cases.csv", LEFT_OUT)
    as_json = run("check", file, "--store", standing, "--format", "json")
    (finding,) = json.loads(as_json.out)
    assert (finding["source_row"], finding["rule"], finding["data_through"]) == (4, "code_unknown", None)
    assert re.search(r"cases\.csv +cases +3 +2 +1 +0", as_json.err)
    as_table = run("check", file, "--store", standing)
    assert 'role "chief": 1 row, 1 trainee; use one of: surgeon, ' in as_table.out
    assert re.search(r"cases\.csv +cases +3 +2 +1 +0", as_table.out)
    assert "accepted" not in as_table.err


def test_no_finding_is_an_empty_list(standing: Path, tmp_path: Path) -> None:
    file = write_csv(tmp_path / "cases.csv", GOOD)
    assert json.loads(run_well("check", file, "--store", standing, "--format", "json").out) == []


@pytest.mark.parametrize(("text", "rule"), [(NO_KIND, "kind_unknown"), (NAMED, "identifier_in_cell")])
def test_a_refusal_is_a_finding_too(text: str, rule: str, standing: Path, tmp_path: Path) -> None:
    file = write_csv(tmp_path / "cases.csv", text)
    (finding,) = json.loads(run("check", file, "--store", standing, "--format", "json").out)
    assert (finding["rule"], finding["severity"], finding["intake_id"]) == (rule, "refused", None)
    assert (finding["message"], finding["remedy"]) != ("", "")


@pytest.mark.parametrize("twice", ["procedure", "__source_row", "note"])
def test_a_header_that_stands_twice_hides_no_identifier(twice: str, standing: Path, tmp_path: Path) -> None:
    doubled = NAMED.replace("complications\n", f"complications,{twice},{twice}\n").replace(
        ".org\n", ".org,,\n"
    )
    clean = doubled.replace("someone@example.org", "none")
    told = {}
    for text, code in ((doubled, 12), (clean, 11)):
        answer = run(
            "check", write_csv(tmp_path / "cases.csv", text), "--store", standing, "--format", "json"
        )
        assert answer.code == code
        told[code] = [finding["rule"] for finding in json.loads(answer.out)]
    assert told == {12: ["identifier_in_cell", "header_twice"], 11: ["header_twice"]}


# ---- fix lists


FIXES = ["file_name", "source_row", "column_name", "rule", "message", "remedy"]


@pytest.mark.parametrize("command", ["check", "intake"])
def test_a_fix_list_a_trainee_is_written_where_it_is_asked_for(
    command: str, standing: Path, tmp_path: Path
) -> None:
    text = LEFT_OUT + "C011,T02,17.06.25,phaco_iol,surgeon,none\nC012,T02,2025-06-18,phaco_iol,chief,none\n"
    file = write_csv(tmp_path / "cases.csv", text + "C003,T02,2025-03-11,phaco_iol,assistant,none\n")
    fixes = tmp_path / "deep" / "fixes"
    run(command, file, "--store", copy_of(standing, tmp_path), "--fixes", fixes)
    assert sorted(path.name for path in fixes.iterdir()) == ["T01-fixes.csv", "T02-fixes.csv"]
    assert (fixes / "T02-fixes.csv").read_text().splitlines()[0] == ",".join(FIXES)
    rows = read_csv(fixes / "T02-fixes.csv")
    assert [(row["source_row"], row["column_name"], row["rule"]) for row in rows] == [
        ("5", "operated_on", "date_ambiguous"),
        ("6", "role", "code_unknown"),
    ]
    assert all(row["file_name"] == "cases.csv" and row["message"] and row["remedy"] for row in rows)


# ---- with a specialty and no store


@pytest.mark.parametrize("given", ["by name", "by file"])
def test_with_a_specialty_no_store_is_read(
    given: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COHORT_STORE", str(tmp_path / "none"))
    file = write_specialty(tmp_path / "own.yaml", shipped_specialty())
    specialty = "ophthalmology" if given == "by name" else file
    strangers = GOOD.replace("T01", "T77")
    result = run("check", write_csv(tmp_path / "cases.csv", strangers), "--specialty", specialty)
    assert result.code == 0
    assert "roster" in result.err
    assert not (tmp_path / "none").exists()
    # What needs no roster is judged all the same.
    assert run("check", write_csv(tmp_path / "cases.csv", LEFT_OUT), "--specialty", specialty).code == 10


def test_with_a_roster_among_the_files_its_rules_are_judged(tmp_path: Path) -> None:
    cases = write_csv(tmp_path / "cases.csv", GOOD.replace("C010,T01", "C010,T77"))
    roster = write_csv(tmp_path / "roster.csv", ROSTER)
    alone = run("check", cases, "--specialty", "ophthalmology", "--format", "json")
    assert (alone.code, json.loads(alone.out)) == (0, [])
    for files in ((cases, roster), (roster, cases)):
        result = run("check", *files, "--specialty", "ophthalmology", "--format", "json")
        assert result.code == 10
        assert [each["rule"] for each in json.loads(result.out)] == ["trainee_unknown"]


def test_a_file_that_is_not_there_ends_with_2(standing: Path, tmp_path: Path) -> None:
    for where in (("--store", standing), ("--specialty", "ophthalmology")):
        assert run("check", tmp_path / "cases.csv", *where).code == 2
    assert run("check", "--store", standing).code == 2


# ---- a specialty alone


def test_a_specialty_alone_is_told_rule_by_rule(tmp_path: Path) -> None:
    specialty = shipped_specialty()
    file = write_specialty(tmp_path / "own.yaml", specialty)
    result = run_well("check", "--specialty", file)
    lines = result.out.splitlines()
    assert len(lines) >= len(specialty["requirements"])
    for requirement in specialty["requirements"].values():
        told = [line for line in lines if line.startswith(requirement["title"])]
        assert told, requirement["title"]
        assert str(requirement["minimum"]) in told[0]
        assert told[0].endswith(".")


@pytest.mark.parametrize(
    "text",
    [
        "specialty: [",
        "",
        "specialty: own\n",
        "specialty: own\nspecialty: own\n",
        "specialty: own\ntitle: Own\nunheard_of: 1\n",
    ],
)
def test_a_broken_specialty_ends_with_2(text: str, tmp_path: Path) -> None:
    file = write_csv(tmp_path / "own.yaml", text)
    for words in ((), (write_csv(tmp_path / "cases.csv", GOOD),)):
        result = run("check", *words, "--specialty", file)
        assert (result.code, result.out) == (2, "")
        assert "own.yaml" in result.err


def test_a_specialty_that_is_not_there_ends_with_2(tmp_path: Path) -> None:
    for name in ("astrology", tmp_path / "none.yaml"):
        assert run("check", "--specialty", name).code == 2
