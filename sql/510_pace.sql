-- Where does each trainee stand beside earlier ones at the same time of training, and what became of those?
--
-- Rows:   one per trainee and counted requirement in force for their class
-- Reads:  case_volume, trainee, trainee_clock, trainee_month, credited_month, pace_backtest, pace_forecast
--         (pipelines/build/pace_tables.py)
-- Source: quartiles from 10 people, 10 and 90 from 20: the design's rule for bands; Wilson: 010_wilson.sql
create view definition.pace as
with

counted as (

    select
        credited_month.trainee_ref,
        credited_month.requirement_ref,
        sum(credited_month.counted_cases) as counted_cases,
        sum(case
            when trainee_month.active_month > trainee_clock.active_month - 6 then credited_month.counted_cases
            else 0
        end) as recent_cases
    from main.credited_month
    inner join trainee_clock on credited_month.trainee_ref = trainee_clock.trainee_ref
    inner join trainee_month
        on
            credited_month.trainee_ref = trainee_month.trainee_ref
            and credited_month.operated_month = trainee_month.operated_month
    where trainee_clock.last_month is null or credited_month.operated_month <= trainee_clock.last_month
    group by credited_month.trainee_ref, credited_month.requirement_ref

),

recent as (

    -- The latest six active months: a part-time month that reaches across the sixth is in whole.
    select trainee_clock.trainee_ref, sum(trainee_month.counts_as) as months
    from trainee_clock
    inner join trainee_month
        on
            trainee_clock.trainee_ref = trainee_month.trainee_ref
            and trainee_clock.last_month >= trainee_month.operated_month
            and trainee_clock.active_month - 6 < trainee_month.active_month
    group by trainee_clock.trainee_ref

),

tried as (

    select
        programme_ref,
        requirement_ref,
        min(case when forecast_is_shown then 1 else 0 end) = 1 as forecast_is_shown,
        min(case when range_is_tried then 1 else 0 end) = 1 as range_is_tried,
        sum(people) as people
    from main.pace_backtest
    group by programme_ref, requirement_ref

),

until_deadline as (

    -- Where a rule's cases count through a month only, what lies after it does not help.
    select
        case_volume.trainee_ref,
        case_volume.requirement_ref,
        sum(trainee_month.counts_as) as months
    from main.case_volume
    inner join trainee on case_volume.trainee_ref = trainee.trainee_ref
    inner join trainee_clock on case_volume.trainee_ref = trainee_clock.trainee_ref
    inner join trainee_month
        on
            case_volume.trainee_ref = trainee_month.trainee_ref
            and trainee_clock.last_month < trainee_month.operated_month
            and case_volume.deadline >= trainee_month.operated_month
            and trainee.expected_completion >= trainee_month.operated_month
    group by case_volume.trainee_ref, case_volume.requirement_ref

),

joined as (

    select
        case_volume.programme_ref,
        case_volume.cohort,
        case_volume.trainee_ref,
        case_volume.requirement_ref,
        case_volume.minimum,
        cast(coalesce(counted.counted_cases, 0) as bigint) as own_count,
        coalesce(counted.recent_cases, 0) as recent_cases,
        trainee_clock.active_month,
        case
            when case_volume.deadline is null or trainee_clock.months_left is null then trainee_clock.months_left
            else least(trainee_clock.months_left, coalesce(until_deadline.months, 0))
        end as months_left,
        recent.months as recent_months,
        forecast.earlier_people,
        forecast.like_people,
        forecast.like_met,
        forecast.p10,
        forecast.p25,
        forecast.p50,
        forecast.p75,
        forecast.p90,
        forecast.earlier_a_month,
        forecast.final_low,
        forecast.final_median,
        forecast.final_high,
        forecast.probability,
        trainee.is_current and not trainee.training_is_over as is_followed,
        case
            when trainee.training_is_over then 'training is over'
            when trainee.data_through is null then 'no data yet'
            when not trainee.is_current then 'the log ends too early'
            when coalesce(forecast.earlier_people, 0) = 0 then 'no earlier trainee has completed'
            when tried.people = 0 then 'the forecast could not be tried on a class that has completed'
            when not tried.forecast_is_shown
                then 'in the back-test the forecast served worse than the share of earlier trainees'
        end as why_none,
        coalesce(tried.range_is_tried, false) as range_is_tried,
        case_volume.data_through
    from main.case_volume
    inner join trainee on case_volume.trainee_ref = trainee.trainee_ref
    inner join trainee_clock on case_volume.trainee_ref = trainee_clock.trainee_ref
    left join counted
        on
            case_volume.trainee_ref = counted.trainee_ref
            and case_volume.requirement_ref = counted.requirement_ref
    left join recent on case_volume.trainee_ref = recent.trainee_ref
    left join until_deadline
        on
            case_volume.trainee_ref = until_deadline.trainee_ref
            and case_volume.requirement_ref = until_deadline.requirement_ref
    left join pace_forecast as forecast
        on
            case_volume.trainee_ref = forecast.trainee_ref
            and case_volume.requirement_ref = forecast.requirement_ref
    left join tried
        on
            case_volume.programme_ref = tried.programme_ref
            and case_volume.requirement_ref = tried.requirement_ref

)

