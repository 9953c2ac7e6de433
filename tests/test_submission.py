"""What is owed: against plain loops, by whom and when; the texts that are sent; what each viewer finds of it."""

from __future__ import annotations

import datetime as dt
import random
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pandas as pd
import pyarrow as pa
import pytest
import yaml

from dashboard.owed import LIST, listed
from dashboard.owed_words import note_to_supervisor, note_to_trainee
from pipelines.contract.errors import WrongUsage
from pipelines.store.documents import SubmissionDue, load_programme
from tests.drawn import Db, database, example, run
from tests.oracle_submission import DUE, WINDOWS, Row, owed

AS_OF = dt.date(2026, 11, 24)
MONTHS = [f"{year}-{month:02d}" for year in (2024, 2025, 2026) for month in range(1, 13)]
PEOPLE: list[Row] = [
    {"ref": "T01", "started": "2025-07", "through": "2026-10", "completed": None, "leave": []},
    {"ref": "T02", "started": "2025-07", "through": "2026-06", "completed": None, "leave": ["2026-08"]},
    {"ref": "T03", "started": "2026-08", "through": None, "completed": None, "leave": []},
    {"ref": "T04", "started": "2024-07", "through": "2026-05", "completed": "2026-06", "leave": []},
    # Current by one day, and not current by one.
    {"ref": "T05", "started": "2025-07", "through": "2026-09", "completed": None, "leave": []},
]


def specialty() -> bytes:
    rules = {name: {"window_days": days, "title": name} for name, days in WINDOWS.items()}
    return example(complications=rules)


def cases_drawn(chance: random.Random) -> list[Row]:
    cases = []
    for person in PEOPLE:
        for number in range(25 if person["through"] else 0):
            complications = chance.choice(["none", None])
            cases.append(
                {
                    "ref": person["ref"],
                    "case_ref": f"{person['ref']}-{number:02d}",
                    # Some are from before the training, and so performed elsewhere.
                    "month": chance.choice(
                        [each for each in MONTHS if "2024-05" <= each <= person["through"]]
                    ),
                    "role": chance.choice(["surgeon", "surgeon", "assistant"]),
                    "agreed": chance.choice([True, False, None, None]),
                    "supervisor": chance.choice(["S01", "S02", None]),
                    "complications": complications,
                    "follow_up": chance.choice([None, 0, 89, 90]) if complications else None,
                }
            )
    return cases


def loaded(cases: list[Row], as_of: dt.date) -> Db:
    db = database(specialty())
    db.execute("update input.programme set as_of = ?", [as_of.isoformat()])
    rows: dict[str, list[dict[str, Any]]] = {
        "trainees": [
            {"trainee_ref": each["ref"], "cohort": "2026-27", "started": each["started"]}
            | {"expected_completion": "2027-06", "credit_from": "2024-01", "completed": each["completed"]}
            for each in PEOPLE
        ],
        "training": [
            {"trainee_ref": each["ref"], "from": month, "to": month, "kind": "leave"}
            for each in PEOPLE
            for month in each["leave"]
        ],
        "data_through": [
            {"trainee_ref": each["ref"], "source": "main", "data_through": each["through"]}
            for each in PEOPLE
            if each["through"]
        ],
        "submission_due": [{"owed": name, "due_days": days} for name, days in DUE.items()],
        "cases": [
            {"trainee_ref": each["ref"], "case_ref": each["case_ref"], "operated_month": each["month"]}
            | {"procedure": "phaco_iol", "role": each["role"], "supervisor_agreed": each["agreed"]}
            | {"supervisor_ref": each["supervisor"], "complications": each["complications"]}
            | {"follow_up_days": each["follow_up"], "case_sequence": place, "intake_id": "a-1"}
            | {"source": "main", "source_taken": 1, "taken": 1}
            for place, each in enumerate(cases)
        ],
    }
    for name, each in rows.items():
        db.register("arriving", pa.Table.from_pylist(each))
        db.execute(f"insert into input.{name} by name select * from arriving")
        db.unregister("arriving")
    return db


