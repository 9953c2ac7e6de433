-- How good is each trainee's log: how soon, how evenly and in what roles is it entered, and how much of it is confirmed?
--
-- Rows:   one per trainee of the roster and measure, also where nothing is known
-- Reads:  trainee, trainee_clock, trainee_month, case_record, role, procedure, finding, input.programme
-- Source: known faults of logs: roles logged too high in 26 of 83 cases (Perone 2017), backlogs of three months or more
--         for half of the residents; entered in time is within the programme's own current_within_days. Earlier
--         trainees: completed classes alone, as in volume_band
create view definition.log_quality as
with

measure as (

    select 'entered_in_time' as measure, 1 as "position"
    union all
    select 'entered_on_one_day' as measure, 2 as "position"
    union all
    select 'operating_role' as measure, 3 as "position"
    union all
    select 'role_confirmed' as measure, 4 as "position"
    union all
    select 'procedure_unmapped' as measure, 5 as "position"
    union all
    select 'case_ref_reused' as measure, 6 as "position"
    union all
    select 'months_without_cases' as measure, 7 as "position"

),

logged as (

    select
        case_record.trainee_ref,
        case_record.training_month,
        case_record.lag_days,
        case_record.same_day_logged,
        case_record.lag_days <= programme.current_within_days as is_in_time,
        role.operating as is_operating,
        case_record.supervisor_agreed,
        "procedure"."procedure" is null as is_unmapped
    from case_record
    cross join input.programme as programme
    left join role on case_record.role = role.role
    left join "procedure" on case_record."procedure" = "procedure"."procedure"

),

counted as (

    select
        trainee_ref,
        count(*) as cases,
        count(lag_days) as lags,
        count(*) filter (where is_in_time) as in_time,
        count(same_day_logged) as dated,
        count(is_operating) as with_role,
        count(*) filter (where is_operating) as operating,
        count(*) filter (where is_operating and supervisor_agreed) as confirmed,
        count(*) filter (where is_unmapped) as unmapped
    from logged
    group by trainee_ref

),

lag as (

    select trainee_ref, lag_days, count(*) as cases
    from logged
    where lag_days is not null
    group by trainee_ref, lag_days

),

-- The same delay stands at all places from the first to the last.
placed_lag as (

    select
        trainee_ref,
        lag_days,
        sum(cases) over so_far - cases + 1 as first_place,
        sum(cases) over so_far as last_place,
        sum(cases) over (partition by trainee_ref) as lags
    from lag
    window so_far as (
        partition by trainee_ref
        order by lag_days
        rows between unbounded preceding and current row
    )

),

median_lag as (

    -- The middle one, or the mean of the middle two.
    select
        trainee_ref,
        sum(
            lag_days * (
                case when floor((lags + 1) / 2e0) between first_place and last_place then 0.5e0 else 0e0 end
                + case when floor((lags + 2) / 2e0) between first_place and last_place then 0.5e0 else 0e0 end
            )
        ) as median_days
    from placed_lag
    group by trainee_ref

),

-- An export says of each row how many were logged that day; of those not all need be in use.
day_of_entry as (

    select trainee_ref, least(same_day_logged, count(*)) as entered
    from logged
    where same_day_logged is not null
    group by trainee_ref, same_day_logged

),

largest_day as (

    select trainee_ref, max(entered) as entered
    from day_of_entry
    group by trainee_ref

),

reused_row as (

    select distinct trainee_ref, intake_id, file_name, source_row
    from main.finding
    where "rule" = 'case_ref_reused'

),

reused as (

    select trainee_ref, count(*) as reused
    from reused_row
    group by trainee_ref

),

month_with_case as (

    select distinct trainee_ref, operated_month
    from case_record

),

-- Months of training here, through the end of the data, leave aside.
month_here as (

    select
        trainee_month.trainee_ref,
        count(*) as months,
        count(*) filter (where month_with_case.trainee_ref is null) as without_cases
    from trainee_month
    inner join trainee_clock on trainee_month.trainee_ref = trainee_clock.trainee_ref
    left join month_with_case
        on
            trainee_month.trainee_ref = month_with_case.trainee_ref
            and trainee_month.operated_month = month_with_case.operated_month
    where
        trainee_month.is_training
        and trainee_month.counts_as > 0
        and not trainee_month.performed_elsewhere
        and trainee_month.operated_month <= trainee_clock.last_month
    group by trainee_month.trainee_ref

),

taken as (

    select
        trainee.programme_ref,
        trainee.cohort,
        trainee.trainee_ref,
        measure.measure,
        measure."position",
        case measure.measure
            when 'entered_in_time' then counted.in_time
            when 'entered_on_one_day' then coalesce(largest_day.entered, 0)
            when 'operating_role' then counted.operating
            when 'role_confirmed' then counted.confirmed
            when 'procedure_unmapped' then counted.unmapped
            when 'case_ref_reused' then least(coalesce(reused.reused, 0), counted.cases)
            -- Late logs are not missing operations.
            when 'months_without_cases' then case when trainee.is_current then month_here.without_cases end
        end as numerator,
        case measure.measure
            when 'entered_in_time' then counted.lags
            when 'entered_on_one_day' then counted.dated
            when 'operating_role' then counted.with_role
            when 'role_confirmed' then counted.operating
            when 'months_without_cases' then case when trainee.is_current then month_here.months end
            else counted.cases
        end as denominator,
        case when measure.measure = 'entered_in_time' then median_lag.median_days end as median_days,
        case when measure.measure = 'entered_in_time' then programme.current_within_days end as within_days,
        trainee.data_through
    from trainee
    cross join measure
    cross join input.programme as programme
    left join counted on trainee.trainee_ref = counted.trainee_ref
    left join median_lag on trainee.trainee_ref = median_lag.trainee_ref
    left join largest_day on trainee.trainee_ref = largest_day.trainee_ref
    left join reused on trainee.trainee_ref = reused.trainee_ref
    left join month_here on trainee.trainee_ref = month_here.trainee_ref

),

