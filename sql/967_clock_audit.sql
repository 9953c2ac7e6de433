-- Does the clock of each trainee only go forward, and does every case have its place on it?
--
-- Rows:   one per trainee that breaks a rule; there must be none
-- Reads:  trainee, active_month, training_mark, trainee_clock, case_record, credited_month, case_volume
-- Source: contract of the views: active_month is the exact sum of what each month counts
with

stepped as (

    select
        trainee_ref,
        counts_as,
        active_month,
        training_quarter,
        active_month - lag(active_month, 1, 0e0) over (partition by trainee_ref order by calendar_month) as step
    from active_month

),

credited as (

    select trainee_ref, requirement_ref, sum(counted_cases) as counted_cases
    from credited_month
    group by trainee_ref, requirement_ref

)

select 'a month counts less than nothing, or more than a month' as offence, trainee_ref
from stepped
where counts_as not between 0 and 1
union all
select 'the clock does not go on by what the month counts' as offence, trainee_ref
from stepped
where abs(step - counts_as) > 1e-9 or training_quarter < 1
union all
select 'a trainee has no clock' as offence, trainee_ref
from trainee
where trainee_ref not in (select trainee_ref from active_month)
union all
select 'the clock of the data has not come to any month' as offence, trainee_ref
from trainee_clock
where active_month > 0 and last_training_month < 1
union all
select 'a mark ends before it begins, or a leave takes room on the clock' as offence, trainee_ref
from training_mark
where active_from < 0 or active_to < active_from or (kind <> 'rotation' and kind <> 'elsewhere' and active_to > active_from)
union all
select 'a case has no place on the clock' as offence, trainee_ref
from case_record
where training_month is null or training_month < 1 or training_quarter < 1
union all
select 'the months hold another number of cases' as offence, case_volume.trainee_ref
from case_volume
left join credited
    on
        case_volume.trainee_ref = credited.trainee_ref
        and case_volume.requirement_ref = credited.requirement_ref
where case_volume.counted_cases <> coalesce(credited.counted_cases, 0)
