-- How far was each class with each required number of cases, by the end of each month?
--
-- Rows:   one per programme, class, counted requirement in force for it, and month in which a case of somebody of the
--         class counts toward any requirement; and one with a blank month, from before the first of them
-- Reads:  trainee, volume_by_month
-- Source: volume_by_month; median: 020_spread.sql
create view definition.class_volume as
with

line as (

    -- Who left before completing does not graduate: nothing of theirs is in the numbers of the class.
    select
        volume_by_month.*,
        trainee."left" is null as graduates,
        -- A blank month as a key that sorts before every other.
        coalesce(volume_by_month.through_month, '') as from_month,
        coalesce(
            lead(volume_by_month.through_month) over (
                partition by volume_by_month.trainee_ref, volume_by_month.requirement_ref
                order by volume_by_month.through_month nulls first
            ),
            '9999-99'
        ) as before_month
    from main.volume_by_month
    inner join trainee on volume_by_month.trainee_ref = trainee.trainee_ref

),

calendar as (

    select distinct programme_ref, cohort, requirement_ref, from_month
    from line

),

by_then as (

    select
        calendar.programme_ref,
        calendar.cohort,
        calendar.requirement_ref,
        calendar.from_month,
        line.minimum,
        line.graduates,
        line.met,
        line.reached,
        line.counted_cases,
        row_number() over (
            partition by
                calendar.programme_ref, calendar.cohort, calendar.requirement_ref, calendar.from_month,
                line.graduates
            order by line.counted_cases
        ) as place,
        count(*) over (
            partition by
                calendar.programme_ref, calendar.cohort, calendar.requirement_ref, calendar.from_month,
                line.graduates
        ) as people
    from calendar
    inner join line
        on
            calendar.programme_ref = line.programme_ref
            and calendar.cohort = line.cohort
            and calendar.requirement_ref = line.requirement_ref
            and calendar.from_month >= line.from_month
            and calendar.from_month < line.before_month

)

select
    programme_ref,
    cohort,
    requirement_ref,
    nullif(from_month, '') as through_month,
    max(minimum) as minimum,
    count(*) filter (where graduates) as graduates,
    count(*) filter (where graduates and met) as met,
    count(*) filter (where graduates and not met) as below,
    count(*) filter (where graduates and reached) as reached,
    cast(sum(counted_cases) filter (where graduates) as double)
    / nullif(count(*) filter (where graduates), 0) as cases_mean,
    sum(counted_cases * quantile_weight(place, people, 0.5e0)) filter (where graduates) as cases_median,
    min(counted_cases) filter (where graduates) as cases_lowest,
    max(counted_cases) filter (where graduates) as cases_highest,
    count(*) filter (where not graduates) as people_left
from by_then
group by programme_ref, cohort, requirement_ref, from_month;

comment on view definition.class_volume is
'How far was each class with each required number of cases, by the end of each month? A row for each month in which anything counts for somebody of the class, and one with a blank month, from before that; the last of them holds every case. Graduates are those of the class who have not left: who completed, and who are still to complete.';
comment on column definition.class_volume.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.class_volume.cohort is
'The class: the academic year in which its trainees are to complete.';
comment on column definition.class_volume.requirement_ref is
'The requirement, by its code in the specialty file.';
comment on column definition.class_volume.through_month is
'Cases operated through the end of this month are counted; blank: before any of them.';
comment on column definition.class_volume.minimum is 'How many cases the requirement asks for.';
comment on column definition.class_volume.graduates is
'Those of the class who have not left: who completed, and who are still to complete.';
comment on column definition.class_volume.met is
'Graduates whose counted cases reach the requirement''s own minimum.';
comment on column definition.class_volume.below is 'Graduates whose counted cases do not.';
comment on column definition.class_volume.reached is
'Graduates who meet it with no part of it short, or by a rule that stands in for it.';
comment on column definition.class_volume.cases_mean is 'The mean of their counted cases; blank without a graduate.';
comment on column definition.class_volume.cases_median is
'The median of their counted cases; blank without a graduate.';
comment on column definition.class_volume.cases_lowest is
'The fewest counted cases of a graduate; blank without one.';
comment on column definition.class_volume.cases_highest is
'The most counted cases of a graduate; blank without one.';
comment on column definition.class_volume.people_left is
'Those of the class who left before completing; in none of the other numbers.';
