"""What a volume summary is made from: rows of one snapshot, counted and compared in SQL."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any, NamedTuple

import duckdb
import yaml

from pipelines.contract.errors import WrongUsage
from pipelines.specialty.load import parse_specialty
from pipelines.specialty.sentences import requirement_sentence
from pipelines.store.manifest import Manifest
from pipelines.store.snapshot import open_snapshot
from pipelines.store.store import Store
from pipelines.summary.queries import (
    CHANGE,
    FINDINGS,
    GONE,
    INTAKES,
    KEY,
    LINES,
    PEOPLE,
    RULES,
    THROUGH,
    VIEW,
    WHOLE,
)

Row = tuple[Any, ...]
Db = duckdb.DuckDBPyConnection


class Person(NamedTuple):
    trainee_ref: str
    data_through: str | None
    is_current: bool


class Line(NamedTuple):
    """One trainee and requirement; `depth` 0 is no part of another, `reached` asks for the parts too."""

    trainee_ref: str
    requirement_ref: str
    title: str
    depth: int
    minimum: int
    counted_cases: int
    remaining_cases: int
    reached: bool
    parts: int
    parts_short: int
    confirmed_cases: int
    held_cases: int
    edition: str | None
    verified: bool


class Rule(NamedTuple):
    requirement_ref: str
    title: str
    minimum: int | None
    roles: str | None
    edition: str | None
    source: str
    verified: bool
    reviewed_on: str
    sentence: str


class Change(NamedTuple):
    """Counted cases then and now; nothing then where the trainee or the requirement was not there."""

    counted_before: int | None
    counted_cases: int
    change: int | None


@dataclass(frozen=True)
class Summary:
    """All that the files of one class say, as rows of one snapshot."""

    cohort: str
    manifest: Manifest
    programme: str
    specialty: str
    made_up: bool
    columns: list[str]
    rows: list[Row]
    people: list[Person]
    lines: list[Line]
    rules: list[Rule]
    intakes: list[Row]
    findings: list[Row]
    through: str | None = None
    earlier: Manifest | None = None
    changes: dict[tuple[str, str], Change] | None = None
    gone: tuple[str, ...] = ()


def cohort_named(typed: str) -> str:
    """`2026-27` of `2026-27` or `2027`, the academic year that ends in 2027; raises WrongUsage."""
    if re.fullmatch(r"[1-9]\d{3}", typed):
        return f"{int(typed) - 1}-{typed[2:]}"
    if re.fullmatch(r"[1-9]\d{3}-\d{2}", typed) and (int(typed[:4]) + 1) % 100 == int(typed[5:]):
        return typed
    raise WrongUsage(
        f"--cohort {typed}: write the academic year in which the class ends, such as 2027 or 2026-27."
    )


def read_summary(
    store: Store, cohort: str, number: int, through: str | None = None, since: int | None = None
) -> Summary:
    """The rows of one class (`2026-27`) from snapshot `number`, compared with snapshot `since` if one is given."""
    earlier = None if since is None else _earlier_volume(store, since, through)
    manifest = manifest_of(store, number)
    with open_snapshot(store, number) as connection:
        refuse_unknown_cohort(connection, cohort)
        _make_class_volume(connection, number, cohort, through)
        return Summary(
            cohort=cohort,
            manifest=manifest,
            **_heading(connection),
            **_class_rows(connection),
            people=[Person(*row) for row in _rows(connection, PEOPLE, cohort=cohort)],
            lines=[Line(*row) for row in _rows(connection, LINES)],
            rules=_rules(connection, cohort),
            intakes=_rows(connection, INTAKES, intakes=_intakes_of(connection, manifest, cohort)),
            findings=_rows(
                connection, FINDINGS, intakes=_intakes_of(connection, manifest, cohort), cohort=cohort
            ),
            through=through,
            earlier=None if since is None else manifest_of(store, since),
            **_changes(connection, earlier, cohort),
        )


def manifest_of(store: Store, number: int) -> Manifest:
    """The manifest of a snapshot; raises WrongUsage where there is none."""
    path = store.root / "snapshots" / Manifest(snapshot=number).file_name
    if number < 1 or not path.is_file() or number > store.current().snapshot:
        raise WrongUsage(
            f"Snapshot {number} is not there. See: python3 run.py snapshots --store {store.root}"
        )
    return Manifest.read(path)


def refuse_unknown_cohort(connection: Db, cohort: str) -> None:
    cohorts = [row[0] for row in _rows(connection, "select distinct cohort from trainee order by cohort")]
    if cohort not in cohorts:
        known = f"There are: {', '.join(cohorts)}." if cohorts else "The roster is empty."
        raise WrongUsage(f"--cohort: no trainee is in the class of {cohort}. {known}")


def _rows(connection: Db, query: str, **values: object) -> list[Row]:
    return connection.execute(query, values or None).fetchall()


def _make_class_volume(connection: Db, number: int, cohort: str, through: str | None) -> None:
    """A temporary table of the class, in the order in which it is printed."""
    _refuse_older_make(connection, number)
    values = {"cohort": cohort} | ({"through": through} if through else {})
    connection.execute(
        f"create temp table class_volume as select * from ({THROUGH if through else WHOLE}) where cohort = $cohort"
        f" order by {KEY}",
        values,
    )


def _refuse_older_make(connection: Db, number: int) -> None:
    if not _rows(connection, "select 1 from duckdb_tables() where table_name = $view", view=VIEW):
        raise WrongUsage(
            f"Snapshot {number} was made by an earlier version and holds no volume summary. For the live one:"
            " python3 run.py build"
        )


def _heading(connection: Db) -> dict[str, Any]:
    """Whose data these are, as the snapshot has it: a title changed since then is not this snapshot's."""
    settings = _rows(connection, "select body from input.document where name = 'programme.yaml'")
    return {
        "programme": _rows(connection, "select title from input.programme")[0][0],
        "specialty": specialty_of(connection).title,
        "made_up": bool((yaml.safe_load(settings[0][0]) or {}).get("demo")),
    }


