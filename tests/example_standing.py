"""The drawn example specialty with steps, more outcomes and a framework; and many trainees or cases in one line."""

from __future__ import annotations

from typing import Any

import yaml

from tests.drawn import Db, database, example, put

STEPS = {"lens": ["capsulorhexis", "nucleus_disassembly"], "closing": ["wound_closure"]}


# Data through October 2026: 2026-07 → month 4, quarter 2; 2023-07 → month 40, quarter 14.
BEGINNER, SENIOR = "2026-07", "2023-07"
OTHERS = [f"T{number:02d}" for number in range(11, 16)]


def specialty(
    rules: dict[str, list[dict[str, Any]]] | None = None,
    requirements: dict[str, Any] | None = None,
    complications: dict[str, Any] | None = None,
) -> bytes:
    """`rules`: level → rules of the one milestone `lens_skill`, of a framework with the levels A, B, C."""
    content = yaml.safe_load(example(requirements, complications))
    content["steps"] = STEPS
    # So that somebody who operates has a level below the two highest.
    content["supervision"]["observed"]["roles"].append("surgeon")
    content["milestones"] = {
        "framework": "example",
        "official": False,
        "levels": ["A", "B", "C"],
        "items": {"lens_skill": {"title": "Lens skill", "rules": rules or {}}},
    }
    return yaml.safe_dump(content, sort_keys=False).encode()


def put_trainees(db: Db, rows: dict[str, str], through: str = "2026-10") -> None:
    """Trainee → month of start; all with data through the same month."""
    put(
        db,
        "trainees",
        "trainee_ref | started\n" + "\n".join(f"{ref} | {start}" for ref, start in rows.items()),
    )
    put_through(db, dict.fromkeys(rows, through))


def put_through(db: Db, rows: dict[str, str]) -> None:
    lines = "\n".join(f"{ref} | {month}" for ref, month in rows.items())
    put(db, "data_through", f"trainee_ref | data_through\n{lines}")


class Log:
    """Cases and reviews put in by the dozen; a case_ref is made for each."""

    def __init__(self, db: Db) -> None:
        self.db, self.cases = db, 0

    def add(self, trainee: str, month: str, number: int = 1, **columns: object) -> list[str]:
        """So many equal cases; returns their case_refs."""
        row: dict[str, object] = {
            "trainee_ref": trainee, "operated_month": month, "procedure": "phaco_iol", "role": "surgeon",
            "source": "main", "source_taken": 1, "taken": 1, "intake_id": "a-1", **columns,
        }  # fmt: skip
        names = ", ".join(f'"{name}"' for name in [*row, "case_ref", "case_sequence"])
        marks = ", ".join("?" for _ in row)
        self.db.execute(
            f"insert into input.cases ({names}) select {marks}, format('C{{:05d}}', place), place "
            f"from range({self.cases + 1}, {self.cases + number + 1}) as made (place)",
            list(row.values()),
        )
        self.cases += number
        return [f"C{place:05d}" for place in range(self.cases - number + 1, self.cases + 1)]

    def review(self, trainee: str, case_ref: str, scores: list[int], step: str = "capsulorhexis") -> None:
        """One review a score, each by a person of the faculty."""
        for place, score in enumerate(scores):
            self.db.execute(
                "insert into input.reviews (review_ref, case_ref, trainee_ref, reviewer_ref, self_review, step, "
                "score) values (?, ?, ?, 'S01', false, ?, ?)",
                [f"{case_ref}-{step}-{place}", case_ref, trainee, step, score],
            )


def programme(others: int = 5, **outcomes: Any) -> tuple[Db, Log]:
    """T01 in quarter 2 of training, and so many seniors."""
    db = database(specialty(complications=outcomes or None))
    refs = [f"T{number:02d}" for number in range(11, 11 + others)]
    put_trainees(db, {"T01": BEGINNER, **dict.fromkeys(refs, SENIOR)})
    return db, Log(db)
