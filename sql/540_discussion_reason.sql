-- Whom should the committee discuss, and why?
--
-- Rows:   one per trainee in training, kind of reason, and what it is about; nobody who completed or left
-- Reads:  trainee, trainee_clock, pace, pace_sentence, case_volume, case_sequence_signal, supervision_loosening,
--         step_progress, milestone_standing, milestone_level, complication_rate, reason_rule, false_alarm, complication,
--         procedure_group, step, milestone, supervision_level, upper_level, input.milestones,
--         input.review_period, input.programme, input.reason_setting
-- Source: the rules are in reason_rule, their numbers in `reasons:` of programme.yaml
create view definition.discussion_reason as
with

person as (

    select
        trainee.*,
        trainee_clock.months_left,
        month_number(programme.as_of) - month_number(trainee.started) as months_since_start,
        month_number(programme.as_of) - month_number(trainee.expected_completion) as months_past
    from trainee
    inner join trainee_clock on trainee.trainee_ref = trainee_clock.trainee_ref
    cross join input.programme as programme
    where not trainee.training_is_over

),

signalled as (

    select
        case_sequence_signal.*,
        case setting.outcome_over_time_limit
            when 'class' then case_sequence_signal.signal_case_class
            else case_sequence_signal.signal_case_person
        end as signal_case,
        case_sequence_signal.cusum > case setting.outcome_over_time_limit
            when 'class' then case_sequence_signal.limit_class
            else case_sequence_signal.limit_person
        end as above_now
    from main.case_sequence_signal
    cross join input.reason_setting as setting

),

levelled as (

    select
        milestone_standing.trainee_ref,
        milestone_standing.milestone_ref,
        milestone_standing.level,
        milestone_standing.missing,
        milestone_standing.committee_level,
        milestone_standing.committee_period,
        milestone_level."position",
        committee."position" as committee_position,
        milestone_standing.rules_total,
        milestone_standing.rules_met,
        min(
            case
                when
                    milestone_standing.rules_met + milestone_standing.rules_unknown
                    < milestone_standing.rules_total
                    then milestone_level."position"
            end
        ) over of_milestone as lowest_not_met,
        min(case when milestone_standing.rules_met < milestone_standing.rules_total then milestone_level."position" end)
            over of_milestone as lowest_open
    from main.milestone_standing
    inner join milestone_level on milestone_standing.level = milestone_level.level
    inner join milestone_level as committee on milestone_standing.committee_level = committee.level
    window of_milestone as (partition by milestone_standing.trainee_ref, milestone_standing.milestone_ref)

),

highest_met as (

    select trainee_ref, milestone_ref, max("position") as highest
    from levelled
    where rules_total > 0 and rules_met = rules_total and (lowest_open is null or "position" < lowest_open)
    group by trainee_ref, milestone_ref

),

recorded as (

    -- Levels that were assessed, the latest first.
    select
        recorded.trainee_ref,
        recorded.milestone as milestone_ref,
        recorded.level,
        recorded.period,
        milestone_level."position",
        row_number() over (
            partition by recorded.trainee_ref, recorded.milestone
            order by split_part(recorded.period, ' ', 1) desc, review_period.position desc nulls last
        ) as place
    from input.milestones as recorded
    inner join milestone_level on recorded.level = milestone_level.level
    left join input.review_period as review_period
        on lower(substr(recorded.period, 9)) = review_period.period_name

),

