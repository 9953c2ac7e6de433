-- How often did each outcome arise in a trainee's last cases, and how often in those before them?
--
-- Rows:   three per trainee of the roster and complication: the last 25, 50 and 100 cases with a known outcome
-- Reads:  trainee, complication, case_sequence_chart, case_sequence_signal, complication_rate
-- Source: interval: 010_wilson.sql; 25, 50 and 100: our own choice
create view definition.complication_rate_recent as
with

part as (

    select 25 as last_cases
    union all
    select 50 as last_cases
    union all
    select 100 as last_cases

),

counted as (

    select
        chart.trainee_ref,
        chart.complication_ref,
        part.last_cases,
        whole.known_outcomes as all_known,
        whole.events as all_events,
        count(*) as known_outcomes,
        count(*) filter (where chart.is_event) as events
    from main.case_sequence_chart as chart
    inner join main.case_sequence_signal as whole
        on
            chart.trainee_ref = whole.trainee_ref
            and chart.complication_ref = whole.complication_ref
            and chart.case_number > whole.known_outcomes - 100
    inner join part on chart.case_number > whole.known_outcomes - part.last_cases
    group by
        chart.trainee_ref,
        chart.complication_ref,
        part.last_cases,
        whole.known_outcomes,
        whole.events

),

shown as (

    -- Where the whole has no rate, since most due cases are unknown, no part of it has one.
    select
        complication_rate.programme_ref,
        complication_rate.cohort,
        complication_rate.trainee_ref,
        complication_rate.complication_ref,
        part.last_cases,
        coalesce(counted.events, 0) as events,
        coalesce(counted.known_outcomes, 0) as known_outcomes,
        coalesce(counted.all_events - counted.events, 0) as events_before,
        coalesce(counted.all_known - counted.known_outcomes, 0) as known_before,
        case when complication_rate.rate is not null then counted.known_outcomes end as denominator,
        case when complication_rate.rate is not null then counted.all_known - counted.known_outcomes end
            as denominator_before,
        complication_rate.data_through
    from main.complication_rate
    cross join part
    left join counted
        on
            complication_rate.trainee_ref = counted.trainee_ref
            and complication_rate.complication_ref = counted.complication_ref
            and part.last_cases = counted.last_cases
    where complication_rate.attribution = 'as_started'

)

select
    programme_ref,
    cohort,
    trainee_ref,
    complication_ref,
    last_cases,
    events,
    known_outcomes,
    cast(events as double) / nullif(denominator, 0) as rate,
    wilson_low(events, denominator, z_two_sided(0.95e0)) as rate_low,
    wilson_high(events, denominator, z_two_sided(0.95e0)) as rate_high,
    events_before,
    known_before,
    cast(events_before as double) / nullif(denominator_before, 0) as rate_before,
    wilson_low(events_before, denominator_before, z_two_sided(0.95e0)) as rate_before_low,
    wilson_high(events_before, denominator_before, z_two_sided(0.95e0)) as rate_before_high,
    data_through
from shown;

comment on view definition.complication_rate_recent is
'How often did each outcome arise in a trainee''s last 25, 50 and 100 cases with a known outcome, and how often in those before them? Three rows for every trainee of the roster and outcome, of all operations that the trainee began (as_started). The cut is made where the data end, not where something happened; still, whoever looks at many such pairs will see some differ by chance. Whether a rate has risen is asked by case_sequence_chart, whose false alarms are known.';
comment on column definition.complication_rate_recent.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.complication_rate_recent.cohort is
'The class: the academic year in which its trainees are to complete.';
comment on column definition.complication_rate_recent.trainee_ref is 'The trainee, as a pseudonym.';
comment on column definition.complication_rate_recent.complication_ref is
'The outcome, by its code in the specialty file.';
comment on column definition.complication_rate_recent.last_cases is 'How many of the last known cases: 25, 50 or 100.';
comment on column definition.complication_rate_recent.events is 'Events among them.';
comment on column definition.complication_rate_recent.known_outcomes is
'So many known cases there are: fewer than asked for where the trainee has fewer.';
comment on column definition.complication_rate_recent.rate is
'Events by known cases; blank with none, and where complication_rate has no rate.';
comment on column definition.complication_rate_recent.rate_low is
'Lower end of its 95 % Wilson interval; blank where the rate is.';
comment on column definition.complication_rate_recent.rate_high is
'Upper end of its 95 % Wilson interval; blank where the rate is.';
comment on column definition.complication_rate_recent.events_before is 'Events among the known cases before these.';
comment on column definition.complication_rate_recent.known_before is 'Known cases before these.';
comment on column definition.complication_rate_recent.rate_before is
'Events by known cases before these; blank with none, and where complication_rate has no rate.';
comment on column definition.complication_rate_recent.rate_before_low is
'Lower end of its 95 % Wilson interval; blank where that rate is.';
comment on column definition.complication_rate_recent.rate_before_high is
'Upper end of its 95 % Wilson interval; blank where that rate is.';
comment on column definition.complication_rate_recent.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
