"""Draft, provisional or final: who answers for the counts of a class, and what keeps them from being final.

Source: the contract of the volume summary. Final are counts where nobody of the class is out of date, no role is in
dispute among counted requirements, and nothing is held.
"""

from __future__ import annotations

import io
import json
from pathlib import Path

import openpyxl
import pytest

from dashboard.access import Viewer
from dashboard.screens import summary
from pipelines.store.store import Store
from pipelines.summary.files import Options, summary_files
from pipelines.summary.state import State, state_of
from tests.drawn import database, drawn, example, put, run, table
from tests.looking import opened_as, said, session
from tests.stores import run as command
from tests.stores import run_well
from tests.summed import AS_OF, summed_store

__all__ = ["session"]

RULES = {
    "lid": {"procedures": ["lid_repair", "lid_cyst"]},
    "cyst": {"procedures": ["lid_cyst"], "part_of": "lid"},
    "audit": {"minimum": None, "consecutive": {"cases": 2, "within_years": 3}},
}


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return summed_store(tmp_path_factory.getbasetemp())


# ---- what keeps a class from being final


def test_a_class_is_kept_from_being_final_by_what_is_missing_disputed_or_held() -> None:
    db = database(example(RULES))
    put(
        db,
        "trainees",
        """
        trainee_ref | left
        T01         |
        T02         |
        T03         |
        T04         | 2025-12
        T05         | 2026-03
        """,
    )
    # The snapshot is of 24 November 2026: 45 days before lie in October. Who left in December has data through then.
    put(
        db,
        "data_through",
        "trainee_ref | data_through\nT01 | 2026-10\nT02 | 2026-09\nT04 | 2025-12\nT05 | 2026-02",
    )
    put(
        db,
        "cases",
        """
        trainee_ref | case_ref | procedure  | role     | supervisor_agreed | takeover
        T01         | C001     | lid_cyst   | surgeon  | no                |
        T01         | C002     | lid_repair | surgeon  | no                |
        T01         | C003     | lid_repair | surgeon  |                   | yes
        T01         | C004     | lid_repair | surgeon  | yes               | yes
        T01         | C005     | phaco_iol  | surgeon  | no                |
        T01         | C006     | lid_repair | observer | no                |
        T04         | C007     | lid_repair | surgeon  | yes               |
        """,
    )
    run(db)
    # C001 is listed by two requirements and is one case; C005 only by the audit, which is no count; C006 is kept out by
    # its role, whatever the supervisor says.
    assert table(db, "not_final", "trainee_ref, obstacle, cases, data_through") == drawn("""
        T01 | supervisor_disagreed | 2 | 2026-10
        T01 | takeover_to_confirm  | 1 | 2026-10
        T02 | not_current          |   | 2026-09
        T03 | no_data              |   |
        T05 | not_current          |   | 2026-02
    """)
    # Nothing is held until double claims are judged: here as if.
    db.execute("update case_volume set held_cases = 2 where trainee_ref = 'T04' and requirement_ref = 'lid'")
    db.execute("update case_volume set held_cases = 1 where trainee_ref = 'T04' and requirement_ref = 'cyst'")
    held = db.execute(
        "select trainee_ref, cases from definition.not_final where obstacle = 'held'"
    ).fetchall()
    assert held == [("T04", 2)]


@pytest.mark.parametrize(
    ("row", "sentence"),
    [
        (("no_data", None, None), "No data have come in of T07."),
        (("not_current", None, "2026-07"), "The data of T07 (through 2026-07) are not current."),
        (
            ("supervisor_disagreed", 2, "2026-10"),
            "A supervisor refused the role of 2 cases of T07; these cases do not count.",
        ),
        (
            ("takeover_to_confirm", 1, "2026-10"),
            "A takeover waits for the supervisor’s word: 1 case of T07; these cases do not count yet.",
        ),
        (("held", 3, None), "Cases are held until somebody decides who did them: 3 cases of T07."),
    ],
)
def test_each_obstacle_makes_final_counts_provisional_and_is_said(
    row: tuple[str, int | None, str | None], sentence: str
) -> None:
    obstacle, cases, through = row
    rows = [{"trainee_ref": "T07", "obstacle": obstacle, "cases": cases, "data_through": through}]
    assert state_of("A. Quay", rows) == State("provisional", "A. Quay", (sentence,))
    assert state_of(None, rows) == State("draft", None, (sentence,))


