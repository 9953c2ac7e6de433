-- How many months of training had each trainee behind them by the end of each month?
--
-- Rows:   one per trainee and month, from the first of their training through the latest of their data, their cases
--         and their expected completion
-- Reads:  trainee, trainee_month, input.training
-- Source: contract of the views: months in training, without months of leave, part-time months by their fraction
create view definition.active_month as
with

rotated as (

    select
        trainee_month.trainee_ref,
        trainee_month.operated_month,
        joined_in_order(period."value", period."from") as rotation
    from trainee_month
    inner join input.training as period
        on
            trainee_month.trainee_ref = period.trainee_ref
            and period.kind = 'rotation'
            and trainee_month.operated_month >= period."from"
            and (period."to" is null or trainee_month.operated_month <= period."to")
    group by trainee_month.trainee_ref, trainee_month.operated_month

)

select
    trainee.programme_ref,
    trainee.cohort,
    trainee.trainee_ref,
    trainee_month.operated_month as calendar_month,
    cast(trainee_month.counts_as as double) as counts_as,
    cast(trainee_month.active_month as double) as active_month,
    trainee_month.training_month,
    trainee_month.training_quarter,
    trainee_month.performed_elsewhere as is_elsewhere,
    rotated.rotation,
    trainee.data_through
from trainee_month
inner join trainee on trainee_month.trainee_ref = trainee.trainee_ref
left join rotated
    on trainee_month.trainee_ref = rotated.trainee_ref and trainee_month.operated_month = rotated.operated_month
where trainee_month.is_training;

comment on view definition.active_month is
'How many months of training had each trainee behind them by the end of each month? Counted from the earlier of started and credit_from; a month of leave counts nothing, a part-time month its fraction, of overlapping ones the smallest. Every comparison at the same time of training, every quarter, band and forecast runs on this clock. Months after the data are the plan.';
comment on column definition.active_month.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.active_month.cohort is
'The class: the academic year in which its trainees are to complete.';
comment on column definition.active_month.trainee_ref is 'The trainee, as a pseudonym.';
comment on column definition.active_month.calendar_month is 'The month of the calendar.';
comment on column definition.active_month.counts_as is
'How much of the month counts: 1, 0 on leave, or the fraction of part-time training.';
comment on column definition.active_month.active_month is
'Months of training through the end of this one: the exact sum of what each counts.';
comment on column definition.active_month.training_month is
'The month of training in which it lies: active_month rounded up, and at least 1.';
comment on column definition.active_month.training_quarter is
'The quarter of training in which it lies: a third of active_month rounded up, and at least 1.';
comment on column definition.active_month.is_elsewhere is
'Whether what was operated then was performed elsewhere.';
comment on column definition.active_month.rotation is
'The service to which the trainee was assigned; several joined by a semicolon, blank with none.';
comment on column definition.active_month.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
