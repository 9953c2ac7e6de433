"""The only SQL of the dashboard: which rows and columns of a published view a screen shows to this viewer.

Every query takes the viewer's scope and selects exactly what the screen draws: what is selected reaches the
browser. Numbers are made in sql/, never here.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any

import duckdb
import pandas as pd
import streamlit as st

from dashboard.access import Scope
from pipelines.snapshot import LOCKED
from pipelines.store import Store

IN_SCOPE = "programme_ref = $programme_ref and ($trainee_ref is null or trainee_ref = $trainee_ref)"


@dataclass(frozen=True)
class Snapshot:
    """The snapshot that a rerun reads: its number, its file, the day it speaks of."""

    number: int
    path: str
    as_of: str | None


def live_snapshot(store: Store) -> Snapshot:
    """The snapshot that is live now; a new intake shows at the next rerun."""
    manifest = store.current()
    return Snapshot(manifest.snapshot, str(store.database(manifest.snapshot)), manifest.as_of)


@st.cache_resource(max_entries=2, show_spinner=False)
def _connection(path: str) -> duckdb.DuckDBPyConnection:
    return duckdb.connect(path, read_only=True, config=LOCKED)


@st.cache_data(max_entries=256, show_spinner=False)
def _rows(path: str, query: str, parameters: dict[str, Any]) -> pd.DataFrame:
    # Everything that the answer depends on is an argument: the cache is shared by all viewers.
    return _connection(path).cursor().execute(query, parameters).df()


def _select(snapshot: Snapshot, scope: Scope, query: str, **parameters: Any) -> pd.DataFrame:
    named = {"programme_ref": scope.programme_ref, "trainee_ref": scope.trainee_ref, **parameters}
    used = {name: value for name, value in named.items() if f"${name}" in query}
    return _rows(snapshot.path, query, used)


def records(frame: pd.DataFrame) -> list[Any]:
    """The rows as objects with the columns for names; null is None."""
    names = list(frame.columns)
    return [
        SimpleNamespace(
            **{name: None if pd.isna(value) else value for name, value in zip(names, row, strict=True)}
        )
        for row in frame.itertuples(index=False, name=None)
    ]


def trainees(snapshot: Snapshot, scope: Scope) -> pd.DataFrame:
    """The roster in its order: class, then reference."""
    return _select(
        snapshot,
        scope,
        f"""
        select
            cohort, trainee_ref, started, expected_completion, completed, "left", stage, data_through, is_current,
            row_number() over (order by cohort, trainee_ref) as trainee_order
        from trainee
        where {IN_SCOPE}
        order by cohort, trainee_ref
        """,
    )


def names_another_programme(snapshot: Snapshot, scope: Scope) -> bool:
    """Whether anybody of another programme is in the roster; who, is not said."""
    found = _select(
        snapshot, scope, "select count(*) > 0 as found from trainee where programme_ref <> $programme_ref"
    )
    return bool(found["found"].iloc[0])


def framework(snapshot: Snapshot) -> pd.DataFrame:
    """The framework of the milestones, and whether it is the accreditor's; no row without one."""
    return _rows(snapshot.path, "select framework, official from milestone_framework", {})


def volume(snapshot: Snapshot, scope: Scope, people: tuple[str, ...]) -> pd.DataFrame:
    """Counted cases against each minimum, with how many parts of a parent are short."""
    return _select(
        snapshot,
        scope,
        f"""
        select
            volume.cohort, volume.trainee_ref, volume.requirement_ref, volume.requirement_title, volume.minimum,
            volume.counted_cases, volume.remaining_cases, volume.met, volume.edition, volume.confirmed_cases,
            requirement.part_of, requirement.position as requirement_order, requirement.source,
            requirement.verified,
            (
                select count(*)
                from case_volume as part
                inner join requirement as part_rule on part.requirement_ref = part_rule.requirement_ref
                where part.trainee_ref = volume.trainee_ref and part_rule.part_of = volume.requirement_ref
            ) as parts,
            (
                select count(*)
                from case_volume as part
                inner join requirement as part_rule on part.requirement_ref = part_rule.requirement_ref
                where part.trainee_ref = volume.trainee_ref and part_rule.part_of = volume.requirement_ref
                    and not part.met
            ) as parts_short
        from case_volume as volume
        inner join requirement on volume.requirement_ref = requirement.requirement_ref
        where {IN_SCOPE} and list_contains($people, trainee_ref)
        order by volume.cohort, volume.trainee_ref, requirement.position
        """,
        people=list(people),
    )


