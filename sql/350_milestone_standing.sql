-- Which rules of each milestone and level does the evidence meet, what is missing, what cannot be said?
--
-- Rows:   one per trainee of the roster, milestone and level of the framework, also where a level has no rule
-- Reads:  trainee, milestone, milestone_level, milestone_rule, case_volume, complication_rate,
--         supervision_mix, supervision_level, review_step, requirement, complication, procedure_group, step,
--         input.milestones, input.review_period
-- Source: the framework of the specialty file; the level beside it is the committee's, never worked out
create view definition.milestone_standing as
with

level_share as (

    -- Of the cases in an operating role with a recorded level, in all quarters, how many at the named level or above?
    select
        milestone_rule.milestone_ref,
        milestone_rule.level,
        milestone_rule.rule_number,
        supervision_mix.trainee_ref,
        sum(case
            when supervision_mix.level_rank >= named.level_rank then supervision_mix.cases
            else 0
        end) as cases_at_level,
        sum(supervision_mix.cases) as known_cases
    from milestone_rule
    inner join supervision_level as named on milestone_rule.level_ref = named.level_ref
    inner join main.supervision_mix
        on
            milestone_rule.procedure_group = supervision_mix.procedure_group
            and supervision_mix.level_ref is not null
    where milestone_rule.measure = 'supervision_share'
    group by
        milestone_rule.milestone_ref,
        milestone_rule.level,
        milestone_rule.rule_number,
        supervision_mix.trainee_ref

),

scored as (

    select trainee_ref, step, count(score) as scores, sum(score) as score_sum
    from review_step
    where not done_by_supervisor
    group by trainee_ref, step

),

measured as (

    -- One row per trainee and rule: the value, null where it cannot be said, and the evidence behind it.
    select
        trainee.trainee_ref,
        milestone_rule.milestone_ref,
        milestone_rule.level,
        milestone_rule.rule_number,
        milestone_rule.measure,
        milestone_rule.at_least,
        milestone_rule.at_most,
        case milestone_rule.measure
            when 'counted_cases' then cast(case_volume.counted_cases as double)
            when 'rate' then complication_rate.rate_high
            when 'supervision_share' then cast(level_share.cases_at_level as double) / level_share.known_cases
            when 'score_mean'
                then case when scored.scores >= 3 then cast(scored.score_sum as double) / scored.scores end
        end as measured_value,
        -- In the trainee's hands the two ends are of different counts, and neither alone decides.
        case
            when milestone_rule.attribution = 'in_trainee_hands' then complication_rate.rate_low
            else complication_rate.rate_high
        end as other_end,
        case milestone_rule.measure
            when 'supervision_share' then coalesce(level_share.known_cases, 0)
            when 'score_mean' then coalesce(scored.scores, 0)
        end as evidence,
        coalesce(requirement.title, complication.title, procedure_group.title, step.title) as about,
        named.title as level_title
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
    left join level_share
        on
            trainee.trainee_ref = level_share.trainee_ref
            and milestone_rule.milestone_ref = level_share.milestone_ref
            and milestone_rule.level = level_share.level
            and milestone_rule.rule_number = level_share.rule_number
    left join scored
        on trainee.trainee_ref = scored.trainee_ref and milestone_rule.step = scored.step
    left join requirement on milestone_rule.requirement_ref = requirement.requirement_ref
    left join complication on milestone_rule.complication_ref = complication.complication_ref
    left join procedure_group on milestone_rule.procedure_group = procedure_group.procedure_group
    left join step on milestone_rule.step = step.step
    left join supervision_level as named on milestone_rule.level_ref = named.level_ref

),

answered as (

    -- The upper end of a rate's interval must stay below: few cases prove nothing. In the trainee's hands both
    -- ends must lie on the same side.
    select
        *,
        case measure
            when 'rate'
                then case when (other_end <= at_most) = (measured_value <= at_most) then other_end <= at_most end
            else measured_value >= at_least
        end as is_met
    from measured

),

lacking as (

    select
        *,
        case
            when is_met then null
            when measure = 'counted_cases' and is_met is null
                then concat('cannot be said: ', about, ' is not counted for this class')
            when measure = 'counted_cases'
                then concat(
                    about, ': ', cast(-floor(measured_value - at_least) as bigint), ' more ',
                    case when measured_value - at_least >= -1 then 'case' else 'cases' end
                )
            when measure = 'rate' and measured_value is null
                then concat('cannot be said: ', about, ' has no rate yet')
            when measure = 'rate' and is_met is null
                then concat(
                    'cannot be said: ', about, ' that happened in their hands may be as rare as ',
                    percent_text(tenth_below(other_end)), ' and as frequent as ',
                    percent_text(tenth_above(measured_value)), '; needs at most ', percent_text(at_most)
                )
            when measure = 'rate'
                then concat(
                    about, ' may be as frequent as ', percent_text(tenth_above(measured_value)),
                    '; needs at most ', percent_text(at_most)
                )
            when measure = 'supervision_share' and is_met is null
                then concat('cannot be said: no case of ', about, ' with a recorded level')
            when measure = 'supervision_share'
                then concat(
                    about, ' at "', level_title, '" or above: ', percent_text(tenth_below(measured_value)),
                    ' of ', evidence, case when evidence = 1 then ' case' else ' cases' end,
                    ' with a recorded level; needs ', percent_text(at_least)
                )
            when is_met is null
                then concat('cannot be said: ', about, ' has ', evidence, ' of at least 3 scores')
            else concat(
                about, ': mean ', score_text(measured_value), ' in ', evidence,
                ' scores of all quarters; needs ', score_text(at_least)
            )
        end as lack
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
        joined_in_order(lack, rule_number) as missing
    from lacking
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
'Rules of which nothing can be said yet: no rate, a rate in the trainee''s hands whose interval does not lie on one side of what is asked, no case with a recorded level, fewer than three scores, or a requirement that is not counted for this class.';
comment on column definition.milestone_standing.missing is
'What is not met and what cannot be said, one after the other; blank when nothing is missing.';
comment on column definition.milestone_standing.committee_level is
'The level that the committee recorded last for this milestone, as recorded (it may be not assessable); blank with none.';
comment on column definition.milestone_standing.committee_period is 'The period of that record.';
comment on column definition.milestone_standing.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
