-- Has every case an answer, and is no case credited that is not there?
--
-- Rows:   one per trainee and requirement that breaks a rule; there must be none
-- Reads:  case_record, case_credit
-- Source: contract of the views: every live case row has at least one row; reason is never blank
with

recorded_case as (

    select trainee_ref, case_ref, "procedure", coalesce(side, '') as side
    from case_record

),

recorded as (

    select trainee_ref, count(*) as live_cases
    from recorded_case
    group by trainee_ref

),

answered_case as (

    select distinct trainee_ref, case_ref, "procedure", coalesce(side, '') as side
    from case_credit

),

credited as (

    select trainee_ref, requirement_ref, count(*) as credited_cases
    from case_credit
    where credited
    group by trainee_ref, requirement_ref

)

select 'a live case has no row in case_credit' as offence, left_out.trainee_ref
from (
    select trainee_ref, case_ref, "procedure", side from recorded_case
    except
    select trainee_ref, case_ref, "procedure", side from answered_case
) as left_out
union all
select 'a row of case_credit has no live case' as offence, made_up.trainee_ref
from (
    select trainee_ref, case_ref, "procedure", side from answered_case
    except
    select trainee_ref, case_ref, "procedure", side from recorded_case
) as made_up
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
