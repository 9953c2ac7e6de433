"""The cases behind a number, each with what became of it."""

from __future__ import annotations

import pandas as pd

from dashboard.access import Scope
from dashboard.queries.live import Snapshot, select


def cases_of_requirement(
    snapshot: Snapshot, scope: Scope, trainee_ref: str, requirement: str
) -> pd.DataFrame:
    """The cases that a count was made from, and those that did not count, each with its reason."""
    return select(
        snapshot,
        scope,
        """
        select
            credit.credited, credit.reason,
            (
                select string_agg(lower(attribute.title), ', ' order by attribute.position)
                from requirement_attribute as asked
                inner join attribute on asked.attribute = attribute.attribute
                inner join case_attribute as found on asked.attribute = found.attribute
                where asked.need = 'none' and asked.requirement_ref = credit.requirement_ref
                    and found.trainee_ref = opened.trainee_ref and found.case_sequence = opened.case_sequence
                    and credit.reason = 'attribute'
            ) as excluded,
            opened.case_ref as "case", opened.operated_month as month_of_operation, opened.title as procedure,
            opened.side, role.title as role, coalesce(level.title, opened.supervision) as supervision,
            opened.takeover, opened.supervisor_agreed as confirmed_by_a_supervisor
        from case_credit as credit
        inner join definition.case_opened as opened
            on credit.trainee_ref = opened.trainee_ref and credit.case_ref = opened.case_ref
            and credit.procedure = opened.procedure and credit.side is not distinct from opened.side
        left join role on opened.role = role.role
        left join supervision_level as level on opened.supervision = level.level_ref
        where credit.programme_ref = $programme_ref
            and ($trainee_ref is null or credit.trainee_ref = $trainee_ref)
            and credit.trainee_ref = $person and credit.requirement_ref = $requirement
        order by opened.case_sequence
        """,
        person=trainee_ref,
        requirement=requirement,
    )


def cases_of_outcome(
    snapshot: Snapshot, scope: Scope, trainee_ref: str, complication: str, attribution: str
) -> pd.DataFrame:
    """The cases that a rate was made from, each with what is known of its outcome."""
    return select(
        snapshot,
        scope,
        """
        select
            outcome.status,
            case
                when outcome.status = 'event' and $attribution = 'in_trainee_hands'
                    then coalesce(outcome.event_hands, 'unclear')
                else ''
            end as hands,
            outcome.why, outcome.case_ref as "case", opened.operated_month as month_of_operation,
            opened.title as procedure, opened.side, role.title as role, opened.takeover,
            outcome.event_hands as who_was_operating, opened.complications,
            opened.follow_up_days as "days of follow-up"
        from definition.case_outcome as outcome
        inner join definition.case_opened as opened
            on outcome.trainee_ref = opened.trainee_ref and outcome.case_ref = opened.case_ref
            and outcome.procedure = opened.procedure and outcome.side is not distinct from opened.side
        left join role on opened.role = role.role
        where outcome.programme_ref = $programme_ref
            and ($trainee_ref is null or outcome.trainee_ref = $trainee_ref)
            and outcome.trainee_ref = $person and outcome.complication_ref = $complication
            and (outcome.as_surgeon or $attribution <> 'as_logged')
        order by opened.case_sequence
        """,
        person=trainee_ref,
        complication=complication,
        attribution=attribution,
    )
