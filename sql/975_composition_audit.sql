-- Do the reasons, procedures and roles of each count add up to it, and the reasons to all live cases?
--
-- Rows:   one per count that they do not add up to; there must be none
-- Reads:  credit_reason, count_composition, case_credit, case_volume
-- Source: the definitions of both views
with

reason as (

    select trainee_ref, requirement_ref, sum(cases) as cases, sum(cases) filter (where credited) as counted_cases
    from credit_reason
    group by trainee_ref, requirement_ref

),

listed as (

    select trainee_ref, requirement_ref, count(*) as cases
    from case_credit
    group by trainee_ref, requirement_ref

),

composed as (

    select trainee_ref, requirement_ref, made_of, of_cases, sum(counted_cases) as counted_cases
    from count_composition
    group by trainee_ref, requirement_ref, made_of, of_cases

)

select 'reasons do not add up to the cases' as offence, listed.trainee_ref, listed.requirement_ref
from listed
full join reason
    on
        listed.trainee_ref = reason.trainee_ref
        and coalesce(listed.requirement_ref, '') = coalesce(reason.requirement_ref, '')
where listed.cases is distinct from reason.cases
union all
select 'reasons do not add up to the count' as offence, case_volume.trainee_ref, case_volume.requirement_ref
from case_volume
left join reason
    on case_volume.trainee_ref = reason.trainee_ref and case_volume.requirement_ref = reason.requirement_ref
where case_volume.counted_cases <> coalesce(reason.counted_cases, 0)
union all
select 'procedures or roles do not add up to the count' as offence, composed.trainee_ref, composed.requirement_ref
from composed
left join case_volume
    on
        composed.trainee_ref = case_volume.trainee_ref
        and composed.requirement_ref = case_volume.requirement_ref
where
    composed.of_cases <> coalesce(case_volume.counted_cases, composed.of_cases)
    or (composed.made_of <> 'attribute' and composed.counted_cases <> composed.of_cases)
    or composed.counted_cases < composed.of_cases
union all
select 'a count is made of nothing' as offence, case_volume.trainee_ref, case_volume.requirement_ref
from case_volume
left join composed
    on
        case_volume.trainee_ref = composed.trainee_ref
        and case_volume.requirement_ref = composed.requirement_ref
        and composed.made_of = 'procedure'
where case_volume.counted_cases > 0 and composed.of_cases is null
union all
select 'a key stands twice in count_composition' as offence, trainee_ref, requirement_ref
from count_composition
group by programme_ref, cohort, trainee_ref, requirement_ref, made_of, code
having count(*) > 1
union all
select 'a key stands twice in credit_reason' as offence, trainee_ref, requirement_ref
from credit_reason
group by programme_ref, cohort, trainee_ref, requirement_ref, reason, over_cap
having count(*) > 1
