-- Which rotations brought earlier trainees the cases of each requirement, and how many has a trainee had and will have?
--
-- Rows:   one per trainee in training, counted requirement in force for their class, and rotation of the programme
-- Reads:  trainee, trainee_clock, trainee_month, case_volume, credited_month, input.training
-- Source: months and cases of completed classes, pooled; a rotation without an end says nothing of the months after
--         the data
create view definition.rotation_yield as
with

period as (

    select
        training.trainee_ref,
        lower(training."value") as rotation,
        training."from" as first_month,
        training."to" as last_month
    from input.training as training
    where training.kind = 'rotation' and training."value" is not null

),

placed as (

    -- A month once for each rotation, however many lines name it.
    select distinct
        trainee_clock.programme_ref,
        trainee_clock.trainee_ref,
        trainee_clock.of_completed_class,
        period.rotation,
        trainee_month.operated_month,
        trainee_month.counts_as,
        trainee_month.operated_month > trainee_clock.last_month as is_ahead
    from trainee_clock
    inner join trainee
        on trainee_clock.trainee_ref = trainee.trainee_ref and trainee_clock.last_month is not null
    inner join period on trainee_clock.trainee_ref = period.trainee_ref
    inner join trainee_month
        on
            period.trainee_ref = trainee_month.trainee_ref
            and period.first_month <= trainee_month.operated_month
            and coalesce(period.last_month, trainee_clock.last_month) >= trainee_month.operated_month
            and trainee_month.is_training
    where trainee_month.operated_month <= greatest(trainee_clock.last_month, trainee.expected_completion)

),

earlier as (

    -- Of whom no rotation is entered it is not known where their cases came from.
    select programme_ref, trainee_ref
    from placed
    where of_completed_class
    group by programme_ref, trainee_ref

),

rotation as (

    select programme_ref, rotation
    from placed
    group by programme_ref, rotation

),

months_inside as (

    select
        placed.programme_ref,
        placed.rotation,
        case_volume.requirement_ref,
        sum(placed.counts_as) as months
    from placed
    inner join main.case_volume on placed.trainee_ref = case_volume.trainee_ref
    where placed.of_completed_class and not placed.is_ahead
    group by placed.programme_ref, placed.rotation, case_volume.requirement_ref

),

cases_inside as (

    select
        placed.programme_ref,
        placed.rotation,
        credited_month.requirement_ref,
        sum(credited_month.counted_cases) as cases
    from placed
    inner join main.credited_month
        on
            placed.trainee_ref = credited_month.trainee_ref
            and placed.operated_month = credited_month.operated_month
    where placed.of_completed_class and not placed.is_ahead
    group by placed.programme_ref, placed.rotation, credited_month.requirement_ref

),

months_in_all as (

    select
        earlier.programme_ref,
        case_volume.requirement_ref,
        sum(trainee_clock.active_month) as months,
        count(*) as people
    from earlier
    inner join trainee_clock on earlier.trainee_ref = trainee_clock.trainee_ref
    inner join main.case_volume on earlier.trainee_ref = case_volume.trainee_ref
    group by earlier.programme_ref, case_volume.requirement_ref

),

cases_in_all as (

    select
        earlier.programme_ref,
        credited_month.requirement_ref,
        sum(credited_month.counted_cases) as cases
    from earlier
    inner join trainee_clock on earlier.trainee_ref = trainee_clock.trainee_ref
    inner join main.credited_month
        on
            earlier.trainee_ref = credited_month.trainee_ref
            and trainee_clock.last_month >= credited_month.operated_month
    group by earlier.programme_ref, credited_month.requirement_ref

),

own as (

    select
        trainee_ref,
        rotation,
        sum(case when is_ahead then 0 else counts_as end) as months_had,
        sum(case when is_ahead then counts_as else 0 end) as months_to_come
    from placed
    group by trainee_ref, rotation

),

own_periods as (

    select
        period.trainee_ref,
        period.rotation,
        count(*) filter (where period.last_month <= trainee_clock.last_month) as rotations_had,
        count(*) filter (
            where
            period.first_month <= trainee_clock.last_month
            and (period.last_month is null or period.last_month > trainee_clock.last_month)
        ) as rotations_running,
        count(*) filter (where period.first_month > trainee_clock.last_month) as rotations_to_come
    from period
    inner join trainee_clock on period.trainee_ref = trainee_clock.trainee_ref
    group by period.trainee_ref, period.rotation

),

planned as (

    -- How many of the active months that are left stand in any rotation?
    select
        trainee_ref,
        sum(counts_as) as months
    from (
        select distinct trainee_ref, operated_month, counts_as
        from placed
        where is_ahead
    ) as entered
    group by trainee_ref

)

