-- Has each trainee reached each required number of cases?
--
-- Rows:   one per trainee and counted requirement in force for their class, including those with no case yet
-- Reads:  trainee, requirement, case_credit, case_record
-- Source: minimums come from the specialty file
create view definition.case_volume as
with

expected as (

    select
        trainee.programme_ref,
        trainee.cohort,
        trainee.trainee_ref,
        requirement.requirement_ref,
        requirement.title as requirement_title,
        requirement.minimum,
        requirement.edition,
        trainee.data_through
    from trainee
    cross join requirement
    where
        requirement.minimum is not null
        and (requirement.cohort_from is null or trainee.cohort_ends >= requirement.cohort_from)
        and (requirement.cohort_to is null or trainee.cohort_ends <= requirement.cohort_to)

),

counted as (

    select trainee_ref, requirement_ref, count(*) as counted_cases
    from main.case_credit
    where credited
    group by trainee_ref, requirement_ref

),

confirmed as (

    select case_credit.trainee_ref, case_credit.requirement_ref, count(*) as confirmed_cases
    from main.case_credit
    inner join case_record
        on
            case_credit.trainee_ref = case_record.trainee_ref
            and case_credit.case_ref = case_record.case_ref
            and case_credit."procedure" = case_record."procedure"
            and case_credit.side is not distinct from case_record.side
    where case_credit.credited and case_record.supervisor_agreed
    group by case_credit.trainee_ref, case_credit.requirement_ref

)

select
    expected.programme_ref,
    expected.cohort,
    expected.trainee_ref,
    expected.requirement_ref,
    expected.requirement_title,
    cast(expected.minimum as bigint) as minimum,
    coalesce(counted.counted_cases, 0) as counted_cases,
    cast(greatest(expected.minimum - coalesce(counted.counted_cases, 0), 0) as bigint) as remaining_cases,
    coalesce(counted.counted_cases, 0) >= expected.minimum as met,
    expected.edition,
    coalesce(confirmed.confirmed_cases, 0) as confirmed_cases,
    -- Nothing is held until double claims are judged.
    cast(0 as bigint) as held_cases,
    expected.data_through
from expected
left join counted
    on expected.trainee_ref = counted.trainee_ref and expected.requirement_ref = counted.requirement_ref
left join confirmed
    on expected.trainee_ref = confirmed.trainee_ref and expected.requirement_ref = confirmed.requirement_ref;

comment on view definition.case_volume is
'Has each trainee reached each required number of cases? One row for every trainee of the roster and every counted requirement in force for their class, also with no case yet. A met minimum is an accreditation floor, not a finding of competence; the accreditor''s own tally takes precedence.';
comment on column definition.case_volume.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.case_volume.cohort is
'The class: the academic year in which its trainees are to complete.';
comment on column definition.case_volume.trainee_ref is 'The trainee, as a pseudonym.';
comment on column definition.case_volume.requirement_ref is 'The requirement, by its code in the specialty file.';
comment on column definition.case_volume.requirement_title is 'The requirement in words.';
comment on column definition.case_volume.minimum is 'How many cases the requirement asks for.';
comment on column definition.case_volume.counted_cases is
'Cases credited toward the requirement: the rows of case_credit that say credited.';
comment on column definition.case_volume.remaining_cases is
'Minimum less counted cases, and 0 once the minimum is reached.';
comment on column definition.case_volume.met is 'Whether the counted cases reach the minimum.';
comment on column definition.case_volume.edition is
'The edition of the document from which the requirement comes.';
comment on column definition.case_volume.confirmed_cases is
'Counted cases in which the supervisor confirmed the role.';
comment on column definition.case_volume.held_cases is
'Cases held back until a double claim is decided; 0 in this version, which does not judge double claims.';
comment on column definition.case_volume.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
