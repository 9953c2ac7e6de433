-- Case by case, how many events has each trainee had beside those expected, and has a risk-adjusted CUSUM signalled?
--
-- Rows:   one per trainee, complication and known outcome, in the order of the cases
-- Reads:  known_case, reference_band, chart_limit, trainee, input.programme
-- Source: expected as in expected_rate; CUSUM: Steiner, Cook, Farewell and Treasure 2000, Biostatistics 1:441
create view definition.case_sequence_chart as
with

expecting as (

    select
        known_case.trainee_ref,
        known_case.complication_ref,
        known_case.number_started as case_number,
        known_case.case_sequence,
        known_case.is_event,
        case
            when not reference_band.is_thin and not reference_band.is_mostly_unknown
                then event_chance(
                    reference_band.others_events,
                    reference_band.others_known,
                    reference_band.fitted_log_odds,
                    known_case.log_odds
                )
        end as expected
    from known_case
    inner join reference_band
        on
            known_case.trainee_ref = reference_band.trainee_ref
            and known_case.complication_ref = reference_band.complication_ref
            and case_band(known_case.number_started) = reference_band.band
            and reference_band.attribution = 'as_started'

),

weighed as (

    select
        expecting.*,
        cusum_weight(expecting.is_event, expecting.expected, programme.cusum_odds_ratio) as cusum_weight
    from expecting
    cross join input.programme as programme

),

running as (

    -- From the first case without a reference on nothing is expected any more.
    select
        *,
        sum(case when is_event then 1 else 0 end) over so_far as events,
        count(*) over so_far = count(expected) over so_far as is_expected,
        sum(in_fixed_places(expected)) over so_far as expected_events,
        sum(in_fixed_places(cusum_weight)) over so_far as weights
    from weighed
    window so_far as (
        partition by trainee_ref, complication_ref
        order by case_number
        rows between unbounded preceding and current row
    )

),

charted as (

    -- A sum that never falls below 0 is the sum less the lowest it has been.
    select
        *,
        weights - least(min(weights) over (
            partition by trainee_ref, complication_ref
            order by case_number
            rows between unbounded preceding and current row
        ), 0) as cusum
    from running

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
    cast(charted.events as integer) as events,
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
