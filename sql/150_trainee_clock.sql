-- How far has each trainee's training come, as far as the data can tell, what is left of it, and is it over?
--
-- Rows:   one per trainee of the roster
-- Reads:  trainee, trainee_month, input.programme
-- Source: contract of the views: active_month, and training_quarter = ceil(active_month / 3); design: bands for
--         trainees come from completed earlier cohorts only
create table main.trainee_clock as
with

last_month_of_data as (

    -- Training that is over does not go on, however long somebody keeps sending data.
    select
        trainee.*,
        case
            when trainee.data_through is not null
                then least(trainee.data_through, trainee.completed, trainee."left")
        end as last_month,
        least(trainee.completed, trainee."left") as over_in,
        coalesce(trainee.completed <= substr(programme.as_of, 1, 7), false) as has_completed
    from trainee
    cross join input.programme as programme

),

clocked as (

    -- Data that end before the training began tell of none of it.
    select
        last_month_of_data.*,
        case
            when last_month_of_data.last_month is not null
                then coalesce(trainee_month.active_month, cast(0 as decimal(18, 6)))
        end as active_month,
        case
            when last_month_of_data.last_month is not null then coalesce(trainee_month.training_month, 0)
        end as last_training_month
    from last_month_of_data
    left join trainee_month
        on
            last_month_of_data.trainee_ref = trainee_month.trainee_ref
            and last_month_of_data.last_month = trainee_month.operated_month
            and trainee_month.is_training

),

ahead as (

    select
        last_month_of_data.trainee_ref,
        cast(sum(trainee_month.counts_as) as decimal(18, 6)) as months_left
    from last_month_of_data
    inner join trainee_month
        on
            last_month_of_data.trainee_ref = trainee_month.trainee_ref
            and last_month_of_data.last_month < trainee_month.operated_month
            and last_month_of_data.expected_completion >= trainee_month.operated_month
    group by last_month_of_data.trainee_ref

),

finished_class as (

    -- A class is over when nobody of it is still in training; who left is no longer in it.
    select programme_ref, cohort
    from clocked
    group by programme_ref, cohort
    having min(case when training_is_over then 1 else 0 end) = 1

)

select
    clocked.programme_ref,
    clocked.cohort,
    clocked.trainee_ref,
    clocked.last_month,
    clocked.active_month,
    -- What is left by the plan: nothing once training is over, blank with no data.
    case
        when clocked.last_month is null then null
        when clocked.training_is_over then cast(0 as decimal(18, 6))
        else coalesce(ahead.months_left, cast(0 as decimal(18, 6)))
    end as months_left,
    clocked.last_training_month,
    cast(floor((clocked.last_training_month + 2) / 3) as integer) as last_training_quarter,
    -- The data reach into this quarter and not to its end, and training goes on after them.
    case
        when
            clocked.last_training_month > 0
            and (clocked.active_month = 0 or clocked.active_month % 3 <> 0)
            and coalesce(clocked.last_month <> clocked.over_in, true)
            then cast(floor((clocked.last_training_month + 2) / 3) as integer)
    end as quarter_so_far,
    clocked.has_completed,
    clocked.has_completed and finished_class.cohort is not null as of_completed_class,
    clocked.data_through
from clocked
left join ahead on clocked.trainee_ref = ahead.trainee_ref
left join finished_class
    on clocked.programme_ref = finished_class.programme_ref and clocked.cohort = finished_class.cohort;
