"""Who is where: volume, outcomes, supervision, technique and milestones, of a cohort or of one trainee."""

from __future__ import annotations

import pandas as pd

from dashboard.access import Scope
from dashboard.queries.live import Snapshot, select


def trainees(snapshot: Snapshot, scope: Scope) -> pd.DataFrame:
    """The roster in its order: class, then reference."""
    return select(
        snapshot,
        scope,
        """
        select
            cohort, trainee_ref, started, expected_completion, completed, "left", stage, data_through, is_current,
            not training_is_over as in_training,
            months_not_entered,
            (
                select count(*) from case_credit
                where case_credit.trainee_ref = trainee.trainee_ref and case_credit.reason = 'unmapped_code'
            ) as unmapped_cases,
            row_number() over (order by cohort, trainee_ref) as trainee_order
        from trainee
        order by cohort, trainee_ref
        """,
    )


def volume(snapshot: Snapshot, scope: Scope, people: tuple[str, ...]) -> pd.DataFrame:
    """Counted cases against each minimum, whether each is reached, and the median of completed classes at that month."""
    return select(
        snapshot,
        scope,
        """
        select
            volume.cohort, volume.trainee_ref, volume.requirement_ref, volume.requirement_title, volume.minimum,
            volume.counted_cases, volume.remaining_cases, volume.edition, volume.confirmed_cases,
            volume.parts_total, volume.parts_short, volume.met, volume.reached, volume.part_depth,
            requirement.position as requirement_order, requirement.source, requirement.verified,
            requirement.unit, requirement.units, instead.title as reached_by, volume.deadline,
            cast(volume.published_minimum as varchar) as published_minimum, band.p50 as earlier
        from case_volume as volume
        inner join requirement on volume.requirement_ref = requirement.requirement_ref
        left join requirement as instead on volume.reached_by = instead.requirement_ref
        left join (
            select trainee_ref, max(training_month) as training_month from volume_course group by trainee_ref
        ) as clock using (trainee_ref)
        left join volume_band as band
            on volume.requirement_ref = band.requirement_ref and clock.training_month = band.training_month
        where list_contains($people, trainee_ref)
        order by volume.cohort, volume.trainee_ref, requirement.position
        """,
        people=list(people),
    )


def rates(
    snapshot: Snapshot, scope: Scope, people: tuple[str, ...], complication: str, attribution: str
) -> pd.DataFrame:
    """One complication of each trainee, with what would be expected at the same case numbers without them."""
    return select(
        snapshot,
        scope,
        """
        select
            rate.cohort, rate.trainee_ref, rate.events, rate.known_outcomes, rate.unknown_outcomes, rate.rate,
            rate.rate_low, rate.rate_high, rate.eligible_cases, rate.not_yet_due, rate.events_unclear,
            rate.early_events, rate.events_unfollowed, rate.possible_low, rate.possible_high, rate.anytime_low,
            rate.anytime_high, rate.known_from_others,
            -- Leaving takeovers out compares what was taken over with what was not.
            case when attribution <> 'as_logged' then expected.expected end as expected,
            case
                when attribution <> 'as_logged' then expected.why_none
                else 'nobody is compared by cases that leave takeovers out'
            end as why_none
        from complication_rate as rate
        left join expected_rate as expected
            using (programme_ref, cohort, trainee_ref, complication_ref, attribution)
        where list_contains($people, trainee_ref)
            and complication_ref = $complication and attribution = $attribution
        order by rate.cohort, rate.trainee_ref
        """,
        people=list(people),
        complication=complication,
        attribution=attribution,
    )


def own_rates(snapshot: Snapshot, scope: Scope, trainee_ref: str) -> pd.DataFrame:
    """Every complication and attribution of one trainee."""
    return select(
        snapshot,
        scope,
        """
        select
            rate.complication_ref, complication.title, rate.attribution, rate.events, rate.known_outcomes,
            rate.unknown_outcomes, rate.rate, rate.rate_low, rate.rate_high, rate.eligible_cases,
            rate.not_yet_due, rate.events_unclear, rate.early_events, rate.events_unfollowed, rate.possible_low,
            rate.possible_high, rate.known_from_others, complication.definition,
            complication.window_days, complication.source, complication.verified
        from complication_rate as rate
        inner join complication on rate.complication_ref = complication.complication_ref
        where trainee_ref = $person
        order by complication.position, rate.attribution
        """,
        person=trainee_ref,
    )


