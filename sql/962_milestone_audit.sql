-- Do the rules of each level add up, and is nobody missing?
--
-- Rows:   one per trainee and milestone that breaks a rule; there must be none
-- Reads:  trainee, milestone, milestone_level, milestone_standing
-- Source: contract of the views: met, unknown and total; the committee's level is one
select 'more rules met and unknown than there are' as offence, trainee_ref, milestone_ref
from milestone_standing
where rules_met + rules_unknown > rules_total or rules_met < 0 or rules_unknown < 0
union all
select 'nothing is missing, and yet a rule is not met' as offence, trainee_ref, milestone_ref
from milestone_standing
where (missing is null) <> (rules_met = rules_total)
union all
select 'the committee''s level is not the same on each row' as offence, trainee_ref, milestone_ref
from milestone_standing
group by trainee_ref, milestone_ref
having count(distinct coalesce(committee_level, '') || ' ' || coalesce(committee_period, '')) > 1
union all
select 'a trainee has no row for a milestone' as offence, trainee.trainee_ref, milestone.milestone_ref
from trainee
cross join milestone
cross join milestone_level
left join milestone_standing
    on
        trainee.trainee_ref = milestone_standing.trainee_ref
        and milestone.milestone_ref = milestone_standing.milestone_ref
        and milestone_level.level = milestone_standing.level
where milestone_standing.trainee_ref is null
