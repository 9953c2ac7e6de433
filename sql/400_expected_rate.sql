-- How often would each outcome be expected at a trainee's own case numbers, judged by all others, and how sure is that?
--
-- Rows:   one per trainee of the roster, complication and attribution
-- Reads:  outcome_band, reference_band, trainee, complication, risk_weight
-- Source: indirect standardisation over bands of the trainee's own case number, common practice, no source; the
--         trainee's own cases are in no band. Interval: that of a sum of independent rates from the Wilson interval
--         of each (Zou and Donner 2008, Stat Med 27:1693); with one band it is Wilson's
create view definition.expected_rate as
with

attribution as (

    select 'as_logged' as attribution
    union all
    select 'as_started' as attribution
    union all
    select 'in_trainee_hands' as attribution

),

own as (

    select
        outcome_band.trainee_ref,
        outcome_band.complication_ref,
        outcome_band.attribution,
        outcome_band.band,
        sum(outcome_band.known_outcomes) as known_outcomes,
        sum(in_fixed_places(
            outcome_band.known_outcomes * event_chance(
                reference_band.others_events,
                reference_band.others_known,
                reference_band.fitted_log_odds,
                outcome_band.log_odds
            )
        )) as expected_events
    from outcome_band
    inner join reference_band
        on
            outcome_band.trainee_ref = reference_band.trainee_ref
            and outcome_band.complication_ref = reference_band.complication_ref
            and outcome_band.attribution = reference_band.attribution
            and outcome_band.band = reference_band.band
    group by
        outcome_band.trainee_ref, outcome_band.complication_ref, outcome_band.attribution, outcome_band.band

),

judged as (

    -- Of the cases of a band: the events expected, and at the two ends of the others' rate. Another mix of risks moves
    -- the ends as it moves the middle.
    select
        own.trainee_ref,
        own.complication_ref,
        own.attribution,
        own.band,
        own.known_outcomes,
        cast(own.expected_events as double) as expected_events,
        mixed_end(
            wilson_low(reference_band.others_events, reference_band.others_known, z_two_sided(0.95e0)),
            own.known_outcomes, cast(own.expected_events as double),
            reference_band.others_events, reference_band.others_known
        ) as events_low,
        mixed_end(
            wilson_high(reference_band.others_events, reference_band.others_known, z_two_sided(0.95e0)),
            own.known_outcomes, cast(own.expected_events as double),
            reference_band.others_events, reference_band.others_known
        ) as events_high,
        reference_band.is_thin,
        reference_band.is_mostly_unknown,
        reference_band.others,
        reference_band.others_known,
        reference_band.others_unclear
    from own
    inner join reference_band
        on
            own.trainee_ref = reference_band.trainee_ref
            and own.complication_ref = reference_band.complication_ref
            and own.attribution = reference_band.attribution
            and own.band = reference_band.band

),

summed as (

    select
        trainee_ref,
        complication_ref,
        attribution,
        cast(sum(known_outcomes) as bigint) as known_outcomes,
        cast(sum(in_fixed_places(expected_events)) as double) as expected_events,
        sqrt(cast(
            sum(in_fixed_places((expected_events - events_low) * (expected_events - events_low))) as double
        )) as below,
        sqrt(cast(
            sum(in_fixed_places((events_high - expected_events) * (events_high - expected_events))) as double
        )) as above,
        min(case when is_thin then band end) as first_thin_band,
        max(case when is_mostly_unknown then 1 else 0 end) = 1 as is_mostly_unknown,
        sum(others_unclear) as others_unclear,
        max(others) as others,
        sum(others_known) as others_known
    from judged
    group by trainee_ref, complication_ref, attribution

),

