-- What does a whole training of an average trainee look like: how many cases, how risky, in how large a class?
--
-- Rows:   one per programme, complication, band of case number and log odds of the recorded risk factors
-- Reads:  outcome_band, reference_band, trainee, input.programme
-- Source: the middle one of the trainees who completed with a known outcome (of two the lower); while fewer than five
--         have completed, the most cases that anybody has so far. Our own choice
create table main.average_training as
with

person as (

    select
        trainee.programme_ref,
        trainee.trainee_ref,
        outcome_band.complication_ref,
        coalesce(trainee.completed <= substr(programme.as_of, 1, 7), false) as has_completed,
        sum(outcome_band.known_outcomes) as known_outcomes
    from outcome_band
    inner join trainee on outcome_band.trainee_ref = trainee.trainee_ref
    cross join input.programme as programme
    where outcome_band.attribution = 'as_started'
    group by
        trainee.programme_ref,
        trainee.trainee_ref,
        outcome_band.complication_ref,
        coalesce(trainee.completed <= substr(programme.as_of, 1, 7), false)

),

placed as (

    select
        *,
        row_number() over (
            partition by programme_ref, complication_ref, has_completed
            order by known_outcomes, trainee_ref
        ) as place,
        count(*) over (partition by programme_ref, complication_ref, has_completed) as people,
        max(known_outcomes) over (partition by programme_ref, complication_ref) as most_known
    from person

),

whole as (

    select
        programme_ref,
        complication_ref,
        coalesce(
            max(case
                when has_completed and people >= 5 and place = floor((people + 1) / 2) then known_outcomes
            end),
            max(most_known)
        ) as cases
    from placed
    group by programme_ref, complication_ref

),

class as (

    select programme_ref, cohort, count(*) as people
    from trainee
    group by programme_ref, cohort

),

class_size as (

    select programme_ref, max(people) as class_people
    from class
    group by programme_ref

),

unusable as (

    -- Where a band has no reference for anybody, or nearly all is unknown, there is no limit.
    select
        programme_ref,
        complication_ref,
        band,
        min(case when is_thin or is_mostly_unknown then 1 else 0 end) = 1 as is_without_reference
    from reference_band
    where attribution = 'as_started'
    group by programme_ref, complication_ref, band

)

select
    outcome_band.programme_ref,
    outcome_band.complication_ref,
    outcome_band.band,
    cast(outcome_band.log_odds as double) as log_odds,
    cast(sum(outcome_band.known_outcomes) as bigint) as known_outcomes,
    cast(sum(outcome_band.events) as bigint) as events,
    unusable.is_without_reference,
    cast(whole.cases as integer) as cases,
    cast(class_size.class_people as integer) as class_people
from outcome_band
inner join whole
    on outcome_band.programme_ref = whole.programme_ref and outcome_band.complication_ref = whole.complication_ref
inner join class_size on outcome_band.programme_ref = class_size.programme_ref
inner join unusable
    on
        outcome_band.programme_ref = unusable.programme_ref
        and outcome_band.complication_ref = unusable.complication_ref
        and outcome_band.band = unusable.band
where outcome_band.attribution = 'as_started'
group by
    outcome_band.programme_ref,
    outcome_band.complication_ref,
    outcome_band.band,
    outcome_band.log_odds,
    unusable.is_without_reference,
    whole.cases,
    class_size.class_people;
