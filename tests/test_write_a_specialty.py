"""*Write a specialty* of DEVELOPERS.md: its worked example counts as its sentences say, and its tables name every key."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from dashboard.access import Viewer
from dashboard.screens import trainee
from pipelines.specialty.model import KINDS, Complication, Procedure, Rule, Specialty
from pipelines.store.store import Store
from tests.looking import opened_as, session  # noqa: F401 - the fixture stands for a session
from tests.stores import new_store, rows_of, run_well, write_csv

TEXT = (Path(__file__).parents[1] / "DEVELOPERS.md").read_text(encoding="utf-8")
SECTION = TEXT[TEXT.index("## Write a specialty") : TEXT.index("## Privacy rules")]
ROSTER = "trainee_ref,cohort,started,expected_completion\nT01,2026-27,2024-07,2027-06\n"
TRAINING = "trainee_ref,from,to,kind,value\nT01,2024-07,2026-06,stage,early\nT01,2026-07,,stage,last\n"


def block(language: str) -> str:
    """What stands in the one fence of this language."""
    (found,) = re.findall(rf"```{language}\n(.*?)```", SECTION, re.DOTALL)
    return str(found)


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("example") / "hand_surgery.yaml"
    path.write_text(block("yaml"), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def store(file: Path) -> Path:
    store = new_store(file.parent, specialty=file)
    files = {"roster": ROSTER, "training": TRAINING, "cases": block("csv")}
    paths = [write_csv(file.parent / f"{name}.csv", text) for name, text in files.items()]
    run_well("intake", *paths, "--store", store)
    return store


def test_the_example_is_checked_without_a_word_beside_its_rules(file: Path) -> None:
    done = run_well("check", "--specialty", file)
    assert done.err == ""
    lines = done.out.splitlines()
    titles = [
        "Bone",
        "Bone as surgeon",
        "Under the microscope",
        "Emergencies in the last year",
        "Tendons before the last year",
    ]
    for line, title in zip(lines[1:], [*titles, "Audit of tendon repairs"], strict=True):
        assert line.startswith(title)
    assert max(map(len, lines)) <= 200


def test_the_example_counts_as_its_sentences_say(store: Path) -> None:
    volume = {row["requirement_ref"]: row for row in rows_of(store, "case_volume")}
    assert {ref: (row["counted_cases"], row["minimum"], row["reached"]) for ref, row in volume.items()} == {
        "bone": ("3", "3", "true"),
        "bone_as_surgeon": ("2", "2", "true"),
        "microscope": ("1", "2", "false"),
        "emergencies": ("1", "1", "true"),
        "tendons_early": ("1", "2", "false"),
    }
    assert volume["tendons_early"]["deadline"] == "2026-06"
    (audit,) = rows_of(store, "rule_without_count")
    assert (audit["found"], audit["met"]) == ("2", "true")


def test_the_reasons_of_the_example_are_those_that_it_gives(store: Path) -> None:
    why = {
        (row["case_ref"], row["requirement_ref"]): (row["reason"], row["over_cap"])
        for row in rows_of(store, "case_credit")
        if row["credited"] == "false" and row["reason"] != "attribute"
    }
    assert why == {
        ("HND-002", "bone_as_surgeon"): ("role", ""),
        ("HND-002", "emergencies"): ("role", ""),
        ("HND-003", "bone"): ("role", "teaching_assistant"),
        ("HND-003", "bone_as_surgeon"): ("role", ""),
        ("HND-003", "emergencies"): ("role", ""),
        ("HND-001", "emergencies"): ("stage", ""),
        ("HND-004", "emergencies"): ("stage", ""),
        ("HND-004", "microscope"): ("duplicate_in_operation", ""),
        ("HND-005", "emergencies"): ("stage", ""),
        ("HND-006", "tendons_early"): ("window", ""),
    }


def test_a_trainee_is_told_how_far_the_audit_is_and_through_when_cases_count(store: Path) -> None:
    app = opened_as(trainee, Viewer("director", "harbour-eye"), Store(store), trainee="T01")
    assert not app.exception
    text = "\n".join(str(getattr(each, "proto", "")) for each in app.main)
    assert "2 of 2 in a row, each with a record of what happened: reached" in text
    assert "Cases count through June 2026." in text


def test_what_is_often_not_meant_is_said_beside_the_rules(tmp_path: Path) -> None:
    path = tmp_path / "capped.yaml"
    path.write_text(block("yaml").replace("at_most: {teaching_assistant: 1}", "at_most: {assistant: 1}").replace(
        "roles: [surgeon, assistant, teaching_assistant]", "roles: [surgeon]"), encoding="utf-8")  # fmt: skip
    done = run_well("check", "--specialty", path)
    assert (
        'Look again: requirements.bone.at_most caps the role "assistant", which the rule does not count.'
        in done.err
    )


def test_every_key_of_a_file_and_of_a_requirement_is_named() -> None:
    models = [Specialty, Rule, *KINDS.values(), Procedure, Complication]
    keys = {field.alias or name for model in models for name, field in model.model_fields.items()}
    assert {key for key in keys if not re.search(rf"`[^`]*\b{key}\b[^`]*`", SECTION)} == set()
