-- What is known of each outcome in each case in which it could be counted, and why?
--
-- Rows:   one per operated case and complication that is counted in its procedure group
-- Reads:  case_record, operated_case, case_complication, outcome_entry, complication, complication_group, trainee
-- Source: known, unknown and not yet due as in the contract of the views. An event needs the same follow-up as
--         the absence of one, or a rate grows as fewer are followed; no case is due before its time, or those
--         whose event ended the follow-up would wait while the others count
--
-- Not stored: eight outcomes of every case would make the snapshot several times as large, and one person's
-- rows are worked out in the time of a glance.
create view definition.case_outcome as
with

noted as (

    -- An event after its window is none; one that arises in the operation counts on any day. The day of an
    -- event may be the day on which the follow-up ended.
    select
        case_complication.trainee_ref,
        case_complication.case_sequence,
        case_complication.complication_ref,
        max(case
            when
                complication.window_days = 0
                or case_complication."day" is null
                or case_complication."day" <= complication.window_days
                then 1
            else 0
        end) = 1 as is_hit,
        max(case when case_complication."day" = case_record.follow_up_days then 1 else 0 end) = 1
            as ended_follow_up,
        min(case
            when complication.window_days = 0 or case_complication."day" <= complication.window_days
                then case_complication."day"
        end) as hit_day,
        min(case_complication."day") as first_day
    from case_complication
    inner join complication
        on case_complication.complication_ref = complication.complication_ref
    inner join case_record
        on
            case_complication.trainee_ref = case_record.trainee_ref
            and case_complication.case_sequence = case_record.case_sequence
    group by
        case_complication.trainee_ref, case_complication.case_sequence, case_complication.complication_ref

),

eligible as (

    select
        case_record.programme_ref,
        case_record.trainee_ref,
        case_record.case_ref,
        case_record."procedure",
        case_record.side,
        case_record.case_sequence,
        case_record.training_quarter,
        case_record.role,
        operated_case.in_operating_role,
        case_record.event_hands,
        case_record.follow_up_days,
        complication.complication_ref,
        complication.window_days,
        -- Something that has no code yet may have been any of the outcomes.
        coalesce(is_only_other(case_record.complications), false) as is_to_code,
        case_record.complications is not null and not is_only_other(case_record.complications) as told,
        coalesce(case_record.follow_up_days >= complication.window_days, false) as followed_through,
        complication.window_days = 0
        or coalesce(case_record.observed_days >= complication.window_days, false) as is_due
    from operated_case
    inner join case_record
        on
            operated_case.trainee_ref = case_record.trainee_ref
            and operated_case.case_sequence = case_record.case_sequence
    inner join complication_group on case_record.procedure_group = complication_group.procedure_group
    inner join complication on complication_group.complication_ref = complication.complication_ref

),

judged as (

    select
        eligible.*,
        ruling.is_hit as is_ruled_hit,
        ruling."day" as ruled_day,
        coalesce(ruling.ascertained_by, case when eligible.told then 'trainee' end) as ascertained_by,
        noted.hit_day,
        noted.first_day,
        coalesce(noted.ended_follow_up, false) as ended_follow_up,
        case
            when not eligible.is_due
                then case when coalesce(ruling.is_hit, noted.is_hit) then 'early event' else 'not yet due' end
            when ruling.is_hit then 'event'
            when not ruling.is_hit then 'no event'
            when
                eligible.told
                and (
                    eligible.window_days = 0
                    or eligible.followed_through
                    or coalesce(noted.ended_follow_up, false)
                )
                then case when noted.is_hit then 'event' else 'no event' end
            when noted.is_hit then 'unfollowed event'
            else 'unknown'
        end as status
    from eligible
    left join outcome_entry as ruling
        on
            eligible.programme_ref = ruling.programme_ref
            and eligible.case_ref = ruling.case_ref
            and eligible.complication_ref = ruling.complication_ref
            and ruling.place = 1
    left join noted
        on
            eligible.trainee_ref = noted.trainee_ref
            and eligible.case_sequence = noted.case_sequence
            and eligible.complication_ref = noted.complication_ref

),

