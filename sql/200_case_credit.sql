-- Does each case count toward each requirement that lists its procedure, and if not, why?
--
-- Rows:   one per live case and requirement that lists its procedure; a case that could count toward
--         nothing has one row with a blank requirement
-- Reads:  case_record, case_attribute, trainee, procedure, requirement, requirement_procedure, requirement_role,
--         requirement_stage, requirement_attribute
-- Source: the requirements of the specialty file; the order of the reasons is the contract's
create view definition.case_credit as
with

rule as (

    -- An audit of consecutive cases has no minimum, so no volume, but its cases are told apart like all others.
    select
        requirement.requirement_ref,
        requirement_procedure."procedure",
        requirement.unit,
        requirement.elsewhere,
        coalesce(requirement.cohort_from, 0) as cohort_from,
        coalesce(requirement.cohort_to, 9999) as cohort_to,
        requirement.requirement_ref in (select requirement_ref from requirement_stage) as asks_for_stage
    from requirement
    inner join requirement_procedure
        on requirement.requirement_ref = requirement_procedure.requirement_ref

),

attributes_needed as (

    select
        requirement_ref,
        count(*) filter (where need = 'all') as all_needed,
        count(*) filter (where need = 'any') as any_needed
    from requirement_attribute
    group by requirement_ref

),

attributes_found as (

    select
        case_attribute.trainee_ref,
        case_attribute.case_sequence,
        requirement_attribute.requirement_ref,
        count(*) filter (where requirement_attribute.need = 'all') as all_found,
        count(*) filter (where requirement_attribute.need = 'any') as any_found,
        count(*) filter (where requirement_attribute.need = 'none') as none_found
    from case_attribute
    inner join requirement_attribute on case_attribute.attribute = requirement_attribute.attribute
    group by
        case_attribute.trainee_ref, case_attribute.case_sequence, requirement_attribute.requirement_ref

),

judged as (

    select
        case_record.programme_ref,
        case_record.trainee_ref,
        case_record.case_ref,
        case_record."procedure",
        case_record.side,
        case_record.case_sequence,
        case_record.supervisor_agreed,
        rule.requirement_ref,
        rule.unit,
        case
            when "procedure"."procedure" is null then 'unmapped_code'
            when rule.requirement_ref is null then 'no_requirement'
            when case_record.operated_month < trainee.credit_from then 'before_credit_from'
            when trainee.cohort_ends not between rule.cohort_from and rule.cohort_to then 'outside_edition'
            when requirement_role.role is null then 'role'
            when rule.asks_for_stage and requirement_stage.stage is null then 'stage'
            when
                coalesce(found.none_found, 0) > 0
                or coalesce(found.all_found, 0) < coalesce(needed.all_needed, 0)
                or (coalesce(needed.any_needed, 0) > 0 and coalesce(found.any_found, 0) = 0)
                then 'attribute'
            when case_record.performed_elsewhere and not rule.elsewhere then 'performed_elsewhere'
        end as ruled_out,
        case
            when not case_record.supervisor_agreed then 'supervisor_disagreed'
            when case_record.takeover and case_record.supervisor_agreed is null then 'takeover_to_confirm'
            else 'credited'
        end as otherwise,
        trainee.data_through
    from case_record
    inner join trainee on case_record.trainee_ref = trainee.trainee_ref
    left join "procedure" on case_record."procedure" = "procedure"."procedure"
    left join rule on case_record."procedure" = rule."procedure"
    left join requirement_role
        on rule.requirement_ref = requirement_role.requirement_ref and case_record.role = requirement_role.role
    left join requirement_stage
        on rule.requirement_ref = requirement_stage.requirement_ref and case_record.stage = requirement_stage.stage
    left join attributes_needed as needed on rule.requirement_ref = needed.requirement_ref
    left join attributes_found as found
        on
            case_record.trainee_ref = found.trainee_ref
            and case_record.case_sequence = found.case_sequence
            and rule.requirement_ref = found.requirement_ref

),

place_in_operation as (

    -- Of the rows of one operation the one that would be credited counts, before any other the confirmed one.
    select
        trainee_ref,
        case_sequence,
        requirement_ref,
        row_number() over (
            partition by trainee_ref, requirement_ref, case_ref
            order by
                case when otherwise = 'credited' then 0 else 1 end,
                case when supervisor_agreed then 0 else 1 end,
                "procedure",
                coalesce(side, '')
        ) as place
    from judged
    where unit = 'operation' and ruled_out is null

),

reasoned as (

    select
        judged.*,
        coalesce(
            judged.ruled_out,
            case when place_in_operation.place > 1 then 'duplicate_in_operation' end,
            judged.otherwise
        ) as reason
    from judged
    left join place_in_operation
        on
            judged.trainee_ref = place_in_operation.trainee_ref
            and judged.case_sequence = place_in_operation.case_sequence
            and judged.requirement_ref = place_in_operation.requirement_ref

)

select
    programme_ref,
    trainee_ref,
    case_ref,
    "procedure",
    side,
    requirement_ref,
    reason = 'credited' as credited,
    reason,
    data_through
from reasoned;

comment on view definition.case_credit is
'Does each case count toward each requirement that lists its procedure, and if not, why? One row for every case and every such requirement; a case that could count toward nothing has one row with a blank requirement. Of several reasons the first of the list stands. Double claims of two trainees are not resolved yet: both count.';
comment on column definition.case_credit.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.case_credit.trainee_ref is 'The trainee, as a pseudonym.';
comment on column definition.case_credit.case_ref is
'The operation, as a pseudonym; the same for everybody who logs it.';
comment on column definition.case_credit."procedure" is 'The procedure as the export gives it.';
comment on column definition.case_credit.side is 'left, right or both; blank when not recorded.';
comment on column definition.case_credit.requirement_ref is
'The requirement that lists the procedure; blank when none does.';
comment on column definition.case_credit.credited is 'Whether the case counts toward the requirement.';
comment on column definition.case_credit.reason is
'Why it counts or not: credited; or unmapped_code (the specialty does not know the procedure), no_requirement (none lists it), before_credit_from (a later roster says that the trainee''s cases count only from after it), outside_edition (the rule is not for this class), role, stage, attribute, performed_elsewhere, duplicate_in_operation (another row of the operation counts), supervisor_disagreed, takeover_to_confirm (a takeover that the supervisor has not confirmed).';
comment on column definition.case_credit.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