def rates(
    snapshot: Snapshot, scope: Scope, people: tuple[str, ...], complication: str, attribution: str
) -> pd.DataFrame:
    """One complication of each trainee, with what would be expected at the same case numbers without them."""
    return _select(
        snapshot,
        scope,
        f"""
        select
            rate.cohort, rate.trainee_ref, rate.events, rate.known_outcomes, rate.unknown_outcomes, rate.rate,
            rate.rate_low, rate.rate_high, rate.eligible_cases, rate.not_yet_due, rate.events_unclear,
            rate.early_events, expected.expected, expected.why_none
        from complication_rate as rate
        left join expected_rate as expected
            using (programme_ref, cohort, trainee_ref, complication_ref, attribution)
        where {IN_SCOPE} and list_contains($people, trainee_ref)
            and complication_ref = $complication and attribution = $attribution
        order by rate.cohort, rate.trainee_ref
        """,
        people=list(people),
        complication=complication,
        attribution=attribution,
    )


def own_rates(snapshot: Snapshot, scope: Scope, trainee_ref: str) -> pd.DataFrame:
    """Every complication and attribution of one trainee."""
    return _select(
        snapshot,
        scope,
        f"""
        select
            rate.complication_ref, complication.title, rate.attribution, rate.events, rate.known_outcomes,
            rate.unknown_outcomes, rate.rate, rate.rate_low, rate.rate_high, rate.eligible_cases,
            rate.not_yet_due, rate.events_unclear, rate.early_events, complication.definition,
            complication.window_days, complication.source, complication.verified
        from complication_rate as rate
        inner join complication on rate.complication_ref = complication.complication_ref
        where {IN_SCOPE} and trainee_ref = $person
        order by complication.position, rate.attribution
        """,
        person=trainee_ref,
    )


def bands(snapshot: Snapshot, scope: Scope, people: tuple[str, ...], group: str) -> pd.DataFrame:
    """Shares of the bands of supervision as surgeon in each quarter of training."""
    return _select(
        snapshot,
        scope,
        f"""
        select
            cohort, trainee_ref, training_quarter, band, band_order, cases, known_cases, share,
            training_quarter = max(training_quarter) over (partition by trainee_ref) as is_latest
        from supervision_band
        where {IN_SCOPE} and list_contains($people, trainee_ref) and procedure_group = $group
        order by cohort, trainee_ref, training_quarter, band_order
        """,
        people=list(people),
        group=group,
    )


def levels(snapshot: Snapshot, scope: Scope, people: tuple[str, ...], group: str) -> pd.DataFrame:
    """Every level of supervision as surgeon, for the table behind the bands."""
    return _select(
        snapshot,
        scope,
        f"""
        select
            mix.trainee_ref, mix.training_quarter, coalesce(level.title, 'not recorded') as level, mix.cases,
            mix.known_cases, mix.share
        from supervision_mix as mix
        left join supervision_level as level on mix.level_ref = level.level_ref
        where {IN_SCOPE} and list_contains($people, trainee_ref) and procedure_group = $group
        order by mix.cohort, mix.trainee_ref, mix.training_quarter, mix.level_rank nulls last
        """,
        people=list(people),
        group=group,
    )


