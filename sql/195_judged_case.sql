-- Does each case count toward each requirement that lists its procedure, and if not, why?
--
-- Rows:   one per live case and requirement that lists its procedure; a case that could count toward
--         nothing has one row with a blank requirement
-- Reads:  case_record, case_attribute, trainee, procedure, procedure_in_group, requirement, requirement_procedure,
--         requirement_technique, requirement_role, requirement_stage, requirement_attribute, requirement_window,
--         requirement_cap
-- Source: the requirements of the specialty file; the order of the reasons is the contract's
create table main.judged_case as
with recursive

rule as (

    -- An audit of consecutive cases has no minimum, so no volume, but its cases are told apart like all others.
    select
        requirement.requirement_ref,
        requirement_procedure."procedure",
        requirement_procedure.technique,
        coalesce(requirement_procedure.from_month, '0000-01') as from_month,
        coalesce(requirement_procedure.through_month, '9999-12') as through_month,
        -- A patient managed, a resuscitation led: an export tells one from another by case_ref alone.
        coalesce(requirement.unit, 'procedure') <> 'procedure' as is_once_an_operation,
        requirement.elsewhere,
        requirement.principal_only,
        requirement.requirement_ref in (select requirement_ref from requirement_stage) as asks_for_stage,
        requirement.requirement_ref in (select requirement_ref from requirement_technique) as asks_for_technique
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
        case_record.trainee_ref,
        case_record.case_ref,
        case_record."procedure",
        case_record.side,
        case_record.case_sequence,
        case_record.supervisor_agreed,
        case_record.role,
        case_record.technique,
        case_record.performed_elsewhere,
        rule.requirement_ref,
        rule.is_once_an_operation,
        case
            when "procedure"."procedure" is null then 'unmapped_code'
            when rule.requirement_ref is null then 'no_requirement'
            when case_record.operated_month < trainee.credit_from then 'before_credit_from'
            when
                not period.is_in_force
                or case_record.operated_month not between rule.from_month and rule.through_month
                then 'outside_edition'
            when requirement_role.role is null then 'role'
            when rule.asks_for_stage and requirement_stage.stage is null then 'stage'
            when
                coalesce(found.none_found, 0) > 0
                or coalesce(found.all_found, 0) < coalesce(needed.all_needed, 0)
                or (coalesce(needed.any_needed, 0) > 0 and coalesce(found.any_found, 0) = 0)
                or (rule.asks_for_technique and requirement_technique.technique is null)
                then 'attribute'
            when case_record.operated_month < period.from_month or case_record.operated_month > period.through_month
                then 'window'
            when case_record.performed_elsewhere and not rule.elsewhere then 'performed_elsewhere'
            -- Only a row that says so is the main procedure of its operation.
            when rule.principal_only and not coalesce(case_record.principal, false) then 'duplicate_in_operation'
        end as ruled_out,
        case
            when not case_record.supervisor_agreed then 'supervisor_disagreed'
            when case_record.takeover and case_record.supervisor_agreed is null then 'takeover_to_confirm'
            else 'credited'
        end as otherwise
    from case_record
    inner join trainee on case_record.trainee_ref = trainee.trainee_ref
    left join "procedure" on case_record."procedure" = "procedure"."procedure"
    left join rule
        on
            case_record."procedure" = rule."procedure"
            and (rule.technique is null or case_record.technique = rule.technique)
    left join requirement_window as period
        on case_record.trainee_ref = period.trainee_ref and rule.requirement_ref = period.requirement_ref
    left join requirement_role
        on rule.requirement_ref = requirement_role.requirement_ref and case_record.role = requirement_role.role
    left join requirement_stage
        on rule.requirement_ref = requirement_stage.requirement_ref and case_record.stage = requirement_stage.stage
    left join requirement_technique
        on
            rule.requirement_ref = requirement_technique.requirement_ref
            and case_record.technique = requirement_technique.technique
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
    where is_once_an_operation and ruled_out is null

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

),

of_capped_kind as (

    select
        reasoned.trainee_ref,
        reasoned.case_sequence,
        reasoned.requirement_ref,
        requirement_cap.place,
        requirement_cap.code
    from reasoned
    inner join requirement_cap on reasoned.requirement_ref = requirement_cap.requirement_ref
    left join case_attribute
        on
            requirement_cap.kind = 'attribute'
            and reasoned.trainee_ref = case_attribute.trainee_ref
            and reasoned.case_sequence = case_attribute.case_sequence
            and requirement_cap.code = case_attribute.attribute
    left join procedure_in_group
        on
            requirement_cap.kind = 'procedure_group'
            and reasoned."procedure" = procedure_in_group."procedure"
            and requirement_cap.code = procedure_in_group.procedure_group
    where
        reasoned.reason = 'credited'
        and case requirement_cap.kind
            when 'role' then reasoned.role = requirement_cap.code
            when 'attribute' then case_attribute.attribute is not null
            when 'technique' then reasoned.technique = requirement_cap.code
            when 'procedure' then reasoned."procedure" = requirement_cap.code
            when 'procedure_group' then procedure_in_group.procedure_group is not null
            else reasoned.performed_elsewhere
        end

),

capped as (

    -- One cap after the other, in the order of the file: of what the caps before it left, the first operations count.
    select
        reasoned.trainee_ref,
        reasoned.case_sequence,
        reasoned.requirement_ref,
        0 as place,
        cast(null as varchar) as over_kind,
        cast(null as varchar) as over_cap
    from reasoned
    where
        reasoned.reason = 'credited'
        and reasoned.requirement_ref in (select requirement_ref from requirement_cap)

    union all

    select
        capped.trainee_ref,
        capped.case_sequence,
        capped.requirement_ref,
        requirement_cap.place,
        case
            when of_capped_kind.code is not null and count(of_capped_kind.code) over so_far > requirement_cap.at_most
                then requirement_cap.kind
        end as over_kind,
        case
            when of_capped_kind.code is not null and count(of_capped_kind.code) over so_far > requirement_cap.at_most
                then requirement_cap.code
        end as over_cap
    from capped
    inner join requirement_cap
        on
            capped.requirement_ref = requirement_cap.requirement_ref
            and capped.place + 1 = requirement_cap.place
    left join of_capped_kind
        on
            capped.trainee_ref = of_capped_kind.trainee_ref
            and capped.case_sequence = of_capped_kind.case_sequence
            and capped.requirement_ref = of_capped_kind.requirement_ref
            and requirement_cap.place = of_capped_kind.place
    where capped.over_cap is null
    window so_far as (
        partition by capped.trainee_ref, capped.requirement_ref
        order by capped.case_sequence
        rows between unbounded preceding and current row
    )

)

select
    reasoned.trainee_ref,
    reasoned.case_sequence,
    reasoned.requirement_ref,
    reasoned.reason = 'credited' and capped.over_cap is null as credited,
    -- What a cap leaves out is named by what is capped.
    case
        when capped.over_kind = 'role' then 'role'
        when capped.over_kind = 'elsewhere' then 'performed_elsewhere'
        when capped.over_kind is not null then 'attribute'
        else reasoned.reason
    end as reason,
    capped.over_cap
from reasoned
left join capped
    on
        reasoned.trainee_ref = capped.trainee_ref
        and reasoned.case_sequence = capped.case_sequence
        and reasoned.requirement_ref = capped.requirement_ref
        and capped.over_cap is not null;
