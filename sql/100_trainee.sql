-- Who is in the roster, in which class, and through when do their data run?
--
-- Rows:   one per trainee of the roster, also without an export
-- Reads:  input.trainees, input.programme, input.data_through
-- Source: contract of the store: a person is not current when the last day of data_through plus the setting
--         current_within_days lies before as_of, or with no data at all; who completed or left has no later
--         operation to log. Both hold from their month on
create table main.trainee as
with

latest_data as (

    -- With two sources, data are complete only through the earlier of the two; one that is closed asks for no more.
    select
        trainee_ref,
        coalesce(min(data_through) filter (where closed is distinct from true), max(data_through)) as data_through
    from input.data_through
    group by trainee_ref

)

select
    coalesce(roster.programme_ref, programme.programme_ref) as programme_ref,
    roster.cohort,
    cast(substr(roster.cohort, 1, 4) as integer) + 1 as cohort_ends,
    roster.trainee_ref,
    roster.started,
    roster.expected_completion,
    roster.stage,
    roster.level,
    coalesce(roster.credit_from, roster.started) as credit_from,
    roster.completed,
    roster."left",
    coalesce(least(roster.completed, roster."left") <= substr(programme.as_of, 1, 7), false) as training_is_over,
    coalesce(
        days_since_month_end(latest_data.data_through, programme.as_of) <= programme.current_within_days
        or latest_data.data_through >= least(roster.completed, roster."left"),
        false
    ) as is_current,
    -- Whole months after the data; the month in which the snapshot was made is not over.
    case
        when latest_data.data_through is not null
            then greatest(month_number(programme.as_of) - month_number(latest_data.data_through) - 1, 0)
    end as months_not_entered,
    latest_data.data_through
from input.trainees as roster
cross join input.programme as programme
left join latest_data on roster.trainee_ref = latest_data.trainee_ref
order by programme_ref, roster.cohort, roster.trainee_ref;
