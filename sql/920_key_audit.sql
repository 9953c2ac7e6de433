-- Does each key stand once in its view?
--
-- Rows:   one per view and repeated key; there must be none
-- Reads:  case_credit, volume_by_month, case_volume, complication_rate, supervision_mix, finding
-- Source: contract of the views: the row grain and key of a view are closed
select 'a key stands twice in case_credit' as offence, trainee_ref
from case_credit
group by trainee_ref, case_ref, "procedure", side, requirement_ref
having count(*) > 1
union all
select 'a key stands twice in case_volume' as offence, trainee_ref
from case_volume
group by programme_ref, cohort, trainee_ref, requirement_ref
having count(*) > 1
union all
select 'a key stands twice in volume_by_month' as offence, trainee_ref
from volume_by_month
group by programme_ref, cohort, trainee_ref, requirement_ref, through_month
having count(*) > 1
union all
select 'a key stands twice in complication_rate' as offence, trainee_ref
from complication_rate
group by programme_ref, cohort, trainee_ref, complication_ref, procedure_group, attribution
having count(*) > 1
union all
select 'a key stands twice in supervision_mix' as offence, trainee_ref
from supervision_mix
group by programme_ref, cohort, trainee_ref, procedure_group, training_quarter, level_ref
having count(*) > 1
union all
select 'a key stands twice in finding' as offence, min(trainee_ref) as trainee_ref
from finding
group by intake_id, file_name, source_row, column_name, rule
having count(*) > 1
