-- By how much do the recorded risk factors of each case raise the log odds of each outcome?
--
-- Rows:   one per live case and complication of its procedure group that the specialty weighs, with a factor that counts
-- Reads:  case_record, risk_weight
-- Source: `risk_weights` of the specialty file; a factor that is not recorded adds nothing
create table main.case_risk as
with

noted as (

    select distinct case_record.trainee_ref, case_record.case_sequence, part.risk_factor
    from case_record
    cross join unnest(string_split(case_record.risk_factors, ';')) as part (risk_factor)

)

select
    noted.trainee_ref,
    noted.case_sequence,
    risk_weight.complication_ref,
    sum(cast(risk_weight.log_odds as decimal(18, 12))) as log_odds
from noted
inner join risk_weight on noted.risk_factor = risk_weight.risk_factor
group by noted.trainee_ref, noted.case_sequence, risk_weight.complication_ref;
