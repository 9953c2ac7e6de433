-- Where in their training was each trainee in each month, and how much of it did the month count?
--
-- Rows:   one per trainee and month, from the first of their training, or of a case before it, through the latest of
--         their data, their cases and their expected completion
-- Reads:  trainee, input.cases, input.training, input.programme
-- Source: contract of the views: months in training count from the earlier of `started` and `credit_from`, months of
--         leave not, part-time months by their fraction, of overlaps the smallest. Stages stay on the calendar: a
--         stage without an end ends when the next begins; of two the later `from` holds; elsewhere is before
--         `started` or in a period of kind elsewhere
create table main.trainee_month as
with

operated as (

    select
        trainee_ref,
        min(month_number(operated_month)) as first_month,
        max(month_number(operated_month)) as last_month
    from input.cases
    group by trainee_ref

),

spanned as (

    -- Nobody looks further ahead than twenty years, whatever a roster says.
    select
        trainee.trainee_ref,
        month_number(trainee.started) as started_month,
        least(month_number(trainee.started), month_number(trainee.credit_from)) as first_of_clock,
        least(month_number(trainee.started), month_number(trainee.credit_from), operated.first_month) as first_month,
        greatest(
            month_number(trainee.started),
            operated.last_month,
            month_number(trainee.data_through),
            least(month_number(trainee.expected_completion), month_number(programme.as_of) + 240)
        ) as last_month
    from trainee
    cross join input.programme as programme
    left join operated on trainee.trainee_ref = operated.trainee_ref

),

month_of_trainee as (

    select
        spanned.trainee_ref,
        spanned.started_month,
        spanned.first_of_clock,
        spanned.first_month + part.place - 1 as month_count,
        month_text(spanned.first_month + part.place - 1) as calendar_month
    from spanned
    cross join unnest(numbers_to(spanned.last_month - spanned.first_month + 1)) as part (place)

),

reduced as (

    select
        month_of_trainee.trainee_ref,
        month_of_trainee.month_count,
        min(case period.kind when 'leave' then 0 else month_share(period."value") end) as counts_as
    from month_of_trainee
    inner join input.training as period
        on
            month_of_trainee.trainee_ref = period.trainee_ref
            and period.kind in ('leave', 'part_time')
            and month_of_trainee.calendar_month >= period."from"
            and (period."to" is null or month_of_trainee.calendar_month <= period."to")
    group by month_of_trainee.trainee_ref, month_of_trainee.month_count

),

stage_period as (

    select
        trainee_ref,
        lower("value") as stage,
        month_number("from") as first_month,
        -- The first month after the stage.
        coalesce(
            month_number("to") + 1,
            lead(month_number("from")) over (partition by trainee_ref order by "from")
        ) as next_month
    from input.training
    where kind = 'stage'

),

stage_by_month as (

    select
        month_of_trainee.trainee_ref,
        month_of_trainee.month_count,
        stage_period.stage,
        row_number() over (
            partition by month_of_trainee.trainee_ref, month_of_trainee.month_count
            order by stage_period.first_month desc
        ) as place
    from month_of_trainee
    inner join stage_period
        on
            month_of_trainee.trainee_ref = stage_period.trainee_ref
            and month_of_trainee.month_count >= stage_period.first_month
            and (stage_period.next_month is null or month_of_trainee.month_count < stage_period.next_month)

),

away as (

    select distinct month_of_trainee.trainee_ref, month_of_trainee.month_count
    from month_of_trainee
    inner join input.training as period
        on
            month_of_trainee.trainee_ref = period.trainee_ref
            and period.kind = 'elsewhere'
            and month_of_trainee.calendar_month >= period."from"
            and (period."to" is null or month_of_trainee.calendar_month <= period."to")

),

clocked as (

    select
        month_of_trainee.*,
        case
            when month_of_trainee.month_count < month_of_trainee.first_of_clock then cast(0 as decimal(12, 6))
            else coalesce(reduced.counts_as, cast(1 as decimal(12, 6)))
        end as counts_as
    from month_of_trainee
    left join reduced
        on
            month_of_trainee.trainee_ref = reduced.trainee_ref
            and month_of_trainee.month_count = reduced.month_count

),

summed as (

    select
        *,
        cast(sum(counts_as) over (
            partition by trainee_ref
            order by month_count
            rows between unbounded preceding and current row
        ) as decimal(18, 6)) as active_month
    from clocked

)

select
    summed.trainee_ref,
    summed.calendar_month as operated_month,
    summed.month_count >= summed.first_of_clock as is_training,
    summed.counts_as,
    summed.active_month,
    cast(greatest(1, -floor(-summed.active_month)) as integer) as training_month,
    cast(greatest(1, -floor(-summed.active_month / 3)) as integer) as training_quarter,
    stage_by_month.stage,
    summed.month_count < summed.started_month or away.trainee_ref is not null as performed_elsewhere
from summed
left join stage_by_month
    on
        summed.trainee_ref = stage_by_month.trainee_ref
        and summed.month_count = stage_by_month.month_count
        and stage_by_month.place = 1
left join away
    on summed.trainee_ref = away.trainee_ref and summed.month_count = away.month_count;
