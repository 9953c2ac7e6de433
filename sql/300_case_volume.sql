-- Has each trainee reached each required number of cases?
--
-- Rows:   one per trainee and counted requirement in force for their class, including those with no case yet
-- Reads:  volume_by_month, requirement, requirement_part, requirement_window
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
    where part.place = 1 and whole.place = 1 and requirement_part.is_listed
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
    placed.reached_by,
    requirement.unit,
    requirement_window.through_month as deadline,
    cast(requirement.published_minimum as bigint) as published_minimum,
    placed.data_through
from placed
inner join requirement on placed.requirement_ref = requirement.requirement_ref
inner join requirement_window
    on
        placed.trainee_ref = requirement_window.trainee_ref
        and placed.requirement_ref = requirement_window.requirement_ref
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
comment on column definition.case_volume.parts_short is
'Parts among them whose own minimum is not met, and for which no other rule stands in.';
comment on column definition.case_volume.reached is
'Whether its own minimum is met and no part, nor part of a part, is short; or a rule that stands in for it is there.';
comment on column definition.case_volume.part_depth is
'Below how many requirements in force for the class this one is listed: 0 for one that is a part of none. Of several wholes the first counts.';
comment on column definition.case_volume.reached_by is
'The rule that stands in for it, where its own cases do not reach it; blank otherwise.';
comment on column definition.case_volume.unit is
'What one count is: procedure (a row), operation (a case_ref), patient, or another that the specialty names, one a case_ref.';
comment on column definition.case_volume.deadline is
'The last month whose cases count, for a rule that ends with a stage or before one; blank where the rule has none, or the stage is not recorded.';
comment on column definition.case_volume.published_minimum is
'What the document asks for, where the programme itself asks for more and the minimum is its own; blank otherwise.';
comment on column definition.case_volume.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