def bands(snapshot: Snapshot, scope: Scope, people: tuple[str, ...], group: str) -> pd.DataFrame:
    """Shares of the bands of supervision while operating in each quarter of training."""
    return select(
        snapshot,
        scope,
        """
        select
            cohort, trainee_ref, training_quarter, band, band_order, cases, known_cases, share
        from supervision_band
        where list_contains($people, trainee_ref) and procedure_group = $group
        order by cohort, trainee_ref, training_quarter, band_order
        """,
        people=list(people),
        group=group,
    )


def bands_of_quarter(
    snapshot: Snapshot, scope: Scope, people: tuple[str, ...], group: str, quarter: int | None
) -> pd.DataFrame:
    """The bands of one quarter, None for each person's latest with a level; also who has none, and why."""
    return select(
        snapshot,
        scope,
        """
        with shown as (
            select *
            from supervision_band
            where procedure_group = $group and ($quarter is null or training_quarter = $quarter)
            qualify training_quarter = max(training_quarter) over (partition by trainee_ref)
        )
        select
            cohort, trainee_ref, shown.training_quarter, shown.band, shown.band_order, shown.cases,
            shown.known_cases, shown.share,
            coalesce(shown.training_quarter = clock.quarter_so_far, false) as so_far,
            case
                when shown.band is not null then null
                when exists (
                    select 1
                    from supervision_mix as mix
                    where mix.trainee_ref = trainee.trainee_ref and $group in ('all', mix.procedure_group)
                        and ($quarter is null or mix.training_quarter = $quarter)
                ) then 'no level recorded'
                when clock.last_training_quarter is null then 'no data yet'
                when clock.last_training_quarter < $quarter then 'no data of this quarter'
                else 'no case in an operating role'
            end as why_none
        from trainee
        inner join trainee_clock as clock using (programme_ref, cohort, trainee_ref)
        left join shown using (programme_ref, cohort, trainee_ref)
        where list_contains($people, trainee_ref)
        order by cohort, trainee_ref, shown.band_order
        """,
        people=list(people),
        group=group,
        quarter=quarter,
    )


def ladder(snapshot: Snapshot, scope: Scope) -> list[str]:
    """The bands in which who operates can be supervised, lowest first, whoever and whatever is shown."""
    shown = select(
        snapshot,
        scope,
        """
        select band
        from supervision_level
        group by band
        having
            bool_or(level_ref not in (select level_ref from supervision_role))
            or bool_or(level_ref in (
                select level_ref from supervision_role where role in (select role from role where operating)
            ))
            -- An edition that takes a level away from who operates leaves the cases that were recorded with it.
            or band in (select band from supervision_band)
        order by min(level_rank)
        """,
    )
    return list(shown["band"])


def levels(snapshot: Snapshot, scope: Scope, people: tuple[str, ...], group: str) -> pd.DataFrame:
    """Every level of supervision while operating, for the table behind the bands."""
    return select(
        snapshot,
        scope,
        """
        select
            mix.trainee_ref, mix.training_quarter, coalesce(level.title, 'not recorded') as level, mix.cases,
            mix.known_cases, mix.share
        from supervision_mix as mix
        left join supervision_level as level on mix.level_ref = level.level_ref
        where list_contains($people, trainee_ref) and procedure_group = $group
        order by mix.cohort, mix.trainee_ref, mix.training_quarter, mix.level_rank nulls last
        """,
        people=list(people),
        group=group,
    )


def technique(snapshot: Snapshot, scope: Scope, people: tuple[str, ...], group: str) -> pd.DataFrame:
    """Scores by step in the latest quarter in which somebody scored the trainee."""
    return select(
        snapshot,
        scope,
        """
        select
            scored.cohort, scored.trainee_ref, step.title as step, step.position as step_order, step.phase,
            scored.training_quarter, scored.scored, scored.score_mean, scored.score_low, scored.score_high,
            scored.done_by_supervisor, scored.attempts, scored.successes, scored.success_low,
            scored.success_high, scored.seconds_median
        from technique_step as scored
        inner join step on scored.step = step.step
        where list_contains($people, trainee_ref) and procedure_group = $group
        qualify scored.training_quarter = max(scored.training_quarter) over (partition by scored.trainee_ref)
        order by scored.cohort, scored.trainee_ref, step.position
        """,
        people=list(people),
        group=group,
    )


