-- How many cases of each status does each outcome have, quarter by quarter?
--
-- Rows:   one per trainee, complication, training quarter, and whether the role is an operating one
-- Reads:  definition.case_outcome
-- Source: the statuses of case_outcome
create table main.outcome_quarter as
select
    trainee_ref,
    complication_ref,
    in_operating_role,
    training_quarter,
    count(*) as eligible_cases,
    count(*) filter (where status in ('not yet due', 'early event')) as not_yet_due,
    count(*) filter (where status = 'early event') as early_events,
    count(*) filter (where status = 'unfollowed event') as events_unfollowed,
    count(*) filter (where status in ('event', 'no event')) as known_outcomes,
    count(*) filter (where status in ('event', 'no event') and ascertained_by <> 'trainee') as known_from_others,
    count(*) filter (where status = 'event') as events,
    count(*) filter (where status = 'event' and event_hands = 'trainee') as events_of_trainee,
    count(*) filter (
        where status = 'event' and (event_hands is null or event_hands = 'unclear')
    ) as events_unclear
from definition.case_outcome
group by trainee_ref, complication_ref, in_operating_role, training_quarter;
