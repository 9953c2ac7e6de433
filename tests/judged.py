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
from tests.cohorts import AS_OF, Cohort, write_cohort
from tests.oracle import COLUMNS, Answer, Export, Oracle, Row
from tests.oracle_rows import cell
from tests.oracle_views import VIEWS, Evidence, answers
from tests.stores import (
    new_store,
    run_well,
    set_programme,
    shipped_specialty,
    shown,
    write_csv,
    write_specialty,
)

# What an intake says of its files is judged where findings are made up (tests/test_oracle_views.py).
FROM_FINDINGS = {"trainee_log", "left_out_rule", "class_finding"}
WHETHER_SAID = {
    "is_something_missing": "missing",
    "is_something_met": "met_by",
    "is_reason_given": "why_none",
}
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
        set_programme(self.store, as_of=AS_OF)
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
        codes = set(self.specialty["procedures"])
        exports = [export._replace(rows=without_words(export.rows, codes)) for export in self.exports]
        return Oracle(self.people.roster, self.people.training, exports, self.specialty)

    def check(self) -> None:
        """Every published row equals the oracle's, in the contract's columns and order."""
        oracle = self.oracle()
        for view, columns in COLUMNS.items():
            header, rows = shown(self.store, view)
            assert header == list(columns), view
            assert_same(view, rows, oracle.view(view))

    def check_everything(self) -> None:
        """The same of every view that cases, roster and training decide; how it is ordered is the four views' to say."""
        self.check()
        expected = answers(self.oracle(), Evidence(as_of=AS_OF.isoformat()))
        for view in VIEWS.keys() - COLUMNS.keys() - FROM_FINDINGS:
            keys, _ = VIEWS[view]
            rows = sorted(expected[view], key=lambda row: [printed(row[name]) for name in keys])
            found = shown(self.store, view)[1]
            found = [
                row | {name: printed(bool(row.get(text))) for name, text in WHETHER_SAID.items()}
                for row in found
            ]
            assert_same(view, sorted(found, key=lambda row: [row[name] for name in keys]), rows)


def without_words(rows: list[Row], codes: set[str]) -> list[Row]:
    """The rows with `unmapped-1`, `unmapped-2` … for the words of an operation that are no code, in their order."""
    words: dict[tuple[str, str], list[str]] = {}
    named = []
    for row in rows:
        word = (cell(row, "procedure") or "").lower()
        if word and word not in codes:
            of_operation = words.setdefault((row["trainee_ref"].strip(), row["case_ref"].strip()), [])
            if word not in of_operation:
                of_operation.append(word)
            word = f"unmapped-{of_operation.index(word) + 1}"
        named.append(row | {"procedure": word})
    return named


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
    names = VIEWS[view][0]
    keys = [tuple(row[name] for name in names) for row in published]
    assert keys == [tuple(printed(row[name]) for name in names) for row in expected], view
    for row, answer in zip(published, expected, strict=True):
        for name, value in answer.items():
            where = f"{view} {[row[key] for key in names]} {name}: {row[name]!r}, expected {value!r}"
            if isinstance(value, float):
                assert row[name] and math.isclose(float(row[name]), value, rel_tol=1e-11, abs_tol=1e-12), (
                    where
                )
            else:
                assert row[name] == printed(value), where
