-- Of which procedures, roles and attributes is each count made?
--
-- Rows:   one per trainee, requirement, kind of part and part with a credited case; a blank attribute: cases without any
-- Reads:  logged_count, judged_case, case_attribute, trainee, procedure, role, attribute
-- Source: the credited cases of case_credit
create view definition.count_composition as
with

counted as (

    select trainee_ref, requirement_ref, sum(counted_cases) as of_cases
    from logged_count
    group by trainee_ref, requirement_ref

),

attributed as (

    -- A case with two attributes stands under both.
    select
        judged_case.trainee_ref,
        judged_case.requirement_ref,
        judged_case.case_sequence,
        case_attribute.attribute
    from judged_case
    inner join case_attribute
        on
            judged_case.trainee_ref = case_attribute.trainee_ref
            and judged_case.case_sequence = case_attribute.case_sequence
    where judged_case.credited

),

with_attribute as (

    select trainee_ref, requirement_ref, count(distinct case_sequence) as counted_cases
    from attributed
    group by trainee_ref, requirement_ref

),

part as (

    select trainee_ref, requirement_ref, 'procedure' as made_of, "procedure" as code, sum(counted_cases) as counted_cases
    from logged_count
    group by trainee_ref, requirement_ref, "procedure"
    union all
    select trainee_ref, requirement_ref, 'role' as made_of, role as code, sum(counted_cases) as counted_cases
    from logged_count
    group by trainee_ref, requirement_ref, role
    union all
    select trainee_ref, requirement_ref, 'attribute' as made_of, attribute as code, count(*) as counted_cases
    from attributed
    group by trainee_ref, requirement_ref, attribute
    union all
    select
        counted.trainee_ref,
        counted.requirement_ref,
        'attribute' as made_of,
        cast(null as varchar) as code,
        counted.of_cases - coalesce(with_attribute.counted_cases, 0) as counted_cases
    from counted
    left join with_attribute
        on
            counted.trainee_ref = with_attribute.trainee_ref
            and counted.requirement_ref = with_attribute.requirement_ref

)

select
    trainee.programme_ref,
    trainee.cohort,
    part.trainee_ref,
    part.requirement_ref,
    part.made_of,
    part.code,
    coalesce("procedure".title, role.title, attribute.title) as title,
    cast(part.counted_cases as bigint) as counted_cases,
    cast(counted.of_cases as bigint) as of_cases,
    trainee.data_through
from part
inner join counted on part.trainee_ref = counted.trainee_ref and part.requirement_ref = counted.requirement_ref
inner join trainee on part.trainee_ref = trainee.trainee_ref
left join "procedure" on part.made_of = 'procedure' and part.code = "procedure"."procedure"
left join role on part.made_of = 'role' and part.code = role.role
left join attribute on part.made_of = 'attribute' and part.code = attribute.attribute
where part.counted_cases > 0;

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
