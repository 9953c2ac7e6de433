-- Has each trainee reached each required number of cases?
--
-- Rows:   one per trainee and counted requirement in force for their class, including those with no case yet
-- Reads:  volume_by_month, requirement, requirement_part
-- Source: minimums and parts come from the specialty file
create view definition.case_volume as
with

placed as (

    select
        *,
        row_number() over (
            partition by trainee_ref, requirement_ref
            order by through_month desc nulls last
        ) as place
    from main.volume_by_month

),

nested as (

    -- Of how many requirements in force is it a part? It stands as deep below them where rules are listed.
    select part.trainee_ref, part.requirement_ref, count(*) as part_depth
    from placed as part
    inner join requirement_part on part.requirement_ref = requirement_part.part_ref
    inner join placed as whole
        on
            part.trainee_ref = whole.trainee_ref
            and requirement_part.requirement_ref = whole.requirement_ref
    where part.place = 1 and whole.place = 1
    group by part.trainee_ref, part.requirement_ref

)

select
    placed.programme_ref,
    placed.cohort,
    placed.trainee_ref,
    placed.requirement_ref,
    requirement.title as requirement_title,
    placed.minimum,
    placed.counted_cases,
    placed.remaining_cases,
    placed.met,
    requirement.edition,
    placed.confirmed_cases,
    placed.held_cases,
    placed.parts_total,
    placed.parts_short,
    placed.reached,
    coalesce(nested.part_depth, 0) as part_depth,
    placed.data_through
from placed
inner join requirement on placed.requirement_ref = requirement.requirement_ref
left join nested
    on placed.trainee_ref = nested.trainee_ref and placed.requirement_ref = nested.requirement_ref
where placed.place = 1;

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
'Minimum less counted cases, and 0 once the minimum is met.';
comment on column definition.case_volume.met is
'Whether the counted cases reach the requirement''s own minimum, whatever its parts.';
comment on column definition.case_volume.edition is
'The edition of the document from which the requirement comes.';
comment on column definition.case_volume.confirmed_cases is
'Counted cases in which the supervisor confirmed the role.';
comment on column definition.case_volume.held_cases is
'Cases held back until a double claim is decided; 0 in this version, which does not judge double claims.';
comment on column definition.case_volume.parts_total is
'Requirements in force for the class that are parts of this one, parts of parts included.';
comment on column definition.case_volume.parts_short is 'Parts among them whose own minimum is not met.';
comment on column definition.case_volume.reached is
'Whether its own minimum is met and no part, nor part of a part, is short.';
comment on column definition.case_volume.part_depth is
'Of how many requirements in force for the class this one is a part: 0 for one that is a part of none.';
comment on column definition.case_volume.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
