"""Accepted rows, reduced to what may be kept: the month of an operation, never its day.

Makes `new_<kind>`: `row_id, sheet_number`, then the stored columns of the kind.
"""

from __future__ import annotations

import duckdb

from pipelines.contract.formats import Kind


def reduce(connection: duckdb.DuckDBPyConnection, kind: Kind) -> None:
    """Make `new_<kind>` of `accepted_<kind>`."""
    connection.execute(f"create table new_{kind.name} as {_REDUCED[kind.name]}")


_TRAINEES = """
select
    row_id, sheet_number, trainee_ref, cohort, started, expected_completion, stage, programme_ref, level,
    credit_from, completed, "left"
from accepted_trainees
"""

# Why somebody was on leave is not kept.
_TRAINING = """
select
    row_id, sheet_number, trainee_ref, "from", "to", kind,
    case kind when 'leave' then null when 'stage' then lower("value") else "value" end as "value"
from accepted_training
"""

# Codes in alphabetical order, each once. An event named twice has the earliest day, but none beside one without a day:
# that one counts whatever its day was. The few lists of several events are taken apart, all others are their own
# canonical text.
_CASES = """
with

several as (

    select row_id, unnest(complications) as event
    from accepted_cases
    where len(complications) > 1

),

earliest as (

    select
        row_id,
        split_part(event, '@', 1) as code,
        case
            when bool_and(contains(event, '@')) then min(whole_value(nullif(split_part(event, '@', 2), '')))
        end as day
    from several
    group by row_id, code

),

joined as (

    select row_id, string_agg(code || coalesce('@' || day, ''), ';' order by code) as complications
    from earliest
    group by row_id

)

select
    accepted.row_id,
    accepted.sheet_number,
    accepted.trainee_ref,
    accepted.case_ref,
    strftime(accepted.operated_on, '%Y-%m') as operated_month,
    accepted.procedure,
    accepted.role,
    accepted.side,
    accepted.principal,
    accepted.converted_from,
    accepted.supervision,
    accepted.supervisor_ref,
    accepted.site_ref,
    accepted.supervisor_agreed,
    accepted.takeover,
    accepted.takeover_reason,
    accepted.duration_min,
    accepted.technique,
    array_to_string(list_sort(list_distinct(accepted.attributes)), ';') as attributes,
    array_to_string(list_sort(list_distinct(accepted.risk_factors)), ';') as risk_factors,
    coalesce(joined.complications, accepted.complications[1]) as complications,
    accepted.event_hands,
    accepted.follow_up_days,
    case when accepted.logged_on >= accepted.operated_on then accepted.logged_on - accepted.operated_on end as lag_days,
    case
        when accepted.logged_on is not null
            then count(*) over (partition by accepted.trainee_ref, accepted.logged_on)
    end::integer as same_day_logged,
    row_number() over (
        partition by accepted.trainee_ref order by accepted.operated_on, accepted.row_id
    )::integer as case_sequence
from accepted_cases as accepted
left join joined using (row_id)
"""

_REVIEWS = """
select
    row_id, sheet_number, review_ref, case_ref, trainee_ref, reviewer_ref, setting, self_review, step, score,
    done_by_supervisor, attempts, successes, started_at as started_seconds, ended_at as ended_seconds,
    recording_speed, comment
from accepted_reviews
"""

# The level as the framework writes it.
_MILESTONES = """
select
    row_id, sheet_number, trainee_ref, period, milestone, coalesce(framework.level, accepted.level) as level, rationale
from accepted_milestones as accepted
left join milestone_level as framework on lower(framework.level) = accepted.level
"""

_REDUCED = {
    "trainees": _TRAINEES,
    "training": _TRAINING,
    "cases": _CASES,
    "reviews": _REVIEWS,
    "milestones": _MILESTONES,
}