select
    programme_ref,
    cohort,
    trainee_ref,
    requirement_ref,
    own_count as "count",
    case when earlier_people >= 10 then cast(floor(p25 + 0.5e0) as bigint) end as expected_low,
    case when earlier_people >= 10 then cast(floor(p50 + 0.5e0) as bigint) end as expected_median,
    case when earlier_people >= 10 then cast(floor(p75 + 0.5e0) as bigint) end as expected_high,
    case when why_none is null and range_is_tried then final_low end as final_low,
    case when why_none is null then final_median end as final_median,
    case when why_none is null and range_is_tried then final_high end as final_high,
    case
        when why_none is null then case when own_count >= minimum then 1e0 else probability end
    end as probability_met,
    case
        when is_followed and months_left > 0
            then cast(greatest(minimum - own_count, 0) as double) / cast(months_left as double)
    end as needed_a_month,
    minimum,
    cast(active_month as double) as active_month,
    cast(months_left as double) as months_left,
    case
        when is_followed and recent_months > 0
            then cast(recent_cases as double) / cast(recent_months as double)
    end as recent_a_month,
    case when earlier_people >= 10 then earlier_a_month end as earlier_a_month,
    case when earlier_people >= 20 then cast(floor(p10 + 0.5e0) as bigint) end as expected_p10,
    case when earlier_people >= 20 then cast(floor(p90 + 0.5e0) as bigint) end as expected_p90,
    earlier_people,
    like_people,
    like_met,
    wilson_low(like_met, like_people, z_two_sided(0.95e0)) as like_low,
    wilson_high(like_met, like_people, z_two_sided(0.95e0)) as like_high,
    why_none,
    data_through
from joined;

comment on view definition.pace is
'Where does each trainee stand beside earlier ones at the same time of training, and what became of those? Earlier trainees are those who completed, of classes that are over, at the same active month, for whom the requirement was in force. The forecast takes the own count and what earlier trainees did from that month on, in as much time as is left by the plan, on the clock of active months. Nothing but the count is said of who completed or left, or whose log ends too early.';
comment on column definition.pace.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.pace.cohort is
'The class: the academic year in which its trainees are to complete.';
comment on column definition.pace.trainee_ref is 'The trainee, as a pseudonym.';
comment on column definition.pace.requirement_ref is
'The requirement, by its code in the specialty file.';
comment on column definition.pace."count" is
'Cases credited through the end of the data, or of training.';
comment on column definition.pace.expected_low is
'One in four earlier trainees had this many or fewer at the same active month; blank below 10 people.';
comment on column definition.pace.expected_median is 'Half of them had this many or fewer; blank below 10 people.';
comment on column definition.pace.expected_high is
'Three in four had this many or fewer; blank below 10 people.';
comment on column definition.pace.final_low is
'Lower end of the 80 % range of the count at the end of training; blank below nine earlier trainees, where no range was tried in the back-test, or for the reason in why_none.';
comment on column definition.pace.final_median is 'The middle of that forecast.';
comment on column definition.pace.final_high is 'Upper end of that range.';
comment on column definition.pace.probability_met is
'The forecast probability of reaching the minimum by the expected completion, with half an earlier trainee added on either side; 1 once it is reached.';
comment on column definition.pace.needed_a_month is
'Cases a month still needed in the active months that are left by the plan; 0 once the minimum is reached, blank with no month left.';
comment on column definition.pace.minimum is 'How many cases the requirement asks for.';
comment on column definition.pace.active_month is 'Months of training through the end of the data.';
comment on column definition.pace.months_left is
'Active months from the end of the data through the expected completion, by the plan; or through the deadline of the rule, where that comes first.';
comment on column definition.pace.recent_a_month is
'Cases a month in the trainee''s own latest six active months.';
comment on column definition.pace.earlier_a_month is
'Cases a month that earlier trainees did in the same time left (their median); blank below 10 people.';
comment on column definition.pace.expected_p10 is
'One in ten earlier trainees had this many or fewer; blank below 20 people.';
comment on column definition.pace.expected_p90 is 'Nine in ten had this many or fewer; blank below 20 people.';
comment on column definition.pace.earlier_people is
'Earlier trainees whose training reached that active month.';
comment on column definition.pace.like_people is
'Earlier trainees among them with at most as many cases by then.';
comment on column definition.pace.like_met is 'How many of these reached the minimum.';
comment on column definition.pace.like_low is
'Lower end of the 95 % interval of that share (Wilson); blank with nobody.';
comment on column definition.pace.like_high is 'Upper end of the same interval.';
comment on column definition.pace.why_none is 'Why there is no forecast; blank where there is one.';
comment on column definition.pace.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