@pytest.mark.parametrize(
    ("seed", "as_of"),
    # The last day is one that a programme has fixed, before its newest cases.
    [(1, AS_OF), (2, dt.date(2026, 11, 14)), (3, dt.date(2026, 11, 15)), (4, dt.date(2026, 3, 10))],
)
def test_what_is_owed_is_that_of_plain_loops(seed: int, as_of: dt.date) -> None:
    cases = cases_drawn(random.Random(seed))
    with loaded(cases, as_of) as db:
        run(db, ("submission",))
        rows = db.execute(
            "select trainee_ref, owed, month, case_ref, supervisor_ref, missing, age_months, due_on, is_overdue"
            " from submission"
        ).fetchall()
    expected = owed(PEOPLE, cases, as_of)
    assert {row[:-1] for row in rows} == expected
    assert len(rows) == len(expected)
    assert seed != 1 or {row[-1] for row in rows} == {True, False}
    assert all(row[-1] == (dt.date.fromisoformat(row[-2]) < as_of) for row in rows)
    # T05's data end 45 days before the 14th of November.
    assert (("T05", "log") in {row[:2] for row in rows}) == (as_of > dt.date(2026, 11, 14))


def test_the_days_come_from_programme_yaml_and_are_as_shipped_in_the_readme(tmp_path: Path) -> None:
    assert SubmissionDue().model_dump() == DUE
    readme = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")
    settings = readme.split("\n## Settings\n")[1].split("\n## ")[0]
    assert "`submission_due: {log: 14, confirmation: 30, outcome: 30}`" in settings
    path = tmp_path / "programme.yaml"

    def due(value: object) -> SubmissionDue:
        said = {"programme_ref": "p", "title": "P", "submission_due": value}
        path.write_text(yaml.safe_dump(said), encoding="utf-8")
        return load_programme(path).submission_due

    assert due({"log": 7}).model_dump() == DUE | {"log": 7}
    for wrong in ({"log": -1}, {"log": "soon"}, {"logs": 14}, 14, {"outcome": 99999}, {"confirmation": 1.5}):
        with pytest.raises(WrongUsage, match="submission_due"):
            due(wrong)


def row(**said: Any) -> SimpleNamespace:
    return SimpleNamespace(trainee_ref="T07", month="2026-09", due_on="2026-10-30", is_overdue=False, **said)


def test_a_note_says_what_is_missing_and_by_when_and_nothing_of_a_patient() -> None:
    months = [row(owed="log") for _ in range(2)]
    months[0].month, months[0].due_on, months[0].is_overdue = "2026-08", "2026-09-14", True
    months[1].due_on = "2026-10-14"
    said = note_to_trainee(
        "Harbour Eye",
        "T07",
        "2026-10-01",
        [*months, row(owed="confirmation"), row(owed="outcome"), row(owed="outcome")],
    )
    assert said.splitlines() == [
        "Harbour Eye: what the log still lacks",
        "To T07",
        "",
        "On 1 October 2026 this is still missing from your log:",
        "- 2 months of your log not entered: August 2026 to September 2026. 1 past due since 14 September 2026;"
        " the next due by 14 October 2026.",
        "- 1 case in an operating role without a supervisor's word on the role. Due by 30 October 2026."
        " Please ask the supervisors whom the list names.",
        "- 2 cases without a record of what happened afterwards. Due by 30 October 2026."
        " Please enter what happened, or none where nothing did, and how long the follow-up was.",
        "",
        "The list comes with this note.",
        "Please bring your log up to date and send the new export.",
    ]
    assert (
        note_to_trainee("Harbour Eye", "T07", "2026-10-01", []).splitlines()[-1]
        == "Your log lacks nothing that is due."
    )


def test_a_note_to_a_supervisor_names_each_trainee_with_their_cases() -> None:
    rows = [row(owed="confirmation", is_late=True) for _ in range(3)]
    rows[2].trainee_ref, rows[2].is_overdue, rows[2].due_on = "T08", True, "2026-09-30"
    assert note_to_supervisor("Harbour Eye", "S03", "2026-10-01", rows).splitlines()[3:] == [
        "On 1 October 2026 these cases, which name you, wait for your word on the role that was logged:",
        "- 2 cases of T07. Due by 30 October 2026.",
        "- 1 case of T08. Past due since 30 September 2026.",
        "",
        "The list comes with this note.",
        "Please say of each case in the list whether the role is right.",
    ]


def test_the_list_is_in_words_and_holds_no_formula() -> None:
    cells = dict.fromkeys(LIST) | {"trainee_ref": "T07", "owed": "outcome", "is_overdue": True}
    text = listed(pd.DataFrame([cells | {"missing": "=1+1", "case_ref": "C-1", "age_months": 3}])).decode()
    assert text.splitlines() == [
        "trainee,owed,month,case,procedure,side,role,supervisor,not known,months ago,due on,past due",
        "T07,outcome not known,,C-1,,,,,'=1+1,3,,yes",
    ]
