-- How often did each outcome arise among a trainee's cases whose outcome is known, and how sure is that?
--
-- Rows:   one per trainee of the roster, complication and attribution, also with nothing known
-- Reads:  outcome_count, anytime
-- Source: known, unknown and not yet due as in the contract of the views; interval: 010_wilson.sql; whom an event
--         after the operation is to be laid to nobody knows, so in the trainee's hands there is a rate only of
--         outcomes of the operation. Anytime-valid interval: pipelines/build/anytime.py
create view definition.complication_rate as
with

divided as (

    -- Nothing is due for a rate that nobody could lay to the trainee's hands.
    select
        *,
        eligible_cases - not_yet_due - known_outcomes as unknown_outcomes,
        case
            when window_days = 0 or attribution <> 'in_trainee_hands' then eligible_cases - not_yet_due
            else 0
        end as due,
        0.95e0 as confidence
    from outcome_count

),

shown as (

    -- Where most due cases of a windowed outcome are unknown, the known ones are those that came back.
    select
        *,
        case when window_days = 0 or 2 * known_outcomes >= due then least(known_outcomes, due) else 0 end
            as denominator
    from divided

)

select
    shown.programme_ref,
    shown.cohort,
    shown.trainee_ref,
    shown.complication_ref,
    shown.procedure_group,
    shown.attribution,
    shown.events,
    shown.known_outcomes,
    shown.unknown_outcomes,
    case when shown.denominator > 0 then cast(shown.events as double) / shown.denominator end as rate,
    wilson_low(shown.events, shown.denominator, z_two_sided(shown.confidence)) as rate_low,
    wilson_high(shown.events + shown.events_unclear, shown.denominator, z_two_sided(shown.confidence)) as rate_high,
    shown.confidence,
    shown.eligible_cases,
    shown.not_yet_due,
    shown.events_unclear,
    shown.early_events,
    shown.events_unfollowed,
    case when shown.due > 0 then cast(shown.events + shown.events_unfollowed as double) / shown.due end
        as possible_low,
    case
        when shown.due > 0
            then cast(shown.events + shown.unknown_outcomes + shown.events_unclear as double) / shown.due
    end as possible_high,
    at_least.anytime_low,
    at_most.anytime_high,
    shown.known_from_others,
    shown.data_through
from shown
left join anytime as at_least
    on shown.events = at_least.events and shown.denominator = at_least.cases
left join anytime as at_most
    on shown.events + shown.events_unclear = at_most.events and shown.denominator = at_most.cases;

comment on view definition.complication_rate is
'How often did each outcome arise among a trainee''s cases whose outcome is known, and how sure is that? One row for every trainee of the roster, complication and attribution. A case whose outcome is unknown or not yet due is not counted as uneventful: it leaves the denominator; and so does an event that nobody followed up, since counted beside no-events that need follow-up it would raise the rate. Cases performed elsewhere, and those without a patient (simulated), are left out. A confidence interval is not a control limit, and where nobody else has looked a rate rests on what the trainee logged.';
comment on column definition.complication_rate.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.complication_rate.cohort is
'The class: the academic year in which its trainees are to complete.';
comment on column definition.complication_rate.trainee_ref is 'The trainee, as a pseudonym.';
comment on column definition.complication_rate.complication_ref is
'The outcome, by its code in the specialty file, which also gives its definition and window.';
comment on column definition.complication_rate.procedure_group is
'The group of procedures in which the outcome is counted.';
comment on column definition.complication_rate.attribution is
'Whose cases: as_logged = logged in an operating role (surgeon, where the specialty marks none); as_started = that, or taken over by a supervisor from a role that neither operates nor teaches: the trainee began as operating surgeon; in_trainee_hands = the cases of as_started, but only the events that happened while the trainee was operating. Leaving takeovers out conditions on the complication itself: as_logged stands for no comparison.';
comment on column definition.complication_rate.events is
'Cases with the outcome within its window, or without a day, among those known; for in_trainee_hands those that happened while the trainee was operating.';
comment on column definition.complication_rate.known_outcomes is
'Due cases whose outcome is known: complications are recorded, and, for an outcome with a window, the follow-up covers the window or ended on the very day of the event. The denominator of the rate.';
comment on column definition.complication_rate.unknown_outcomes is
'Due cases whose outcome is not known: complications are blank, or nobody followed the case through the window or to the day of the event.';
comment on column definition.complication_rate.rate is
'Events by known outcomes. Blank with none known; for an outcome with a window also while fewer than half of the due cases are known, and for in_trainee_hands always: nobody knows in whose hands an event after the operation happened.';
comment on column definition.complication_rate.rate_low is
'Lower end of the Wilson interval of the rate; blank where the rate is.';
comment on column definition.complication_rate.rate_high is
'Upper end of the Wilson interval of the rate; for in_trainee_hands with the events of which it is not clear who was operating counted as the trainee''s; blank where the rate is.';
comment on column definition.complication_rate.confidence is 'Confidence of the interval, two-sided.';
comment on column definition.complication_rate.eligible_cases is
'All cases in which the outcome could be counted: known, unknown and not yet due.';
comment on column definition.complication_rate.not_yet_due is
'Cases whose window, counted from the last day of the month of operation, has not passed by the last day of the data of their source, whoever was followed.';
comment on column definition.complication_rate.events_unclear is
'Events of which it is not recorded, or not clear, who was operating; only for in_trainee_hands, where they are not among the events but in the upper end of the interval.';
comment on column definition.complication_rate.early_events is
'Events among the cases not yet due; they stand here alone, in no rate.';
comment on column definition.complication_rate.events_unfollowed is
'Events among the unknown, whoever was operating: due, but followed neither through the window nor to the day of the event; in no rate.';
comment on column definition.complication_rate.possible_low is
'The rate among all due cases if those that are unknown had no other event than these. Blank with nothing due, and for in_trainee_hands of an outcome with a window.';
comment on column definition.complication_rate.possible_high is
'The rate among all due cases if every unknown one had an event, and every unclear one was the trainee''s; blank where possible_low is.';
comment on column definition.complication_rate.anytime_low is
'Lower end of the 95 % interval that stays true however often one looks: if the rate is constant, it holds at every look of a whole training together with 95 %. Blank where the rate is. It is wider than the Wilson interval, and no detector of change: that is case_sequence_chart.';
comment on column definition.complication_rate.anytime_high is
'Upper end of that interval; for in_trainee_hands with the unclear events counted as the trainee''s.';
comment on column definition.complication_rate.known_from_others is
'Known outcomes of which somebody other than the trainee (supervisor, review of the records, audit) had the last word. Below half of the known ones the rate is called self-reported.';
comment on column definition.complication_rate.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
