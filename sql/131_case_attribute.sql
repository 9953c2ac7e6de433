-- Which cross-cutting facts does each case record?
--
-- Rows:   one per live case and code it names
-- Reads:  case_record
-- Source: contract of the export format: codes joined with `;`; `none` names none
create table main.case_attribute as
with

named as (

    select trainee_ref, case_ref, "procedure", side, case_sequence, attributes
    from case_record
    where attributes is not null and attributes <> 'none'

)

select distinct
    named.trainee_ref, named.case_ref, named."procedure", named.side, named.case_sequence, part.attribute
from named
cross join unnest(string_split(named.attributes, ';')) as part (attribute);
