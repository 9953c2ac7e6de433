-- How many cases of each status has each trainee for each outcome, and how many events?
--
-- Rows:   one per trainee of the roster, complication and attribution, also with nothing known
-- Reads:  outcome_quarter, complication, trainee
-- Source: the statuses of case_outcome
create table main.outcome_count as
with

attribution as (

    select 'as_logged' as attribution
    union all
    select 'as_started' as attribution
    union all
    select 'in_trainee_hands' as attribution

)

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
    cast(coalesce(sum(counted.events_unfollowed), 0) as bigint) as events_unfollowed,
    cast(coalesce(sum(counted.known_outcomes), 0) as bigint) as known_outcomes,
    cast(coalesce(sum(counted.known_from_others), 0) as bigint) as known_from_others,
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
        and (counted.in_operating_role or attribution.attribution <> 'as_logged')
group by
    trainee.programme_ref,
    trainee.cohort,
    trainee.trainee_ref,
    complication.complication_ref,
    complication.procedure_group,
    complication.window_days,
    attribution.attribution,
    trainee.data_through;
