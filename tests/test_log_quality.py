"""The quality of logs: against plain loops over made-up logs, and drawn tables for what is not known."""

from __future__ import annotations

import random
from collections import Counter
from typing import Any

import pyarrow as pa
import pytest

from dashboard import log_words
from tests.drawn import Db, database, drawn, put, run, table
from tests.oracle_log_quality import Case, Log, earlier, measures, median_days

TODAY = 2026 * 12 + 10  # November 2026, counted from 0


def month(number: int) -> str:
    return f"{number // 12}-{number % 12 + 1:02d}"


def logs_drawn(chance: random.Random) -> list[Log]:
    """Fourteen who completed, and four in training: current, behind, with no data, and just begun."""
    logs = [
        made_up(chance, f"E{at:02d}", TODAY - 60 + at % 3, TODAY - 24 + at % 3, completed=True)
        for at in range(14)
    ]
    logs += [made_up(chance, "T01", TODAY - 20, TODAY - 1), made_up(chance, "T02", TODAY - 28, TODAY - 5)]
    return [
        *logs,
        Log("T03", TODAY - 2, None, is_current=False),
        Log("T04", TODAY - 1, TODAY - 1, is_current=True),
    ]


def made_up(chance: random.Random, ref: str, started: int, through: int, *, completed: bool = False) -> Log:
    leave = set(range(started + 3, started + 3 + chance.randrange(0, 4)))
    log = Log(ref, started, through, completed or TODAY - through <= 2, completed, leave)
    for _ in range(chance.randrange(5, 40)):
        is_timed = chance.random() < 0.7
        log.cases.append(
            Case(
                chance.randrange(started, through + 1),
                chance.choice(["surgeon", "surgeon", "assistant", "observer", "perfusionist"]),
                chance.choice(["phaco_iol", "lid_repair", "unmapped-1"]),
                chance.choice([True, False, None]),
                chance.choice([0, 3, 44, 45, 46, 200]) if is_timed else None,
                chance.randrange(0, 6) if is_timed or chance.random() < 0.2 else None,
                chance.random() < 0.1,
            )
        )
    return log


def loaded(logs: list[Log]) -> Db:
    db = database()
    rows: dict[str, list[dict[str, Any]]] = {
        "trainees": [],
        "training": [],
        "data_through": [],
        "cases": [],
        "finding": [],
    }
    for log in logs:
        over = {"completed": month(log.through)} if log.of_completed_class and log.through else {}
        cohort = "2024-25" if log.of_completed_class else "2027-28"
        person = {"trainee_ref": log.ref, "cohort": cohort, "started": month(log.started)}
        rows["trainees"].append(person | {"expected_completion": month(log.started + 48)} | over)
        head = {"trainee_ref": log.ref}
        if log.leave:
            spell = {"from": month(min(log.leave)), "to": month(max(log.leave)), "kind": "leave"}
            rows["training"].append(head | spell)
        if log.through is not None:
            rows["data_through"].append(head | {"source": "main", "data_through": month(log.through)})
        # What an intake keeps of the day on which a row was logged.
        that_day = Counter(case.logged_on for case in log.cases)
        for place, case in enumerate(log.cases):
            at = head | {
                "intake_id": "a-1",
                "file_name": "log.csv",
                "source_row": int(log.ref[1:]) * 100 + place,
            }
            rows["cases"].append(
                at
                | {
                    "case_ref": f"{log.ref}-{place:03d}",
                    "operated_month": month(case.month),
                    "role": case.role,
                }
                | {"procedure": case.procedure, "supervisor_agreed": case.agreed, "lag_days": case.lag}
                | {"same_day_logged": that_day[case.logged_on] if case.logged_on is not None else None}
                | {"source": "main", "source_taken": 1, "taken": 1, "case_sequence": place}
            )
            if case.reused:
                # Two findings of one row are one row.
                rows["finding"] += [
                    at
                    | {
                        "column_name": name,
                        "rule": "case_ref_reused",
                        "severity": "warning",
                        "message": "twice",
                    }
                    for name in ("case_ref", "side")
                ]
    for name, each in rows.items():
        for row in each:
            row.pop("file_name" if name not in ("cases", "finding") else "", None)
        db.register("arriving", pa.Table.from_pylist(each))
        db.execute(f"insert into input.{name} by name select * from arriving")
        db.unregister("arriving")
    return db


