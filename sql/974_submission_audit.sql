-- Is everything owed once, of somebody who owes it, with a date?
--
-- Rows:   one per row that breaks a rule, and per trainee of whom a case to confirm is missing; there must be none
-- Reads:  submission, trainee, case_record, role, input.submission_due
-- Source: the definition of submission
with

to_confirm as (

    select case_record.trainee_ref, count(*) as cases
    from case_record
    inner join role on case_record.role = role.role
    where
        role.operating
        and case_record.supervisor_agreed is null
        and not case_record.performed_elsewhere
    group by case_record.trainee_ref

),

asked as (

    select trainee_ref, count(*) as cases
    from submission
    where owed = 'confirmation'
    group by trainee_ref

)

select 'a key stands twice in submission' as offence, trainee_ref, case_ref
from submission
group by programme_ref, cohort, trainee_ref, owed, "month", case_ref, "procedure", side
having count(*) > 1
union all
select 'somebody whose data are current, or whose training is over, owes a month' as offence, trainee.trainee_ref, null as case_ref
from submission
inner join trainee on submission.trainee_ref = trainee.trainee_ref
where submission.owed = 'log' and (trainee.is_current or trainee.training_is_over)
union all
select 'what is owed has no date, or lies ahead' as offence, trainee_ref, case_ref
from submission
where (due_on is null and owed in (select owed from input.submission_due)) or age_months < 0
union all
select
    'cases to confirm are missing' as offence,
    coalesce(to_confirm.trainee_ref, asked.trainee_ref) as trainee_ref,
    null as case_ref
from to_confirm
full join asked on to_confirm.trainee_ref = asked.trainee_ref
where to_confirm.cases is distinct from asked.cases
