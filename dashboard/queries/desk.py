"""What came in, what was left out and why, and what goes to the accreditor."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from dashboard.access import Scope
from dashboard.queries.live import Snapshot, select


def findings(snapshot: Snapshot, scope: Scope, trainee_ref: str | None) -> pd.DataFrame:
    """The findings of live intakes about one trainee, or about everybody."""
    return select(
        snapshot,
        scope,
        """
        select trainee_ref, file_name, source_row, column_name, rule, severity, message, remedy
        from finding
        where $person is null or trainee_ref = $person
        order by trainee_ref, file_name, source_row
        """,
        person=trainee_ref,
    )


def logs(snapshot: Snapshot, scope: Scope) -> pd.DataFrame:
    """What came in of each trainee, and through when."""
    return select(
        snapshot,
        scope,
        """
        select
            cohort as class, trainee_ref, data_through, is_current as data_current, live_intakes,
            accepted_rows, left_out_rows, warnings as rows_to_check, unconfirmed_cases
        from trainee_log
        order by cohort, trainee_ref
        """,
    )


def left_out(snapshot: Snapshot, scope: Scope) -> pd.DataFrame:
    """How many findings each rule has, by trainee, with the first of them for an example."""
    return select(
        snapshot,
        scope,
        """
        select
            trainee_ref, severity as what_became_of_it, rule, findings,
            (
                select arg_min(finding.message, coalesce(finding.source_row, 0))
                from finding
                where finding.trainee_ref is not distinct from left_out_rule.trainee_ref
                    and finding.rule = left_out_rule.rule and finding.severity = left_out_rule.severity
            ) as for_example
        from left_out_rule
        order by trainee_ref, severity, rule
        """,
    )


def intakes(snapshot: Snapshot, scope: Scope) -> pd.DataFrame:
    """The live intakes with their balance."""
    return select(
        snapshot,
        scope,
        """
        select taken_on, file_name as file, kind, source, rows_in_file, accepted_rows, left_out_rows
        from live_intake
        order by taken_on desc, kind, file_name
        """,
    )


def log_quality(snapshot: Snapshot, scope: Scope, trainees: Sequence[str]) -> pd.DataFrame:
    """The measures of some trainees' logs, in their order; `proportion` is numerator / denominator."""
    return select(
        snapshot,
        scope,
        """
        select
            trainee_ref, measure, numerator, denominator, proportion, median_days, within_days,
            earlier_low, earlier_median, earlier_high, earlier_people
        from log_quality
        where trainee_ref in (select unnest($people))
        order by cohort, trainee_ref, position
        """,
        people=list(trainees),
    )


def owed(snapshot: Snapshot, scope: Scope) -> pd.DataFrame:
    """Everything that is owed to the logs, the oldest first: months, and cases by trainee and supervisor."""
    return select(
        snapshot,
        scope,
        """
        select
            trainee_ref, owed, "month", case_ref, coalesce(title, "procedure") as procedure, side, role, supervisor_ref,
            missing, age_months, due_on, is_overdue
        from submission
        order by trainee_ref, due_on, owed, case_ref, procedure
        """,
    )


def owed_by_trainee(snapshot: Snapshot, scope: Scope) -> pd.DataFrame:
    """How much each trainee owes, and by when."""
    return select(
        snapshot,
        scope,
        """
        select
            trainee_ref,
            count(*) filter (where owed = 'log') as months_to_enter,
            count(*) filter (where owed = 'confirmation') as to_confirm,
            count(*) filter (where owed = 'outcome') as outcomes_to_find_out,
            count(*) filter (where is_overdue) as past_due,
            max(age_months) as oldest_months,
            min(due_on) filter (where not is_overdue) as next_due
        from submission
        group by cohort, trainee_ref
        order by cohort, trainee_ref
        """,
    )


def owed_by_supervisor(snapshot: Snapshot, scope: Scope) -> pd.DataFrame:
    """How many cases each supervisor is to confirm, trainee by trainee, and by when."""
    return select(
        snapshot,
        scope,
        """
        select
            supervisor_ref, trainee_ref,
            count(*) as to_confirm,
            count(*) filter (where is_overdue) as past_due,
            max(age_months) as oldest_months,
            min(due_on) filter (where not is_overdue) as next_due
        from submission
        where owed = 'confirmation' and supervisor_ref is not null
        group by supervisor_ref, trainee_ref
        order by supervisor_ref, trainee_ref
        """,
    )


