-- Where did each trainee stand in every measure at the end of each quarter of their training?
--
-- Rows:   one per trainee, measure and training quarter, from the first to the last of their data or
--         training; for rates, shares and means only from the first quarter with a case on
-- Reads:  trainee_clock, volume_course, outcome_quarter, complication, supervision_mix, upper_level,
--         operation_score
-- Source: the counts of case_volume, complication_rate, supervision_mix and technique_step, quarter by
--         quarter
create view definition.measure_course as
with

quarter as (

    select
        trainee_clock.programme_ref,
        trainee_clock.cohort,
        trainee_clock.trainee_ref,
        trainee_clock.last_training_month,
        part.training_quarter,
        trainee_clock.data_through
    from trainee_clock
    cross join unnest(numbers_to(trainee_clock.last_training_quarter)) as part (training_quarter)

),

attribution as (

    select 'as_logged' as attribution
    union all
    select 'as_started' as attribution
    union all
    select 'in_trainee_hands' as attribution

),

outcome as (

    select
        outcome_quarter.trainee_ref,
        outcome_quarter.training_quarter,
        concat('rate:', outcome_quarter.complication_ref, ':', attribution.attribution) as measure,
        case attribution.attribution
            when 'in_trainee_hands' then outcome_quarter.events_of_trainee
            else outcome_quarter.events
        end as amount,
        outcome_quarter.known_outcomes as base,
        0 as squares,
        case attribution.attribution when 'in_trainee_hands' then outcome_quarter.events_unclear else 0 end
            as unclear,
        -- A rate is shown only while half of the due cases of an outcome with a window are known.
        case
            when complication.window_days > 0
                then outcome_quarter.eligible_cases - outcome_quarter.not_yet_due
            else 0
        end as due
    from outcome_quarter
    inner join complication on outcome_quarter.complication_ref = complication.complication_ref
    cross join attribution
    where
        (outcome_quarter.in_operating_role or attribution.attribution <> 'as_logged')
        -- Nobody knows in whose hands an event after the operation happened.
        and (complication.window_days = 0 or attribution.attribution <> 'in_trainee_hands')

),

part as (

    select * from outcome
    union all
    select
        supervision_mix.trainee_ref,
        supervision_mix.training_quarter,
        concat('supervision_share:', supervision_mix.procedure_group) as measure,
        case
            when supervision_mix.level_rank >= upper_level.level_rank then supervision_mix.cases
            else 0
        end as amount,
        supervision_mix.cases as base,
        0 as squares,
        0 as unclear,
        0 as due
    from main.supervision_mix
    cross join upper_level
    where supervision_mix.level_ref is not null
    union all
    select
        trainee_ref,
        training_quarter,
        concat('score_mean:', step) as measure,
        score as amount,
        1 as base,
        in_fixed_places(cast(score as double) * cast(score as double)) as squares,
        0 as unclear,
        0 as due
    from operation_score

),

by_quarter as (

    select
        trainee_ref,
        training_quarter,
        measure,
        sum(amount) as amount,
        sum(base) as base,
        sum(squares) as squares,
        sum(unclear) as unclear,
        sum(due) as due
    from part
    group by trainee_ref, training_quarter, measure

)

select
    quarter.programme_ref,
    quarter.cohort,
    quarter.trainee_ref,
    by_quarter.measure,
    cast(quarter.training_quarter as integer) as training_quarter,
    cast(sum(by_quarter.amount) as double) as amount,
    cast(sum(by_quarter.base) as bigint) as base,
    cast(sum(by_quarter.squares) as double) as squares,
    cast(sum(by_quarter.due) as bigint) as due,
    cast(sum(by_quarter.unclear) as bigint) as unclear,
    quarter.data_through
from quarter
inner join by_quarter
    on
        quarter.trainee_ref = by_quarter.trainee_ref
        and quarter.training_quarter >= by_quarter.training_quarter
group by
    quarter.programme_ref,
    quarter.cohort,
    quarter.trainee_ref,
    by_quarter.measure,
    quarter.training_quarter,
    quarter.data_through
union all
select
    quarter.programme_ref,
    quarter.cohort,
    quarter.trainee_ref,
    concat('counted_cases:', volume_course.requirement_ref) as measure,
    cast(quarter.training_quarter as integer) as training_quarter,
    cast(volume_course.counted_cases as double) as amount,
    cast(null as bigint) as base,
    cast(0 as double) as squares,
    cast(0 as bigint) as due,
    cast(0 as bigint) as unclear,
    quarter.data_through
from quarter
inner join main.volume_course
    on
        quarter.trainee_ref = volume_course.trainee_ref
        and volume_course.training_month = least(3 * quarter.training_quarter, quarter.last_training_month);

comment on view definition.measure_course is
'Where did each trainee stand in every measure at the end of each quarter of their training? Counts from the beginning through the end of the quarter: A quarter that is still running holds what is there so far.';
comment on column definition.measure_course.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.measure_course.cohort is
'The class: the academic year in which its trainees are to complete.';
comment on column definition.measure_course.trainee_ref is 'The trainee, as a pseudonym.';
comment on column definition.measure_course.measure is
'What is measured: counted_cases:requirement, rate:complication:attribution, supervision_share:group (cases in an operating role at the second highest level of such a role or above), or score_mean:step.';
comment on column definition.measure_course.training_quarter is
'Three months of training on the clock of active_month, counted from 1: leave stops it, part-time slows it.';
comment on column definition.measure_course.amount is
'Cases counted; or events; or cases at the level; or the sum of the scores of operations (their reviews together): from the beginning through the end of the quarter.';
comment on column definition.measure_course.base is
'What the amount is divided by: known outcomes, cases with a recorded level, or operations scored; blank for counted cases.';
comment on column definition.measure_course.squares is
'The sum of the squared scores, from which their spread follows; 0 for other measures.';
comment on column definition.measure_course.due is
'Due cases of an outcome with a window; 0 for other measures.';
comment on column definition.measure_course.unclear is
'Events of which it is not clear who was operating, for rates in the trainee''s hands; 0 for other measures.';
comment on column definition.measure_course.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