-- Who is still in training, beside each earlier trainee whose training reached that month.
beside as (

    select
        own.trainee_ref,
        earlier.trainee_ref as earlier_ref,
        own.last_training_month
    from trainee_clock as own
    inner join trainee_clock as earlier
        on own.programme_ref = earlier.programme_ref and own.last_training_month <= earlier.last_training_month
    where not own.of_completed_class and not own.has_completed and own.last_training_month > 0
        and earlier.of_completed_class

),

role_by_month as (

    select
        trainee_ref,
        training_month,
        count(is_operating) as with_role,
        count(*) filter (where is_operating) as operating
    from logged
    group by trainee_ref, training_month

),

earlier_share as (

    select
        beside.trainee_ref,
        beside.earlier_ref,
        cast(sum(role_by_month.operating) as double) / sum(role_by_month.with_role) as operating_share
    from beside
    inner join role_by_month
        on
            beside.earlier_ref = role_by_month.trainee_ref
            and beside.last_training_month >= role_by_month.training_month
    group by beside.trainee_ref, beside.earlier_ref
    having sum(role_by_month.with_role) > 0

),

placed as (

    select
        trainee_ref,
        operating_share,
        row_number() over (partition by trainee_ref order by operating_share) as place,
        count(*) over (partition by trainee_ref) as people
    from earlier_share

),

earlier as (

    select
        trainee_ref,
        people,
        sum(operating_share * quantile_weight(place, people, 0.25e0)) as p25,
        sum(operating_share * quantile_weight(place, people, 0.5e0)) as p50,
        sum(operating_share * quantile_weight(place, people, 0.75e0)) as p75
    from placed
    group by trainee_ref, people

)

-- With fewer than ten people a quartile would be somebody's own number.
select
    taken.programme_ref,
    taken.cohort,
    taken.trainee_ref,
    taken.measure,
    taken."position",
    case when taken.denominator > 0 then taken.numerator end as numerator,
    nullif(taken.denominator, 0) as denominator,
    cast(taken.numerator as double) / nullif(taken.denominator, 0) as "value",
    taken.median_days,
    taken.within_days,
    case when earlier.people >= 10 then earlier.p25 end as earlier_low,
    case when earlier.people >= 10 then earlier.p50 end as earlier_median,
    case when earlier.people >= 10 then earlier.p75 end as earlier_high,
    earlier.people as earlier_people,
    taken.data_through
from taken
left join earlier on taken.trainee_ref = earlier.trainee_ref and taken.measure = 'operating_role';

comment on view definition.log_quality is
'How good is each trainee''s log: how soon, how evenly and in what roles is it entered, and how much of it is confirmed? A log that is entered late, on one day, or in higher roles than those of earlier trainees is not a wrong log: it is one to look at. Where nothing is known of a measure its numbers are blank.';
comment on column definition.log_quality.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.log_quality.cohort is
'The class: the academic year in which its trainees are to complete.';
comment on column definition.log_quality.trainee_ref is 'The trainee, as a pseudonym.';
comment on column definition.log_quality.measure is
'entered_in_time (within the days of current_within_days after the operation, of rows that say when they were logged), entered_on_one_day (the most rows logged on one day, of the same), operating_role (cases logged in a role that operates, of all with a role of the specialty), role_confirmed (supervisor_agreed yes, of cases in an operating role), procedure_unmapped (of all cases), case_ref_reused (rows whose case_ref stands for operations on different days, of all cases), months_without_cases (of the months of training here through the end of the data, leave aside; only while the data are current).';
comment on column definition.log_quality."position" is 'Its place in a list.';
comment on column definition.log_quality.numerator is 'How many; blank where nothing is known.';
comment on column definition.log_quality.denominator is 'Of how many; blank where nothing is known.';
comment on column definition.log_quality."value" is 'numerator / denominator.';
comment on column definition.log_quality.median_days is
'Of entered_in_time: the days between operation and entry that half of the rows do not exceed.';
comment on column definition.log_quality.within_days is
'Of entered_in_time: the days, current_within_days of programme.yaml.';
comment on column definition.log_quality.earlier_low is
'Of operating_role: what a quarter of earlier trainees did not exceed, through the same active month. Earlier ones are of completed classes; blank below 10 of them, and for whoever has completed.';
comment on column definition.log_quality.earlier_median is 'The same for half of them.';
comment on column definition.log_quality.earlier_high is 'The same for three quarters.';
comment on column definition.log_quality.earlier_people is 'How many of them had a case with a role by that month.';
comment on column definition.log_quality.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
