"""A store and the oracle given the same exports, and whether they agree."""

from __future__ import annotations

import contextlib
import math
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from tests import cohorts
from tests.cohorts import Cohort, write_cohort
from tests.oracle import COLUMNS, KEYS, Answer, Export, Oracle, Row
from tests.stores import new_store, run_well, shipped_specialty, shown, write_csv, write_specialty

ACCEPT = ("--accept-withdrawals", "--by", "committee", "--reason", "corrected export")


class Empty:
    """An empty store to copy, and its specialty; no dataclass, whose fields Hypothesis would print in full."""

    def __init__(self, store: Path, specialty: dict[str, Any]) -> None:
        self.store, self.specialty = store, specialty


Programmes = dict[str, Empty]


def empty_programmes(folder: Path) -> Programmes:
    """An empty store to copy and its specialty, for the shipped rules and for demanding ones."""
    shipped = shipped_specialty()
    demanding = cohorts.demanding(shipped)
    file = write_specialty(folder / "demanding.yaml", demanding)
    return {
        "shipped": Empty(new_store(folder, name="shipped"), shipped),
        "demanding": Empty(new_store(folder, specialty=file, name="demanding"), demanding),
    }


class Taken:
    """A store that takes exports, and the oracle's answer to the same rows."""

    def __init__(self, folder: Path, empty: Empty) -> None:
        self.folder, self.store, self.specialty = folder, folder / "store", empty.specialty
        shutil.copytree(empty.store, self.store)
        self.exports: list[Export] = []
        self.people: Cohort = Cohort([], [], [])

    def take(self, cohort: Cohort) -> None:
        """Roster, training and cases in one command."""
        self.people = cohort
        run_well("intake", *write_cohort(self.folder / "first", cohort), "--store", self.store)
        self.exports += cohorts.exports_of(cohort)

    def take_cases(self, export: Export) -> None:
        """One more case file; whatever it would hold is accepted."""
        self.exports.append(export)
        file = write_csv(self.folder / f"cases-{len(self.exports)}.csv", export.rows)
        append = ("--append",) if export.append else ()
        through = ("--through", export.through) if export.through else ()
        words = ("--source", export.source, *append, *through, *ACCEPT)
        run_well("intake", file, "--store", self.store, *words)

    def take_people(self, roster: list[Row], training: list[Row]) -> None:
        """A later roster and later training periods: a row replaces the earlier row of its key."""
        later = Cohort(roster, training, [])
        run_well("intake", *write_cohort(self.folder / "later", later), "--store", self.store)
        people = self.people
        self.people = Cohort(people.roster + roster, people.training + training, people.cases)

    def oracle(self) -> Oracle:
        return Oracle(self.people.roster, self.people.training, self.exports, self.specialty)

    def check(self) -> None:
        """Every published row equals the oracle's, in the contract's columns and order."""
        oracle = self.oracle()
        for view, columns in COLUMNS.items():
            header, rows = shown(self.store, view)
            assert header == list(columns), view
            assert_same(view, rows, oracle.view(view))


@contextlib.contextmanager
def in_scratch(programmes: Programmes, rules: str) -> Iterator[Taken]:
    with tempfile.TemporaryDirectory() as folder:
        yield Taken(Path(folder), programmes[rules])


def printed(value: Any) -> str:
    """A value as `show --format csv` prints it, where it is not a proportion."""
    if isinstance(value, bool):
        return "true" if value else "false"
    return "" if value is None else str(value)


def assert_same(view: str, published: list[Row], expected: list[Answer]) -> None:
    keys = [tuple(row[name] for name in KEYS[view]) for row in published]
    assert keys == [tuple(printed(row[name]) for name in KEYS[view]) for row in expected], view
    for row, answer in zip(published, expected, strict=True):
        for name, value in answer.items():
            where = f"{view} {[row[key] for key in KEYS[view]]} {name}: {row[name]!r}, expected {value!r}"
            if isinstance(value, float):
                assert row[name] and math.isclose(float(row[name]), value, rel_tol=1e-11, abs_tol=1e-12), (
                    where
                )
            else:
                assert row[name] == printed(value), where
