"""What changed between two snapshots, and why: cases that came, went, or are judged otherwise, and what exports changed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, NamedTuple

import duckdb
import pyarrow as pa

from pipelines.contract.codes_in_words import REASONS
from pipelines.contract.errors import WrongUsage
from pipelines.store.documents import Manifest
from pipelines.store.history import HISTORY, of_trainee
from pipelines.store.store import Store
from pipelines.summary import queries

Record = dict[str, Any]

# Why a case counts toward a requirement that it did not count toward, or no longer does.
GAINED = {
    "case": "the case came in",
    "key": "its procedure or side was corrected",
    "rule": "the requirement lists it now",
    "reason": "before, it {reason}",
}
LOST = {
    "case": "the case was withdrawn",
    "key": "its procedure or side was corrected",
    "rule": "the requirement lists it no longer",
    "reason": "now it {reason}",
}
DEFINITIONS = {
    "specialty": "The rules of the specialty were changed in between.",
    "programme": "The settings of the programme were changed in between.",
    "sql": "The later counts are made by another version of the program.",
}
UNDONE = "Files that had been taken in were taken back in between."
# Fields of stored rows whose names are not words.
FIELDS = {
    "operated_month": "month of operation",
    "supervisor_ref": "supervisor",
    "site_ref": "site",
    "supervisor_agreed": "the supervisor’s word",
    "role_agreed": "the supervisor’s word",
    "event_hands": "who was operating at the event",
    "duration_min": "duration",
    "follow_up_days": "follow-up",
    "lag_days": "delay of the log",
}


class Moment(NamedTuple):
    """A snapshot, and the intakes in it that are live for the programme."""

    manifest: Manifest
    intakes: list[str]


@dataclass(frozen=True)
class Earlier:
    """How counts changed since an earlier snapshot, and why; who was in the class then and is no longer.

    `changes` by trainee and requirement; None for what was not there yet.
    `reasons` has `trainee_ref, requirement_ref, cases, because`: the cases add up to the difference of the counts.
    `exports` has `trainee_ref, taken_on, file_name, rows, fields`: what files taken in between changed in the log.
    """

    moment: Moment
    changes: dict[tuple[str, str], int | None]
    gone: tuple[str, ...]
    reasons: list[Record]
    exports: list[Record]
    definitions: list[str]


def changes(before: pa.Table, now: pa.Table) -> dict[tuple[str, str], int | None]:
    """Counted cases now less those before; both tables are of `queries.COUNTED`."""
    rows = _asked(queries.CHANGES, before=before, now=now)
    return {(row["trainee_ref"], row["requirement_ref"]): row["change"] for row in rows}


def reasons(before: pa.Table, now: pa.Table) -> list[Record]:
    """Why cases count now that did not, or no longer do; both tables are of `queries.CREDITS`."""
    return [_in_words(row) for row in _asked(queries.WHY, before=before, now=now)]


def _in_words(row: Record) -> Record:
    words = GAINED if row["cases"] > 0 else LOST
    because = words[row["kind"]].format(reason=REASONS.get(row["reason"] or "", ""))
    return {name: row[name] for name in ("trainee_ref", "requirement_ref", "cases")} | {"because": because}


def exports(store: Store, people: list[str], first: int, last: int) -> list[Record]:
    """What the files of cases taken after snapshot `first`, up to `last`, changed in the log of each of these people."""
    rows = [row for trainee in people for row in _history(store, trainee) if first < row["snapshot"] <= last]
    columns = ["trainee_ref", *HISTORY]
    table = pa.Table.from_pylist(
        [{name: None if row[name] is None else str(row[name]) for name in columns} for row in rows],
        schema=pa.schema([(name, pa.string()) for name in columns]),
    )
    return _asked(queries.EXPORTS, history=table)


def _history(store: Store, trainee: str) -> Iterator[Record]:
    try:
        columns, rows = of_trainee(store, trainee)
    except WrongUsage:  # nothing was ever taken in of this person
        return
    for row in rows:
        said = dict(zip(columns, row, strict=True))
        yield said | {"trainee_ref": trainee, "field": FIELDS.get(said["field"], said["field"])}


def _asked(query: str, **tables: pa.Table) -> list[Record]:
    """The answer of a query over tables, in a database in memory."""
    with duckdb.connect() as connection:
        for name, table in tables.items():
            connection.register(name, table)
        answer = connection.execute(query)
        names = [name for name, *_ in answer.description or []]
        return [dict(zip(names, row, strict=True)) for row in answer.fetchall()]


def definitions(before: Manifest, between: list[Manifest]) -> list[str]:
    """What else than the log can have changed a count; `between` are the manifests after `before`, the last one is now."""
    now = between[-1]
    said = [
        text
        for name, text in DEFINITIONS.items()
        if getattr(before.hashes, name) != getattr(now.hashes, name)
    ]
    return said + [UNDONE] * any(each.restores is not None for each in between)
