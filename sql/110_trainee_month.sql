-- Where in their training was each trainee in each month in which they operated?
--
-- Rows:   one per trainee and month with a case
-- Reads:  trainee, input.cases, input.training
-- Source: contract of the export format: inclusive months; a stage without an end ends when the next begins; of
--         two the later `from` holds; leave does not stop the training clock; elsewhere is before `started` or in
--         a period of kind elsewhere
create table main.trainee_month as
with

operated as (

    select distinct trainee_ref, operated_month
    from input.cases

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
        operated.trainee_ref,
        operated.operated_month,
        stage_period.stage,
        row_number() over (
            partition by operated.trainee_ref, operated.operated_month
            order by stage_period.first_month desc
        ) as place
    from operated
    inner join stage_period
        on
            operated.trainee_ref = stage_period.trainee_ref
            and month_number(operated.operated_month) >= stage_period.first_month
            and (
                stage_period.next_month is null
                or month_number(operated.operated_month) < stage_period.next_month
            )

),

away as (

    select distinct operated.trainee_ref, operated.operated_month
    from operated
    inner join input.training as period
        on
            operated.trainee_ref = period.trainee_ref
            and period.kind = 'elsewhere'
            and operated.operated_month >= period."from"
            and (period."to" is null or operated.operated_month <= period."to")

),

clocked as (

    -- The month of `started` is training month 1.
    select
        trainee.trainee_ref,
        operated.operated_month,
        month_number(operated.operated_month) - month_number(trainee.started) + 1 as training_month
    from operated
    inner join trainee on operated.trainee_ref = trainee.trainee_ref

)

select
    clocked.trainee_ref,
    clocked.operated_month,
    clocked.training_month,
    cast(floor((clocked.training_month - 1) / 3) as integer) + 1 as training_quarter,
    stage_by_month.stage,
    clocked.training_month < 1 or away.trainee_ref is not null as performed_elsewhere
from clocked
left join stage_by_month
    on
        clocked.trainee_ref = stage_by_month.trainee_ref
        and clocked.operated_month = stage_by_month.operated_month
        and stage_by_month.place = 1
left join away
    on clocked.trainee_ref = away.trainee_ref and clocked.operated_month = away.operated_month;
