-- Do the counts of each rate add up, does the rate lie in its interval, and is nobody missing?
--
-- Rows:   one per trainee and complication that breaks a rule; there must be none
-- Reads:  trainee, complication, complication_rate
-- Source: contract of the views: eligible = known + unknown + not yet due
select 'known, unknown and not yet due do not add up to eligible' as offence, trainee_ref, complication_ref
from complication_rate
where
    known_outcomes + unknown_outcomes + not_yet_due <> eligible_cases
    or known_outcomes < 0 or unknown_outcomes < 0 or not_yet_due < 0
union all
select 'more events than cases in which they could be seen' as offence, trainee_ref, complication_ref
from complication_rate
where
    events + events_unclear > known_outcomes
    or early_events > not_yet_due
    or events_unfollowed > unknown_outcomes
    or events_unfollowed < 0
    or known_from_others > known_outcomes
union all
select 'a rate lies outside its interval, or has none' as offence, trainee_ref, complication_ref
from complication_rate
where
    not coalesce(rate_low <= rate and rate <= rate_high and rate_low >= 0 and rate_high <= 1, rate is null)
    or (rate is null and (rate_low is not null or rate_high is not null))
union all
select
    'a rate in the trainee''s hands of an outcome after the operation' as offence,
    complication_rate.trainee_ref,
    complication_rate.complication_ref
from complication_rate
inner join complication on complication_rate.complication_ref = complication.complication_ref
where
    complication_rate.attribution = 'in_trainee_hands'
    and complication.window_days > 0
    and (
        complication_rate.rate is not null
        or complication_rate.possible_low is not null
        or complication_rate.possible_high is not null
    )
union all
select 'what is possible does not hold the rate of all due cases' as offence, trainee_ref, complication_ref
from complication_rate
where
    (possible_low is null) <> (possible_high is null)
    or possible_low > possible_high
    or possible_low < 0
    or possible_high > 1
    or (unknown_outcomes = 0 and events_unclear = 0 and abs(possible_low - rate) > 1e-12)
    or (known_outcomes + unknown_outcomes = 0 and possible_low is not null)
    or (attribution <> 'in_trainee_hands' and known_outcomes + unknown_outcomes > 0 and possible_low is null)
union all
select 'a trainee has not three attributions of a complication' as offence, trainee.trainee_ref, complication.complication_ref
from trainee
cross join complication
left join complication_rate
    on
        trainee.trainee_ref = complication_rate.trainee_ref
        and complication.complication_ref = complication_rate.complication_ref
group by trainee.trainee_ref, complication.complication_ref
having count(complication_rate.attribution) <> 3
