-- Is every live case in the record, once?
--
-- Rows:   one per trainee whose live keys and recorded cases differ in number; there must be none
-- Reads:  input.cases, case_record
-- Source: contract of the views: one row is one case; nothing is lost
with

live_key as (

    select distinct trainee_ref, case_ref, "procedure", coalesce(side, '') as side
    from input.cases

),

live as (

    select trainee_ref, count(*) as live_cases
    from live_key
    group by trainee_ref

),

recorded as (

    select trainee_ref, count(*) as recorded_cases
    from case_record
    group by trainee_ref

)

select 'a trainee has another number of cases in the record than live keys' as offence, live.trainee_ref
from live
left join recorded on live.trainee_ref = recorded.trainee_ref
where recorded.recorded_cases is null or recorded.recorded_cases <> live.live_cases
