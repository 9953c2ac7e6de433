-- How often did each outcome arise among all other trainees in the bands of case number in which a trainee has cases?
--
-- Rows:   one per trainee, complication, attribution and band of case number
-- Reads:  outcome_band, outcome_quarter, complication, trainee, risk_fit
-- Source: the others of the programme, the trainee's own cases in no band; with risk weights, the log odds of a case
--         without risk factor at which as many events are expected among the others as they had
create table main.reference_band as
with

own as (

    select
        programme_ref,
        trainee_ref,
        complication_ref,
        attribution,
        band,
        sum(known_outcomes) as known_outcomes,
        sum(events) as events,
        sum(events_unclear) as events_unclear
    from outcome_band
    group by programme_ref, trainee_ref, complication_ref, attribution, band

),

everybody as (

    select
        programme_ref,
        complication_ref,
        attribution,
        band,
        sum(known_outcomes) as known_outcomes,
        sum(events) as events,
        sum(events_unclear) as events_unclear,
        count(*) as trainees
    from own
    group by programme_ref, complication_ref, attribution, band

),

attribution as (

    select distinct attribution from own

),

followed as (

    -- Of an outcome with a window, how many due cases there were, and of how many the outcome is known.
    select
        trainee.programme_ref,
        outcome_quarter.trainee_ref,
        outcome_quarter.complication_ref,
        attribution.attribution,
        sum(outcome_quarter.eligible_cases - outcome_quarter.not_yet_due) as due,
        sum(outcome_quarter.known_outcomes) as known_outcomes
    from outcome_quarter
    inner join trainee on outcome_quarter.trainee_ref = trainee.trainee_ref
    inner join complication on outcome_quarter.complication_ref = complication.complication_ref
    cross join attribution
    where
        complication.window_days > 0
        and (outcome_quarter.in_operating_role or attribution.attribution <> 'as_logged')
    group by
        trainee.programme_ref,
        outcome_quarter.trainee_ref,
        outcome_quarter.complication_ref,
        attribution.attribution

),

all_followed as (

    select programme_ref, complication_ref, attribution, sum(due) as due, sum(known_outcomes) as known_outcomes
    from followed
    group by programme_ref, complication_ref, attribution

)

select
    own.programme_ref,
    own.trainee_ref,
    own.complication_ref,
    own.attribution,
    own.band,
    cast(own.known_outcomes as bigint) as known_outcomes,
    cast(everybody.known_outcomes - own.known_outcomes as bigint) as others_known,
    cast(everybody.events - own.events as bigint) as others_events,
    cast(everybody.events_unclear - own.events_unclear as bigint) as others_unclear,
    everybody.trainees - 1 as others,
    -- With less than 30 known outcomes of 5 others a band would tell of one or two people. Our own choice.
    everybody.known_outcomes - own.known_outcomes < 30 or everybody.trainees - 1 < 5 as is_thin,
    coalesce(
        2 * (all_followed.known_outcomes - followed.known_outcomes) < all_followed.due - followed.due,
        false
    ) as is_mostly_unknown,
    risk_fit.log_odds as fitted_log_odds
from own
inner join everybody
    on
        own.programme_ref = everybody.programme_ref
        and own.complication_ref = everybody.complication_ref
        and own.attribution = everybody.attribution
        and own.band = everybody.band
left join followed
    on
        own.trainee_ref = followed.trainee_ref
        and own.complication_ref = followed.complication_ref
        and own.attribution = followed.attribution
left join all_followed
    on
        own.programme_ref = all_followed.programme_ref
        and own.complication_ref = all_followed.complication_ref
        and own.attribution = all_followed.attribution
left join risk_fit
    on
        own.trainee_ref = risk_fit.trainee_ref
        and own.complication_ref = risk_fit.complication_ref
        and own.attribution = risk_fit.attribution
        and own.band = risk_fit.band;
