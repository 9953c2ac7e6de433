-- What had each trainee of every share and mean by the end of each month of training in which somebody stands today?
--
-- Rows:   one per trainee, measure and such month, for those whose data reach it and who had something by then
-- Reads:  trainee_clock, supervised_case, upper_level, operation_score
-- Source: the counts of supervision_mix, and the scores of operations
create table main.measure_month as
with

standing as (

    select distinct programme_ref, last_training_month as training_month
    from trainee_clock
    where last_training_month is not null

),

part as (

    select
        supervised_case.trainee_ref,
        concat('supervision_share:', supervised_case.procedure_group) as measure,
        supervised_case.training_month,
        cast(case when supervised_case.level_rank >= upper_level.level_rank then 1 else 0 end as decimal(18, 12))
            as amount
    from supervised_case
    cross join upper_level
    where supervised_case.level_ref is not null
    union all
    select trainee_ref, concat('score_mean:', step) as measure, training_month, score as amount
    from operation_score

),

by_month as (

    select
        trainee_ref,
        measure,
        training_month,
        count(*) as base,
        sum(amount) as amount,
        sum(in_fixed_places(cast(amount as double) * cast(amount as double))) as squares
    from part
    group by trainee_ref, measure, training_month

)

select
    trainee_clock.programme_ref,
    trainee_clock.trainee_ref,
    by_month.measure,
    standing.training_month,
    cast(sum(by_month.base) as bigint) as base,
    sum(by_month.amount) as amount,
    sum(by_month.squares) as squares
from standing
inner join trainee_clock
    on
        standing.programme_ref = trainee_clock.programme_ref
        and standing.training_month <= trainee_clock.last_training_month
inner join by_month
    on trainee_clock.trainee_ref = by_month.trainee_ref and standing.training_month >= by_month.training_month
group by trainee_clock.programme_ref, trainee_clock.trainee_ref, by_month.measure, standing.training_month;
