-- In which cases did a trainee operate, or begin to, here and on a patient?
--
-- Rows:   one per live case of a known procedure, performed here and on a patient, in an operating role or taken
--         over in a role that neither operates nor teaches
-- Reads:  case_record, case_attribute, role, attribute
-- Source: contract of the views: a trainee from whom a supervisor took over began as operating surgeon; in a
--         teaching role somebody else did
create table main.operated_case as
with

without_patient as (

    select distinct case_attribute.trainee_ref, case_attribute.case_sequence
    from case_attribute
    inner join attribute on case_attribute.attribute = attribute.attribute
    where not attribute.patient

)

select
    case_record.trainee_ref,
    case_record.case_sequence,
    role.operating as in_operating_role
from case_record
inner join role on case_record.role = role.role
left join without_patient
    on
        case_record.trainee_ref = without_patient.trainee_ref
        and case_record.case_sequence = without_patient.case_sequence
where
    case_record.procedure_group is not null
    and not case_record.performed_elsewhere
    and without_patient.trainee_ref is null
    and (role.operating or (case_record.takeover and not role.teaching));
