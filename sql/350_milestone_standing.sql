-- Which rules of each milestone and level does the evidence meet, what is missing, what cannot be said?
--
-- Rows:   one per trainee of the roster, milestone and level of the framework, also where a level has no rule
-- Reads:  trainee, trainee_clock, milestone, milestone_level, milestone_rule, case_volume, complication_rate,
--         eligible_case, supervised_case, supervision_level, operation_score, requirement, complication,
--         procedure_group, step, input.milestones, input.review_period
-- Source: the framework of the specialty file; the level beside it is the committee's, never worked out. Ten cases of a
--         share and five operations of a mean are the fewest that a rule may rest on: our own choice
create view definition.milestone_standing as
with

of_share as (

    -- The cases with a recorded level of each rule about them, the newest first.
    select
        milestone_rule.milestone_ref,
        milestone_rule.level,
        milestone_rule.rule_number,
        milestone_rule.last_cases,
        supervised_case.trainee_ref,
        case when supervised_case.level_rank >= named.level_rank then 1 else 0 end as amount,
        0 as unclear,
        row_number() over (
            partition by
                milestone_rule.milestone_ref, milestone_rule.level, milestone_rule.rule_number, supervised_case.trainee_ref
            order by supervised_case.case_sequence desc
        ) as place
    from milestone_rule
    inner join supervision_level as named on milestone_rule.level_ref = named.level_ref
    inner join supervised_case
        on
            milestone_rule.procedure_group = supervised_case.procedure_group
            and supervised_case.level_ref is not null
    inner join trainee_clock on supervised_case.trainee_ref = trainee_clock.trainee_ref
    where
        milestone_rule.measure = 'supervision_share'
        and (
            milestone_rule.last_quarters is null
            or supervised_case.training_quarter > trainee_clock.last_training_quarter - milestone_rule.last_quarters
        )

),

of_mean as (

    select
        milestone_rule.milestone_ref,
        milestone_rule.level,
        milestone_rule.rule_number,
        milestone_rule.last_cases,
        operation_score.trainee_ref,
        operation_score.score as amount,
        0 as unclear,
        row_number() over (
            partition by
                milestone_rule.milestone_ref, milestone_rule.level, milestone_rule.rule_number, operation_score.trainee_ref
            order by operation_score.case_sequence desc
        ) as place
    from milestone_rule
    inner join operation_score on milestone_rule.step = operation_score.step
    inner join trainee_clock on operation_score.trainee_ref = trainee_clock.trainee_ref
    where
        milestone_rule.measure = 'score_mean'
        and (
            milestone_rule.last_quarters is null
            or operation_score.training_quarter > trainee_clock.last_training_quarter - milestone_rule.last_quarters
        )

),

of_rate as (

    -- Only of rules about the last cases or quarters; about all of them complication_rate knows.
    select
        milestone_rule.milestone_ref,
        milestone_rule.level,
        milestone_rule.rule_number,
        milestone_rule.last_cases,
        eligible_case.trainee_ref,
        case
            when
                eligible_case.is_event
                and (milestone_rule.attribution <> 'in_trainee_hands' or eligible_case.is_in_trainee_hands)
                then 1
            else 0
        end as amount,
        case
            when
                eligible_case.is_event
                and milestone_rule.attribution = 'in_trainee_hands'
                and eligible_case.is_in_unclear_hands
                then 1
            else 0
        end as unclear,
        row_number() over (
            partition by
                milestone_rule.milestone_ref, milestone_rule.level, milestone_rule.rule_number, eligible_case.trainee_ref
            order by eligible_case.case_sequence desc
        ) as place
    from milestone_rule
    inner join eligible_case
        on
            milestone_rule.complication_ref = eligible_case.complication_ref
            and eligible_case.is_known
            and (eligible_case.in_operating_role or milestone_rule.attribution <> 'as_logged')
    inner join trainee_clock on eligible_case.trainee_ref = trainee_clock.trainee_ref
    where
        milestone_rule.measure = 'rate'
        and (milestone_rule.last_quarters is not null or milestone_rule.last_cases is not null)
        and (
            milestone_rule.last_quarters is null
            or eligible_case.training_quarter > trainee_clock.last_training_quarter - milestone_rule.last_quarters
        )

),

of_rule as (

    select * from of_share
    union all
    select * from of_mean
    union all
    select * from of_rate

),

counted as (

    select
        milestone_ref,
        level,
        rule_number,
        trainee_ref,
        count(*) as base,
        cast(sum(amount) as double) as amount,
        cast(sum(unclear) as bigint) as unclear
    from of_rule
    where last_cases is null or place <= last_cases
    group by milestone_ref, level, rule_number, trainee_ref

),

