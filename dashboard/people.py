"""The people of the demo: one of each role, and every trainee."""

from __future__ import annotations

from dataclasses import dataclass

from dashboard.sessions import Told
from pipelines.snapshot import open_snapshot
from pipelines.store import Store


@dataclass(frozen=True)
class Person:
    """Somebody the demo can be opened as."""

    key: str
    label: str
    told: Told


def demo_people(store: Store) -> list[Person]:
    """Director, committee member, coordinator, a reviewer, and every trainee in the order of the roster."""
    programme = store.programme.programme_ref
    with open_snapshot(store) as connection:
        trainees = connection.execute(
            "select trainee_ref, cohort from trainee order by cohort, trainee_ref"
        ).fetchall()
    staff = [
        Person("director", "Director", ("director", programme, None)),
        Person("committee", "Committee member", ("committee_member", programme, None)),
        Person("coordinator", "Coordinator", ("coordinator", programme, None)),
        Person("reviewer", "Reviewer S01", ("reviewer", programme, "S01")),
    ]
    return staff + [
        Person(f"trainee-{ref}", f"Trainee {ref}, class {cohort}", ("trainee", programme, ref))
        for ref, cohort in trainees
    ]
