-- What does each trainee, and each supervisor, still owe the log, since when, and by when?
--
-- Rows:   one per trainee and month not yet sent, and one per case that waits for a supervisor's word on an operating role,
--         or of which an outcome whose window has passed is not known
-- Reads:  trainee, trainee_month, case_record, role, procedure, eligible_case, complication, input.programme,
--         input.submission_due
-- Source: submission_due of programme.yaml, in days after the end of the month; an outcome's days begin when its window ends
create view definition.submission as
with

today as (

    select as_of, month_number(substr(as_of, 1, 7)) as month_count
    from input.programme

),

late as (

    -- Late logs are months to be sent, and nothing else is.
    select
        trainee.trainee_ref,
        today.month_count,
        greatest(
            month_number(trainee.started),
            coalesce(month_number(trainee.data_through) + 1, month_number(trainee.started))
        ) as first_owed
    from trainee
    cross join today
    where not trainee.is_current and not trainee.training_is_over

),

month_owed as (

    select
        late.trainee_ref,
        month_text(late.first_owed + part.place - 1) as owed_month
    from late
    cross join unnest(numbers_to(late.month_count - late.first_owed)) as part (place)

),

log_owed as (

    select
        month_owed.trainee_ref,
        'log' as owed,
        month_owed.owed_month,
        cast(null as integer) as case_sequence,
        0 as window_days,
        cast(null as varchar) as missing
    from month_owed
    left join trainee_month
        on
            month_owed.trainee_ref = trainee_month.trainee_ref
            and month_owed.owed_month = trainee_month.operated_month
    -- Nobody operates on leave.
    where coalesce(trainee_month.counts_as, 1) > 0

),

confirmation_owed as (

    -- Nobody here can confirm what was performed elsewhere.
    select
        case_record.trainee_ref,
        'confirmation' as owed,
        case_record.operated_month as owed_month,
        case_record.case_sequence,
        0 as window_days,
        cast(null as varchar) as missing
    from case_record
    inner join role on case_record.role = role.role
    where
        role.operating
        and case_record.supervisor_agreed is null
        and not case_record.performed_elsewhere

),

outcome_owed as (

    -- The first of several is owed first.
    select
        eligible_case.trainee_ref,
        'outcome' as owed,
        case_record.operated_month as owed_month,
        eligible_case.case_sequence,
        min(complication.window_days) as window_days,
        joined_in_order(complication.title, complication."position") as missing
    from eligible_case
    inner join case_record
        on
            eligible_case.trainee_ref = case_record.trainee_ref
            and eligible_case.case_sequence = case_record.case_sequence
    inner join complication on eligible_case.complication_ref = complication.complication_ref
    where eligible_case.status in ('unknown', 'unfollowed event')
    group by eligible_case.trainee_ref, case_record.operated_month, eligible_case.case_sequence

),

everything as (

    select * from log_owed
    union all
    select * from confirmation_owed
    union all
    select * from outcome_owed

),

dated as (

    select
        everything.*,
        today.as_of,
        -- A day that the programme has fixed may lie before its newest cases.
        greatest(today.month_count - month_number(everything.owed_month), 0) as age_months,
        day_after_month_end(everything.owed_month, everything.window_days + due.due_days) as due_on
    from everything
    cross join today
    left join input.submission_due as due on everything.owed = due.owed

)

select
    trainee.programme_ref,
    trainee.cohort,
    trainee.trainee_ref,
    dated.owed,
    dated.owed_month as "month",
    case_record.case_ref,
    case_record."procedure",
    case_record.side,
    case when dated.owed = 'confirmation' then case_record.supervisor_ref end as supervisor_ref,
    case_record.role,
    "procedure".title,
    dated.missing,
    dated.age_months,
    dated.due_on,
    dated.due_on < dated.as_of as is_overdue,
    trainee.data_through
from dated
inner join trainee on dated.trainee_ref = trainee.trainee_ref
left join case_record
    on dated.trainee_ref = case_record.trainee_ref and dated.case_sequence = case_record.case_sequence
left join "procedure" on case_record."procedure" = "procedure"."procedure";

comment on view definition.submission is
'What does each trainee, and each supervisor, still owe the log, since when, and by when? Months that are not entered, of whose data are not current; cases in an operating role of which no supervisor has said whether that is right; cases with an outcome whose window has passed and that is not known. What is owed by a supervisor are the cases to confirm that name them.';
comment on column definition.submission.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.submission.cohort is
'The class: the academic year in which its trainees are to complete.';
comment on column definition.submission.trainee_ref is 'The trainee whose log it is, as a pseudonym.';
comment on column definition.submission.owed is
'log (a month that is not entered; not one of leave), confirmation (a supervisor''s word on the role), outcome (what happened, or that nothing did).';
comment on column definition.submission."month" is 'The month of the log, or of the operation.';
comment on column definition.submission.case_ref is 'The operation, as a pseudonym; blank for a month.';
comment on column definition.submission."procedure" is 'The procedure.';
comment on column definition.submission.side is 'left, right or both; blank when not recorded.';
comment on column definition.submission.supervisor_ref is
'Whose word is asked for, as a pseudonym; blank where the log names nobody, and for what a supervisor does not owe.';
comment on column definition.submission.role is 'The role that was logged.';
comment on column definition.submission.title is 'The procedure in words; blank where the specialty does not know it.';
comment on column definition.submission.missing is 'Of an outcome: which of them are not known.';
comment on column definition.submission.age_months is
'Months from that month to the month of the snapshot.';
comment on column definition.submission.due_on is
'The day by which it is due: so many days after the end of the month, as submission_due of programme.yaml says; of an outcome, after its window.';
comment on column definition.submission.is_overdue is 'Whether that day lies before the day of the snapshot.';
comment on column definition.submission.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
