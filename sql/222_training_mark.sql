-- What stands under the time of each trainee's training: rotations, leave, months elsewhere, a transfer, the end of the data?
--
-- Rows:   one per trainee, kind of mark and first month: a rotation, a leave, a stretch elsewhere, at most one transfer,
--         and the end of the data
-- Reads:  trainee, trainee_month, trainee_clock, input.training
-- Source: the clock of active_month: leave takes no room on it. Why somebody was on leave is in no table
create view definition.training_mark as
with

reached as (

    -- Through the plan of who is in training, through the end of the data of who is not.
    select
        trainee.trainee_ref,
        trainee_clock.last_month,
        case
            when trainee.training_is_over then trainee_clock.last_month
            else greatest(coalesce(trainee_clock.last_month, trainee.started), trainee.expected_completion)
        end as until_month
    from trainee
    inner join trainee_clock on trainee.trainee_ref = trainee_clock.trainee_ref

),

stretch as (

    select
        period.trainee_ref,
        period.kind,
        period."from" as first_month,
        case when period.kind = 'rotation' then lower(period."value") end as rotation,
        min(trainee_month.active_month - trainee_month.counts_as) as active_from,
        max(trainee_month.active_month) as active_to,
        count(*) as months,
        min(trainee_month.operated_month) > coalesce(max(reached.last_month), '') as is_ahead
    from input.training as period
    inner join reached on period.trainee_ref = reached.trainee_ref
    inner join trainee_month
        on
            period.trainee_ref = trainee_month.trainee_ref
            and period."from" <= trainee_month.operated_month
            and coalesce(period."to", reached.last_month) >= trainee_month.operated_month
            and reached.until_month >= trainee_month.operated_month
            and trainee_month.is_training
    where period.kind in ('rotation', 'leave', 'elsewhere')
    group by period.trainee_ref, period.kind, period."from", period."value"

),

point as (

    -- Cases before the start were performed elsewhere: the month of the start is that of the transfer.
    select
        trainee.trainee_ref,
        'transfer' as kind,
        trainee.started as first_month,
        trainee_month.active_month - trainee_month.counts_as as active_month
    from trainee
    inner join trainee_month
        on trainee.trainee_ref = trainee_month.trainee_ref and trainee.started = trainee_month.operated_month
    where trainee.started > trainee.credit_from
    union all
    select
        trainee_ref,
        'data_end' as kind,
        last_month as first_month,
        active_month
    from trainee_clock
    where last_month is not null

),

marked as (

    select trainee_ref, kind, first_month, rotation, active_from, active_to, months, is_ahead
    from stretch
    union all
    select
        trainee_ref,
        kind,
        first_month,
        null as rotation,
        active_month as active_from,
        active_month as active_to,
        null as months,
        false as is_ahead
    from point

)

select
    trainee.programme_ref,
    trainee.cohort,
    trainee.trainee_ref,
    marked.kind,
    marked.first_month,
    marked.rotation,
    cast(marked.active_from as double) as active_from,
    cast(marked.active_to as double) as active_to,
    cast(marked.months as bigint) as months,
    marked.is_ahead,
    trainee.data_through
from marked
inner join trainee on marked.trainee_ref = trainee.trainee_ref;

comment on view definition.training_mark is
'What stands under the time of each trainee''s training: rotations, leave, months elsewhere, a transfer, the end of the data? Rotations after the data are the plan. Leave stops the clock, so it begins and ends at the same active month; why somebody was on leave is never said.';
comment on column definition.training_mark.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.training_mark.cohort is
'The class: the academic year in which its trainees are to complete.';
comment on column definition.training_mark.trainee_ref is 'The trainee, as a pseudonym.';
comment on column definition.training_mark.kind is
'rotation, leave, elsewhere (operated elsewhere), transfer (began here with training behind them), or data_end.';
comment on column definition.training_mark.first_month is
'The calendar month in which it begins; of the end of the data, the last month.';
comment on column definition.training_mark.rotation is 'The service of a rotation; blank for the rest.';
comment on column definition.training_mark.active_from is 'Active months of training behind the trainee where it begins.';
comment on column definition.training_mark.active_to is
'Active months where it ends; as where it begins, for leave, a transfer and the end of the data.';
comment on column definition.training_mark.months is
'Calendar months that it lasts; blank for a transfer and the end of the data.';
comment on column definition.training_mark.is_ahead is 'Whether it begins after the data: it is planned.';
comment on column definition.training_mark.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
