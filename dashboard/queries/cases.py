"""The cases behind a number, each with what became of it.

A column of `case_opened` that stands in neither list below is on the screen, for whoever may read it.
"""

from __future__ import annotations

import pandas as pd

from dashboard.access import Scope
from dashboard.queries.live import Snapshot, select

# What a screen need not repeat of a case, and what does not belong to the question it answers.
KEYS = (
    *("programme_ref", "cohort", "trainee_ref", "procedure", "procedure_group", "case_sequence"),
    *("training_month", "training_quarter", "data_through"),
)
NOT_OF_A_COUNT = ("complications", "duration_min", "follow_up_days", "takeover_reason")
NOT_OF_AN_OUTCOME = ("duration_min", "supervision", "supervisor_agreed", "takeover_reason")


def cases_of_requirement(
    snapshot: Snapshot, scope: Scope, trainee_ref: str, requirement: str
) -> pd.DataFrame:
    """The cases that a count was made from, and those that did not count, each with its reason."""
    return select(
        snapshot,
        scope,
        f"""
        with shown as (
            select
                credit.credited, credit.reason,
                (
                    select string_agg(lower(attribute.title), ', ' order by attribute.position)
                    from requirement_attribute as asked
                    inner join attribute on asked.attribute = attribute.attribute
                    inner join case_attribute as present on asked.attribute = present.attribute
                    where asked.need = 'none' and asked.requirement_ref = credit.requirement_ref
                        and present.trainee_ref = opened.trainee_ref
                        and present.case_sequence = opened.case_sequence and credit.reason = 'attribute'
                        and credit.over_cap is null
                ) as excluded,
                credit.over_cap,
                (
                    select cast(max(cap.at_most) as varchar) from requirement_cap as cap
                    where cap.requirement_ref = credit.requirement_ref and cap.code = credit.over_cap
                ) as takes,
                opened.*
            from case_credit as credit
            inner join case_opened as opened
                on credit.trainee_ref = opened.trainee_ref and credit.case_ref = opened.case_ref
                and credit.procedure = opened.procedure and credit.side is not distinct from opened.side
            where credit.trainee_ref = $person and credit.requirement_ref = $requirement
        )

        select columns(lambda name: name not in {(*KEYS, *NOT_OF_A_COUNT)})
        from shown
        order by case_sequence
        """,
        person=trainee_ref,
        requirement=requirement,
    )


def cases_toward_nothing(snapshot: Snapshot, scope: Scope, trainee_ref: str) -> pd.DataFrame:
    """The cases that no requirement lists, each with the reason."""
    return select(
        snapshot,
        scope,
        f"""
        with shown as (
            select credit.reason, opened.*
            from case_credit as credit
            inner join case_opened as opened
                on credit.trainee_ref = opened.trainee_ref and credit.case_ref = opened.case_ref
                and credit.procedure = opened.procedure and credit.side is not distinct from opened.side
            where credit.trainee_ref = $person and credit.requirement_ref is null
        )

        select columns(lambda name: name not in {(*KEYS, *NOT_OF_A_COUNT)})
        from shown
        order by case_sequence
        """,
        person=trainee_ref,
    )


def composition(snapshot: Snapshot, scope: Scope, trainee_ref: str, requirement: str) -> pd.DataFrame:
    """Of which procedures, roles and attributes a count is made, the most frequent first."""
    return select(
        snapshot,
        scope,
        """
        select trainee_ref, made_of, coalesce(title, code) as part, counted_cases
        from count_composition
        where trainee_ref = $person and requirement_ref = $requirement
        order by made_of, counted_cases desc, part
        """,
        person=trainee_ref,
        requirement=requirement,
    )


def parts(snapshot: Snapshot, scope: Scope, trainee_ref: str, requirement: str) -> pd.DataFrame:
    """The parts of a requirement, each with its own minimum: a part need not be of the same cases as its whole."""
    return select(
        snapshot,
        scope,
        """
        select
            volume.trainee_ref, volume.requirement_title, volume.counted_cases, volume.minimum, volume.remaining_cases,
            volume.met, volume.parts_total, volume.parts_short, volume.reached
        from case_volume as volume
        inner join requirement_whole as place on volume.requirement_ref = place.requirement_ref
        inner join requirement on volume.requirement_ref = requirement.requirement_ref
        where volume.trainee_ref = $person and place.whole_ref = $requirement
        order by requirement.position
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
        f"""
        with shown as (
            select
                outcome.status,
                case
                    when outcome.status = 'event' and $attribution = 'in_trainee_hands'
                        then coalesce(outcome.event_hands, 'unclear')
                    else ''
                end as hands,
                outcome.why, outcome.event_hands, opened.*
            from case_outcome as outcome
            inner join case_opened as opened
                on outcome.trainee_ref = opened.trainee_ref and outcome.case_ref = opened.case_ref
                and outcome.procedure = opened.procedure and outcome.side is not distinct from opened.side
            where outcome.trainee_ref = $person and outcome.complication_ref = $complication
                and (outcome.in_operating_role or $attribution <> 'as_logged')
        )

        select columns(lambda name: name not in {(*KEYS, *NOT_OF_AN_OUTCOME)})
        from shown
        order by case_sequence
        """,
        person=trainee_ref,
        complication=complication,
        attribution=attribution,
    )


def cases_to_code(snapshot: Snapshot, scope: Scope, trainee_ref: str) -> pd.DataFrame:
    """The cases in which something happened that has no code yet."""
    return select(
        snapshot,
        scope,
        f"""
        with shown as (
            select opened.*
            from event_to_code as waiting
            inner join case_opened as opened
                on waiting.trainee_ref = opened.trainee_ref and waiting.case_ref = opened.case_ref
                and waiting.procedure = opened.procedure and waiting.side is not distinct from opened.side
            where waiting.trainee_ref = $person
        )

        select columns(lambda name: name not in {(*KEYS, *NOT_OF_AN_OUTCOME)})
        from shown
        order by case_sequence
        """,
        person=trainee_ref,
    )


def disagreements(snapshot: Snapshot, scope: Scope, trainee_ref: str) -> pd.DataFrame:
    """What others say differently of the trainee's cases, the newest month first, in the words of the screens."""
    return select(
        snapshot,
        scope,
        """
        select
            opened.operated_month, opened.case_ref, opened.title,
            coalesce(complication.title, replace(differs.fact, '_', ' ')) as fact,
            coalesce(entered_role.title, entered_level.title, replace(differs.entry, '_', ' ')) as entry,
            differs.entered_by,
            coalesce(ruled_level.title, replace(differs.ruling, '_', ' ')) as ruling,
            differs.ruled_by
        from entry_disagreement as differs
        inner join case_opened as opened
            on differs.trainee_ref = opened.trainee_ref and differs.case_ref = opened.case_ref
            and differs.procedure = opened.procedure and differs.side is not distinct from opened.side
        left join complication on differs.fact = complication.complication_ref
        left join role as entered_role on differs.fact = 'role' and differs.entry = entered_role.role
        left join supervision_level as entered_level
            on differs.fact = 'supervision' and differs.entry = entered_level.level_ref
        left join supervision_level as ruled_level
            on differs.fact = 'supervision' and differs.ruling = ruled_level.level_ref
        where differs.trainee_ref = $person
        order by opened.operated_month desc, opened.case_sequence desc, fact, differs.entered_by
        """,
        person=trainee_ref,
    )
