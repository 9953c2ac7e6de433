"""Whom to discuss, and why; what the committee recorded; what a reason is worth."""

from __future__ import annotations

import pandas as pd

from dashboard.access import Scope
from dashboard.queries.live import Snapshot, select


def reasons(snapshot: Snapshot, scope: Scope, people: tuple[str, ...]) -> pd.DataFrame:
    """Every reason to discuss one of the people, in the order of the roster and of the kinds; what it opens, by its title."""
    return select(
        snapshot,
        scope,
        """
        select
            found.cohort, found.trainee_ref, found.reason, found.subject, found.sentence, found.opens,
            coalesce(
                requirement.title, complication.title, procedure_group.title, step.title, milestone.title
            ) as about
        from discussion_reason as found
        left join requirement on found.opens = 'requirement:' || requirement.requirement_ref
        left join complication on found.opens = 'outcome:' || complication.complication_ref
        left join procedure_group on found.opens = 'supervision:' || procedure_group.procedure_group
        left join step on found.opens = 'step:' || step.step
        left join milestone on found.opens = 'milestone:' || milestone.milestone_ref
        where list_contains($people, found.trainee_ref)
        order by found.cohort, found.trainee_ref, found.position, found.subject
        """,
        people=list(people),
    )


def months(snapshot: Snapshot, scope: Scope, people: tuple[str, ...]) -> pd.DataFrame:
    """How far into their training each of the people has come by the end of their data."""
    return select(
        snapshot,
        scope,
        """
        select trainee_ref, cast(active_month as double) as active_month, cast(months_left as double) as months_left
        from trainee_clock
        where list_contains($people, trainee_ref)
        order by cohort, trainee_ref
        """,
        people=list(people),
    )


def recorded_levels(snapshot: Snapshot, scope: Scope, people: tuple[str, ...]) -> pd.DataFrame:
    """The committee's levels of each milestone: the last, and the one before it."""
    return select(
        snapshot,
        scope,
        """
        with placed as (
            select
                recorded.trainee_ref, recorded.milestone, recorded.level, recorded.period,
                row_number() over (
                    partition by recorded.trainee_ref, recorded.milestone
                    order by split_part(recorded.period, ' ', 1) desc, review_period.position desc nulls last
                ) as place
            from milestones as recorded
            left join review_period on lower(substr(recorded.period, 9)) = review_period.period_name
            where list_contains($people, recorded.trainee_ref)
        )

        select
            last.trainee_ref, milestone.title, last.level, last.period, before.level as level_before,
            case
                when before.level is null then 'first'
                when reached.position < stood.position then 'fell'
                when reached.position > stood.position then 'rose'
                else 'as before'
            end as course
        from placed as last
        inner join milestone on last.milestone = milestone.milestone_ref
        left join placed as before
            on last.trainee_ref = before.trainee_ref and last.milestone = before.milestone and before.place = 2
        left join milestone_level as reached on last.level = reached.level
        left join milestone_level as stood on before.level = stood.level
        where last.place = 1
        order by last.trainee_ref, milestone.position
        """,
        people=list(people),
    )


def false_alarms(snapshot: Snapshot, scope: Scope) -> pd.DataFrame:
    """How often each kind of reason would arise though everybody is alike and fine."""
    return select(
        snapshot,
        scope,
        """
        select
            reason_rule.reason, reason_rule.title, reason_rule.rule, reason_rule.is_chance,
            coalesce(alarm.is_weak, false) as is_weak, alarm.chance_meeting, alarm.chance_training, alarm.power
        from reason_rule
        left join false_alarm as alarm on reason_rule.reason = alarm.reason
        order by reason_rule.position
        """,
    )


def next_steps(snapshot: Snapshot, scope: Scope, trainee_ref: str) -> pd.DataFrame:
    """What is to be said of the pace toward each minimum that is not yet reached."""
    return select(
        snapshot,
        scope,
        """
        select pace.trainee_ref, requirement.title, pace.requirement_ref, pace.stands, pace.needs, pace.rotations
        from pace_sentence as pace
        inner join requirement on pace.requirement_ref = requirement.requirement_ref
        where pace.trainee_ref = $person
        order by requirement.position
        """,
        person=trainee_ref,
    )


def case_sequence(snapshot: Snapshot, scope: Scope, trainee_ref: str, complication: str) -> pd.DataFrame:
    """Case by case, observed less expected and the CUSUM of one outcome of one trainee."""
    return select(
        snapshot,
        scope,
        """
        select trainee_ref, case_number, is_event, observed_minus_expected, cusum, limit_person, limit_class
        from case_sequence_chart
        where trainee_ref = $person and complication_ref = $complication
        order by case_number
        """,
        person=trainee_ref,
        complication=complication,
    )


def signal(snapshot: Snapshot, scope: Scope, trainee_ref: str, complication: str) -> pd.DataFrame:
    """What came of that chart, and how often it signals for nobody's fault, and when the odds are raised."""
    return select(
        snapshot,
        scope,
        """
        select
            signalled.trainee_ref, signalled.known_outcomes, signalled.events, signalled.expected_events,
            signalled.signal_case_person,
            signalled.signal_case_class, signalled.why_none, run.cases, run.people, run.signal_chance,
            run.signal_chance_raised, run.signal_chance_in_class
        from case_sequence_signal as signalled
        left join run_length as run
            on signalled.complication_ref = run.complication_ref and run.limit_for = 'person'
        where signalled.trainee_ref = $person and signalled.complication_ref = $complication
        """,
        person=trainee_ref,
        complication=complication,
    )


def recent_rates(snapshot: Snapshot, scope: Scope, trainee_ref: str, complication: str) -> pd.DataFrame:
    """The last 25, 50 and 100 cases beside those before them."""
    return select(
        snapshot,
        scope,
        """
        select
            trainee_ref, last_cases, events, known_outcomes, rate, rate_low, rate_high, events_before, known_before, rate_before,
            rate_before_low, rate_before_high
        from complication_rate_recent
        where trainee_ref = $person and complication_ref = $complication
        order by last_cases
        """,
        person=trainee_ref,
        complication=complication,
    )


def pace(snapshot: Snapshot, scope: Scope, trainee_ref: str) -> pd.DataFrame:
    """What each minimum that is not reached takes a month, beside where completed classes stood at the same month."""
    return select(
        snapshot,
        scope,
        """
        select trainee_ref, requirement_ref, expected_low, expected_median, expected_high, needed_a_month
        from pace
        where trainee_ref = $person
        order by requirement_ref
        """,
        person=trainee_ref,
    )


def waiting(snapshot: Snapshot, scope: Scope, trainee_ref: str) -> pd.DataFrame:
    """Cases that wait for a supervisor's word on the role, or for an outcome that is due, the newest first."""
    return select(
        snapshot,
        scope,
        """
        with unknown as (
            select outcome.case_sequence, string_agg(complication.title, ', ' order by complication.position) as outcomes
            from case_outcome as outcome
            inner join complication on outcome.complication_ref = complication.complication_ref
            where outcome.trainee_ref = $person and outcome.status in ('unknown', 'unfollowed event')
            group by outcome.case_sequence
        )

        select
            opened.trainee_ref, opened.case_ref, opened.operated_month, opened.title, opened.role,
            opened.supervisor_agreed is null as waits_for_confirmation,
            coalesce(unknown.outcomes, '') as outcomes_not_known
        from case_opened as opened
        left join unknown on opened.case_sequence = unknown.case_sequence
        where opened.trainee_ref = $person and (opened.supervisor_agreed is null or unknown.outcomes is not null)
        order by opened.case_sequence desc
        """,
        person=trainee_ref,
    )
