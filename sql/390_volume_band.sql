-- How many cases had trainees of completed classes at the same month of training?
--
-- Rows:   one per programme, counted requirement and training month that somebody of a completed class
--         reached
-- Reads:  volume_course, trainee_clock
-- Source: quantiles: 020_spread.sql; who may be behind them, and how many: the design's rule for what
--         trainees see
create view definition.volume_band as
with

completed as (

    select
        volume_course.programme_ref,
        volume_course.requirement_ref,
        volume_course.training_month,
        volume_course.counted_cases,
        row_number() over (
            partition by
                volume_course.programme_ref, volume_course.requirement_ref, volume_course.training_month
            order by volume_course.counted_cases
        ) as place,
        count(*) over (
            partition by
                volume_course.programme_ref, volume_course.requirement_ref, volume_course.training_month
        ) as people
    from main.volume_course
    inner join trainee_clock on volume_course.trainee_ref = trainee_clock.trainee_ref
    where trainee_clock.of_completed_class

),

spread as (

    select
        programme_ref,
        requirement_ref,
        training_month,
        people,
        sum(counted_cases * quantile_weight(place, people, 0.1e0)) as p10,
        sum(counted_cases * quantile_weight(place, people, 0.25e0)) as p25,
        sum(counted_cases * quantile_weight(place, people, 0.5e0)) as p50,
        sum(counted_cases * quantile_weight(place, people, 0.75e0)) as p75,
        sum(counted_cases * quantile_weight(place, people, 0.9e0)) as p90
    from completed
    group by programme_ref, requirement_ref, training_month, people

)

-- Median and quartiles from 10 people, 10 and 90 from 20: with fewer they would be somebody's own number.
select
    programme_ref,
    requirement_ref,
    training_month,
    case when people >= 20 then cast(floor(p10 + 0.5e0) as bigint) end as p10,
    case when people >= 10 then cast(floor(p25 + 0.5e0) as bigint) end as p25,
    case when people >= 10 then cast(floor(p50 + 0.5e0) as bigint) end as p50,
    case when people >= 10 then cast(floor(p75 + 0.5e0) as bigint) end as p75,
    case when people >= 20 then cast(floor(p90 + 0.5e0) as bigint) end as p90,
    people
from spread;

comment on view definition.volume_band is
'How many cases had trainees of completed classes at the same month of training? Completed classes of the programme, pooled, never a class that is still in training; rounded to whole cases. Who left before completing is not among them.';
comment on column definition.volume_band.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.volume_band.requirement_ref is
'The requirement, by its code in the specialty file.';
comment on column definition.volume_band.training_month is
'The month of training: active_month rounded up.';
comment on column definition.volume_band.p10 is
'One in ten had this many counted cases or fewer; blank below 20 people.';
comment on column definition.volume_band.p25 is 'One in four had this many or fewer; blank below 10 people.';
comment on column definition.volume_band.p50 is 'Half had this many or fewer; blank below 10 people.';
comment on column definition.volume_band.p75 is
'Three in four had this many or fewer; blank below 10 people.';
comment on column definition.volume_band.p90 is 'Nine in ten had this many or fewer; blank below 20 people.';
comment on column definition.volume_band.people is
'Trainees of completed classes whose training reached that month.';
