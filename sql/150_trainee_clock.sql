-- How far has each trainee's training come, as far as the data can tell, and is it over?
--
-- Rows:   one per trainee of the roster
-- Reads:  trainee, input.programme
-- Source: contract of the views: training quarter 1 is the first three months from `started`; design: bands
--         for trainees come from completed earlier cohorts only
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

    select *, month_number(last_month) - month_number(started) + 1 as last_training_month
    from last_month_of_data

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
    clocked.last_training_month,
    cast(floor((clocked.last_training_month - 1) / 3) as integer) + 1 as last_training_quarter,
    -- The data reach into this quarter and not to its end, and training goes on after them.
    case
        when clocked.last_training_month % 3 <> 0 and coalesce(clocked.last_month <> clocked.over_in, true)
            then cast(floor((clocked.last_training_month - 1) / 3) as integer) + 1
    end as quarter_so_far,
    clocked.has_completed,
    clocked.has_completed and finished_class.cohort is not null as of_completed_class,
    clocked.data_through
from clocked
left join finished_class
    on clocked.programme_ref = finished_class.programme_ref and clocked.cohort = finished_class.cohort;