def specialty_of(connection: Db) -> Any:
    """The specialty with which the snapshot was built."""
    name, body = _rows(connection, "select name, body from input.document where name <> 'programme.yaml'")[0]
    return parse_specialty(body.encode(), name)


def _class_rows(connection: Db) -> dict[str, Any]:
    answer = connection.execute(f"select * from class_volume order by {KEY}")
    return {"columns": [each[0] for each in answer.description or []], "rows": answer.fetchall()}


def _rules(connection: Db, cohort: str) -> list[Rule]:
    spec = specialty_of(connection)
    rows = _rows(connection, RULES, cohort=cohort)
    return [Rule(*(*row, requirement_sentence(row[0], spec))) for row in rows]


def _intakes_of(connection: Db, manifest: Manifest, cohort: str) -> list[str]:
    """The intakes that are live for somebody of the class; one file may hold other classes as well."""
    in_class = {row[0] for row in _rows(connection, PEOPLE, cohort=cohort)}
    live = [line for line in manifest.live if line.trainee_ref in in_class]
    return sorted({entry.intake_id for line in live for entry in line.intakes})


def _earlier_volume(store: Store, number: int, through: str | None) -> Any:
    """The counted cases of an earlier snapshot, of every class: somebody may have changed the class since."""
    manifest_of(store, number)
    with open_snapshot(store, number) as connection:
        _refuse_older_make(connection, number)
        query = f"select cohort, trainee_ref, requirement_ref, counted_cases from ({THROUGH if through else WHOLE})"
        return connection.sql(query, params={"through": through} if through else None).to_arrow_table()


def _changes(connection: Db, earlier: Any, cohort: str) -> dict[str, Any]:
    if earlier is None:
        return {}
    connection.register("arriving", earlier)
    connection.execute("create temp table earlier as select * from arriving")
    connection.unregister("arriving")
    return {
        "changes": {row[:2]: Change(*row[2:]) for row in _rows(connection, CHANGE)},
        "gone": tuple(row[0] for row in _rows(connection, GONE, cohort=cohort)),
    }