def technique(snapshot: Snapshot, scope: Scope, people: tuple[str, ...], group: str) -> pd.DataFrame:
    """Scores by step in the latest quarter in which somebody scored the trainee."""
    return _select(
        snapshot,
        scope,
        f"""
        select
            scored.cohort, scored.trainee_ref, step.title as step, step.position as step_order, step.phase,
            scored.training_quarter, scored.scored, scored.score_mean, scored.score_low, scored.score_high,
            scored.done_by_supervisor, scored.attempts, scored.successes, scored.success_low,
            scored.success_high, scored.seconds_median
        from technique_step as scored
        inner join step on scored.step = step.step
        where {IN_SCOPE} and list_contains($people, trainee_ref) and procedure_group = $group
        qualify scored.training_quarter = max(scored.training_quarter) over (partition by scored.trainee_ref)
        order by scored.cohort, scored.trainee_ref, step.position
        """,
        people=list(people),
        group=group,
    )


def milestones(snapshot: Snapshot, scope: Scope, trainee_ref: str) -> pd.DataFrame:
    """The rules met, missing and unknown of each milestone and level, the committee's level beside."""
    return _select(
        snapshot,
        scope,
        f"""
        select
            milestone.title, standing.level, standing.rules_met, standing.rules_total, standing.rules_unknown,
            standing.missing, standing.committee_level, standing.committee_period
        from milestone_standing as standing
        inner join milestone on standing.milestone_ref = milestone.milestone_ref
        where {IN_SCOPE} and trainee_ref = $person
        order by milestone.position, standing.level
        """,
        person=trainee_ref,
    )


def course(snapshot: Snapshot, scope: Scope, trainee_ref: str, requirement: str) -> pd.DataFrame:
    """Counted cases so far by month of training."""
    return _select(
        snapshot,
        scope,
        f"""
        select training_month, counted_cases
        from volume_course
        where {IN_SCOPE} and trainee_ref = $person and requirement_ref = $requirement
        order by training_month
        """,
        person=trainee_ref,
        requirement=requirement,
    )


def course_bands(snapshot: Snapshot, scope: Scope, requirement: str) -> pd.DataFrame:
    """The completed classes at the same month of training, blank where they were too few."""
    return _select(
        snapshot,
        scope,
        """
        select training_month, p10, p25, p50, p75, p90
        from volume_band
        where programme_ref = $programme_ref and requirement_ref = $requirement
        order by training_month
        """,
        requirement=requirement,
    )


def comparison(snapshot: Snapshot, scope: Scope, trainee_ref: str) -> pd.DataFrame:
    """Each measure of a trainee beside the other trainees at the same training quarter."""
    return _select(
        snapshot,
        scope,
        f"""
        select measure, value, value_low, value_high, reference, reference_low, reference_high, reference_n
        from cohort_comparison
        where {IN_SCOPE} and trainee_ref = $person
        order by measure
        """,
        person=trainee_ref,
    )


