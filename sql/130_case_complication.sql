-- Which complications does each case record, and on which day?
--
-- Rows:   one per live case and complication it names (per day, where it names one twice)
-- Reads:  case_record
-- Source: contract of the export format: codes joined with `;`, a day after `@`; `none` names none
create table main.case_complication as
with

named as (

    select trainee_ref, case_ref, "procedure", side, case_sequence, complications
    from case_record
    where complications is not null and complications <> 'none'

),

event as (

    select named.trainee_ref, named.case_ref, named."procedure", named.side, named.case_sequence, part.event
    from named
    cross join unnest(string_split(named.complications, ';')) as part (event)

)

select distinct
    trainee_ref,
    case_ref,
    "procedure",
    side,
    case_sequence,
    split_part(event, '@', 1) as complication_ref,
    cast(nullif(split_part(event, '@', 2), '') as integer) as "day"
from event;
