-- Which requirements are in force for whom, and in which months of each trainee do they look for cases?
--
-- Rows:   one per trainee and requirement
-- Reads:  trainee, trainee_month, requirement
-- Source: the specialty file. A stage begins and ends with the months in which it is in force for the trainee; one that
--         is not recorded has not begun. The last years of training end with the month in which the trainee completes,
--         or leaves, or is expected to complete
create table main.requirement_window as
with

ending as (

    select trainee_ref, cohort_ends, coalesce(least(completed, "left"), expected_completion) as last_month
    from trainee

),

stage_span as (

    select
        trainee_month.trainee_ref,
        trainee_month.stage,
        min(trainee_month.operated_month) as first_month,
        max(case when trainee_month.operated_month <= ending.last_month then trainee_month.operated_month end)
            as last_month
    from trainee_month
    inner join ending on trainee_month.trainee_ref = ending.trainee_ref
    where trainee_month.stage is not null
    group by trainee_month.trainee_ref, trainee_month.stage

)

select
    ending.trainee_ref,
    requirement.requirement_ref,
    ending.cohort_ends between coalesce(requirement.cohort_from, 0) and coalesce(requirement.cohort_to, 9999)
        as is_in_force,
    case
        when requirement.last_years is not null
            then month_text(month_number(ending.last_month) - 12 * requirement.last_years + 1)
    end as from_month,
    least(
        case when later.first_month is not null then month_text(month_number(later.first_month) - 1) end,
        stage_ends.last_month
    ) as through_month
from ending
cross join requirement
left join stage_span as later
    on ending.trainee_ref = later.trainee_ref and requirement.before_stage = later.stage
left join stage_span as stage_ends
    on ending.trainee_ref = stage_ends.trainee_ref and requirement.by_end_of_stage = stage_ends.stage;