worded as (

    select
        *,
        case
            when hit_day is null then 'recorded without a day'
            else concat('recorded on day ', hit_day)
        end as when_noted,
        case
            when follow_up_days is null then concat('no follow-up is recorded for the window of ', window_days, ' days')
            else concat('follow-up of ', follow_up_days, ' days does not cover the window of ', window_days)
        end as what_lacks,
        concat(
            case ascertained_by
                when 'audit' then 'an audit says'
                when 'record_review' then 'a review of the records says'
                when 'supervisor' then 'the supervisor says'
                else 'a later note of the trainee says'
            end,
            case
                when is_ruled_hit and ruled_day is not null then concat(' that it happened on day ', ruled_day)
                when is_ruled_hit then ' that it happened'
                when window_days > 0 and ruled_day > window_days then concat(' that nothing happened through day ', window_days)
                else ' that it did not happen'
            end
        ) as who_says
    from judged

)

select
    worded.programme_ref,
    worded.trainee_ref,
    worded.case_ref,
    worded."procedure",
    worded.side,
    worded.complication_ref,
    worded.case_sequence,
    worded.training_quarter,
    worded.role,
    worded.in_operating_role,
    worded.status,
    worded.event_hands,
    worded.ascertained_by,
    case
        when worded.is_ruled_hit is not null and worded.status not in ('early event', 'not yet due')
            then worded.who_says
        when worded.is_ruled_hit and worded.status = 'early event'
            then concat(
                worded.who_says, ', but the window of ', worded.window_days, ' days has not passed by the end of the data'
            )
        when worded.status = 'early event'
            then concat(
                worded.when_noted, ', but the window of ', worded.window_days,
                ' days has not passed by the end of the data'
            )
        when worded.status = 'not yet due'
            then concat('the window of ', worded.window_days, ' days has not passed by the end of the data')
        when worded.status = 'event' and worded.window_days = 0 then 'recorded in the operation'
        when worded.status = 'event' and worded.hit_day is null
            then 'recorded without a day, and taken to lie within the window'
        when worded.status = 'event' and not worded.followed_through
            then concat(worded.when_noted, ', with which the follow-up ended')
        when worded.status = 'event' then concat(worded.when_noted, ', within the window of ', worded.window_days)
        when worded.is_to_code then 'something else is recorded, and what it was has no code yet'
        when not worded.told then 'complications are not recorded'
        when worded.status = 'no event' and worded.window_days = 0
            then 'complications are recorded, and this is not among them'
        when worded.status = 'unfollowed event' then concat(worded.when_noted, ', but ', worded.what_lacks)
        when worded.status = 'unknown' then worded.what_lacks
        when worded.first_day is not null
            then concat('recorded on day ', worded.first_day, ', after the window of ', worded.window_days)
        else concat('follow-up of ', worded.follow_up_days, ' days covers the window of ', worded.window_days)
    end as why,
    trainee.data_through
from worded
inner join trainee on worded.trainee_ref = trainee.trainee_ref;

comment on view definition.case_outcome is
'What is known of each outcome in each case in which it could be counted, and why? One row for every case in an operating role, or begun in one and taken over by a supervisor, and every outcome of its procedure group. Cases performed elsewhere, and those without a patient (simulated), are left out. The rates count these rows.';
comment on column definition.case_outcome.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.case_outcome.trainee_ref is 'The trainee, as a pseudonym.';
comment on column definition.case_outcome.case_ref is 'The operation, as a pseudonym.';
comment on column definition.case_outcome."procedure" is 'The procedure.';
comment on column definition.case_outcome.side is 'left, right or both; blank when not recorded.';
comment on column definition.case_outcome.complication_ref is
'The outcome, by its code in the specialty file.';
comment on column definition.case_outcome.case_sequence is
'The place of the case among all live cases of the trainee.';
comment on column definition.case_outcome.training_quarter is
'Three months of training on the clock of active_month, counted from 1: leave stops it, part-time slows it.';
comment on column definition.case_outcome.role is 'The role that the trainee logged.';
comment on column definition.case_outcome.in_operating_role is
'Whether the role is one that operates, as the specialty file says; where not, a supervisor took over.';
comment on column definition.case_outcome.status is
'event or no event (both known, and in the rate), unknown, unfollowed event (an event among the unknown: due, but followed neither through the window nor to the day of the event; in no rate), not yet due, or early event (an event among the cases not yet due, in no rate).';
comment on column definition.case_outcome.event_hands is
'Who was operating when it happened; blank when not recorded.';
comment on column definition.case_outcome.ascertained_by is
'Who said last whether it happened: audit, record_review or supervisor; trainee where nobody else did; blank where nobody has said anything.';
comment on column definition.case_outcome.why is 'Why the status is what it is.';
comment on column definition.case_outcome.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
