-- How often would each outcome be expected at a trainee's own case numbers, judged by all others?
--
-- Rows:   one per trainee of the roster, complication and attribution
-- Reads:  outcome_band, trainee, complication
-- Source: indirect standardisation over bands of the trainee's own case number, common practice, no source;
--         the trainee's own cases are in no band
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
        trainee.programme_ref,
        outcome_band.trainee_ref,
        outcome_band.complication_ref,
        attribution.attribution,
        case attribution.attribution
            when 'as_logged' then outcome_band.band_logged
            else outcome_band.band_started
        end as band,
        sum(outcome_band.known_outcomes) as known_outcomes,
        sum(case attribution.attribution
            when 'in_trainee_hands' then outcome_band.events_of_trainee
            else outcome_band.events
        end) as events,
        sum(case attribution.attribution when 'in_trainee_hands' then outcome_band.events_unclear else 0 end)
            as events_unclear
    from outcome_band
    inner join trainee on outcome_band.trainee_ref = trainee.trainee_ref
    inner join complication on outcome_band.complication_ref = complication.complication_ref
    cross join attribution
    where
        (outcome_band.in_operating_role or attribution.attribution <> 'as_logged')
        and (complication.window_days = 0 or attribution.attribution <> 'in_trainee_hands')
    group by
        trainee.programme_ref,
        outcome_band.trainee_ref,
        outcome_band.complication_ref,
        attribution.attribution,
        case attribution.attribution
            when 'as_logged' then outcome_band.band_logged
            else outcome_band.band_started
        end

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

others as (

    select
        own.trainee_ref,
        own.complication_ref,
        own.attribution,
        own.band,
        own.known_outcomes,
        everybody.known_outcomes - own.known_outcomes as others_known,
        everybody.events - own.events as others_events,
        everybody.events_unclear - own.events_unclear as others_unclear,
        everybody.trainees - 1 as others
    from own
    inner join everybody
        on
            own.programme_ref = everybody.programme_ref
            and own.complication_ref = everybody.complication_ref
            and own.attribution = everybody.attribution
            and own.band = everybody.band

),

judged as (

    -- With less than 30 known outcomes of 5 others a band would tell of one or two people. Our own choice.
    select
        *,
        others_known < 30 or others < 5 as too_little,
        case when others_known > 0 then known_outcomes * cast(others_events as double) / others_known end
            as expected_events
    from others

),

summed as (

    -- The four terms are added in the order of the bands: the same rows give the same last digit.
    select
        trainee_ref,
        complication_ref,
        attribution,
        sum(known_outcomes) as known_outcomes,
        coalesce(max(case when band = 1 then expected_events end), 0e0)
        + coalesce(max(case when band = 2 then expected_events end), 0e0)
        + coalesce(max(case when band = 3 then expected_events end), 0e0)
        + coalesce(max(case when band = 4 then expected_events end), 0e0) as expected_events,
        min(case when too_little then band end) as first_band_too_little,
        sum(others_unclear) as others_unclear,
        max(others) as others,
        sum(others_known) as others_known
    from judged
    group by trainee_ref, complication_ref, attribution

)

select
    trainee.programme_ref,
    trainee.cohort,
    trainee.trainee_ref,
    complication.complication_ref,
    attribution.attribution,
    case
        when summed.first_band_too_little is null and summed.others_unclear = 0
            then summed.expected_events / summed.known_outcomes
    end as expected,
    coalesce(summed.others, 0) as expected_from_trainees,
    cast(coalesce(summed.others_known, 0) as bigint) as expected_known,
    case
        when attribution.attribution = 'in_trainee_hands' and complication.window_days > 0
            then 'nobody knows in whose hands an event after the operation happened'
        when summed.trainee_ref is null then 'the trainee has no known outcome'
        when summed.first_band_too_little is not null
            then concat(
                'too few known outcomes of others among their cases ',
                case summed.first_band_too_little
                    when 1 then '1 to 50'
                    when 2 then '51 to 100'
                    when 3 then '101 to 200'
                    else 'over 200'
                end,
                ': at least 30 of at least 5 other trainees are asked'
            )
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
        and attribution.attribution = summed.attribution;

comment on view definition.expected_rate is
'How often would each outcome be expected at a trainee''s own case numbers, judged by all others of the programme? The rate of all other trainees in each band of case number (1 to 50, 51 to 100, 101 to 200, over 200, counting known cases in their order), weighted with the trainee''s own known cases in the band. It is a comparison with the programme, not a limit; it does not know how hard the cases were.';
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
comment on column definition.expected_rate.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
