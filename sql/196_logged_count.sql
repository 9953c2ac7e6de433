-- How many cases of each requirement did each trainee log, by month, procedure and role, and how many of them count?
--
-- Rows:   one per trainee, requirement (blank: none lists the procedure), month, procedure and role with a case
-- Reads:  judged_case, case_record
-- Source: the requirements of the specialty file, as judged_case applies them
create table main.logged_count as
select
    judged_case.trainee_ref,
    judged_case.requirement_ref,
    case_record.operated_month,
    case_record."procedure",
    case_record.role,
    count(*) as logged_cases,
    count(*) filter (where judged_case.credited) as counted_cases,
    count(*) filter (where judged_case.credited and case_record.supervisor_agreed) as confirmed_cases
from judged_case
inner join case_record
    on judged_case.trainee_ref = case_record.trainee_ref and judged_case.case_sequence = case_record.case_sequence
group by
    judged_case.trainee_ref,
    judged_case.requirement_ref,
    case_record.operated_month,
    case_record."procedure",
    case_record.role;
