-- Case by case, how many events has each trainee had beside those expected, and has a risk-adjusted CUSUM signalled?
--
-- Rows:   one per trainee, complication and known outcome, in the order of the cases
-- Reads:  eligible_case, reference_band, chart_limit, trainee, input.programme
-- Source: expected as in expected_rate; CUSUM: Steiner, Cook, Farewell and Treasure 2000, Biostatistics 1:441
create view definition.case_sequence_chart as
with

stretch as (

    -- Cases that are alike in all that is expected of them; events_before: of all cases before the stretch.
    select
        trainee_ref,
        complication_ref,
        alike_from,
        log_odds,
        count(*) as cases,
        count(*) filter (where is_event) as events,
        max(events_so_far) - count(*) filter (where is_event) as events_before
    from eligible_case
    where is_known
    group by trainee_ref, complication_ref, alike_from, log_odds

),

expecting as (

    select
        stretch.*,
        case
            when not reference_band.is_thin and not reference_band.is_mostly_unknown
                then event_chance(
                    reference_band.others_events,
                    reference_band.others_known,
                    reference_band.fitted_log_odds,
                    stretch.log_odds
                )
        end as expected
    from stretch
    inner join reference_band
        on
            stretch.trainee_ref = reference_band.trainee_ref
            and stretch.complication_ref = reference_band.complication_ref
            and case_band(stretch.alike_from) = reference_band.band
            and reference_band.attribution = 'as_started'

),

weighed as (

    select
        expecting.*,
        cusum_weight(true, expecting.expected, programme.cusum_odds_ratio) as event_weight,
        cusum_weight(false, expecting.expected, programme.cusum_odds_ratio) as other_weight
    from expecting
    cross join input.programme as programme

),

exact as (

    select
        *,
        in_few_places(expected) as exact_expected,
        in_few_places(event_weight) as exact_event_weight,
        in_few_places(other_weight) as exact_other_weight
    from weighed

),

started as materialized (

    -- From the first case without a reference on nothing is expected any more.
    select
        *,
        count(*) over so_far = count(expected) over so_far as is_expected,
        sum(exact_expected * cases) over so_far - exact_expected * cases as expected_before,
        sum(exact_event_weight * events + exact_other_weight * (cases - events)) over so_far
        - (exact_event_weight * events + exact_other_weight * (cases - events)) as weights_before
    from exact
    window so_far as (
        partition by trainee_ref, complication_ref
        order by alike_from
        rows between unbounded preceding and current row
    )

),

running as not materialized (

    select
        eligible_case.trainee_ref,
        eligible_case.complication_ref,
        eligible_case.number_started as case_number,
        eligible_case.case_sequence,
        eligible_case.is_event,
        eligible_case.events_so_far as events,
        started.is_expected,
        started.expected,
        case when eligible_case.is_event then started.event_weight else started.other_weight end as cusum_weight,
        case when eligible_case.is_event then started.exact_event_weight else started.exact_other_weight end
            as exact_weight,
        started.expected_before
        + started.exact_expected * (eligible_case.number_started - started.alike_from + 1) as expected_events,
        started.weights_before
        + started.exact_event_weight * (eligible_case.events_so_far - started.events_before)
        + started.exact_other_weight * (
            eligible_case.number_started - started.alike_from + 1
            - (eligible_case.events_so_far - started.events_before)
        ) as weights
    from eligible_case
    inner join started
        on
            eligible_case.trainee_ref = started.trainee_ref
            and eligible_case.complication_ref = started.complication_ref
            and eligible_case.alike_from = started.alike_from
    where eligible_case.is_known

),

lowest as (

    -- Only an event lifts the sum of the weights: it was lowest just before one, or is so now.
    select
        trainee_ref,
        complication_ref,
        events,
        min(weights - exact_weight) over (
            partition by trainee_ref, complication_ref
            order by case_number
            rows between unbounded preceding and current row
        ) as weights
    from running
    where is_event

),

