-- Do the counts of each trainee's log agree with the record and the findings, and is nobody missing?
--
-- Rows:   one per trainee that breaks a rule; there must be none
-- Reads:  trainee, trainee_log, left_out_rule, class_finding, case_record, finding
-- Source: the live intakes
with

recorded as (

    select trainee_ref, count(*) as cases
    from case_record
    group by trainee_ref

),

by_rule as (

    select coalesce(sum(findings), 0) as findings
    from left_out_rule

),

of_class as (

    select programme_ref, cohort, severity, rule, sum(findings) as findings
    from left_out_rule
    where cohort is not null
    group by programme_ref, cohort, severity, rule

),

all_found as (

    select count(*) as findings
    from finding

)

select 'a trainee has no line in trainee_log' as offence, trainee.trainee_ref
from trainee
left join trainee_log on trainee.trainee_ref = trainee_log.trainee_ref
where trainee_log.trainee_ref is null
union all
select 'fewer rows accepted than cases, or fewer cases than unconfirmed' as offence, trainee_log.trainee_ref
from trainee_log
left join recorded on trainee_log.trainee_ref = recorded.trainee_ref
where
    trainee_log.accepted_rows < coalesce(recorded.cases, 0)
    or trainee_log.unconfirmed_cases > coalesce(recorded.cases, 0)
    or (trainee_log.accepted_rows > 0 and trainee_log.live_intakes = 0)
union all
select 'left_out_rule holds another number of findings' as offence, null as trainee_ref
from by_rule
cross join all_found
where by_rule.findings <> all_found.findings
union all
select 'a class has fewer findings than its people' as offence, of_class.cohort as trainee_ref
from of_class
left join class_finding
    on
        of_class.programme_ref = class_finding.programme_ref
        and of_class.cohort = class_finding.cohort
        and of_class.severity = class_finding.severity
        and of_class.rule = class_finding.rule
where class_finding.findings is null or class_finding.findings < of_class.findings
union all
select 'a class has more rows concerned than findings' as offence, cohort as trainee_ref
from class_finding
where rows_concerned < 1 or rows_concerned > findings
