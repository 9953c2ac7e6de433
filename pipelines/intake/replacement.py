"""What an export changes in what is live, and what must not change without a person's word.

Reads `new_<kind>`, `live_<kind>` (of the trainees and the source concerned), `read_<kind>` and `left_out`. Makes

- `kept_key`: keys of cases whose live version stays because the row in the file was left out
- `comparison`: one row a key in the file or live, with `outcome` = added, unchanged, changed, kept, withdrawn, untouched
- `change`: what changed, one row a field
"""

from __future__ import annotations

from dataclasses import dataclass

import duckdb

from pipelines.contract.formats import CASES, Kind
from pipelines.store.live import stored_columns

# These follow from the other rows of an export, so a difference in them alone is no change of the row.
FROM_OTHER_ROWS = ("case_sequence", "same_day_logged")


@dataclass(frozen=True)
class Balance:
    """How the rows of one trainee came out, in one kind and source."""

    trainee_ref: str
    live_before: int
    added: int
    unchanged: int
    changed: int
    kept: int
    withdrawn: int
    live_after: int

    @property
    def alters(self) -> bool:
        return bool(self.added or self.changed or self.withdrawn)


def find_kept(connection: duckdb.DuckDBPyConnection) -> None:
    """Make `kept_key` (kind cases): live keys that stand in the file only as rows left out."""
    connection.execute(
        "create or replace table kept_key as select distinct live.trainee_ref, live.case_ref, live.procedure, live.side,"
        " first_value(read_cases.sheet_number) over (partition by live.trainee_ref, live.case_ref, live.procedure,"
        " live.side order by read_cases.row_id) as sheet_number"
        f" from live_cases as live join read_cases on {same_key(CASES, 'live', 'read_cases')}"
        " where read_cases.row_id in (select row_id from left_out) and not exists ("
        f"select 1 from accepted_cases as accepted where {same_key(CASES, 'live', 'accepted')})"
    )


def compare(connection: duckdb.DuckDBPyConnection, kind: Kind, withdraws: bool) -> None:
    """Make `comparison_<kind>`; `withdraws` where a live row that the file does not name goes."""
    content = [name for name in stored_columns(kind) if name not in (*kind.key, *FROM_OTHER_ROWS)]
    same = " and ".join(f'new."{name}" is not distinct from live."{name}"' for name in content)
    seat = ("trainee_ref", *(name for name in kind.key if name != "trainee_ref"))
    key = ", ".join(f'coalesce(new."{name}", live."{name}") as "{name}"' for name in seat)
    kept = same_key(kind, "live", "kept_key") if kind is CASES else "false"
    kept_key = "kept_key" if kind is CASES else "(select 1)"
    absent = "'withdrawn'" if withdraws else "'untouched'"
    if kind.whole:
        record = ", ".join(f'live."{name}"' for name in kind.whole)
        names = ", ".join(f'"{name}"' for name in kind.whole)
        absent = f"case when ({record}) in (select ({names}) from new_{kind.name}) then 'withdrawn' else 'untouched' end"
    connection.execute(
        f"create or replace table comparison_{kind.name} as select {key}, new.row_id, case"
        " when live.trainee_ref is null then 'added'"
        f" when new.row_id is not null then case when {same} then 'unchanged' else 'changed' end"
        f" when exists (select 1 from {kept_key} where {kept}) then 'kept' else {absent} end as outcome"
        f" from new_{kind.name} as new full join live_{kind.name} as live on {same_key(kind, 'new', 'live')}"
        # A record that moves to another trainee goes from the one and comes to the other.
        + (" and new.trainee_ref = live.trainee_ref" if kind.whole else "")
    )


def same_key(kind: Kind, left: str, right: str) -> str:
    # A blank side is its own side; coalesce, so that the join can hash.
    return " and ".join(
        f"coalesce({left}.\"{name}\", '') = coalesce({right}.\"{name}\", '')" for name in kind.key
    )


