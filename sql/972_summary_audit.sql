-- Do the lines of each class, and the counts of each role, add up to the counts of its trainees?
--
-- Rows:   one per trainee or class, and requirement, that breaks a rule; there must be none
-- Reads:  case_volume, trainee, volume_by_role, class_volume, not_final
-- Source: the comments of the views
with

last_by_role as (

    select
        *,
        row_number() over (
            partition by trainee_ref, requirement_ref, role
            order by through_month desc nulls last
        ) as place
    from volume_by_role

),

of_all_roles as (

    select
        trainee_ref,
        requirement_ref,
        sum(counted_cases) as counted_cases,
        sum(confirmed_cases) as confirmed_cases
    from last_by_role
    where place = 1
    group by trainee_ref, requirement_ref

),

last_of_class as (

    select
        *,
        row_number() over (
            partition by programme_ref, cohort, requirement_ref
            order by through_month desc nulls last
        ) as place
    from class_volume

),

of_all_trainees as (

    select
        case_volume.programme_ref,
        case_volume.cohort,
        case_volume.requirement_ref,
        count(*) as people,
        count(*) filter (where trainee."left" is null and case_volume.met) as met,
        count(*) filter (where trainee."left" is null and case_volume.reached) as reached,
        sum(case_volume.counted_cases) filter (where trainee."left" is null) as counted_cases
    from case_volume
    inner join trainee on case_volume.trainee_ref = trainee.trainee_ref
    group by case_volume.programme_ref, case_volume.cohort, case_volume.requirement_ref

)

select
    'the roles do not add up to the counted cases' as offence,
    case_volume.trainee_ref,
    case_volume.requirement_ref
from case_volume
left join of_all_roles
    on
        case_volume.trainee_ref = of_all_roles.trainee_ref
        and case_volume.requirement_ref = of_all_roles.requirement_ref
where
    of_all_roles.trainee_ref is null
    or case_volume.counted_cases <> of_all_roles.counted_cases
    or case_volume.confirmed_cases <> of_all_roles.confirmed_cases
union all
select 'more cases count in a role than were logged in it' as offence, trainee_ref, requirement_ref
from volume_by_role
where counted_cases > logged_cases or confirmed_cases > counted_cases
union all
select
    'the line of a class does not add up to its trainees' as offence,
    of_all_trainees.cohort as trainee_ref,
    of_all_trainees.requirement_ref
from of_all_trainees
left join last_of_class
    on
        of_all_trainees.programme_ref = last_of_class.programme_ref
        and of_all_trainees.cohort = last_of_class.cohort
        and of_all_trainees.requirement_ref = last_of_class.requirement_ref
        and last_of_class.place = 1
where
    last_of_class.cohort is null
    or of_all_trainees.people <> last_of_class.graduates + last_of_class.people_left
    or of_all_trainees.met <> last_of_class.met
    or of_all_trainees.reached <> last_of_class.reached
    or abs(of_all_trainees.counted_cases - last_of_class.cases_mean * last_of_class.graduates) > 1e-6
union all
select 'the line of a class contradicts itself' as offence, cohort as trainee_ref, requirement_ref
from class_volume
where
    graduates <> met + below
    or cases_lowest > cases_median
    or cases_median > cases_highest
    or cases_lowest > cases_mean + 1e-6
    or cases_mean > cases_highest + 1e-6
union all
select 'who is out of date keeps no class from being final' as offence, trainee.trainee_ref, null as requirement_ref
from trainee
left join not_final
    on
        trainee.trainee_ref = not_final.trainee_ref
        and not_final.obstacle in ('no_data', 'not_current')
where trainee.is_current <> (not_final.trainee_ref is null);