measured as (

    -- One row per trainee and rule: the amount, what it is divided by, and for a rate both ends of its interval.
    select
        trainee.trainee_ref,
        milestone_rule.milestone_ref,
        milestone_rule.level,
        milestone_rule.rule_number,
        milestone_rule.measure,
        milestone_rule.attribution,
        milestone_rule.at_least,
        milestone_rule.at_most,
        case milestone_rule.measure
            when 'counted_cases' then case_volume.counted_cases
            when 'rate'
                then case
                    when complication_rate.rate is null then null
                    when milestone_rule.last_cases is null and milestone_rule.last_quarters is null
                        then complication_rate.events
                    else counted.amount
                end
            else counted.amount
        end as amount,
        case milestone_rule.measure
            when 'counted_cases' then null
            when 'rate'
                then case
                    when complication_rate.rate is null then 0
                    when milestone_rule.last_cases is null and milestone_rule.last_quarters is null
                        then complication_rate.known_outcomes
                    else coalesce(counted.base, 0)
                end
            else coalesce(counted.base, 0)
        end as base,
        case
            when milestone_rule.last_cases is null and milestone_rule.last_quarters is null
                then coalesce(complication_rate.events_unclear, 0)
            else coalesce(counted.unclear, 0)
        end as unclear,
        coalesce(requirement.title, complication.title, procedure_group.title, step.title) as about,
        named.title as level_title,
        case when milestone_rule.last_cases is not null then 'the last ' else '' end as which,
        case
            when milestone_rule.last_quarters = 1 then ' of the last quarter'
            when milestone_rule.last_quarters is not null
                then concat(' of the last ', milestone_rule.last_quarters, ' quarters')
            else ''
        end as of_which
    from trainee
    cross join milestone_rule
    left join main.case_volume
        on
            trainee.trainee_ref = case_volume.trainee_ref
            and milestone_rule.requirement_ref = case_volume.requirement_ref
    left join main.complication_rate
        on
            trainee.trainee_ref = complication_rate.trainee_ref
            and milestone_rule.complication_ref = complication_rate.complication_ref
            and milestone_rule.attribution = complication_rate.attribution
    left join counted
        on
            trainee.trainee_ref = counted.trainee_ref
            and milestone_rule.milestone_ref = counted.milestone_ref
            and milestone_rule.level = counted.level
            and milestone_rule.rule_number = counted.rule_number
    left join requirement on milestone_rule.requirement_ref = requirement.requirement_ref
    left join complication on milestone_rule.complication_ref = complication.complication_ref
    left join procedure_group on milestone_rule.procedure_group = procedure_group.procedure_group
    left join step on milestone_rule.step = step.step
    left join supervision_level as named on milestone_rule.level_ref = named.level_ref

),

ended as materialized (

    select
        *,
        case
            when measure = 'counted_cases' then amount
            when measure <> 'rate' then amount / nullif(base, 0)
        end as measured_value,
        case when measure = 'rate' then wilson_low(cast(amount as bigint), base, z_two_sided(0.95e0)) end as low_end,
        case
            when measure = 'rate' then wilson_high(cast(amount as bigint) + unclear, base, z_two_sided(0.95e0))
        end as high_end,
        -- So few cases that the rule could not be met even without an event.
        coalesce(measure = 'rate' and base > 0 and wilson_high(0, base, z_two_sided(0.95e0)) > at_most, false)
            as is_out_of_reach
    from measured

),

answered as (

    -- The upper end of a rate's interval must stay below: few cases prove nothing. In the trainee's hands both
    -- ends must lie on the same side, for they are of different counts.
    select
        *,
        case
            when measure = 'rate'
                then case
                    when is_out_of_reach or high_end is null then null
                    when attribution <> 'in_trainee_hands' or (low_end <= at_most) = (high_end <= at_most)
                        then high_end <= at_most
                end
            when measure = 'supervision_share' and base < 10 then null
            when measure = 'score_mean' and base < 5 then null
            else measured_value >= at_least
        end as is_met
    from ended

),

