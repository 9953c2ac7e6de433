"""What a volume summary is made from: rows of one snapshot, of one class of one programme."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import duckdb
import pyarrow as pa
import yaml

from pipelines.contract.errors import WrongUsage
from pipelines.specialty.load import parse_specialty
from pipelines.specialty.requirement_sentences import requirement_in_words
from pipelines.store.documents import Manifest
from pipelines.store.snapshot import open_snapshot
from pipelines.store.store import Store
from pipelines.summary import queries
from pipelines.summary.since import Earlier, Moment, changes, definitions, exports, reasons
from pipelines.summary.state import State, state_of

Row = tuple[Any, ...]
Record = dict[str, Any]
Db = duckdb.DuckDBPyConnection


@dataclass(frozen=True)
class Asked:
    """Which class (`2026-27`) of which programme; cases through which month, compared with which snapshot.

    `final_by` is who answers for the counts as final ones; None: nobody, a draft.
    """

    cohort: str
    programme_ref: str
    through: str | None = None
    since: int | None = None
    final_by: str | None = None

    @property
    def volume(self) -> str:
        return queries.THROUGH if self.through else queries.WHOLE


class Person(NamedTuple):
    trainee_ref: str
    data_through: str | None
    is_current: bool
    completed: str | None
    left: str | None


@dataclass(frozen=True)
class Summary:
    """All that the files of one class say; `lines` has each trainee's requirements in the order of the rules."""

    asked: Asked
    moment: Moment
    programme: str
    specialty: str
    made_up: bool
    year_starts: int
    state: State
    lines: list[Record]
    class_lines: list[Record]
    by_role: list[Record]
    uncounted: list[Record]
    tally: list[Record]
    people: list[Person]
    rules: list[Record]
    intakes: list[Row]
    findings: list[Row]
    accounts: list[Record]
    quality: list[Record]
    earlier: Earlier | None = field(default=None)


def cohort_named(typed: str) -> str:
    """`2026-27` of `2026-27` or `2027`, the academic year that ends in 2027; raises WrongUsage."""
    if re.fullmatch(r"[1-9]\d{3}", typed):
        return f"{int(typed) - 1}-{typed[2:]}"
    if re.fullmatch(r"[1-9]\d{3}-\d{2}", typed) and (int(typed[:4]) + 1) % 100 == int(typed[5:]):
        return typed
    raise WrongUsage(
        f"--cohort {typed}: write the academic year in which the class ends, such as 2027 or 2026-27."
    )


def read_summary(store: Store, number: int, asked: Asked) -> Summary:
    """The rows of the class from snapshot `number`; raises WrongUsage for what is not there."""
    if asked.since is not None:
        manifest_of(store, asked.since)
    manifest = manifest_of(store, number)
    with open_snapshot(store, number) as connection:
        snapshot = _Snapshot(connection, number, asked)
        snapshot.refuse_without("log_quality")
        snapshot.refuse_unknown_cohort()
        people = [Person(*row) for row in snapshot.rows(queries.PEOPLE)]
        heading = snapshot.heading()
        titles = {rule["requirement_ref"]: rule["title"] for rule in heading["rules"]}
        return Summary(
            asked=asked,
            moment=snapshot.moment(manifest),
            **heading,
            state=state_of(asked.final_by, snapshot.records(queries.NOT_FINAL)),
            lines=_titled(snapshot.records(queries.VOLUME.format(volume=asked.volume)), titles),
            class_lines=snapshot.records(queries.CLASS_LINES),
            by_role=snapshot.records(queries.BY_ROLE),
            uncounted=_titled(snapshot.records(queries.UNCOUNTED), titles),
            tally=_titled(snapshot.records(queries.TALLY), titles),
            people=people,
            intakes=snapshot.rows(queries.INTAKES),
            findings=snapshot.rows(queries.FINDINGS),
            accounts=snapshot.records(queries.ACCOUNTS),
            quality=snapshot.records(queries.QUALITY),
            earlier=_earlier(store, number, snapshot, people),
        )


def manifest_of(store: Store, number: int) -> Manifest:
    """The manifest of a snapshot; raises WrongUsage where there is none."""
    path = store.root / "snapshots" / Manifest(snapshot=number).file_name
    if number < 1 or not path.is_file() or number > store.current().snapshot:
        raise WrongUsage(
            f"Snapshot {number} is not there. See: python3 run.py snapshots --store {store.root}"
        )
    return Manifest.read(path)


