-- How many cases of each trainee and month count toward each requirement?
--
-- Rows:   one per trainee, counted requirement in force for their class, and month with a case that counts
-- Reads:  trainee, requirement, logged_count, trainee_month
-- Source: the credited cases of case_credit
create view definition.credited_month as
with

credited as (

    select
        logged_count.trainee_ref,
        logged_count.requirement_ref,
        logged_count.operated_month,
        cast(sum(logged_count.counted_cases) as bigint) as counted_cases,
        cast(sum(logged_count.confirmed_cases) as bigint) as confirmed_cases
    from logged_count
    inner join requirement
        on logged_count.requirement_ref = requirement.requirement_ref and requirement.minimum is not null
    where logged_count.counted_cases > 0
    group by logged_count.trainee_ref, logged_count.requirement_ref, logged_count.operated_month

)

select
    trainee.programme_ref,
    trainee.cohort,
    credited.trainee_ref,
    credited.requirement_ref,
    credited.operated_month,
    credited.counted_cases,
    credited.confirmed_cases,
    cast(trainee_month.active_month as double) as active_month,
    trainee.data_through
from credited
inner join trainee on credited.trainee_ref = trainee.trainee_ref
inner join trainee_month
    on credited.trainee_ref = trainee_month.trainee_ref and credited.operated_month = trainee_month.operated_month;

comment on view definition.credited_month is
'How many cases of each trainee and month count toward each requirement? A month in which none counts has no row.';
comment on column definition.credited_month.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.credited_month.cohort is
'The class: the academic year in which its trainees are to complete.';
comment on column definition.credited_month.trainee_ref is 'The trainee, as a pseudonym.';
comment on column definition.credited_month.requirement_ref is
'The requirement, by its code in the specialty file.';
comment on column definition.credited_month.operated_month is 'The month of operation.';
comment on column definition.credited_month.counted_cases is
'Cases of the month that are credited toward the requirement.';
comment on column definition.credited_month.confirmed_cases is
'Cases among them in which the supervisor confirmed the role.';
comment on column definition.credited_month.active_month is
'Months of training through the end of that month, as in active_month.';
comment on column definition.credited_month.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
