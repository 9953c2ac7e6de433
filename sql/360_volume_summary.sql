-- What does the programme report of each trainee's volume, and on whose authority?
--
-- Rows:   those of case_volume
-- Reads:  case_volume, requirement, trainee
-- Source: minimums come from the specialty file, each with its source
create view definition.volume_summary as
select
    case_volume.programme_ref,
    case_volume.cohort,
    case_volume.trainee_ref,
    case_volume.requirement_ref,
    case_volume.requirement_title,
    case_volume.minimum,
    case_volume.counted_cases,
    case_volume.remaining_cases,
    case_volume.met,
    case_volume.edition,
    case_volume.confirmed_cases,
    case_volume.held_cases,
    requirement.source,
    requirement.verified,
    case_volume.parts_total,
    case_volume.parts_short,
    case_volume.reached,
    case_volume.part_depth,
    trainee.completed,
    trainee."left",
    case_volume.reached_by,
    case_volume.unit,
    case_volume.deadline,
    case_volume.published_minimum,
    requirement.is_local,
    requirement.local_source,
    case_volume.data_through
from main.case_volume
inner join requirement on case_volume.requirement_ref = requirement.requirement_ref
inner join trainee on case_volume.trainee_ref = trainee.trainee_ref;

comment on view definition.volume_summary is
'What does the programme report of each trainee''s volume, and on whose authority? The rows of case_volume, with the source of each requirement and whether somebody checked it. The accreditor''s own tally takes precedence.';
comment on column definition.volume_summary.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.volume_summary.cohort is
'The class: the academic year in which its trainees are to complete.';
comment on column definition.volume_summary.trainee_ref is 'The trainee, as a pseudonym.';
comment on column definition.volume_summary.requirement_ref is
'The requirement, by its code in the specialty file.';
comment on column definition.volume_summary.requirement_title is 'The requirement in words.';
comment on column definition.volume_summary.minimum is 'How many cases the requirement asks for.';
comment on column definition.volume_summary.counted_cases is 'Cases credited toward the requirement.';
comment on column definition.volume_summary.remaining_cases is
'Minimum less counted cases, and 0 once the minimum is met.';
comment on column definition.volume_summary.met is
'Whether the counted cases reach the requirement''s own minimum, whatever its parts.';
comment on column definition.volume_summary.edition is
'The edition of the document from which the requirement comes.';
comment on column definition.volume_summary.confirmed_cases is
'Counted cases in which the supervisor confirmed the role.';
comment on column definition.volume_summary.held_cases is
'Cases held back until a double claim is decided; 0 in this version, which does not judge double claims.';
comment on column definition.volume_summary.source is 'Where the requirement was taken from.';
comment on column definition.volume_summary.verified is
'Whether somebody read number and roles in that source; where not, they are not yet checked against the current document.';
comment on column definition.volume_summary.parts_total is
'Requirements in force for the class that are parts of this one, parts of parts included.';
comment on column definition.volume_summary.parts_short is
'Parts among them whose own minimum is not met, and for which no other rule stands in.';
comment on column definition.volume_summary.reached is
'Whether its own minimum is met and no part, nor part of a part, is short; or a rule that stands in for it is there.';
comment on column definition.volume_summary.part_depth is
'Below how many requirements in force for the class this one is listed: 0 for one that is a part of none. Of several wholes the first counts.';
comment on column definition.volume_summary.completed is
'The month in which the trainee completed, as the roster has it; blank while in training.';
comment on column definition.volume_summary."left" is
'The month in which the trainee left before completing; blank for everybody else.';
comment on column definition.volume_summary.reached_by is
'The rule that stands in for it, where its own cases do not reach it; blank otherwise.';
comment on column definition.volume_summary.unit is
'What one count is: procedure (a row), operation (a case_ref), patient, or another that the specialty names, one a case_ref.';
comment on column definition.volume_summary.deadline is
'The last month whose cases count, for a rule that ends with a stage or before one; blank where the rule has none, or the stage is not recorded.';
comment on column definition.volume_summary.published_minimum is
'What the document asks for, where the programme itself asks for more and the minimum is its own; blank otherwise.';
comment on column definition.volume_summary.is_local is
'Whether the rule, or the minimum that is judged, is the programme''s own and not the accreditor''s.';
comment on column definition.volume_summary.local_source is 'Where the programme''s own minimum was laid down; blank without one.';
comment on column definition.volume_summary.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