class _Snapshot:
    """A snapshot that answers about one class of one programme."""

    def __init__(self, connection: Db, number: int, asked: Asked) -> None:
        self.connection, self.number, self.asked = connection, number, asked
        self.named = {
            "programme_ref": asked.programme_ref,
            "cohort": asked.cohort,
            "ends": int(asked.cohort[:4]) + 1,
            "through": asked.through,
        }

    def table(self, query: str) -> tuple[list[str], list[Row]]:
        used = {name: value for name, value in self.named.items() if f"${name}" in query}
        answer = self.connection.execute(query, used or None)
        return [name for name, *_ in answer.description or []], answer.fetchall()

    def arrow(self, query: str) -> pa.Table:
        """The same as a table that another database can read."""
        used = {name: value for name, value in self.named.items() if f"${name}" in query}
        return self.connection.sql(query, params=used or None).to_arrow_table()

    def rows(self, query: str) -> list[Row]:
        return self.table(query)[1]

    def records(self, query: str) -> list[Record]:
        columns, rows = self.table(query)
        return [dict(zip(columns, row, strict=True)) for row in rows]

    def refuse_without(self, view: str) -> None:
        if not self.connection.execute(
            "select 1 from duckdb_tables() where table_name = ?", [view]
        ).fetchall():
            raise WrongUsage(
                f"Snapshot {self.number} was made by an earlier version and does not hold all that a summary says."
                " For the live one: python3 run.py build"
            )

    def refuse_unknown_cohort(self) -> None:
        cohorts = [cohort for (cohort,) in self.rows(queries.COHORTS)]
        if self.named["cohort"] not in cohorts:
            known = f"There are: {', '.join(cohorts)}." if cohorts else "The roster is empty."
            raise WrongUsage(f"--cohort: no trainee is in the class of {self.named['cohort']}. {known}")

    def moment(self, manifest: Manifest) -> Moment:
        return Moment(manifest, [intake_id for (intake_id,) in self.rows(queries.LIVE_INTAKES)])

    def heading(self) -> Record:
        """Whose data these are and by which rules, with the settings of the build: what changed since is not in it."""
        ((programme, settings, file_name, body),) = self.rows(queries.HEADING)
        written = yaml.safe_load(settings) or {}
        specialty = parse_specialty(body.encode(), file_name)
        return {
            "programme": programme,
            "specialty": specialty.title,
            "made_up": bool(written.get("demo")),
            "year_starts": int(written.get("academic_year_starts", 7)),
            "rules": [
                rule | {"sentence": requirement_in_words(rule["requirement_ref"], specialty)}
                for rule in _told_apart(self.records(queries.RULES))
            ],
        }


def _told_apart(rules: list[Record]) -> list[Record]:
    """Rules of one title, such as two editions for the same class, with the edition in the title."""
    times = Counter(rule["title"] for rule in rules)
    return [
        rule | {"title": f"{rule['title']}, {rule['edition']}"}
        if times[rule["title"]] > 1 and rule["edition"]
        else rule
        for rule in rules
    ]


def _titled(lines: list[Record], titles: Mapping[str, str]) -> list[Record]:
    """With the titles that tell the rules of the class apart."""
    return [
        line
        | {
            "requirement_title": titles[line["requirement_ref"]],
            "reached_by_title": titles.get(line.get("reached_by") or ""),
        }
        for line in lines
    ]


def _earlier(store: Store, number: int, now: _Snapshot, people: list[Person]) -> Earlier | None:
    """What the earlier snapshot held, beside the one that is summed up."""
    asked = now.asked
    if asked.since is None:
        return None
    manifest = manifest_of(store, asked.since)
    with open_snapshot(store, asked.since) as connection:
        then = _Snapshot(connection, asked.since, asked)
        then.refuse_without("rule_without_count" if asked.through else "volume_summary")
        moment = then.moment(manifest)
        counted = then.arrow(queries.COUNTED.format(volume=asked.volume))
        before = {trainee for (trainee,) in then.rows(queries.REFS)}
        credited = then.arrow(queries.CREDITS)
    refs = [person.trainee_ref for person in people]
    return Earlier(
        moment,
        changes(counted, now.arrow(queries.COUNTED.format(volume=asked.volume))),
        tuple(sorted(before - set(refs))),
        [row for row in reasons(credited, now.arrow(queries.CREDITS)) if row["trainee_ref"] in refs],
        exports(store, refs, asked.since, number),
        definitions(manifest, [manifest_of(store, each) for each in range(asked.since + 1, number + 1)]),
    )
