-- Has every case an answer, and is no case credited that is not there?
--
-- Rows:   one per trainee and requirement that breaks a rule; there must be none
-- Reads:  case_record, case_credit
-- Source: contract of the views: every live case row has at least one row; reason is never blank
with

case_key as (

    select trainee_ref, case_ref, "procedure", coalesce(side, '') as side, 1 as is_recorded, 0 as is_answered
    from case_record
    union all
    select trainee_ref, case_ref, "procedure", coalesce(side, '') as side, 0 as is_recorded, 1 as is_answered
    from case_credit

),

one_sided as (

    select trainee_ref, max(is_recorded) as is_recorded
    from case_key
    group by trainee_ref, case_ref, "procedure", side
    having max(is_recorded) <> max(is_answered)

),

recorded as (

    select trainee_ref, count(*) as live_cases
    from case_record
    group by trainee_ref

),

credited as (

    select trainee_ref, requirement_ref, count(*) as credited_cases
    from case_credit
    where credited
    group by trainee_ref, requirement_ref

)

select
    case is_recorded
        when 1 then 'a live case has no row in case_credit'
        else 'a row of case_credit has no live case'
    end as offence,
    trainee_ref
from one_sided
union all
select 'a cap is named of a case that counts' as offence, trainee_ref
from case_credit
where over_cap is not null and (credited or requirement_ref is null)
union all
select 'more cases credited than the trainee has' as offence, credited.trainee_ref
from credited
left join recorded on credited.trainee_ref = recorded.trainee_ref
where recorded.live_cases is null or credited.credited_cases > recorded.live_cases
union all
select 'a reason is blank, or credited and reason disagree' as offence, trainee_ref
from case_credit
where reason is null or credited is null or credited <> (reason = 'credited')
