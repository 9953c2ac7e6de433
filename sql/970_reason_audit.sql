-- Is every reason about somebody in training, of a kind that has a rule, and said in words?
--
-- Rows:   one per trainee or kind that breaks a rule; there must be none
-- Reads:  discussion_reason, reason_rule, false_alarm, supervision_loosening, step_progress, trainee
-- Source: who completed or left has no reason; a plain fact is never weak
with

programme as (

    select distinct programme_ref
    from trainee

)

select 'a reason about somebody who is not in training' as offence, discussion_reason.trainee_ref as about
from discussion_reason
left join trainee on discussion_reason.trainee_ref = trainee.trainee_ref and not trainee.training_is_over
where trainee.trainee_ref is null
union all
select 'a reason without words, or of a kind without a rule' as offence, discussion_reason.trainee_ref as about
from discussion_reason
left join reason_rule on discussion_reason.reason = reason_rule.reason
where
    reason_rule.reason is null
    or discussion_reason.sentence is null
    or discussion_reason.own_sentence is null
    or discussion_reason.opens is null
union all
select 'a chance outside of 0 to 1' as offence, reason as about
from false_alarm
where
    chance_meeting not between 0 and 1
    or chance_training not between 0 and 1
    or chance_training < chance_meeting
    or power not between 0 and 1
union all
select 'a plain fact that may be weak' as offence, false_alarm.reason as about
from false_alarm
inner join reason_rule on false_alarm.reason = reason_rule.reason
where not reason_rule.is_chance and false_alarm.is_weak is distinct from false
union all
select 'a kind without a line of its false alarms' as offence, reason_rule.reason as about
from reason_rule
cross join programme
left join false_alarm
    on programme.programme_ref = false_alarm.programme_ref and reason_rule.reason = false_alarm.reason
where false_alarm.reason is null
union all
select 'a share that is none' as offence, trainee_ref as about
from supervision_loosening
where
    cases_at_level > known_cases
    or share not between 0 and 1
    or share_low > share
    or share > share_high
    or earlier_low > earlier_median
union all
select 'a mean score that is none' as offence, trainee_ref as about
from step_progress
where
    score_latest not between 1 and 5
    or score_before not between 1 and 5
    or 2 * operations > reviewed_operations