found as (

    select
        paced.trainee_ref,
        'pace_behind' as reason,
        paced.requirement_ref as subject,
        concat(paced.stands, paced.became, paced.forecast, paced.needs, paced.rotations) as sentence,
        concat(paced.stands, paced.needs, paced.rotations) as own_sentence,
        concat('requirement:', paced.requirement_ref) as opens
    from main.pace_sentence as paced
    inner join main.pace as numbers
        on paced.trainee_ref = numbers.trainee_ref and paced.requirement_ref = numbers.requirement_ref
    cross join input.reason_setting as setting
    where
        numbers.probability_met < setting.pace_behind_chance_below
        or (
            numbers.probability_met is null
            and numbers.like_people >= setting.pace_behind_people
            and (numbers.like_met + 0.5e0) / (numbers.like_people + 1) < setting.pace_behind_chance_below
        )
    union all
    select
        case_volume.trainee_ref,
        'unconfirmed_minimum' as reason,
        case_volume.requirement_ref as subject,
        concat(
            case_volume.requirement_title, ': the minimum is reached only with unconfirmed cases: ',
            case_volume.confirmed_cases, ' of the ', case_volume.minimum, ' needed are confirmed (',
            case_volume.counted_cases, ' counted).'
        ) as sentence,
        null as own_sentence,
        concat('requirement:', case_volume.requirement_ref) as opens
    from main.case_volume
    inner join person on case_volume.trainee_ref = person.trainee_ref
    cross join input.reason_setting as setting
    where
        case_volume.met
        and case_volume.confirmed_cases < case_volume.minimum
        and person.months_left <= setting.unconfirmed_minimum_months_left
    union all
    select
        paced.trainee_ref,
        'close_and_short' as reason,
        paced.requirement_ref as subject,
        concat(paced.stands, paced.needs, paced.rotations) as sentence,
        null as own_sentence,
        concat('requirement:', paced.requirement_ref) as opens
    from main.pace_sentence as paced
    inner join main.pace as numbers
        on paced.trainee_ref = numbers.trainee_ref and paced.requirement_ref = numbers.requirement_ref
    cross join input.reason_setting as setting
    where numbers.months_left <= setting.close_and_short_months_left
    union all
    select
        signalled.trainee_ref,
        'outcome_over_time' as reason,
        signalled.complication_ref as subject,
        concat(
            complication.title, ': ', signalled.events, ' in ', signalled.known_outcomes,
            ' operations with a recorded outcome',
            case
                when signalled.expected_events is null then ''
                else concat(', where about ', number_text(signalled.expected_events), ' would be expected')
            end,
            '. By operation ', signalled.signal_case,
            ' of these they had come closer together than chance usually brings (by the limit for ',
            case setting.outcome_over_time_limit when 'class' then 'a whole class' else 'one person' end, ').',
            case when signalled.above_now then '' else ' Since then they have become rarer again.' end
        ) as sentence,
        concat(
            complication.title, ': ', signalled.events, ' in ', signalled.known_outcomes,
            ' operations with a recorded outcome. By operation ', signalled.signal_case,
            ' of these they had come closer together than chance usually brings.',
            case when signalled.above_now then '' else ' Since then they have become rarer again.' end
        ) as own_sentence,
        concat('outcome:', signalled.complication_ref) as opens
    from signalled
    inner join complication on signalled.complication_ref = complication.complication_ref
    cross join input.reason_setting as setting
    where signalled.signal_case is not null
    union all
    select
        loosening.trainee_ref,
        'supervision_not_loosening' as reason,
        loosening.procedure_group as subject,
        concat(
            procedure_group.title, ': in the latest ',
            counted_text(setting.supervision_not_loosening_quarters, 'quarter'), ' ', loosening.cases_at_level, ' of ',
            loosening.known_cases, ' operations with a recorded level were at "', named.title, '" or above (',
            whole_percent(loosening.share), '; 95 % interval ', whole_percent(loosening.share_low), ' to ',
            whole_percent(loosening.share_high), '). Of ', loosening.earlier_people,
            ' earlier trainees in the same quarters, three in four had at least ', whole_percent(loosening.earlier_low),
            ', and half at least ', whole_percent(loosening.earlier_median), '.'
        ) as sentence,
        concat(
            procedure_group.title, ': in the latest ',
            counted_text(setting.supervision_not_loosening_quarters, 'quarter'), ' ', loosening.cases_at_level, ' of ',
            loosening.known_cases, ' operations with a recorded level were at "', named.title, '" or above (',
            whole_percent(loosening.share), '; 95 % interval ', whole_percent(loosening.share_low), ' to ',
            whole_percent(loosening.share_high), ').'
        ) as own_sentence,
        concat('supervision:', loosening.procedure_group) as opens
    from main.supervision_loosening as loosening
    inner join procedure_group on loosening.procedure_group = procedure_group.procedure_group
    cross join upper_level
    inner join supervision_level as named on upper_level.level_rank = named.level_rank
    cross join input.reason_setting as setting
    where
        loosening.known_cases >= setting.supervision_not_loosening_cases
        and loosening.earlier_people >= setting.supervision_not_loosening_people
        and loosening.share_high < loosening.earlier_low
        and loosening.earlier_median - coalesce(loosening.earlier_before, 0)
        >= setting.supervision_not_loosening_loosened_by
        and loosening.share - coalesce(loosening.share_before, 0) < setting.supervision_not_loosening_loosened_by
    union all
    select
        progress.trainee_ref,
        'step_without_progress' as reason,
        progress.step as subject,
        concat(
            step.title, ': mean score ', score_text(progress.score_latest), ' of 5 in the latest ',
            progress.operations, ' reviewed operations, ', score_text(progress.score_before), ' in the ',
            progress.operations, ' before.'
        ) as sentence,
        null as own_sentence,
        concat('step:', progress.step) as opens
    from main.step_progress as progress
    inner join step on progress.step = step.step
    cross join input.reason_setting as setting
    where
        progress.score_latest <= progress.score_before
        and progress.score_latest < setting.step_without_progress_score_below
    union all
    select
        latest.trainee_ref,
        'level_fell' as reason,
        latest.milestone_ref as subject,
        concat(
            milestone.title, ': level ', before.level, ' at ', before.period, ', ', latest.level, ' at ',
            latest.period, '.'
        ) as sentence,
        null as own_sentence,
        concat('milestone:', latest.milestone_ref) as opens
    from recorded as latest
    inner join recorded as before
        on latest.trainee_ref = before.trainee_ref and latest.milestone_ref = before.milestone_ref
    inner join milestone on latest.milestone_ref = milestone.milestone_ref
    cross join input.reason_setting as setting
    where
        latest.place = 1
        and before.place = 2
        and before."position" - latest."position" >= setting.level_fell_levels
    union all
    select
        levelled.trainee_ref,
        'level_and_evidence' as reason,
        levelled.milestone_ref as subject,
        concat(
            milestone.title, ': the committee''s level is ', levelled.committee_level, ' (',
            levelled.committee_period, '). Not met at level ', levelled.level, ': ', levelled.missing, '.'
        ) as sentence,
        null as own_sentence,
        concat('milestone:', levelled.milestone_ref) as opens
    from levelled
    inner join milestone on levelled.milestone_ref = milestone.milestone_ref
    cross join input.reason_setting as setting
    where
        levelled."position" = levelled.lowest_not_met
        and levelled.committee_position - levelled.lowest_not_met + 1 >= setting.level_and_evidence_levels_apart
    union all
    select
        levelled.trainee_ref,
        'level_and_evidence' as reason,
        levelled.milestone_ref as subject,
        concat(
            milestone.title, ': the committee''s level is ', levelled.committee_level, ' (',
            levelled.committee_period, '), though every rule through level ', levelled.level, ' is met.'
        ) as sentence,
        null as own_sentence,
        concat('milestone:', levelled.milestone_ref) as opens
    from levelled
    inner join highest_met
        on
            levelled.trainee_ref = highest_met.trainee_ref
            and levelled.milestone_ref = highest_met.milestone_ref
            and levelled."position" = highest_met.highest
    inner join milestone on levelled.milestone_ref = milestone.milestone_ref
    cross join input.reason_setting as setting
    where highest_met.highest - levelled.committee_position >= setting.level_and_evidence_levels_apart
    union all
    select
        person.trainee_ref,
        'log_late' as reason,
        null as subject,
        concat(
            'The log ends in ', month_in_words(person.data_through), ': ',
            counted_text(person.months_not_entered, 'month'), ' not entered.'
        ) as sentence,
        null as own_sentence,
        'log' as opens
    from person
    cross join input.reason_setting as setting
    where not person.is_current and person.months_not_entered >= setting.log_late_months
    union all
    select
        complication_rate.trainee_ref,
        'outcomes_unknown' as reason,
        complication_rate.complication_ref as subject,
        concat(
            complication.title, ': no outcome is recorded for ', complication_rate.unknown_outcomes, ' of the ',
            complication_rate.known_outcomes + complication_rate.unknown_outcomes,
            ' operations for which it should be known by now.'
        ) as sentence,
        null as own_sentence,
        concat('outcome:', complication_rate.complication_ref) as opens
    from main.complication_rate
    inner join complication on complication_rate.complication_ref = complication.complication_ref
    cross join input.reason_setting as setting
    where
        complication_rate.attribution = 'as_started'
        and complication_rate.known_outcomes + complication_rate.unknown_outcomes >= setting.outcomes_unknown_due
        and complication_rate.unknown_outcomes
        > setting.outcomes_unknown_share
        * (complication_rate.known_outcomes + complication_rate.unknown_outcomes)
    union all
    select
        person.trainee_ref,
        'nothing_known' as reason,
        null as subject,
        concat('Nothing is known: no case log has come in since the start in ', month_in_words(person.started), '.')
            as sentence,
        null as own_sentence,
        'log' as opens
    from person
    cross join input.reason_setting as setting
    where person.data_through is null and person.months_since_start >= setting.nothing_known_months
    union all
    select
        person.trainee_ref,
        'past_completion' as reason,
        null as subject,
        concat(
            'Was expected to complete in ', month_in_words(person.expected_completion),
            '; neither completed nor left is entered.'
        ) as sentence,
        null as own_sentence,
        'roster' as opens
    from person
    cross join input.reason_setting as setting
    where person.months_past >= setting.past_completion_months

)

