-- Which risk factors does each case record?
--
-- Rows:   one per live case and code it names
-- Reads:  case_record
-- Source: contract of the export format: codes joined with `;`; `none` names none
create table main.case_risk_factor as
with

named as (

    select trainee_ref, case_ref, "procedure", side, case_sequence, risk_factors
    from case_record
    where risk_factors is not null and risk_factors <> 'none'

)

select distinct
    named.trainee_ref, named.case_ref, named."procedure", named.side, named.case_sequence, part.risk_factor
from named
cross join unnest(string_split(named.risk_factors, ';')) as part (risk_factor);
