-- Do the counts of each requirement and of its parts fit together, and is nobody missing?
--
-- Rows:   one per trainee and requirement that breaks a rule; there must be none
-- Reads:  trainee, requirement, requirement_whole, requirement_part, requirement_window, case_credit, volume_by_month,
--         case_volume
-- Source: contract of the views: every trainee of the roster, zeros kept
with

recounted as (

    select trainee_ref, requirement_ref, count(*) as counted_cases
    from case_credit
    where credited
    group by trainee_ref, requirement_ref

),

part as (

    select
        case_volume.trainee_ref,
        requirement_part.requirement_ref,
        count(*) as parts_total,
        count(*) filter (
            where case_volume.counted_cases < case_volume.minimum
            and case_volume.reached_by is null
        ) as parts_short
    from case_volume
    inner join requirement_part on case_volume.requirement_ref = requirement_part.part_ref
    group by case_volume.trainee_ref, requirement_part.requirement_ref

),

stepped as (

    select
        trainee_ref,
        requirement_ref,
        counted_cases,
        confirmed_cases,
        remaining_cases,
        parts_total,
        parts_short,
        met,
        reached,
        lead(counted_cases) over months as next_cases,
        lead(parts_short) over months as next_parts_short
    from volume_by_month
    window months as (partition by trainee_ref, requirement_ref order by through_month nulls first)

)

select 'remaining is not what the minimum leaves, or met disagrees' as offence, trainee_ref, requirement_ref
from volume_by_month
where
    remaining_cases <> case when counted_cases < minimum then minimum - counted_cases else 0 end
    or met <> (remaining_cases = 0)
union all
select 'reached is not met with no part short' as offence, trainee_ref, requirement_ref
from volume_by_month
where
    reached <> ((met and parts_short = 0) or reached_by is not null)
    or (reached_by is not null and met and parts_short = 0)
    or parts_short not between 0 and parts_total
union all
select
    'the rule that stands in is not there, or not one of its kind' as offence,
    case_volume.trainee_ref,
    case_volume.requirement_ref
from case_volume
inner join requirement on case_volume.requirement_ref = requirement.requirement_ref
left join case_volume as other
    on case_volume.trainee_ref = other.trainee_ref and case_volume.reached_by = other.requirement_ref
left join requirement as its_rule on other.requirement_ref = its_rule.requirement_ref
where
    case_volume.reached_by is not null
    and not coalesce(other.met and its_rule.either_or = requirement.either_or, false)
union all
select 'a count falls, or parts get shorter, from month to month' as offence, trainee_ref, requirement_ref
from stepped
where next_cases < counted_cases or next_parts_short > parts_short
union all
select
    'the last month is not what case_volume says' as offence,
    case_volume.trainee_ref,
    case_volume.requirement_ref
from case_volume
left join stepped
    on
        case_volume.trainee_ref = stepped.trainee_ref
        and case_volume.requirement_ref = stepped.requirement_ref
        and stepped.next_cases is null
where
    stepped.trainee_ref is null
    or case_volume.counted_cases <> stepped.counted_cases
    or case_volume.confirmed_cases <> stepped.confirmed_cases
    or case_volume.remaining_cases <> stepped.remaining_cases
    or case_volume.parts_total <> stepped.parts_total
    or case_volume.parts_short <> stepped.parts_short
    or case_volume.met <> stepped.met
    or case_volume.reached <> stepped.reached
union all
select 'another number is credited' as offence, case_volume.trainee_ref, case_volume.requirement_ref
from case_volume
left join recounted
    on
        case_volume.trainee_ref = recounted.trainee_ref
        and case_volume.requirement_ref = recounted.requirement_ref
where case_volume.counted_cases <> coalesce(recounted.counted_cases, 0)
union all
select 'more cases confirmed than counted' as offence, trainee_ref, requirement_ref
from case_volume
where confirmed_cases > counted_cases or confirmed_cases < 0
union all
select 'another number of parts, or of short ones' as offence, case_volume.trainee_ref, case_volume.requirement_ref
from case_volume
left join part
    on case_volume.trainee_ref = part.trainee_ref and case_volume.requirement_ref = part.requirement_ref
where
    case_volume.parts_total <> coalesce(part.parts_total, 0)
    or case_volume.parts_short <> coalesce(part.parts_short, 0)
union all
select 'reached though a part of it is not' as offence, whole.trainee_ref, whole.requirement_ref
from case_volume as whole
inner join requirement_whole on whole.requirement_ref = requirement_whole.whole_ref
inner join case_volume as own_part
    on
        whole.trainee_ref = own_part.trainee_ref
        and requirement_whole.requirement_ref = own_part.requirement_ref
where whole.reached and whole.reached_by is null and not own_part.reached
union all
select 'a part does not stand below its whole' as offence, own_part.trainee_ref, own_part.requirement_ref
from case_volume as own_part
inner join requirement on own_part.requirement_ref = requirement.requirement_ref
left join case_volume as whole
    on own_part.trainee_ref = whole.trainee_ref and requirement.part_of = whole.requirement_ref
where
    own_part.part_depth < 0
    or own_part.part_depth <= whole.part_depth
    or (requirement.part_of is null and own_part.part_depth > 0)
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
