-- In which roles did each trainee log the cases of each requirement, and how many of them count, by the end of each month?
--
-- Rows:   one per trainee, counted requirement in force for their class, role of the specialty, and month in which the
--         trainee logged a case of the requirement in that role; and one with a blank month, from before the first
-- Reads:  trainee, requirement, requirement_window, role, logged_count
-- Source: the cases of case_credit
create view definition.volume_by_role as
with

logged as (

    select
        trainee_ref,
        requirement_ref,
        role,
        operated_month,
        sum(logged_cases) as logged_cases,
        sum(counted_cases) as counted_cases,
        sum(confirmed_cases) as confirmed_cases
    from logged_count
    where requirement_ref is not null
    group by trainee_ref, requirement_ref, role, operated_month

),

expected as (

    select
        trainee.programme_ref,
        trainee.cohort,
        trainee.trainee_ref,
        requirement.requirement_ref,
        role.role,
        trainee.data_through
    from trainee
    inner join requirement_window
        on trainee.trainee_ref = requirement_window.trainee_ref and requirement_window.is_in_force
    inner join requirement
        on requirement_window.requirement_ref = requirement.requirement_ref and requirement.minimum is not null
    cross join role

),

by_month as (

    select
        trainee_ref,
        requirement_ref,
        role,
        operated_month as through_month,
        sum(logged_cases) over so_far as logged_cases,
        sum(counted_cases) over so_far as counted_cases,
        sum(confirmed_cases) over so_far as confirmed_cases
    from logged
    window so_far as (
        partition by trainee_ref, requirement_ref, role
        order by operated_month
        rows between unbounded preceding and current row
    )

    union all

    select
        trainee_ref,
        requirement_ref,
        role,
        cast(null as varchar) as through_month,
        0 as logged_cases,
        0 as counted_cases,
        0 as confirmed_cases
    from expected

)

select
    expected.programme_ref,
    expected.cohort,
    expected.trainee_ref,
    expected.requirement_ref,
    expected.role,
    by_month.through_month,
    cast(by_month.logged_cases as bigint) as logged_cases,
    cast(by_month.counted_cases as bigint) as counted_cases,
    cast(by_month.confirmed_cases as bigint) as confirmed_cases,
    expected.data_through
from expected
inner join by_month
    on
        expected.trainee_ref = by_month.trainee_ref
        and expected.requirement_ref = by_month.requirement_ref
        and expected.role = by_month.role;

comment on view definition.volume_by_role is
'In which roles did each trainee log the cases of each requirement, and how many of them count, by the end of each month? A row for each month in which a case of the role was operated, and one with a blank month, from before that; in between nothing changes. Counted cases of all roles add up to those of case_volume.';
comment on column definition.volume_by_role.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.volume_by_role.cohort is
'The class: the academic year in which its trainees are to complete.';
comment on column definition.volume_by_role.trainee_ref is 'The trainee, as a pseudonym.';
comment on column definition.volume_by_role.requirement_ref is
'The requirement, by its code in the specialty file.';
comment on column definition.volume_by_role.role is 'The role, by its code in the specialty file.';
comment on column definition.volume_by_role.through_month is
'Cases operated through the end of this month stand in the row; blank: before any of them.';
comment on column definition.volume_by_role.logged_cases is
'Cases in this role whose procedure or technique the requirement lists, whether they count or not.';
comment on column definition.volume_by_role.counted_cases is
'Cases among them that are credited toward the requirement.';
comment on column definition.volume_by_role.confirmed_cases is
'Credited cases among them in which the supervisor confirmed the role.';
comment on column definition.volume_by_role.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
