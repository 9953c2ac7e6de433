-- How many cases of each status does each outcome have, quarter by quarter?
--
-- Rows:   one per trainee, complication, training quarter, and whether the role is an operating one
-- Reads:  eligible_case
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
    count(*) filter (where is_known) as known_outcomes,
    count(*) filter (where is_known and is_from_others) as known_from_others,
    count(*) filter (where is_event) as events,
    count(*) filter (where is_event and is_in_trainee_hands) as events_of_trainee,
    count(*) filter (where is_event and is_in_unclear_hands) as events_unclear
from eligible_case
group by trainee_ref, complication_ref, in_operating_role, training_quarter;