def balances(connection: duckdb.DuckDBPyConnection, kind: Kind) -> list[Balance]:
    """One balance for each trainee that the files name, in the order of the reference."""
    rows = connection.execute(
        "with outcome as (select trainee_ref,"
        " count(*) filter (outcome = 'added') as added, count(*) filter (outcome = 'unchanged') as unchanged,"
        " count(*) filter (outcome = 'changed') as changed, count(*) filter (outcome = 'kept') as kept,"
        " count(*) filter (outcome = 'withdrawn') as withdrawn, count(*) filter (outcome = 'untouched') as untouched"
        f" from comparison_{kind.name} group by trainee_ref)"
        " select trainee_ref, coalesce(unchanged + changed + kept + withdrawn + untouched, 0) as live_before,"
        " coalesce(added, 0), coalesce(unchanged, 0), coalesce(changed, 0), coalesce(kept, 0), coalesce(withdrawn, 0),"
        " coalesce(added + unchanged + changed + kept + untouched, 0) as live_after"
        f" from named_{kind.name} left join outcome using (trainee_ref) order by trainee_ref"
    ).fetchall()
    return [Balance(*row) for row in rows]


def outlived(connection: duckdb.DuckDBPyConnection) -> set[str]:
    """Trainees of whom a case of these files is live otherwise in a source that was taken later, and counts from there."""
    content = [name for name in stored_columns(CASES) if name not in (*CASES.key, *FROM_OTHER_ROWS)]
    different = " or ".join(f'new."{name}" is distinct from other."{name}"' for name in content)
    rows = connection.execute(
        "select distinct new.trainee_ref from new_cases as new"
        f" join live_cases as live on {same_key(CASES, 'new', 'live')}"
        f" join other_source_key as other on {same_key(CASES, 'new', 'other')}"
        f" where other.source_taken > live.source_taken and ({different})"
    ).fetchall()
    return {row[0] for row in rows}


def resequenced(connection: duckdb.DuckDBPyConnection) -> set[str]:
    """Trainees of whom an unchanged case now stands elsewhere in the order of the log."""
    different = " or ".join(f"new.{name} is distinct from live.{name}" for name in FROM_OTHER_ROWS)
    rows = connection.execute(
        "select distinct named.trainee_ref from comparison_cases as named join new_cases as new using (row_id)"
        f" join live_cases as live on {same_key(CASES, 'named', 'live')}"
        f" where outcome = 'unchanged' and ({different})"
    ).fetchall()
    return {row[0] for row in rows}


def list_changes(connection: duckdb.DuckDBPyConnection, kind: Kind) -> None:
    """Make `change_<kind>`: `row_id, trainee_ref, key, change, field, before, after`, one row a field.

    A withdrawn row, and one whose older version was kept, is one row without a field.
    """
    table = f"change_{kind.name}"
    connection.execute(
        f"create table {table} (row_id bigint, trainee_ref varchar, key varchar, change varchar,"
        " field varchar, before varchar, after varchar)"
    )
    key = _key_text(kind)
    connection.execute(
        f"create or replace temp table changed_row as"
        f" select *, {key} as key from comparison_{kind.name} as named where outcome = 'changed'"
    )
    for name in stored_columns(kind):
        if name not in (*kind.key, *FROM_OTHER_ROWS):
            connection.execute(f"insert into {table} {_field_changes(kind, name)}")
    connection.execute(
        f"insert into {table} select null, trainee_ref, {key}, outcome, null, null, null"
        f" from comparison_{kind.name} as named where outcome in ('kept', 'withdrawn')"
    )


def _field_changes(kind: Kind, name: str) -> str:
    return (
        f"select row_id, named.trainee_ref, named.key, 'changed', '{name}', live.\"{name}\", new.\"{name}\""
        f" from changed_row as named join new_{kind.name} as new using (row_id)"
        f" join live_{kind.name} as live on {same_key(kind, 'named', 'live')}"
        f' where new."{name}" is distinct from live."{name}"'
    )


def _key_text(kind: Kind) -> str:
    # A blank side is left away.
    parts = [f'named."{name}"::varchar' for name in kind.key if name != "trainee_ref"]
    return f"concat_ws(' ', {', '.join(parts)})" if parts else "''"