reasoned as (

    select
        trainee.programme_ref,
        trainee.cohort,
        trainee.trainee_ref,
        complication.complication_ref,
        attribution.attribution,
        summed.known_outcomes,
        summed.expected_events,
        summed.below,
        summed.above,
        coalesce(summed.others, 0) as others,
        cast(coalesce(summed.others_known, 0) as bigint) as others_known,
        complication.complication_ref in (select risk_weight.complication_ref from risk_weight) as is_adjusted,
        case
            when attribution.attribution = 'in_trainee_hands' and complication.window_days > 0
                then 'nobody knows in whose hands an event after the operation happened'
            when summed.trainee_ref is null then 'the trainee has no known outcome'
            when summed.first_thin_band is not null
                then concat(
                    'too few known outcomes of others among their cases ',
                    case summed.first_thin_band
                        when 1 then '1 to 50'
                        when 2 then '51 to 100'
                        when 3 then '101 to 200'
                        else 'over 200'
                    end,
                    ': at least 30 of at least 5 other trainees are asked'
                )
            when summed.is_mostly_unknown
                then 'the outcome is not known in most of the due cases of other trainees'
            when summed.others_unclear > 0
                then concat('events of others of which it is not clear who was operating: ', summed.others_unclear)
        end as why_none,
        trainee.data_through
    from trainee
    cross join complication
    cross join attribution
    left join summed
        on
            trainee.trainee_ref = summed.trainee_ref
            and complication.complication_ref = summed.complication_ref
            and attribution.attribution = summed.attribution

)

select
    programme_ref,
    cohort,
    trainee_ref,
    complication_ref,
    attribution,
    case when why_none is null then expected_events / known_outcomes end as expected,
    others as expected_from_trainees,
    others_known as expected_known,
    why_none,
    case when why_none is null then greatest((expected_events - below) / known_outcomes, 0e0) end as expected_low,
    case when why_none is null then least((expected_events + above) / known_outcomes, 1e0) end as expected_high,
    case when why_none is null then expected_events end as expected_events,
    case when why_none is null then is_adjusted end as is_adjusted,
    data_through
from reasoned;

comment on view definition.expected_rate is
'How often would each outcome be expected at a trainee''s own case numbers, judged by all others of the programme? The rate of all other trainees in each band of case number (1 to 50, 51 to 100, 101 to 200, over 200, counting known cases in their order), weighted with the trainee''s own known cases in the band. It is withheld where the others would have no rate: for an outcome with a window while fewer than half of their due cases are known. Where the specialty file weighs risk factors, each case has its own chance, fitted so that the others'' events are met in each band. It is a comparison with the programme, not a limit.';
comment on column definition.expected_rate.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.expected_rate.cohort is
'The class: the academic year in which its trainees are to complete.';
comment on column definition.expected_rate.trainee_ref is 'The trainee, as a pseudonym.';
comment on column definition.expected_rate.complication_ref is
'The outcome, by its code in the specialty file.';
comment on column definition.expected_rate.attribution is 'Whose cases and events, as in complication_rate.';
comment on column definition.expected_rate.expected is
'The expected rate; blank where the programme has too little, or it is not clear who was operating, as why_none says.';
comment on column definition.expected_rate.expected_from_trainees is
'Other trainees with a known outcome in the bands in which the trainee has cases.';
comment on column definition.expected_rate.expected_known is 'Known outcomes of these others in these bands.';
comment on column definition.expected_rate.why_none is
'Why there is no expected rate; blank where there is one.';
comment on column definition.expected_rate.expected_low is
'Lower end of the 95 % interval of the expected rate: the others are few too. Blank where it is.';
comment on column definition.expected_rate.expected_high is
'Upper end of the 95 % interval of the expected rate; blank where it is.';
comment on column definition.expected_rate.expected_events is
'The events expected among the trainee''s known outcomes; blank where the expected rate is.';
comment on column definition.expected_rate.is_adjusted is
'Whether the recorded risk factors of the cases are taken into account, with the weights of the specialty file; where not, the number is not adjusted for case mix. Blank where there is no expected rate.';
comment on column definition.expected_rate.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
