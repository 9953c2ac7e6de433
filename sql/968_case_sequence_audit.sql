-- Does every chart of outcomes count each case once, agree with rates and expected rates, and never fall below 0?
--
-- Rows:   one per trainee and complication that breaks a rule; there must be none
-- Reads:  case_sequence_chart, case_sequence_signal, complication_rate, expected_rate, run_length
-- Source: the chart, the rate and what is expected speak of the same cases: one reference everywhere
select 'case numbers do not run from 1 without a gap' as offence, trainee_ref, complication_ref
from case_sequence_chart
group by programme_ref, cohort, trainee_ref, complication_ref
having min(case_number) <> 1 or max(case_number) <> count(*)
union all
select 'a CUSUM below 0' as offence, trainee_ref, complication_ref
from case_sequence_chart
where cusum < 0
union all
select 'the chart and the rate count other cases' as offence, signalled.trainee_ref, signalled.complication_ref
from case_sequence_signal as signalled
inner join complication_rate
    on
        signalled.trainee_ref = complication_rate.trainee_ref
        and signalled.complication_ref = complication_rate.complication_ref
        and complication_rate.attribution = 'as_started'
where
    signalled.known_outcomes <> complication_rate.known_outcomes
    or signalled.events <> complication_rate.events
union all
select 'the chart and the expected rate expect other events' as offence, signalled.trainee_ref, signalled.complication_ref
from case_sequence_signal as signalled
inner join expected_rate
    on
        signalled.trainee_ref = expected_rate.trainee_ref
        and signalled.complication_ref = expected_rate.complication_ref
        and expected_rate.attribution = 'as_started'
where
    (signalled.expected_events is null) <> (expected_rate.expected_events is null)
    or abs(signalled.expected_events - expected_rate.expected_events) > 1e-9
union all
select 'a limit without a chance of a false alarm' as offence, limit_for as trainee_ref, complication_ref
from run_length
where (cusum_limit is null) <> (signal_chance is null)
