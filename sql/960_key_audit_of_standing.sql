-- Does each key stand once in the views of technique, milestones, comparison, volume and log?
--
-- Rows:   one per view and repeated key; there must be none
-- Reads:  pace_sentence, rule_without_count, supervision_loosening, step_progress, discussion_reason, reason_rule, false_alarm,
--         pace, pace_backtest, rotation_yield, credited_month, active_month, training_mark,
--         technique_step, milestone_standing, volume_summary, supervision_band, volume_course, volume_band,
--         expected_rate, measure_course, cohort_comparison, trainee_log, left_out_rule, class_finding,
--         unverified_item, run_length, case_sequence_chart, case_sequence_signal,
--         complication_rate_recent, event_to_code, official_tally, volume_by_role, class_volume, not_final
-- Source: contract of the views: the row grain and key of a view are closed
select 'a key stands twice in official_tally' as offence, trainee_ref
from official_tally
group by programme_ref, cohort, trainee_ref, requirement_ref
having count(*) > 1
union all
select 'a key stands twice in pace_sentence' as offence, trainee_ref
from pace_sentence
group by programme_ref, cohort, trainee_ref, requirement_ref
having count(*) > 1
union all
select 'a key stands twice in rule_without_count' as offence, trainee_ref
from rule_without_count
group by programme_ref, cohort, trainee_ref, requirement_ref
having count(*) > 1
union all
select 'a key stands twice in supervision_loosening' as offence, trainee_ref
from supervision_loosening
group by programme_ref, cohort, trainee_ref, procedure_group
having count(*) > 1
union all
select 'a key stands twice in step_progress' as offence, trainee_ref
from step_progress
group by programme_ref, cohort, trainee_ref, step
having count(*) > 1
union all
select 'a key stands twice in discussion_reason' as offence, trainee_ref
from discussion_reason
group by programme_ref, cohort, trainee_ref, reason, subject
having count(*) > 1
union all
select 'a key stands twice in reason_rule' as offence, reason as trainee_ref
from reason_rule
group by reason
having count(*) > 1
union all
select 'a key stands twice in false_alarm' as offence, reason as trainee_ref
from false_alarm
group by programme_ref, reason
having count(*) > 1
union all
select 'a key stands twice in pace' as offence, trainee_ref
from pace
group by programme_ref, cohort, trainee_ref, requirement_ref
having count(*) > 1
union all
select 'a key stands twice in pace_backtest' as offence, requirement_ref as trainee_ref
from pace_backtest
group by programme_ref, requirement_ref, active_month
having count(*) > 1
union all
select 'a key stands twice in rotation_yield' as offence, trainee_ref
from rotation_yield
group by programme_ref, cohort, trainee_ref, requirement_ref, rotation
having count(*) > 1
union all
select 'a key stands twice in credited_month' as offence, trainee_ref
from credited_month
group by programme_ref, cohort, trainee_ref, requirement_ref, operated_month
having count(*) > 1
union all
select 'a key stands twice in active_month' as offence, trainee_ref
from active_month
group by programme_ref, cohort, trainee_ref, calendar_month
having count(*) > 1
union all
select 'a key stands twice in training_mark' as offence, trainee_ref
from training_mark
group by programme_ref, cohort, trainee_ref, kind, first_month
having count(*) > 1
union all
select 'a key stands twice in technique_step' as offence, trainee_ref
from technique_step
group by programme_ref, cohort, trainee_ref, procedure_group, step, training_quarter
having count(*) > 1
union all
select 'a key stands twice in milestone_standing' as offence, trainee_ref
from milestone_standing
group by programme_ref, cohort, trainee_ref, milestone_ref, level
having count(*) > 1
union all
select 'a key stands twice in volume_summary' as offence, trainee_ref
from volume_summary
group by programme_ref, cohort, trainee_ref, requirement_ref
having count(*) > 1
union all
select 'a key stands twice in supervision_band' as offence, trainee_ref
from supervision_band
group by programme_ref, cohort, trainee_ref, procedure_group, training_quarter, band
having count(*) > 1
union all
select 'a key stands twice in volume_course' as offence, trainee_ref
from volume_course
group by programme_ref, cohort, trainee_ref, requirement_ref, training_month
having count(*) > 1
union all
select 'a key stands twice in volume_band' as offence, requirement_ref as trainee_ref
from volume_band
group by programme_ref, requirement_ref, training_month
having count(*) > 1
union all
select 'a key stands twice in expected_rate' as offence, trainee_ref
from expected_rate
group by programme_ref, cohort, trainee_ref, complication_ref, attribution
having count(*) > 1
union all
select 'a key stands twice in measure_course' as offence, trainee_ref
from measure_course
group by programme_ref, cohort, trainee_ref, measure, training_quarter
having count(*) > 1
union all
select 'a key stands twice in cohort_comparison' as offence, trainee_ref
from cohort_comparison
group by programme_ref, cohort, trainee_ref, measure
having count(*) > 1
union all
select 'a key stands twice in trainee_log' as offence, trainee_ref
from trainee_log
group by programme_ref, cohort, trainee_ref
having count(*) > 1
union all
select 'a key stands twice in left_out_rule' as offence, trainee_ref
from left_out_rule
group by programme_ref, cohort, trainee_ref, severity, rule
having count(*) > 1
union all
select 'a key stands twice in class_finding' as offence, cohort as trainee_ref
from class_finding
group by programme_ref, cohort, severity, rule
having count(*) > 1
union all
select 'a key stands twice in unverified_item' as offence, ref as trainee_ref
from unverified_item
group by kind, ref
having count(*) > 1
union all
select 'a key stands twice in run_length' as offence, complication_ref as trainee_ref
from run_length
group by programme_ref, complication_ref, limit_for
having count(*) > 1
union all
select 'a key stands twice in case_sequence_chart' as offence, trainee_ref
from case_sequence_chart
group by trainee_ref, complication_ref, case_number
having count(*) > 1
union all
select 'a key stands twice in case_sequence_signal' as offence, trainee_ref
from case_sequence_signal
group by programme_ref, cohort, trainee_ref, complication_ref
having count(*) > 1
union all
select 'a key stands twice in event_to_code' as offence, trainee_ref
from event_to_code
group by programme_ref, cohort, trainee_ref, case_ref, "procedure", side
having count(*) > 1
union all
select 'a key stands twice in complication_rate_recent' as offence, trainee_ref
from complication_rate_recent
group by programme_ref, cohort, trainee_ref, complication_ref, last_cases
having count(*) > 1
union all
select 'a key stands twice in volume_by_role' as offence, trainee_ref
from volume_by_role
group by programme_ref, cohort, trainee_ref, requirement_ref, role, through_month
having count(*) > 1
union all
select 'a key stands twice in class_volume' as offence, cohort as trainee_ref
from class_volume
group by programme_ref, cohort, requirement_ref, through_month
having count(*) > 1
union all
select 'a key stands twice in not_final' as offence, trainee_ref
from not_final
group by programme_ref, cohort, trainee_ref, obstacle
having count(*) > 1;
