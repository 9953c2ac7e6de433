-- In which order did each trainee's cases of each outcome come, what is known of them, and with what risk?
--
-- Rows:   one per operated case and complication that is counted in its procedure group; those of which the outcome is
--         known are numbered
-- Reads:  definition.case_outcome, case_risk, risk_weight
-- Source: the statuses of case_outcome, worked out once for all that count them
create table main.eligible_case as
with

judged as (

    select
        trainee_ref,
        complication_ref,
        case_sequence,
        training_quarter,
        in_operating_role,
        status,
        status in ('event', 'no event') as is_known,
        status = 'event' as is_event,
        coalesce(event_hands = 'trainee', false) as is_in_trainee_hands,
        coalesce(event_hands = 'unclear', true) as is_in_unclear_hands,
        coalesce(ascertained_by <> 'trainee', false) as is_from_others
    from definition.case_outcome

),

-- Whole numbers as doubles: they add up exactly, and in half the time.
numbered as (

    select
        *,
        cast(row_number() over so_far as integer) as place_started,
        cast(sum(case when in_operating_role then 1e0 else 0e0 end) over so_far as integer) as place_logged,
        cast(sum(case when is_event then 1e0 else 0e0 end) over so_far as integer) as events_so_far
    from judged
    window so_far as (
        partition by trainee_ref, complication_ref, is_known
        order by case_sequence
        rows between unbounded preceding and current row
    )

)

select
    numbered.trainee_ref,
    numbered.complication_ref,
    numbered.case_sequence,
    numbered.training_quarter,
    numbered.in_operating_role,
    numbered.status,
    numbered.is_known,
    numbered.is_event,
    numbered.is_in_trainee_hands,
    numbered.is_in_unclear_hands,
    numbered.is_from_others,
    coalesce(case_risk.log_odds, 0) as log_odds,
    -- The trainee's own known cases in their order: those begun in an operating role, and those logged in one.
    case when numbered.is_known then numbered.place_started end as number_started,
    case when numbered.is_known then numbered.place_logged end as number_logged,
    numbered.events_so_far,
    -- From this case on through the band all known cases have one chance, unless risk factors are weighed.
    case
        when not numbered.is_known then null
        when numbered.complication_ref in (select complication_ref from risk_weight) then numbered.place_started
        else first_of_band(numbered.place_started)
    end as alike_from
from numbered
left join case_risk
    on
        numbered.trainee_ref = case_risk.trainee_ref
        and numbered.case_sequence = case_risk.case_sequence
        and numbered.complication_ref = case_risk.complication_ref;
