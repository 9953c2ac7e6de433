-- How often did each outcome arise among a trainee's cases whose outcome is known, and how sure is that?
--
-- Rows:   one per trainee of the roster, complication and attribution, also with nothing known
-- Reads:  outcome_quarter, complication, trainee
-- Source: known, unknown and not yet due as in the contract of the views; interval: 010_wilson.sql
create view definition.complication_rate as
with

attribution as (

    select 'as_logged' as attribution
    union all
    select 'as_started' as attribution
    union all
    select 'in_trainee_hands' as attribution

),

summed as (

    select
        trainee.programme_ref,
        trainee.cohort,
        trainee.trainee_ref,
        complication.complication_ref,
        complication.procedure_group,
        complication.window_days,
        attribution.attribution,
        trainee.data_through,
        cast(coalesce(sum(counted.eligible_cases), 0) as bigint) as eligible_cases,
        cast(coalesce(sum(counted.not_yet_due), 0) as bigint) as not_yet_due,
        cast(coalesce(sum(counted.early_events), 0) as bigint) as early_events,
        cast(coalesce(sum(counted.known_outcomes), 0) as bigint) as known_outcomes,
        cast(coalesce(sum(
            case attribution.attribution
                when 'in_trainee_hands' then counted.events_of_trainee
                else counted.events
            end
        ), 0) as bigint) as events,
        cast(coalesce(sum(
            case attribution.attribution when 'in_trainee_hands' then counted.events_unclear else 0 end
        ), 0) as bigint) as events_unclear
    from trainee
    cross join complication
    cross join attribution
    left join outcome_quarter as counted
        on
            trainee.trainee_ref = counted.trainee_ref
            and complication.complication_ref = counted.complication_ref
            -- The trainee also began a case that is logged in another role and was taken over.
            and (counted.as_surgeon or attribution.attribution <> 'as_logged')
    group by
        trainee.programme_ref,
        trainee.cohort,
        trainee.trainee_ref,
        complication.complication_ref,
        complication.procedure_group,
        complication.window_days,
        attribution.attribution,
        trainee.data_through

),

shown as (

    -- Where most due cases of a windowed outcome are unknown, the known ones are those that came back.
    select
        *,
        eligible_cases - not_yet_due - known_outcomes as unknown_outcomes,
        case
            when window_days = 0 or 2 * known_outcomes >= eligible_cases - not_yet_due then known_outcomes
            else 0
        end as denominator,
        0.95e0 as confidence
    from summed

)

select
    programme_ref,
    cohort,
    trainee_ref,
    complication_ref,
    procedure_group,
    attribution,
    events,
    known_outcomes,
    unknown_outcomes,
    case when denominator > 0 then cast(events as double) / denominator end as rate,
    wilson_low(events, denominator, z_two_sided(confidence)) as rate_low,
    wilson_high(events, denominator, z_two_sided(confidence)) as rate_high,
    confidence,
    eligible_cases,
    not_yet_due,
    events_unclear,
    early_events,
    data_through
from shown;

comment on view definition.complication_rate is
'How often did each outcome arise among a trainee''s cases whose outcome is known, and how sure is that? One row for every trainee of the roster, complication and attribution. A case whose outcome is unknown or not yet due is not counted as uneventful: it leaves the denominator. Cases performed elsewhere are left out. A confidence interval is not a control limit, and a rate rests on what the trainee logged.';
comment on column definition.complication_rate.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.complication_rate.cohort is
'The class: the academic year in which its trainees are to complete.';
comment on column definition.complication_rate.trainee_ref is 'The trainee, as a pseudonym.';
comment on column definition.complication_rate.complication_ref is
'The outcome, by its code in the specialty file, which also gives its definition and window.';
comment on column definition.complication_rate.procedure_group is
'The group of procedures in which the outcome is counted.';
comment on column definition.complication_rate.attribution is
'Whose cases: as_logged = logged as surgeon; as_started = logged as surgeon, or taken over by a supervisor; in_trainee_hands = the cases of as_started, but only the events that happened while the trainee was operating.';
comment on column definition.complication_rate.events is
'Cases with the outcome within its window, or without a day, among those known.';
comment on column definition.complication_rate.known_outcomes is
'Due cases whose outcome is known: complications are recorded, and the follow-up covers the window or the event happened. The denominator of the rate.';
comment on column definition.complication_rate.unknown_outcomes is
'Due cases whose outcome is not known: complications are blank, or the follow-up does not cover the window.';
comment on column definition.complication_rate.rate is
'Events by known outcomes. Blank with none known, and, for an outcome with a window, while fewer than half of the due cases are known.';
comment on column definition.complication_rate.rate_low is
'Lower end of the Wilson interval of the rate; blank where the rate is.';
comment on column definition.complication_rate.rate_high is
'Upper end of the Wilson interval of the rate; blank where the rate is.';
comment on column definition.complication_rate.confidence is 'Confidence of the interval, two-sided.';
comment on column definition.complication_rate.eligible_cases is
'All cases in which the outcome could be counted: known, unknown and not yet due.';
comment on column definition.complication_rate.not_yet_due is
'Cases whose window has not passed by the end of the data and that were not followed through it.';
comment on column definition.complication_rate.events_unclear is
'Events of which it is not recorded, or not clear, who was operating; only for in_trainee_hands, where they are not among the events.';
comment on column definition.complication_rate.early_events is
'Events among the cases not yet due; they stand here alone, in no rate.';
comment on column definition.complication_rate.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
