"""What the numbers are held against: rules, definitions, and what nobody has checked yet."""

from __future__ import annotations

import pandas as pd

from dashboard.access import Scope
from dashboard.queries.live import Snapshot, select


def roles_of(snapshot: Snapshot, scope: Scope, requirement: str) -> pd.DataFrame:
    """The roles that a requirement counts, highest first."""
    return select(
        snapshot,
        scope,
        """
        select role.title
        from requirement_role
        inner join role on requirement_role.role = role.role
        where requirement_ref = $requirement
        order by role.position
        """,
        requirement=requirement,
    )


def rules_without_count(snapshot: Snapshot, scope: Scope, trainee_ref: str) -> pd.DataFrame:
    """Audits, assessments and sign-offs in force for a trainee, and how far each is."""
    return select(
        snapshot,
        scope,
        """
        select
            uncounted.requirement_ref, uncounted.requirement_title, uncounted.kind, uncounted.asked_for, uncounted.found,
            uncounted.periods, uncounted.periods_short, uncounted.met
        from rule_without_count as uncounted
        inner join requirement on uncounted.requirement_ref = requirement.requirement_ref
        where uncounted.trainee_ref = $person
        order by requirement.position
        """,
        person=trainee_ref,
    )


def framework(snapshot: Snapshot, scope: Scope) -> pd.DataFrame:
    """The framework of the milestones, and whether it is the accreditor's; no row without one."""
    return select(snapshot, scope, "select framework, official from milestone_framework")


def definitions(snapshot: Snapshot, scope: Scope) -> pd.DataFrame:
    """The comments of the published views: what the Methods screen prints."""
    return select(
        snapshot,
        scope,
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
    )


def unverified(snapshot: Snapshot, scope: Scope) -> pd.DataFrame:
    """Every rule that nobody has checked against the current document yet."""
    return select(
        snapshot,
        scope,
        "select kind, title, source, reviewed_on from unverified_item order by kind, title",
    )


def names_another_programme(snapshot: Snapshot, scope: Scope) -> bool:
    """Whether anybody of another programme is in the roster; who, is not said."""
    return bool(select(snapshot, scope, "select elsewhere from other_programme")["elsewhere"].iloc[0])