def cases_of_requirement(
    snapshot: Snapshot, scope: Scope, trainee_ref: str, requirement: str
) -> pd.DataFrame:
    """The cases that a count was made from, and those that did not count, each with its reason."""
    return _select(
        snapshot,
        scope,
        """
        select
            credit.credited, credit.reason, opened.case_ref, opened.operated_month, opened.title as procedure,
            opened.side, role.title as role, coalesce(level.title, opened.supervision) as supervision,
            opened.takeover, opened.supervisor_agreed
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
    return _select(
        snapshot,
        scope,
        """
        select
            outcome.status, outcome.why, outcome.case_ref, opened.operated_month, opened.title as procedure,
            opened.side, role.title as role, opened.takeover, outcome.event_hands, opened.complications,
            opened.follow_up_days
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


def findings(snapshot: Snapshot, scope: Scope, trainee_ref: str | None) -> pd.DataFrame:
    """The findings of live intakes about one trainee, or about everybody."""
    return _select(
        snapshot,
        scope,
        """
        select
            finding.trainee_ref, finding.file_name, finding.source_row, finding.column_name, finding.rule,
            finding.severity, finding.message, finding.remedy
        from finding
        cross join input.programme as programme
        left join trainee on finding.trainee_ref = trainee.trainee_ref
        where coalesce(trainee.programme_ref, programme.programme_ref) = $programme_ref
            and ($trainee_ref is null or finding.trainee_ref = $trainee_ref)
            and ($person is null or finding.trainee_ref = $person)
        order by finding.trainee_ref, finding.file_name, finding.source_row
        """,
        person=trainee_ref,
    )


def logs(snapshot: Snapshot, scope: Scope) -> pd.DataFrame:
    """What came in of each trainee, and through when."""
    return _select(
        snapshot,
        scope,
        f"""
        select
            cohort, trainee_ref, data_through, is_current, live_intakes, accepted_rows, left_out_rows, warnings,
            unconfirmed_cases
        from trainee_log
        where {IN_SCOPE}
        order by cohort, trainee_ref
        """,
    )


def left_out(snapshot: Snapshot, scope: Scope) -> pd.DataFrame:
    """How many findings each rule has, by trainee, with the first of them for an example."""
    return _select(
        snapshot,
        scope,
        f"""
        select
            trainee_ref, rule, severity, findings,
            (
                select arg_min(finding.message, coalesce(finding.source_row, 0))
                from finding
                where finding.trainee_ref is not distinct from left_out_rule.trainee_ref
                    and finding.rule = left_out_rule.rule and finding.severity = left_out_rule.severity
            ) as for_example
        from left_out_rule
        where {IN_SCOPE}
        order by trainee_ref, severity, rule
        """,
    )


def intakes(snapshot: Snapshot, scope: Scope) -> pd.DataFrame:
    """The live intakes with their balance."""
    return _select(
        snapshot,
        scope,
        """
        select taken_on, file_name, kind, source, rows_in_file, accepted_rows, left_out_rows
        from live_intake
        where programme_ref = $programme_ref
        order by taken_on desc, kind, file_name
        """,
    )


def volume_summary(snapshot: Snapshot, scope: Scope, cohort: str) -> pd.DataFrame:
    """The rows of the volume summary of one class."""
    return _select(
        snapshot,
        scope,
        f"""
        select
            summary.trainee_ref, summary.requirement_title, summary.minimum, summary.counted_cases,
            summary.remaining_cases, summary.met, summary.confirmed_cases, summary.held_cases, summary.edition,
            summary.source, summary.verified, summary.data_through
        from volume_summary as summary
        inner join requirement on summary.requirement_ref = requirement.requirement_ref
        where {IN_SCOPE} and cohort = $cohort
        order by summary.trainee_ref, requirement.position
        """,
        cohort=cohort,
    )


def roles_of(snapshot: Snapshot, requirement: str) -> pd.DataFrame:
    """The roles that a requirement counts, highest first."""
    return _rows(
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


def own_reviews(snapshot: Snapshot, scope: Scope) -> pd.DataFrame:
    """The reviews that one reviewer wrote."""
    return _select(
        snapshot,
        scope,
        """
        select
            review.review_ref, review.trainee_ref, review.case_ref, review.setting, step.title as step,
            review.score, review.done_by_supervisor, review.comment
        from input.reviews as review
        inner join step on review.step = step.step
        inner join trainee on review.trainee_ref = trainee.trainee_ref
        where trainee.programme_ref = $programme_ref and review.reviewer_ref = $reviewer_ref
            and not coalesce(review.self_review, false)
        order by review.review_ref, step.position
        """,
        reviewer_ref=scope.reviewer_ref,
    )


def listed(snapshot: Snapshot, table: str) -> pd.DataFrame:
    """A small table of the specialty in its order: requirement, complication, procedure_group, step."""
    return _rows(snapshot.path, f"select * from {table} order by position", {})


def definitions(snapshot: Snapshot) -> pd.DataFrame:
    """The comments of the published views: what the Methods screen prints."""
    return _rows(
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
    return _rows(
        snapshot.path, "select kind, title, source, reviewed_on from unverified_item order by kind, title", {}
    )