select
    person.programme_ref,
    person.cohort,
    person.trainee_ref,
    found.reason,
    found.subject,
    found.sentence,
    false_alarm.is_weak as weak,
    found.opens,
    coalesce(found.own_sentence, found.sentence) as own_sentence,
    reason_rule."position",
    person.data_through
from found
inner join person on found.trainee_ref = person.trainee_ref
inner join main.reason_rule on found.reason = reason_rule.reason
left join main.false_alarm
    on person.programme_ref = false_alarm.programme_ref and found.reason = false_alarm.reason;

comment on view definition.discussion_reason is
'Whom should the committee discuss, and why? One row for every reason about somebody in training; who completed or left has none. Rules and order stand in reason_rule, how often a kind would arise for nobody''s fault in false_alarm. No score, no ranking; no decision is taken here.';
comment on column definition.discussion_reason.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.discussion_reason.cohort is
'The class: the academic year in which its trainees are to complete.';
comment on column definition.discussion_reason.trainee_ref is 'The trainee, as a pseudonym.';
comment on column definition.discussion_reason.reason is 'The kind of reason, as in reason_rule.';
comment on column definition.discussion_reason.subject is
'What it is about: a requirement, outcome, group, step or milestone by its code; blank where it is about the person''s log as a whole.';
comment on column definition.discussion_reason.sentence is 'The reason in words, with its numbers.';
comment on column definition.discussion_reason.weak is
'Whether the kind names somebody at more meetings than weak_above of programme.yaml though everybody is fine; blank before calibrate.';
comment on column definition.discussion_reason.opens is
'Where the evidence stands: requirement, outcome, supervision, step or milestone with its code, log, or roster.';
comment on column definition.discussion_reason.own_sentence is
'The same reason as the trainee reads it: without what is made of others.';
comment on column definition.discussion_reason."position" is
'The place of the kind in the order in which reasons are listed; no order of weight.';
comment on column definition.discussion_reason.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