charted as (

    -- A sum that never falls below 0 is the sum less the lowest it has been.
    select
        running.*,
        running.weights - least(running.weights, lowest.weights, 0) as cusum
    from running
    left join lowest
        on
            running.trainee_ref = lowest.trainee_ref
            and running.complication_ref = lowest.complication_ref
            and running.events = lowest.events

)

select
    trainee.programme_ref,
    trainee.cohort,
    trainee.trainee_ref,
    charted.complication_ref,
    charted.case_number,
    charted.case_sequence,
    charted.is_event,
    case when charted.is_expected then charted.expected end as expected,
    charted.events,
    case when charted.is_expected then cast(charted.expected_events as double) end as expected_events,
    case when charted.is_expected then cast(charted.events - charted.expected_events as double) end
        as observed_minus_expected,
    case when charted.is_expected then charted.cusum_weight end as cusum_weight,
    case when charted.is_expected then cast(charted.cusum as double) end as cusum,
    for_person.cusum_limit as limit_person,
    for_class.cusum_limit as limit_class,
    case when charted.is_expected then is_above(cast(charted.cusum as double), for_person.cusum_limit) end
        as above_person,
    case when charted.is_expected then is_above(cast(charted.cusum as double), for_class.cusum_limit) end
        as above_class,
    trainee.data_through
from charted
inner join trainee on charted.trainee_ref = trainee.trainee_ref
left join chart_limit as for_person
    on
        trainee.programme_ref = for_person.programme_ref
        and charted.complication_ref = for_person.complication_ref
        and for_person.limit_for = 'person'
left join chart_limit as for_class
    on
        trainee.programme_ref = for_class.programme_ref
        and charted.complication_ref = for_class.complication_ref
        and for_class.limit_for = 'class';

comment on view definition.case_sequence_chart is
'Case by case, how many events has each trainee had beside those expected, and has a risk-adjusted CUSUM signalled? One row for every case with a known outcome, in the order of the cases, of all operations that the trainee began (as_started). Expected is what expected_rate expects: the rate of all other trainees at the same case numbers. The CUSUM asks whether the odds are raised (by cusum_odds_ratio of programme.yaml, 2): it rises with each event, falls with each case without one, and never below 0; above its limit it signals. Limits and how often they are crossed for nobody''s fault stand in run_length.';
comment on column definition.case_sequence_chart.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.case_sequence_chart.cohort is
'The class: the academic year in which its trainees are to complete.';
comment on column definition.case_sequence_chart.trainee_ref is 'The trainee, as a pseudonym.';
comment on column definition.case_sequence_chart.complication_ref is
'The outcome, by its code in the specialty file.';
comment on column definition.case_sequence_chart.case_number is
'The place of the case among the trainee''s cases with a known outcome; 1 is the first.';
comment on column definition.case_sequence_chart.case_sequence is
'The place of the case among all live cases of the trainee, as in case_opened.';
comment on column definition.case_sequence_chart.is_event is 'Whether the outcome arose in this case.';
comment on column definition.case_sequence_chart.expected is
'The chance of the outcome in this case, judged by all others; blank from the first case on in whose band they have too little.';
comment on column definition.case_sequence_chart.events is 'Events through this case.';
comment on column definition.case_sequence_chart.expected_events is
'Events expected through this case; blank where expected is.';
comment on column definition.case_sequence_chart.observed_minus_expected is
'Events less those expected, through this case: above 0 is more than expected. Blank where expected is.';
comment on column definition.case_sequence_chart.cusum_weight is
'What this case adds to the CUSUM: y ln R - ln(1 - p + R p), with y = 1 for an event, p the chance expected and R the odds ratio; blank where expected is.';
comment on column definition.case_sequence_chart.cusum is
'The CUSUM after this case; blank where expected is.';
comment on column definition.case_sequence_chart.limit_person is
'The limit for one person, from run_length; blank where there is none.';
comment on column definition.case_sequence_chart.limit_class is
'The limit for a class, from run_length; blank where there is none.';
comment on column definition.case_sequence_chart.above_person is
'Whether the CUSUM stands above the limit for one person after this case; blank without the one or the other.';
comment on column definition.case_sequence_chart.above_class is
'Whether it stands above the limit for a class.';
comment on column definition.case_sequence_chart.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
