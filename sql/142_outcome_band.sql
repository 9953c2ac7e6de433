-- How many known outcomes and events fell among each trainee's first 50 cases, the next 50, and so on?
--
-- Rows:   one per trainee, complication, whether the role is an operating one, and the two bands of case number
-- Reads:  definition.case_outcome
-- Source: bands of case number 1-50, 51-100, 101-200 and over 200: common practice, no source
create table main.outcome_band as
with

numbered as (

    -- The trainee's own known cases in their order: those in an operating role, and those begun in one.
    select
        trainee_ref,
        complication_ref,
        in_operating_role,
        status,
        event_hands,
        row_number() over (
            partition by trainee_ref, complication_ref
            order by case_sequence
        ) as number_started,
        sum(case when in_operating_role then 1 else 0 end) over (
            partition by trainee_ref, complication_ref
            order by case_sequence
            rows between unbounded preceding and current row
        ) as number_logged
    from definition.case_outcome
    where status in ('event', 'no event')

),

banded as (

    select
        *,
        case
            when number_started <= 50 then 1
            when number_started <= 100 then 2
            when number_started <= 200 then 3
            else 4
        end as band_started,
        case
            when number_logged <= 50 then 1
            when number_logged <= 100 then 2
            when number_logged <= 200 then 3
            else 4
        end as band_logged
    from numbered

)

select
    trainee_ref,
    complication_ref,
    in_operating_role,
    band_started,
    band_logged,
    count(*) as known_outcomes,
    count(*) filter (where status = 'event') as events,
    count(*) filter (where status = 'event' and event_hands = 'trainee') as events_of_trainee,
    count(*) filter (
        where status = 'event' and (event_hands is null or event_hands = 'unclear')
    ) as events_unclear
from banded
group by trainee_ref, complication_ref, in_operating_role, band_started, band_logged;