worded as (

    select
        *,
        case measure
            when 'counted_cases'
                then case
                    when amount is null then concat(about, ' is not counted for this class')
                    when is_met then concat(about, ': ', cast(amount as bigint), '; needs ', cast(at_least as bigint))
                    else concat(
                        about, ': ', cast(-floor(amount - at_least) as bigint), ' more ',
                        case when amount - at_least >= -1 then 'case' else 'cases' end
                    )
                end
            when 'rate'
                then case
                    when base = 0 then concat(about, ' has no rate yet')
                    when is_out_of_reach
                        then concat(
                            about, ': ', cast(amount as bigint), ' in ', which, base, of_which,
                            '; so few could not show ', percent_text(at_most), ' or less even without an event'
                        )
                    when is_met is null
                        then concat(
                            about, ' that happened in their hands may be as rare as ',
                            percent_text(tenth_below(low_end)), ' and as frequent as ',
                            percent_text(tenth_above(high_end)), '; needs at most ', percent_text(at_most)
                        )
                    else concat(
                        about, ': ', cast(amount as bigint), ' in ', which, base, of_which, ', may be as frequent as ',
                        percent_text(tenth_above(high_end)), '; needs at most ', percent_text(at_most)
                    )
                end
            when 'supervision_share'
                then case
                    when base < 10
                        then concat(
                            about, ' has ', base, case when base = 1 then ' case' else ' cases' end,
                            ' with a recorded level', of_which, '; needs 10'
                        )
                    else concat(
                        about, ' at "', level_title, '" or above: ', percent_text(tenth_below(measured_value)),
                        ' of ', which, base, ' cases with a recorded level', of_which, '; needs ', percent_text(at_least)
                    )
                end
            else case
                when base < 5
                    then concat(
                        about, ' was scored in ', base, case when base = 1 then ' operation' else ' operations' end,
                        of_which, '; needs 5'
                    )
                else concat(
                    about, ': mean ', score_text(measured_value), ' in ', which, base, ' operations', of_which, '; needs ',
                    score_text(at_least)
                )
            end
        end as said
    from answered

),

summed as (

    select
        trainee_ref,
        milestone_ref,
        level,
        count(*) as rules_total,
        count(*) filter (where is_met) as rules_met,
        count(*) filter (where is_met is null) as rules_unknown,
        joined_in_order(
            case when is_met then null when is_met is null then concat('cannot be said: ', said) else said end,
            rule_number
        ) as missing,
        joined_in_order(case when is_met then said end, rule_number) as met_by
    from worded
    group by trainee_ref, milestone_ref, level

),

dated as (

    -- `2026-27 mid`: by academic year, then by the programme's order of its periods.
    select
        recorded.trainee_ref,
        recorded.milestone as milestone_ref,
        recorded.level,
        recorded.period,
        row_number() over (
            partition by recorded.trainee_ref, recorded.milestone
            order by split_part(recorded.period, ' ', 1) desc, review_period.position desc nulls last
        ) as place
    from input.milestones as recorded
    left join input.review_period as review_period
        on lower(substr(recorded.period, 9)) = review_period.period_name

)

select
    trainee.programme_ref,
    trainee.cohort,
    trainee.trainee_ref,
    milestone.milestone_ref,
    milestone_level.level,
    coalesce(summed.rules_met, 0) as rules_met,
    coalesce(summed.rules_total, 0) as rules_total,
    coalesce(summed.rules_unknown, 0) as rules_unknown,
    summed.missing,
    dated.level as committee_level,
    dated.period as committee_period,
    summed.met_by,
    trainee.data_through
from trainee
cross join milestone
cross join milestone_level
left join summed
    on
        trainee.trainee_ref = summed.trainee_ref
        and milestone.milestone_ref = summed.milestone_ref
        and milestone_level.level = summed.level
left join dated
    on
        trainee.trainee_ref = dated.trainee_ref
        and milestone.milestone_ref = dated.milestone_ref
        and dated.place = 1;

comment on view definition.milestone_standing is
'Which of the rules of each milestone and level does the evidence meet, what is missing, what cannot be said? One row for every trainee of the roster, milestone and level. The level is never worked out from the rules: committee_level is what the committee recorded last, and stands the same on each row of the milestone.';
comment on column definition.milestone_standing.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.milestone_standing.cohort is
'The class: the academic year in which its trainees are to complete.';
comment on column definition.milestone_standing.trainee_ref is 'The trainee, as a pseudonym.';
comment on column definition.milestone_standing.milestone_ref is
'The milestone, by its code in the specialty file.';
comment on column definition.milestone_standing.level is 'The level of the framework.';
comment on column definition.milestone_standing.rules_met is 'Rules of this level that the evidence meets.';
comment on column definition.milestone_standing.rules_total is
'Rules of this level; 0 where the committee alone judges it.';
comment on column definition.milestone_standing.rules_unknown is
'Rules of which nothing can be said yet: no rate, so few cases that even none with an event would not meet it, a rate in the trainee''s hands whose interval does not lie on one side of what is asked, fewer than ten cases with a recorded level, fewer than five operations scored, or a requirement that is not counted for this class.';
comment on column definition.milestone_standing.missing is
'What is not met and what cannot be said, one after the other; blank when nothing is missing.';
comment on column definition.milestone_standing.committee_level is
'The level that the committee recorded last for this milestone, as recorded (it may be not assessable); blank with none.';
comment on column definition.milestone_standing.committee_period is 'The period of that record.';
comment on column definition.milestone_standing.met_by is
'What is met, each with what it rests on; blank when nothing is.';
comment on column definition.milestone_standing.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
