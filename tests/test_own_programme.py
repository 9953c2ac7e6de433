"""Who asks for one programme may bring in files about its people alone; no word tells whether others exist."""

from __future__ import annotations

import datetime
from pathlib import Path

import pytest

from pipelines.files.reading import ExportFile
from pipelines.intake.take import IntakeOutcome, IntakeRequest, take, try_out
from pipelines.store.store import Store
from tests.standing import content
from tests.stores import new_store, rows_of

pytestmark = pytest.mark.usefixtures("builds_of_the_log")

TODAY = datetime.date(2026, 11, 20)
ROSTER = """\
trainee_ref,cohort,started,expected_completion,programme_ref
X01,2026-27,2024-07,2027-06,x
Y01,2026-27,2024-07,2027-06,y
"""
CASES = """\
case_ref,trainee_ref,operated_on,procedure,role
C0001,X01,2025-02-11,phaco_iol,surgeon
C0002,Y01,2025-02-11,phaco_iol,surgeon
"""


@pytest.fixture
def store(tmp_path: Path) -> Store:
    store = Store(new_store(tmp_path, programme="x"))
    files = [ExportFile("roster.csv", ROSTER.encode()), ExportFile("cases.csv", CASES.encode())]
    assert take(store, IntakeRequest(files, TODAY)).status == "stored"
    return store


def asked(store: Store, text: str, name: str = "cases.csv") -> IntakeOutcome:
    request = IntakeRequest([ExportFile(name, text.encode())], TODAY, append=True, programme_ref="x")
    return take(store, request)


def test_a_case_of_another_programmes_trainee_is_one_of_an_unknown_trainee(store: Store) -> None:
    text = CASES.replace("C0001", "C0011").replace("C0002", "C0012")
    outcome = asked(store, text + "C0013,Z01,2025-02-11,phaco_iol,surgeon\n")
    assert outcome.status == "stored"
    # Y01, who exists elsewhere, and Z01, who exists nowhere, are told in the same words.
    said = [row[4:9] for row in outcome.finding_rows()]
    assert [row[0] for row in said] == ["trainee_unknown", "trainee_unknown"]
    assert said[0][3].split(": ", 1)[1] == said[1][3].split(": ", 1)[1]
    cases = {row["case_ref"] for row in rows_of(store.root, "case_credit", programme_ref="y")}
    assert cases == {"C0002"}


@pytest.mark.parametrize(
    "row", ["Y01,2027-28,2025-07,2028-06,", "Y01,2027-28,2025-07,2028-06,x", "N01,2026-27,2024-07,2027-06,y"]
)
def test_a_roster_neither_moves_nor_makes_people_of_another_programme(row: str, store: Store) -> None:
    before = content(store.root)
    assert asked(store, ROSTER.splitlines()[0] + f"\n{row}\n", "roster.csv").status == "nothing_accepted"
    assert content(store.root) == before


def test_a_command_acts_for_every_programme_of_the_store(store: Store) -> None:
    text = CASES.replace("C0001", "C0011").replace("C0002", "C0012")
    request = IntakeRequest([ExportFile("cases.csv", text.encode())], TODAY, append=True)
    assert try_out(store, request).status == "sound"


def test_an_export_that_names_people_of_another_programme_replaces_nothing_of_theirs(store: Store) -> None:
    text = CASES.replace("C0002", "C0012")
    request = IntakeRequest([ExportFile("cases.csv", text.encode())], TODAY, programme_ref="x")
    outcome = take(store, request)
    assert [each.trainee_ref for each in outcome.changes] == ["X01"]
    assert [row["case_ref"] for row in rows_of(store.root, "case_credit", programme_ref="y")] == ["C0002"]
    # Nor does a word for what would go.
    accepted = IntakeRequest(request.files, TODAY, accepted_by="x", reason="x", programme_ref="x")
    take(store, accepted)
    assert [row["case_ref"] for row in rows_of(store.root, "case_credit", programme_ref="y")] == ["C0002"]