select
    case_volume.programme_ref,
    case_volume.cohort,
    case_volume.trainee_ref,
    case_volume.requirement_ref,
    rotation.rotation,
    cast(coalesce(cases_inside.cases, 0) as double) / cast(nullif(months_inside.months, 0) as double)
        as a_month_inside,
    cast(coalesce(cases_in_all.cases, 0) - coalesce(cases_inside.cases, 0) as double)
    / cast(nullif(months_in_all.months - coalesce(months_inside.months, 0), 0) as double) as a_month_outside,
    cast(coalesce(cases_inside.cases, 0) as bigint) as cases_inside,
    cast(coalesce(months_inside.months, 0) as double) as months_inside,
    coalesce(months_in_all.people, 0) as people,
    cast(coalesce(own.months_had, 0) as double) as months_had,
    case when planned.months > 0 then cast(coalesce(own.months_to_come, 0) as double) end as months_to_come,
    coalesce(own_periods.rotations_had, 0) as rotations_had,
    coalesce(own_periods.rotations_running, 0) as rotations_running,
    case when planned.months > 0 then coalesce(own_periods.rotations_to_come, 0) end as rotations_to_come,
    cast(trainee_clock.months_left - coalesce(planned.months, 0) as double) as months_not_entered,
    case_volume.data_through
from main.case_volume
inner join trainee on case_volume.trainee_ref = trainee.trainee_ref and not trainee.training_is_over
inner join trainee_clock on case_volume.trainee_ref = trainee_clock.trainee_ref
inner join rotation on case_volume.programme_ref = rotation.programme_ref
left join months_inside
    on
        rotation.programme_ref = months_inside.programme_ref
        and rotation.rotation = months_inside.rotation
        and case_volume.requirement_ref = months_inside.requirement_ref
left join cases_inside
    on
        rotation.programme_ref = cases_inside.programme_ref
        and rotation.rotation = cases_inside.rotation
        and case_volume.requirement_ref = cases_inside.requirement_ref
left join months_in_all
    on
        case_volume.programme_ref = months_in_all.programme_ref
        and case_volume.requirement_ref = months_in_all.requirement_ref
left join cases_in_all
    on
        case_volume.programme_ref = cases_in_all.programme_ref
        and case_volume.requirement_ref = cases_in_all.requirement_ref
left join own on case_volume.trainee_ref = own.trainee_ref and rotation.rotation = own.rotation
left join own_periods
    on case_volume.trainee_ref = own_periods.trainee_ref and rotation.rotation = own_periods.rotation
left join planned on case_volume.trainee_ref = planned.trainee_ref;

comment on view definition.rotation_yield is
'Which rotations brought earlier trainees the cases of each requirement, and how many has a trainee had and will have? Cases a month of completed classes, pooled, inside and outside each rotation; of the trainee the active months of it through the end of the data, and after it as far as training.csv says.';
comment on column definition.rotation_yield.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.rotation_yield.cohort is
'The class: the academic year in which its trainees are to complete.';
comment on column definition.rotation_yield.trainee_ref is 'The trainee, as a pseudonym.';
comment on column definition.rotation_yield.requirement_ref is
'The requirement, by its code in the specialty file.';
comment on column definition.rotation_yield.rotation is 'The service, in lower case.';
comment on column definition.rotation_yield.a_month_inside is
'Counted cases in an active month of earlier trainees in this rotation; blank where none had it.';
comment on column definition.rotation_yield.a_month_outside is
'Counted cases in an active month of the same people outside of it.';
comment on column definition.rotation_yield.cases_inside is 'Cases behind a_month_inside.';
comment on column definition.rotation_yield.months_inside is 'Active months behind a_month_inside.';
comment on column definition.rotation_yield.people is
'Earlier trainees for whom the requirement was in force and a rotation is entered.';
comment on column definition.rotation_yield.months_had is
'Active months of this rotation that the trainee had through the end of the data.';
comment on column definition.rotation_yield.months_to_come is
'Active months of it after the end of the data; blank where no rotation is entered for then.';
comment on column definition.rotation_yield.rotations_had is
'Periods of this rotation that are over by the end of the data.';
comment on column definition.rotation_yield.rotations_running is
'Periods of it that have begun by then and are not over; one without an end is not over.';
comment on column definition.rotation_yield.rotations_to_come is
'Periods of it that begin later; blank where no rotation is entered for then.';
comment on column definition.rotation_yield.months_not_entered is
'Active months that are left by the plan and stand in no rotation; blank with no data.';
comment on column definition.rotation_yield.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
