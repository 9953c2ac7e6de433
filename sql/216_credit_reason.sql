-- For how many cases of each trainee does each reason hold, by requirement, and of those that count toward nothing?
--
-- Rows:   one per trainee, requirement (blank: none lists the procedure), reason and cap, with a case
-- Reads:  case_credit, trainee
-- Source: the reasons of case_credit
create view definition.credit_reason as
select
    trainee.programme_ref,
    trainee.cohort,
    case_credit.trainee_ref,
    case_credit.requirement_ref,
    case_credit.reason,
    case_credit.over_cap,
    case_credit.credited,
    count(*) as cases,
    trainee.data_through
from main.case_credit
inner join trainee on case_credit.trainee_ref = trainee.trainee_ref
group by
    trainee.programme_ref,
    trainee.cohort,
    case_credit.trainee_ref,
    case_credit.requirement_ref,
    case_credit.reason,
    case_credit.over_cap,
    case_credit.credited,
    trainee.data_through;

comment on view definition.credit_reason is
'For how many cases of each trainee does each reason hold, by requirement? Cases of the reason credited are those that case_volume counts; those without a requirement count toward nothing. The cases of a requirement add up to all that it lists.';
comment on column definition.credit_reason.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.credit_reason.cohort is
'The class: the academic year in which its trainees are to complete.';
comment on column definition.credit_reason.trainee_ref is 'The trainee, as a pseudonym.';
comment on column definition.credit_reason.requirement_ref is
'The requirement, by its code in the specialty file; blank for cases whose procedure none lists.';
comment on column definition.credit_reason.reason is
'Why the cases count or not, as case_credit has it.';
comment on column definition.credit_reason.over_cap is
'The kind of case of which the requirement has as many as it takes, where that alone keeps the cases out.';
comment on column definition.credit_reason.credited is 'Whether the cases count.';
comment on column definition.credit_reason.cases is 'How many.';
comment on column definition.credit_reason.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