def reconciliation(snapshot: Snapshot, scope: Scope) -> pd.DataFrame:
    """What became of the rows of each file in use, by trainee; the newest file first."""
    return select(
        snapshot,
        scope,
        """
        select
            account.trainee_ref, account.file_name, account.kind, account.rows_in_file, account.accepted_rows,
            account.left_out_rows, account.held_back_rows, account.live_before, account.unchanged_rows,
            account.changed_rows, account.kept_rows, account.withdrawn_rows, account.untouched_rows,
            account.added_rows, account.live_after, account.balances
        from reconciliation as account
        order by account.kind, account.trainee_ref, account.file_name, account.intake_id
        """,
    )


def volume_summary(snapshot: Snapshot, scope: Scope, cohort: str) -> pd.DataFrame:
    """The rows of the volume summary of one class."""
    return select(
        snapshot,
        scope,
        """
        select
            summary.trainee_ref, summary.requirement_ref, summary.requirement_title, summary.minimum,
            summary.counted_cases, summary.remaining_cases, summary.confirmed_cases, summary.held_cases,
            summary.parts_total, summary.parts_short, summary.reached, summary.part_depth, summary.edition,
            summary.source, summary.verified, requirement.unit, requirement.units, instead.title as reached_by,
            summary.data_through
        from volume_summary as summary
        inner join requirement on summary.requirement_ref = requirement.requirement_ref
        left join requirement as instead on summary.reached_by = instead.requirement_ref
        where cohort = $cohort
        order by summary.trainee_ref, requirement.position
        """,
        cohort=cohort,
    )


def not_final(snapshot: Snapshot, scope: Scope, cohort: str) -> pd.DataFrame:
    """What keeps the counts of one class from being final."""
    return select(
        snapshot,
        scope,
        """
        select trainee_ref, obstacle, cases, data_through
        from not_final
        where cohort = $cohort
        order by trainee_ref
        """,
        cohort=cohort,
    )


def official_tally(snapshot: Snapshot, scope: Scope, cohort: str) -> pd.DataFrame:
    """What the accreditor counts of one class, what counts here, and the cases that could explain a difference."""
    return select(
        snapshot,
        scope,
        """
        select
            tally.trainee_ref, tally.requirement_title, tally.minimum, tally.official_count, tally.official_as_of,
            tally.official_met, tally.counted_cases, tally.difference, tally.later_cases, tally.same_month_cases,
            tally.unconfirmed_cases, tally.other_role_cases, tally.elsewhere_cases,
            tally.otherwise_not_counted_cases, tally.unmapped_cases, tally.capped_cases
        from official_tally as tally
        inner join requirement on tally.requirement_ref = requirement.requirement_ref
        where cohort = $cohort
        order by tally.trainee_ref, requirement.position
        """,
        cohort=cohort,
    )


def own_reviews(snapshot: Snapshot, scope: Scope) -> pd.DataFrame:
    """The reviews that one reviewer wrote."""
    return select(
        snapshot,
        scope,
        """
        select
            review.review_ref, review.trainee_ref, review.case_ref, review.setting, step.title as step,
            review.score, review.done_by_supervisor, review.comment, review.started_seconds, review.ended_seconds,
            review.operated_month
        from reviews as review
        inner join step on review.step = step.step
        order by review.review_ref, step.position
        """,
    )


def feedback(snapshot: Snapshot, scope: Scope, trainee_ref: str) -> pd.DataFrame:
    """What reviews say of each step of one trainee's operations, the newest operation first; not who wrote it."""
    return select(
        snapshot,
        scope,
        """
        select
            feedback.trainee_ref, feedback.review_ref, feedback.case_ref, feedback.operated_month, feedback.setting,
            coalesce(feedback.self_review, false) as self_review, step.title as step, feedback.score,
            feedback.done_by_supervisor, feedback.started_seconds, feedback.ended_seconds, feedback.comment
        from feedback
        inner join step on feedback.step = step.step
        where feedback.trainee_ref = $person
        order by feedback.operated_month desc nulls last, feedback.case_ref, feedback.review_ref, step.position
        """,
        person=trainee_ref,
    )
