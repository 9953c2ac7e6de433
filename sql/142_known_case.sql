-- Which cases with a known outcome has each trainee, in which order, and with what risk?
--
-- Rows:   one per operated case and complication whose outcome is known
-- Reads:  definition.case_outcome, case_risk
-- Source: the statuses of case_outcome
create table main.known_case as
with

known as (

    select
        trainee_ref,
        complication_ref,
        case_sequence,
        training_quarter,
        in_operating_role,
        status = 'event' as is_event,
        event_hands
    from definition.case_outcome
    where status in ('event', 'no event')

)

select
    known.trainee_ref,
    known.complication_ref,
    known.case_sequence,
    known.training_quarter,
    known.in_operating_role,
    known.is_event,
    known.event_hands,
    coalesce(case_risk.log_odds, 0) as log_odds,
    -- The trainee's own known cases in their order: those begun in an operating role, and those logged in one.
    cast(row_number() over (
        partition by known.trainee_ref, known.complication_ref
        order by known.case_sequence
    ) as integer) as number_started,
    cast(sum(case when known.in_operating_role then 1 else 0 end) over (
        partition by known.trainee_ref, known.complication_ref
        order by known.case_sequence
        rows between unbounded preceding and current row
    ) as integer) as number_logged
from known
left join case_risk
    on
        known.trainee_ref = case_risk.trainee_ref
        and known.case_sequence = case_risk.case_sequence
        and known.complication_ref = case_risk.complication_ref;
