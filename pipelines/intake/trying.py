"""What files would change in the counts of each requirement, if they were taken. Nothing is stored."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import duckdb
import pyarrow as pa

from pipelines.contract.formats import CASES, CONFIRMATIONS, TRAINEES, TRAINING, Kind
from pipelines.intake import replacement, staging

if TYPE_CHECKING:
    from pipelines.intake.judging import Judged

# Counts follow from these kinds alone, and from the trainee's own rows.
COUNTED = (TRAINEES, TRAINING, CASES, CONFIRMATIONS)
LAST_OF_COUNTS = "300_case_volume"
Volumes = dict[tuple[str, str], tuple[str, int, int]]


@dataclass(frozen=True)
class Count:
    """One requirement of one trainee of which the count would be another; blank where it was not, or is no more."""

    trainee_ref: str
    requirement: str
    before: int | None
    after: int | None
    minimum: int


def counts(judged: Judged) -> list[Count]:
    """The counts that would be others, worked out by the same SQL in a database in memory, before and after.

    Only the trainees whom the files name are in it.
    """
    named = {each.trainee_ref for balances in judged.balances.values() for each in balances}
    before, after = (_volumes(judged, named, taken=taken) for taken in (False, True))
    return [
        Count(
            trainee_ref,
            (after.get(key) or before[key])[0],
            before[key][1] if key in before else None,
            after[key][1] if key in after else None,
            (after.get(key) or before[key])[2],
        )
        for key in sorted(before.keys() | after.keys())
        if before.get(key) != after.get(key)
        for trainee_ref in [key[0]]
    ]


def _volumes(judged: Judged, named: set[str], *, taken: bool) -> Volumes:
    """For each trainee and requirement its title, the counted cases and the minimum."""
    from pipelines.build import build as building

    setting = judged.setting
    if setting.store is None:
        return {}
    lines = [line for line in setting.manifest.live if line.trainee_ref in named]
    manifest = setting.manifest.model_copy(
        update={"live": lines, "as_of": setting.manifest.as_of or setting.today.isoformat()}
    )
    with duckdb.connect() as connection:
        connection.execute("set temp_directory = ''")
        building.load_input(connection, setting.store, manifest)
        if taken:
            for kind in COUNTED:
                if kind in judged.kinds:
                    _take(connection, judged, kind)
        building.make_views(connection, last=LAST_OF_COUNTS)
        rows = connection.execute(
            "select trainee_ref, requirement_ref, requirement_title, counted_cases, minimum from case_volume"
        ).fetchall()
    return {(row[0], row[1]): (row[2], row[3], row[4]) for row in rows}


def _take(connection: duckdb.DuckDBPyConnection, judged: Judged, kind: Kind) -> None:
    """Put the rows as they would be live in the place of those that are."""
    source = judged.setting.source_of(kind)
    snapshot = judged.setting.manifest.snapshot + 1
    of_cases = kind is CASES
    named = [each.trainee_ref for each in judged.balances[kind.name]]
    columns = ", ".join(f'"{name}"' for name in kind.stored_names)
    live = ", ".join(f'live."{name}"' for name in kind.stored_names)
    rows = staging.batches(
        judged.connection,
        f"select {columns} from {kind.name}.new union all select {live} from {kind.name}.live as live"
        f" join {kind.name}.comparison as compared on {replacement.same_key(kind, 'live', 'compared')}"
        " and live.trainee_ref = compared.trainee_ref where outcome in ('kept', 'untouched')",
    ).read_all()
    _replace(connection, kind.name, named, source if of_cases else None, rows, snapshot)
    if of_cases:
        through = [{"trainee_ref": ref, "data_through": judged.through.get(ref)} for ref in named]
        schema = pa.schema([("trainee_ref", pa.string()), ("data_through", pa.string())])
        _replace(connection, "data_through", named, source, pa.Table.from_pylist(through, schema), None)


def _replace(
    connection: duckdb.DuckDBPyConnection,
    table: str,
    named: list[str],
    source: str | None,
    rows: pa.Table,
    snapshot: int | None,
) -> None:
    of_source = " and source = ?" if source else ""
    connection.execute(
        f"delete from input.{table} where list_contains(?::varchar[], trainee_ref){of_source}",
        [named, *([source] if source else [])],
    )
    added = {"source": pa.repeat(source, len(rows))} if source else {}
    if source and snapshot:
        number = pa.repeat(pa.scalar(snapshot, pa.int32()), len(rows))
        added |= {"source_taken": number, "taken": number, "intake_id": pa.repeat("", len(rows))}
    for name, values in added.items():
        rows = rows.append_column(name, values)
    connection.register("arriving", rows)
    connection.execute(f"insert into input.{table} by name select * from arriving")
    connection.unregister("arriving")