def technique_of_everybody(
    snapshot: Snapshot, scope: Scope, people: tuple[str, ...], group: str
) -> pd.DataFrame:
    """The same for each of the people and each step that any of them has, whether it was scored or not."""
    return select(
        snapshot,
        scope,
        """
        with latest as (
            select programme_ref, cohort, trainee_ref, step, training_quarter, scored, score_mean, score_low, score_high
            from technique_step
            where list_contains($people, trainee_ref) and procedure_group = $group
            qualify training_quarter = max(training_quarter) over (partition by trainee_ref)
        ),

        reviewed as (
            select distinct trainee_ref, training_quarter from latest
        )

        select
            trainee.cohort, trainee_ref, step.title as step, step.position as step_order, step.phase,
            reviewed.training_quarter,
            coalesce(reviewed.training_quarter = clock.quarter_so_far, false) as so_far,
            coalesce(latest.scored, 0) as scored, latest.score_mean, latest.score_low, latest.score_high
        from trainee
        inner join trainee_clock as clock using (programme_ref, cohort, trainee_ref)
        cross join step
        left join reviewed using (trainee_ref)
        left join latest using (programme_ref, cohort, trainee_ref, step)
        where list_contains($people, trainee_ref) and step.step in (select step from latest)
        order by cohort, trainee_ref, step.position
        """,
        people=list(people),
        group=group,
    )


def milestones(snapshot: Snapshot, scope: Scope, trainee_ref: str) -> pd.DataFrame:
    """The rules met, missing and unknown of each milestone and level, the committee's level beside."""
    return select(
        snapshot,
        scope,
        """
        select
            milestone.title, standing.level, standing.rules_met, standing.rules_total, standing.rules_unknown,
            standing.missing, standing.met_by, standing.committee_level, standing.committee_period
        from milestone_standing as standing
        inner join milestone on standing.milestone_ref = milestone.milestone_ref
        where trainee_ref = $person
        order by milestone.position, standing.level
        """,
        person=trainee_ref,
    )


def course(snapshot: Snapshot, scope: Scope, trainee_ref: str, requirement: str) -> pd.DataFrame:
    """Counted cases so far by month of training."""
    return select(
        snapshot,
        scope,
        """
        select training_month, counted_cases
        from volume_course
        where trainee_ref = $person and requirement_ref = $requirement
        order by training_month
        """,
        person=trainee_ref,
        requirement=requirement,
    )


def marks(snapshot: Snapshot, scope: Scope, trainee_ref: str) -> pd.DataFrame:
    """What stands under the time of a training: rotations, leave, months elsewhere, a transfer, the end of the data."""
    return select(
        snapshot,
        scope,
        """
        select trainee_ref, kind, first_month, rotation, active_from, active_to, months, is_ahead
        from training_mark
        where trainee_ref = $person
        order by active_from, first_month, kind
        """,
        person=trainee_ref,
    )


def course_bands(snapshot: Snapshot, scope: Scope, requirement: str) -> pd.DataFrame:
    """The completed classes at the same month of training, blank where they were too few."""
    return select(
        snapshot,
        scope,
        """
        select training_month, p10, p25, p50, p75, p90
        from volume_band
        where requirement_ref = $requirement
        order by training_month
        """,
        requirement=requirement,
    )


def comparison(snapshot: Snapshot, scope: Scope, trainee_ref: str) -> pd.DataFrame:
    """Each measure of a trainee beside the other trainees at the same active month, or the same case numbers."""
    return select(
        snapshot,
        scope,
        """
        select
            beside.measure, beside.value, beside.value_low, beside.value_high, beside.value_base, beside.reference,
            beside.reference_low, beside.reference_high, beside.reference_base, beside.reference_n, beside.difference,
            beside.difference_low, beside.difference_high, beside.differs, expected.is_adjusted
        from cohort_comparison as beside
        left join expected_rate as expected
            on beside.trainee_ref = expected.trainee_ref
            and beside.measure = 'rate:' || expected.complication_ref || ':' || expected.attribution
        where beside.trainee_ref = $person
        order by beside.measure
        """,
        person=trainee_ref,
    )


def outcomes_of(snapshot: Snapshot, scope: Scope, group: str) -> pd.DataFrame:
    """The outcomes that are counted in the cases of a procedure group, in the order of the specialty."""
    return select(
        snapshot,
        scope,
        """
        select complication.*
        from complication
        inner join complication_group on complication.complication_ref = complication_group.complication_ref
        where complication_group.procedure_group = $group
        order by complication.position
        """,
        group=group,
    )
