-- How many known outcomes and events fell among each trainee's first 50 cases, the next 50, and so on?
--
-- Rows:   one per trainee, complication, attribution, band of case number and log odds of the recorded risk factors
-- Reads:  eligible_case, trainee, complication
-- Source: bands of case number 1-50, 51-100, 101-200 and over 200: common practice, no source
create table main.outcome_band as
with

attribution as (

    select 'as_logged' as attribution
    union all
    select 'as_started' as attribution
    union all
    select 'in_trainee_hands' as attribution

),

counted as (

    select
        eligible_case.trainee_ref,
        eligible_case.complication_ref,
        eligible_case.in_operating_role,
        case_band(eligible_case.number_started) as band_started,
        case_band(eligible_case.number_logged) as band_logged,
        eligible_case.log_odds,
        count(*) as known_outcomes,
        count(*) filter (where eligible_case.is_event) as events,
        count(*) filter (where eligible_case.is_event and eligible_case.is_in_trainee_hands) as events_of_trainee,
        count(*) filter (where eligible_case.is_event and eligible_case.is_in_unclear_hands) as events_unclear
    from eligible_case
    where eligible_case.is_known
    group by
        eligible_case.trainee_ref,
        eligible_case.complication_ref,
        eligible_case.in_operating_role,
        case_band(eligible_case.number_started),
        case_band(eligible_case.number_logged),
        eligible_case.log_odds

)

select
    trainee.programme_ref,
    counted.trainee_ref,
    counted.complication_ref,
    attribution.attribution,
    case attribution.attribution when 'as_logged' then counted.band_logged else counted.band_started end as band,
    counted.log_odds,
    sum(counted.known_outcomes) as known_outcomes,
    sum(case attribution.attribution
        when 'in_trainee_hands' then counted.events_of_trainee
        else counted.events
    end) as events,
    sum(case attribution.attribution when 'in_trainee_hands' then counted.events_unclear else 0 end)
        as events_unclear
from counted
inner join trainee on counted.trainee_ref = trainee.trainee_ref
inner join complication on counted.complication_ref = complication.complication_ref
cross join attribution
where
    (counted.in_operating_role or attribution.attribution <> 'as_logged')
    -- Nobody knows in whose hands an event after the operation happened.
    and (complication.window_days = 0 or attribution.attribution <> 'in_trainee_hands')
group by
    trainee.programme_ref,
    counted.trainee_ref,
    counted.complication_ref,
    attribution.attribution,
    case attribution.attribution when 'as_logged' then counted.band_logged else counted.band_started end,
    counted.log_odds;
