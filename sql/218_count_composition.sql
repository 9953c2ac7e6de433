-- Of which procedures, roles and attributes is each count made?
--
-- Rows:   one per trainee, requirement, kind of part and part with a credited case; a blank attribute: cases without any
-- Reads:  case_credit, case_record, case_attribute, trainee, procedure, role, attribute
-- Source: the credited cases of case_credit
create view definition.count_composition as
with

counted as (

    select
        case_credit.trainee_ref,
        case_credit.requirement_ref,
        case_record.case_sequence,
        case_record."procedure",
        case_record.role,
        count(*) over (partition by case_credit.trainee_ref, case_credit.requirement_ref) as of_cases
    from main.case_credit
    inner join case_record
        on
            case_credit.trainee_ref = case_record.trainee_ref
            and case_credit.case_ref = case_record.case_ref
            and case_credit."procedure" = case_record."procedure"
            and case_credit.side is not distinct from case_record.side
    where case_credit.credited

),

part as (

    select trainee_ref, requirement_ref, of_cases, 'procedure' as made_of, "procedure" as code
    from counted
    union all
    select trainee_ref, requirement_ref, of_cases, 'role' as made_of, role as code
    from counted
    union all
    -- A case with two attributes stands under both.
    select counted.trainee_ref, counted.requirement_ref, counted.of_cases, 'attribute' as made_of, case_attribute.attribute as code
    from counted
    left join case_attribute
        on
            counted.trainee_ref = case_attribute.trainee_ref
            and counted.case_sequence = case_attribute.case_sequence

)

select
    trainee.programme_ref,
    trainee.cohort,
    part.trainee_ref,
    part.requirement_ref,
    part.made_of,
    part.code,
    coalesce("procedure".title, role.title, attribute.title) as title,
    count(*) as counted_cases,
    part.of_cases,
    trainee.data_through
from part
inner join trainee on part.trainee_ref = trainee.trainee_ref
left join "procedure" on part.made_of = 'procedure' and part.code = "procedure"."procedure"
left join role on part.made_of = 'role' and part.code = role.role
left join attribute on part.made_of = 'attribute' and part.code = attribute.attribute
group by
    trainee.programme_ref,
    trainee.cohort,
    part.trainee_ref,
    part.requirement_ref,
    part.made_of,
    part.code,
    coalesce("procedure".title, role.title, attribute.title),
    part.of_cases,
    trainee.data_through;

comment on view definition.count_composition is
'Of which procedures, roles and attributes is each count made? The procedures of a count add up to it, and so do its roles; a case with two attributes stands under both.';
comment on column definition.count_composition.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.count_composition.cohort is
'The class: the academic year in which its trainees are to complete.';
comment on column definition.count_composition.trainee_ref is 'The trainee, as a pseudonym.';
comment on column definition.count_composition.requirement_ref is
'The requirement, by its code in the specialty file.';
comment on column definition.count_composition.made_of is 'procedure, role or attribute.';
comment on column definition.count_composition.code is
'The procedure, role or attribute, by its code; blank: no attribute is recorded.';
comment on column definition.count_composition.title is 'The same in words; blank where no attribute is recorded.';
comment on column definition.count_composition.counted_cases is 'Credited cases of this kind.';
comment on column definition.count_composition.of_cases is 'All credited cases of the requirement.';
comment on column definition.count_composition.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
