-- How closely was each trainee supervised in each case in which they operated?
--
-- Rows:   one per case in an operating role, here and on a patient
-- Reads:  case_record, operated_case, supervision_level, supervision_role
-- Source: the ladder of the specialty file. A level that contradicts the role tells of one of the two that it is wrong,
--         so it counts as unrecorded
create table main.supervised_case as
with

levelled as (

    -- A level that names no role agrees with any.
    select
        case_record.trainee_ref,
        case_record.case_sequence,
        case_record.procedure_group,
        case_record.training_month,
        case_record.training_quarter,
        case
            when
                case_record.supervision not in (select level_ref from supervision_role)
                or agreed.role is not null
                then case_record.supervision
        end as level_ref
    from operated_case
    inner join case_record
        on
            operated_case.trainee_ref = case_record.trainee_ref
            and operated_case.case_sequence = case_record.case_sequence
    left join supervision_role as agreed
        on case_record.supervision = agreed.level_ref and case_record.role = agreed.role
    where operated_case.in_operating_role

)

select
    levelled.trainee_ref,
    levelled.case_sequence,
    levelled.procedure_group,
    levelled.training_month,
    levelled.training_quarter,
    levelled.level_ref,
    supervision_level.level_rank
from levelled
left join supervision_level on levelled.level_ref = supervision_level.level_ref;
