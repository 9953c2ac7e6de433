"""The people of the demo: one of each role, and every trainee."""

from __future__ import annotations

from dataclasses import dataclass

from dashboard.sessions import Who
from pipelines.store.snapshot import open_snapshot
from pipelines.store.store import Store


@dataclass(frozen=True)
class Person:
    """Somebody the demo can be opened as."""

    key: str
    group: str
    label: str
    who: Who


def demo_people(store: Store) -> list[Person]:
    """Director, committee member, coordinator, a reviewer, and every trainee in the order of the roster."""
    programme = store.programme.programme_ref
    staff = [
        Person("director", "Staff", "Director", Who("director", programme)),
        Person("committee", "Staff", "Committee member", Who("committee_member", programme)),
        Person("coordinator", "Staff", "Coordinator", Who("coordinator", programme)),
        Person("reviewer", "Staff", "Reviewer S01", Who("reviewer", programme, "S01")),
    ]
    return staff + [
        Person(f"trainee-{ref}", f"Class {cohort}", f"Trainee {ref}", Who("trainee", programme, ref))
        for cohort, ref in roster(store)
    ]


def roster(store: Store) -> list[tuple[str, str]]:
    """Class and reference of every trainee."""
    with open_snapshot(store) as connection:
        return connection.execute(
            "select cohort, trainee_ref from trainee order by cohort, trainee_ref"
        ).fetchall()
