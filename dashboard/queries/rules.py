"""What the numbers are held against: rules, definitions, and what nobody has checked yet."""

from __future__ import annotations

import pandas as pd

from dashboard.access import Scope
from dashboard.queries.live import Snapshot, rows, select


def listed(snapshot: Snapshot, table: str) -> pd.DataFrame:
    """A small table of the specialty in its order: requirement, complication, procedure_group, step."""
    return rows(snapshot.path, f"select * from {table} order by position", {})


def roles_of(snapshot: Snapshot, requirement: str) -> pd.DataFrame:
    """The roles that a requirement counts, highest first."""
    return rows(
        snapshot.path,
        """
        select role.title
        from requirement_role
        inner join role on requirement_role.role = role.role
        where requirement_ref = $requirement
        order by role.position
        """,
        {"requirement": requirement},
    )


def framework(snapshot: Snapshot) -> pd.DataFrame:
    """The framework of the milestones, and whether it is the accreditor's; no row without one."""
    return rows(snapshot.path, "select framework, official from milestone_framework", {})


def definitions(snapshot: Snapshot) -> pd.DataFrame:
    """The comments of the published views: what the Methods screen prints."""
    return rows(
        snapshot.path,
        """
        select table_name as view, null as column, comment, -1 as column_index
        from duckdb_tables()
        where schema_name = 'main' and comment is not null
        union all
        select table_name, column_name, comment, column_index
        from duckdb_columns()
        where schema_name = 'main' and comment is not null
        order by view, column_index
        """,
        {},
    )


def unverified(snapshot: Snapshot) -> pd.DataFrame:
    """Every rule that nobody has checked against the current document yet."""
    return rows(
        snapshot.path, "select kind, title, source, reviewed_on from unverified_item order by kind, title", {}
    )


def names_another_programme(snapshot: Snapshot, scope: Scope) -> bool:
    """Whether anybody of another programme is in the roster; who, is not said."""
    found = select(
        snapshot, scope, "select count(*) > 0 as found from trainee where programme_ref <> $programme_ref"
    )
    return bool(found["found"].iloc[0])