@pytest.mark.parametrize("seed", [1, 2])
def test_every_measure_is_that_of_plain_loops(seed: int) -> None:
    logs = logs_drawn(random.Random(seed))
    with loaded(logs) as db:
        run(db, ("log_quality",))
        found = db.execute(
            "select trainee_ref, measure, numerator, denominator, value, median_days, earlier_low, earlier_median,"
            " earlier_high, earlier_people from log_quality"
        ).fetchall()
    answers = {(ref, measure): rest for ref, measure, *rest in found}
    assert len(answers) == len(found) == 7 * len(logs)
    for log in logs:
        for measure, (part, whole) in measures(log).items():
            numerator, denominator, value, *_ = answers[log.ref, measure]
            assert (numerator, denominator) == (part, whole), (log.ref, measure)
            assert value == (None if part is None or whole is None else part / whole)
        assert answers[log.ref, "entered_in_time"][3] == median_days(log)
        quartiles, people = earlier(log, logs)
        *shares, counted = answers[log.ref, "operating_role"][4:]
        assert counted == people, log.ref
        assert shares == (pytest.approx(quartiles, rel=1e-12) if quartiles else [None] * 3)
    # The drawn logs reach what is to be judged.
    assert earlier(logs[-4], logs)[0] is not None and answers["T02", "months_without_cases"][0] is None


def test_what_is_not_known_of_a_log_is_blank_and_said() -> None:
    db = database()
    put(db, "trainees", "trainee_ref | started\nT01 | 2026-07\nT02 | 2026-07")
    put(db, "data_through", "trainee_ref | data_through\nT01 | 2026-10")
    put(
        db,
        "cases",
        """
        case_ref | operated_month | role     | lag_days | same_day_logged | supervisor_agreed
        C01      | 2026-08        | surgeon  | 46       | 9               | true
        C02      | 2026-08        | observer |          | 9               |
        C03      | 2026-10        | surgeon  | 45       | 1               |
    """,
    )
    run(db, ("log_quality",))
    assert table(db, "log_quality", "trainee_ref, measure, numerator, denominator, median_days") == drawn("""
        T01 | case_ref_reused      | 0 | 3 |
        T01 | entered_in_time      | 1 | 2 | 45.5
        T01 | entered_on_one_day   | 2 | 3 |
        T01 | months_without_cases | 2 | 4 |
        T01 | operating_role       | 2 | 3 |
        T01 | procedure_unmapped   | 0 | 3 |
        T01 | role_confirmed       | 1 | 2 |
        T02 | case_ref_reused      |   |   |
        T02 | entered_in_time      |   |   |
        T02 | entered_on_one_day   |   |   |
        T02 | months_without_cases |   |   |
        T02 | operating_role       |   |   |
        T02 | procedure_unmapped   |   |   |
        T02 | role_confirmed       |   |   |
    """)
    rows = db.execute(
        'select * exclude "value", "value" as proportion from log_quality order by trainee_ref, position'
    )
    names = [name for name, *_ in rows.description or []]
    said = [log_words.quality_sentence(Row(zip(names, row, strict=True))) for row in rows.fetchall()]
    assert said == [
        "Entered within 45 days of the operation: 1 of 2 (50 %) of the rows that say when. Half of them took 45.5 days or fewer.",
        "Entered on one and the same day: at most 2 of 3 (67 %).",
        "Logged in an operating role: 2 of 3 (67 %).",
        "Operating role confirmed by a supervisor: 1 of 2 (50 %).",
        "Procedure not known to the specialty: 0 of 3 (0 %).",
        "Case reference that stands for operations on different days: 0 of 3 (0 %).",
        "Months of training without a case: 2 of 4 (50 %).",
        "When rows were entered is not recorded.",
        "On which day rows were entered is not recorded.",
        "No case with a role yet.",
        "No case in an operating role yet.",
        "No case yet.",
        "Case references cannot be judged: there is no case yet.",
        "Months without a case are not counted while the log is behind: they may only be late.",
    ]


class Row(dict[str, Any]):
    """A row by the names of its columns, as the screens read it."""

    def __getattr__(self, name: str) -> Any:
        return self[name]