def test_people_of_one_obstacle_stand_in_one_sentence() -> None:
    rows = [
        {"trainee_ref": ref, "obstacle": "no_data", "cases": None, "data_through": None}
        for ref in ("T01", "T02", "T03")
    ]
    assert state_of("A. Quay", rows).why == ("No data have come in of T01, T02 and T03.",)


# ---- in the files


def test_without_a_word_the_files_are_a_draft(store: Path) -> None:
    files = summary_files(Store(store), "harbour-eye", "2027")
    assert files.said[0] == "Draft: nobody has answered for these counts."
    book = openpyxl.load_workbook(io.BytesIO(files.contents["volume-2027.xlsx"]))
    assert book.properties.title == "Accreditation volume summary, class of 2026-27: draft"
    assert book["Overview"]["A2"].value.startswith(
        "Draft: nobody has answered for these counts. Before the counts can be"
    )
    assert {sheet.oddHeader.left.text for sheet in book} == {"Harbour Eye, class of 2026-27 · draft"}
    receipt = json.loads(files.contents["volume-2027.json"])
    assert (receipt["state"], receipt["answered_for_by"]) == ("draft", None)


def test_final_is_provisional_while_something_is_missing_and_the_command_says_why(
    store: Path, tmp_path: Path
) -> None:
    done = run_well(
        *("summary", "--store", store, "--cohort", 2027, "--out", tmp_path, "--final", "--by", " A.  Quay\n")
    )
    why = [
        "Provisional: A. Quay asked for final counts, and they cannot be final yet.",
        "No data have come in of -T03 and T04.",
        "The data of T02 (through 2025-01) are not current.",
    ]
    assert done.err.strip().splitlines()[-3:] == why
    assert done.out.splitlines() == [
        str(tmp_path / f"volume-2027.{each}") for each in ("xlsx", "pdf", "csv", "json")
    ]
    book = openpyxl.load_workbook(tmp_path / "volume-2027.xlsx")
    assert book["Overview"]["A2"].value == " ".join(why)
    assert book.properties.title.endswith(": provisional")
    receipt = json.loads((tmp_path / "volume-2027.json").read_text("utf-8"))
    assert (receipt["state"], receipt["answered_for_by"], receipt["says"]) == ("provisional", "A. Quay", why)


def test_final_counts_name_who_answers_for_them(store: Path, tmp_path: Path) -> None:
    # Of the class of 2028 T09 alone is there: current, and nothing is disputed.
    done = command(
        *("summary", "--store", store, "--cohort", 2028, "--out", tmp_path, "--final", "--by", "A. Quay")
    )
    assert (done.code, "rovisional" in done.err) == (0, False)
    book = openpyxl.load_workbook(tmp_path / "volume-2028.xlsx")
    assert book["Overview"]["A2"].value == f"Final: A. Quay answers for these counts, as of {AS_OF}."
    assert book.properties.title.endswith(": final")


# ---- on the screen


def test_the_screen_makes_the_same_files_in_the_name_of_who_is_signed_in(store: Path) -> None:
    viewer = Viewer("coordinator", "harbour-eye")
    app = opened_as(summary, viewer, Store(store))
    why = [
        "Before the counts can be final:",
        "No data have come in of -T03 and T04.",
        "The data of T02 (through 2025-01) are not current.",
    ]
    assert [sentence for sentence in why if sentence not in said(app)] == []
    app.selectbox[0].select("2027-28").run()
    assert "Nothing keeps the counts of this class from being final." in said(app)
    app.selectbox[0].select("2026-27").run()
    app.checkbox[0].check()
    app.button[0].click().run()
    assert "Provisional: the coordinator asked for final counts, and they cannot be final yet." in said(app)
    made_for, files = app.session_state["summary"]
    options = Options(final_by="the coordinator")
    assert (made_for, files) == ("2026-27", summary_files(Store(store), "harbour-eye", "2027", options))
    assert summary._person(Viewer("director", "harbour-eye", person="a.quay")) == "a.quay"
