"""A made-up programme put straight into an in-memory database, and published by the real sql/.

The rows are reduced here as an intake reduces them; that the intake does so is judged where exports go through
the real commands (tests/judged.py).
"""

from __future__ import annotations

from typing import Any

import pyarrow as pa
import yaml

from pipelines.build.build import audit, make_views
from tests.drawn import Db, database
from tests.oracle import Oracle
from tests.oracle_rows import Row, cell, code, codes, cohort_of, month_of, yes_no
from tests.oracle_technique import clock_seconds
from tests.oracle_views import VIEWS, Evidence

CASE_TEXTS = [
    "role",
    "supervision",
    "technique",
    "takeover_reason",
    "event_hands",
    "procedure",
    "converted_from",
    "side",
]

# Of a sentence, whether there is one.
WHETHER_SAID = {
    "is_something_missing": "missing is not null as is_something_missing",
    "is_something_met": "met_by is not null as is_something_met",
    "is_reason_given": "why_none is not null as is_reason_given",
}


def loaded(it: Oracle, evidence: Evidence) -> Db:
    """The published views of the programme; the audits find nothing."""
    db = database(yaml.safe_dump(it.given, sort_keys=False).encode())
    db.execute("update input.programme set programme_ref = ?, as_of = ?", [it.programme_ref, evidence.as_of])
    _insert(db, "trainees", [_trainee(row) for row in it.roster.values()])
    _insert(db, "training", [_period(row) for row in it.training.values()])
    _insert(db, "cases", [row for slot in it.live for row in _cases(it, slot)])
    _insert(
        db,
        "data_through",
        [
            {"trainee_ref": trainee, "source": source, "data_through": month}
            for (trainee, source), month in it.through.items()
        ],
    )
    _insert(db, "outcomes", [_outcome(row, place) for place, row in enumerate(it.outcome_rows)])
    _insert(db, "confirmations", [_confirmation(row) for row in it.confirmations.values()])
    _insert(db, "reviews", [_review(row) for row in evidence.reviews])
    _insert(db, "milestones", evidence.milestones)
    _insert(db, "finding", [{**each, "message": "made up"} for each in evidence.findings])
    _insert(db, "intake", [{"intake_id": intake, "kind": "cases"} for intake in evidence.live_for])
    live = [(intake, trainee) for intake, people in evidence.live_for.items() for trainee in sorted(people)]
    _insert(
        db,
        "intake_trainee",
        [{"intake_id": intake, "kind": "cases", "trainee_ref": trainee} for intake, trainee in live],
    )
    make_views(db)
    assert audit(db) == [], audit(db)
    return db


def published(db: Db, view: str) -> list[dict[str, Any]]:
    """The rows of a view with the columns that the oracle knows, in no order."""
    wanted = ", ".join(WHETHER_SAID.get(name, f'"{name}"') for name in VIEWS[view][1])
    answer = db.execute(f"select {wanted} from main.{view}")
    names = [name for name, *_ in answer.description or []]
    return [dict(zip(names, row, strict=True)) for row in answer.fetchall()]


def _insert(db: Db, table: str, rows: list[dict[str, Any]]) -> None:
    if rows:
        db.register("arriving", pa.Table.from_pylist(rows))
        db.execute(f"insert into input.{table} by name select * from arriving")
        db.unregister("arriving")


def _trainee(row: Row) -> dict[str, Any]:
    texts = [
        "trainee_ref",
        "programme_ref",
        "stage",
        "level",
        "credit_from",
        "completed",
        "left",
        "started",
        "expected_completion",
    ]
    return {name: cell(row, name) for name in texts} | {"cohort": cohort_of(row)}


def _period(row: Row) -> dict[str, Any]:
    return {name: cell(row, name) for name in ("trainee_ref", "from", "to", "kind", "value")}


def _cases(it: Oracle, slot: tuple[str, str]) -> list[dict[str, Any]]:
    rows = sorted(it.live[slot].values(), key=lambda row: row["operated_on"].strip()[:10])
    taken = it.taken[slot] + 1
    head = {"source": slot[1], "source_taken": taken, "taken": taken}
    return [head | _case(row) | {"case_sequence": place} for place, row in enumerate(rows, start=1)]


def _case(row: Row) -> dict[str, Any]:
    days = cell(row, "follow_up_days")
    return {
        **{name: code(row, name) for name in CASE_TEXTS},
        **{
            name: cell(row, name)
            for name in ("trainee_ref", "case_ref", "supervisor_ref", "site_ref", "intake_id")
        },
        **{name: yes_no(row, name) for name in ("principal", "supervisor_agreed", "takeover")},
        **{name: _joined(codes(row, name)) for name in ("attributes", "risk_factors")},
        "complications": _joined(_earliest(codes(row, "complications"))),
        "operated_month": month_of(row, "operated_on"),
        "follow_up_days": int(days) if days else None,
    }


def _outcome(row: Row, place: int) -> dict[str, Any]:
    """Rows as they came: of one source and operation the build takes the last."""
    names = ("case_ref", "complication", "occurred", "trainee_ref", "programme_ref")
    day = cell(row, "day")
    return {name: cell(row, name) for name in names} | {
        "ascertained_by": row["source"],
        "day": int(day) if day else None,
        "taken": place,
    }


def _confirmation(row: Row) -> dict[str, Any]:
    names = ("case_ref", "trainee_ref", "supervisor_ref", "supervision", "takeover_reason")
    return {name: cell(row, name) for name in names} | {
        name: yes_no(row, name) for name in ("role_agreed", "takeover")
    }


def _joined(names: list[str] | None) -> str | None:
    if names is None:
        return None
    return ";".join(sorted(set(names))) or "none"


def _earliest(events: list[str] | None) -> list[str] | None:
    """Of an event named twice the mention without a day, or else the earliest day."""
    if events is None:
        return None
    days: dict[str, list[str]] = {}
    for event in events:
        name, _, day = event.partition("@")
        days.setdefault(name, []).append(day)
    return [
        name if "" in mentions else f"{name}@{min(map(int, mentions))}" for name, mentions in days.items()
    ]


def _review(row: Row) -> dict[str, Any]:
    numbers = {name: cell(row, name) for name in ("score", "attempts", "successes")}
    speed = cell(row, "recording_speed")
    return {
        **{name: cell(row, name) for name in ("review_ref", "case_ref", "trainee_ref", "reviewer_ref")},
        **{name: code(row, name) for name in ("setting", "step", "done_by_supervisor")},
        **{name: int(text) if text else None for name, text in numbers.items()},
        "self_review": yes_no(row, "self_review"),
        "started_seconds": clock_seconds(row, "started_at"),
        "ended_seconds": clock_seconds(row, "ended_at"),
        "recording_speed": float(speed) if speed else None,
    }
