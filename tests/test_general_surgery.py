"""The made-up programme of general surgery: its exports, its counts and its screens, so that no screen knows one specialty."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import pytest

from dashboard import queries
from dashboard.access import Viewer
from dashboard.screens import cases, cohort, intake, methods, summary, trainee
from pipelines.cli.demo import DEMOS, make_store
from pipelines.store.store import Store
from pipelines.summary import words
from seed_data.surgery import generate_surgery
from tests.looking import opened_as, session  # noqa: F401 - the fixture stands for a session
from tests.oracle import Export, Oracle, Row
from tests.stores import rows_of, run, shared, shipped_specialty

EXPORTS = DEMOS["general_surgery"].exports
PROGRAMME = DEMOS["general_surgery"].programme_ref
# Words of the other shipped specialty, which nothing here may say.
OF_THE_EYE = re.compile(
    r"\b(eyes?|cataracts?|ophthalm\w*|retina\w*|glaucoma|phaco\w*|lens|chalazion|saltmarsh)\b", re.IGNORECASE
)


@pytest.fixture(scope="module")
def store() -> Path:
    return shared("surgery", lambda folder: make_store(folder / "store", "general_surgery")) / "store"


def exported(name: str) -> list[Row]:
    with (EXPORTS / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_the_exports_are_what_their_generator_makes(tmp_path: Path) -> None:
    made = generate_surgery(tmp_path)
    assert {path.name: path.read_bytes() for path in made} == {
        path.name: path.read_bytes() for path in EXPORTS.iterdir()
    }


def test_the_counts_of_the_demo_are_those_of_plain_loops_over_its_exports(store: Path) -> None:
    people = ("G02", "G04")
    logs = [row for ref in people for row in exported(f"{ref}-cases.csv")]
    roster = [row for row in exported("roster.csv") if row["trainee_ref"] in people]
    oracle = Oracle(
        roster, exported("training.csv"), [Export(logs)], shipped_specialty("general_surgery"), PROGRAMME
    )
    expected = {
        (row["trainee_ref"], row["requirement_ref"]): (str(row["counted_cases"]), str(row["reached"]).lower())
        for row in oracle.case_volume()
    }
    assert len(expected) == 38 * len(people)
    assert expected == {
        (row["trainee_ref"], row["requirement_ref"]): (row["counted_cases"], row["reached"])
        for row in rows_of(store, "case_volume")
        if row["trainee_ref"] in people
    }


def test_the_demo_shows_each_of_its_rules(store: Path) -> None:
    volume = {
        (row["trainee_ref"], row["requirement_ref"]): row
        for row in rows_of(store, "case_volume")
        if row["trainee_ref"] == "G02"
    }
    assert (volume["G02", "alimentary"]["met"], volume["G02", "alimentary"]["reached"]) == ("true", "false")
    assert int(volume["G02", "esophagus"]["counted_cases"]) < 5
    # More than fifty as teaching assistant, of which fifty count toward the total.
    assert int(volume["G02", "teaching_assistant"]["counted_cases"]) > 50
    capped = [
        row
        for row in rows_of(store, "case_credit", over_cap="teaching_assistant")
        if row["trainee_ref"] == "G02"
    ]
    assert {row["requirement_ref"] for row in capped} == {"total_major"}
    reasons = {row["reason"] for row in rows_of(store, "case_credit")}
    assert reasons == {
        "credited",
        "role",
        "stage",
        "attribute",
        "duplicate_in_operation",
        "supervisor_disagreed",
    }


def test_an_outcome_of_several_groups_is_found_under_each(store: Path) -> None:
    snapshot, scope = queries.live_snapshot(Store(store)), Viewer("director", PROGRAMME).scope
    found = {
        group: list(queries.outcomes_of(snapshot, scope, group)["complication_ref"])
        for group in ("alimentary", "abdominal")
    }
    assert found == {
        "alimentary": ["anastomotic_leak", "wound_infection", "return_to_theatre"],
        "abdominal": ["anastomotic_leak", "bile_duct_injury", "wound_infection", "return_to_theatre"],
    }


SCREENS = {
    "cohort": cohort,
    "trainee": trainee,
    "cases": cases,
    "intake": intake,
    "summary": summary,
    "methods": methods,
}


@pytest.mark.parametrize("name", SCREENS)
def test_a_screen_shows_a_programme_of_another_specialty_and_says_nothing_of_the_eye(
    store: Path, name: str
) -> None:
    chosen = {} if name in ("cohort", "intake", "summary", "methods") else {"trainee": "G02"}
    app = opened_as(SCREENS[name], Viewer("director", PROGRAMME), Store(store), **chosen)
    assert not app.exception
    text = "\n".join(str(getattr(each, "proto", "")) for each in app.main)
    assert len(text) > 2000
    assert OF_THE_EYE.findall(text) == []


def test_the_summary_of_the_demo_names_no_other_specialty(store: Path, tmp_path: Path) -> None:
    words = ("summary", "--cohort", "2027", "--out", tmp_path, "--store", store)
    assert run(*words).code == 0
    text = "".join(path.read_text("utf-8") for path in tmp_path.iterdir() if path.suffix in (".csv", ".json"))
    assert "Teaching-assistant cases" in text and OF_THE_EYE.findall(text) == []


def test_a_demo_of_no_specialty_is_wrong_usage() -> None:
    done = run("demo", "--no-serve", "--specialty", "dentistry")
    assert done.code == 2 and "general_surgery" in done.err


def test_a_file_that_is_sent_on_says_what_one_count_is() -> None:
    line = {
        "requirement_title": "Critical care",
        "unit": "patient",
        "minimum": 40,
        "reached_by": None,
        "reached_by_title": None,
        "reached": True,
    }
    assert words.requirement_text(line) == "Critical care (patients)"
    assert words.requirement_text(line | {"unit": "operation"}) == "Critical care"
    stands_in = line | {
        "reached_by": "trauma",
        "reached_by_title": "Trauma",
        "confirmed_cases": 0,
        "counted_cases": 2,
    }
    assert words.reached_text(stands_in) == "✓, by Trauma"
