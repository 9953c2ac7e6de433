-- Has every trainee every measure of the log, and is no part more than its whole?
--
-- Rows:   one per trainee and measure that breaks a rule; there must be none
-- Reads:  trainee, log_quality, case_record
-- Source: the definitions of log_quality
with

measured as (

    select trainee_ref, count(*) as measures
    from log_quality
    group by trainee_ref

),

recorded as (

    select trainee_ref, count(*) as cases
    from case_record
    group by trainee_ref

)

select 'a trainee has not every measure of the log' as offence, trainee.trainee_ref, null as measure
from trainee
left join measured on trainee.trainee_ref = measured.trainee_ref
where measured.measures is distinct from 7
union all
select 'a measure of a log lies outside 0 to 1' as offence, log_quality.trainee_ref, log_quality.measure
from log_quality
left join recorded on log_quality.trainee_ref = recorded.trainee_ref
where
    log_quality.numerator > log_quality.denominator
    or log_quality.numerator < 0
    or (log_quality.measure <> 'months_without_cases' and log_quality.denominator > coalesce(recorded.cases, 0))
