-- Does each course only rise, within the counted cases, and are the bands in order and of enough people?
--
-- Rows:   one per trainee or programme and requirement that breaks a rule; there must be none
-- Reads:  volume_course, volume_band, case_volume, volume_summary
-- Source: design: median and quartiles from 10 people, 10 and 90 from 20
with

stepped as (

    select
        trainee_ref,
        requirement_ref,
        training_month,
        counted_cases,
        row_number() over (partition by trainee_ref, requirement_ref order by training_month) as place,
        lead(counted_cases) over (
            partition by trainee_ref, requirement_ref
            order by training_month
        ) as next_cases
    from volume_course

)

select 'a course falls, or leaves out a month' as offence, trainee_ref, requirement_ref
from stepped
where next_cases < counted_cases or place <> training_month
union all
select
    'a course ends above the counted cases' as offence,
    volume_course.trainee_ref,
    volume_course.requirement_ref
from volume_course
left join case_volume
    on
        volume_course.trainee_ref = case_volume.trainee_ref
        and volume_course.requirement_ref = case_volume.requirement_ref
where case_volume.trainee_ref is null or volume_course.counted_cases > case_volume.counted_cases
union all
select 'the quantiles of a band are not in order' as offence, programme_ref as trainee_ref, requirement_ref
from volume_band
where p25 > p50 or p50 > p75 or p10 > p25 or p75 > p90
union all
select 'a band of too few people, or a missing one' as offence, programme_ref as trainee_ref, requirement_ref
from volume_band
where
    (people >= 10) <> (p25 is not null)
    or (people >= 10) <> (p50 is not null)
    or (people >= 10) <> (p75 is not null)
    or (people >= 20) <> (p10 is not null)
    or (people >= 20) <> (p90 is not null)
union all
select 'the volume summary says something else' as offence, case_volume.trainee_ref, case_volume.requirement_ref
from case_volume
left join volume_summary
    on
        case_volume.trainee_ref = volume_summary.trainee_ref
        and case_volume.requirement_ref = volume_summary.requirement_ref
where
    volume_summary.counted_cases is null
    or volume_summary.counted_cases <> case_volume.counted_cases
    or volume_summary.reached <> case_volume.reached
    or volume_summary.parts_total <> case_volume.parts_total
    or volume_summary.parts_short <> case_volume.parts_short
    or volume_summary.part_depth <> case_volume.part_depth
