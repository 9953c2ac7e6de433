-- Do the counts of each requirement fit together, and is nobody missing?
--
-- Rows:   one per trainee and requirement that breaks a rule; there must be none
-- Reads:  trainee, requirement, case_volume
-- Source: contract of the views: every trainee of the roster, zeros kept
select 'remaining is not what the minimum leaves, or met disagrees' as offence, trainee_ref, requirement_ref
from case_volume
where
    remaining_cases <> case when counted_cases < minimum then minimum - counted_cases else 0 end
    or met <> (remaining_cases = 0)
union all
select 'more cases confirmed than counted' as offence, trainee_ref, requirement_ref
from case_volume
where confirmed_cases > counted_cases or confirmed_cases < 0
union all
select 'a trainee has no row for a requirement in force' as offence, trainee.trainee_ref, requirement.requirement_ref
from trainee
cross join requirement
left join case_volume
    on
        trainee.trainee_ref = case_volume.trainee_ref
        and requirement.requirement_ref = case_volume.requirement_ref
where
    requirement.minimum is not null
    and trainee.cohort_ends between coalesce(requirement.cohort_from, 0) and coalesce(requirement.cohort_to, 9999)
    and case_volume.trainee_ref is null
