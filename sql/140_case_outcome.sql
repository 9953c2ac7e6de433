-- What is known of each outcome in each case in which it could be counted, and why?
--
-- Rows:   one per live case and complication of its procedure group, as surgeon or taken over, performed here
-- Reads:  case_record, case_complication, complication, trainee
-- Source: known, unknown and not yet due as in the contract of the views
--
-- Not stored: eight outcomes of every case would make the snapshot several times as large, and one person's
-- rows are worked out in the time of a glance.
create view definition.case_outcome as
with

noted as (

    -- An event after its window is none; one that arises in the operation counts on any day.
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
        min(case
            when complication.window_days = 0 or case_complication."day" <= complication.window_days
                then case_complication."day"
        end) as hit_day,
        min(case_complication."day") as first_day
    from case_complication
    inner join complication
        on case_complication.complication_ref = complication.complication_ref
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
        case_record.role = 'surgeon' as as_surgeon,
        case_record.event_hands,
        case_record.follow_up_days,
        complication.complication_ref,
        complication.window_days,
        case_record.complications is not null as told,
        coalesce(
            case_record.complications is not null and case_record.follow_up_days >= complication.window_days,
            false
        ) as followed,
        coalesce(case_record.observed_days >= complication.window_days, false) as elapsed
    from case_record
    inner join complication on case_record.procedure_group = complication.procedure_group
    where
        not case_record.performed_elsewhere
        and (case_record.role = 'surgeon' or case_record.takeover)

),

judged as (

    select
        eligible.*,
        noted.hit_day,
        noted.first_day,
        case
            when not (eligible.window_days = 0 or eligible.followed or eligible.elapsed)
                then case when noted.is_hit then 'early event' else 'not yet due' end
            when noted.is_hit then 'event'
            when eligible.told and (eligible.window_days = 0 or eligible.followed) then 'no event'
            else 'unknown'
        end as status
    from eligible
    left join noted
        on
            eligible.trainee_ref = noted.trainee_ref
            and eligible.case_sequence = noted.case_sequence
            and eligible.complication_ref = noted.complication_ref

)

select
    judged.programme_ref,
    judged.trainee_ref,
    judged.case_ref,
    judged."procedure",
    judged.side,
    judged.complication_ref,
    judged.case_sequence,
    judged.training_quarter,
    judged.role,
    judged.as_surgeon,
    judged.status,
    judged.event_hands,
    case
        when judged.status = 'early event'
            then concat(
                'recorded ',
                case
                    when judged.hit_day is null then 'without a day'
                    else concat('on day ', judged.hit_day)
                end,
                ', but the window of ', judged.window_days, ' days has not passed by the end of the data'
            )
        when judged.status = 'not yet due'
            then concat('the window of ', judged.window_days, ' days has not passed by the end of the data')
        when judged.status = 'event' and judged.window_days = 0 then 'recorded in the operation'
        when judged.status = 'event' and judged.hit_day is null
            then 'recorded without a day, and taken to lie within the window'
        when judged.status = 'event'
            then concat('recorded on day ', judged.hit_day, ', within the window of ', judged.window_days)
        when not judged.told then 'complications are not recorded'
        when judged.status = 'no event' and judged.window_days = 0
            then 'complications are recorded, and this is not among them'
        when judged.follow_up_days is null
            then concat('no follow-up is recorded for the window of ', judged.window_days, ' days')
        when judged.status = 'unknown'
            then concat(
                'follow-up of ', judged.follow_up_days,
                ' days does not cover the window of ', judged.window_days
            )
        when judged.first_day is not null
            then concat('recorded on day ', judged.first_day, ', after the window of ', judged.window_days)
        else concat('follow-up of ', judged.follow_up_days, ' days covers the window of ', judged.window_days)
    end as why,
    trainee.data_through
from judged
inner join trainee on judged.trainee_ref = trainee.trainee_ref;

comment on view definition.case_outcome is
'What is known of each outcome in each case in which it could be counted, and why? One row for every case as surgeon, or taken over by a supervisor, and every outcome of its procedure group. Cases performed elsewhere are left out. The rates count these rows.';
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
'Three months of training; 1 begins with the month in which the trainee started.';
comment on column definition.case_outcome.role is 'The role that the trainee logged.';
comment on column definition.case_outcome.as_surgeon is
'Whether the role is surgeon; where not, a supervisor took over.';
comment on column definition.case_outcome.status is
'event or no event (both known, and in the rate), unknown, not yet due, or early event (an event among the cases not yet due, in no rate).';
comment on column definition.case_outcome.event_hands is
'Who was operating when it happened; blank when not recorded.';
comment on column definition.case_outcome.why is 'Why the status is what it is.';
comment on column definition.case_outcome.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
