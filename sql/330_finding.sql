-- What was left out of the exports that are live now, or kept with a warning, and why?
--
-- Rows:   one per finding of an intake that is live for a trainee, and one per live row whose case_ref stands for an
--         operation of another month in the log of somebody else: that hangs on what is live, not on one intake
-- Reads:  input.finding, input.rule, input.cases, input.programme, trainee
-- Source: the rules of the export format
create view definition.finding as
with

of_programme as (

    select
        cases.intake_id,
        cases.file_name,
        cases.source_row,
        cases.trainee_ref,
        cases.case_ref,
        cases.operated_month,
        cases.trainee_ref || ' ' || cases."source" || ' ' || cases.intake_id as log,
        coalesce(trainee.programme_ref, programme.programme_ref) as programme_ref
    from input.cases as cases
    cross join input.programme as programme
    left join trainee on cases.trainee_ref = trainee.trainee_ref

),

several_months as (

    -- Nearly all references stand for one month, and need no second look.
    select programme_ref, case_ref, min(operated_month) as first_month
    from of_programme
    group by programme_ref, case_ref
    having min(operated_month) < max(operated_month)

),

several_logs as (

    select several_months.programme_ref, several_months.case_ref, several_months.first_month
    from several_months
    inner join of_programme
        on
            several_months.programme_ref = of_programme.programme_ref
            and several_months.case_ref = of_programme.case_ref
    group by several_months.programme_ref, several_months.case_ref, several_months.first_month
    having min(of_programme.log) <> max(of_programme.log)

),

live_row as (

    select of_programme.*
    from of_programme
    inner join several_logs
        on
            of_programme.programme_ref = several_logs.programme_ref
            and of_programme.case_ref = several_logs.case_ref
            and of_programme.operated_month > several_logs.first_month

),

reused as (

    select
        live_row.intake_id,
        live_row.file_name,
        live_row.source_row,
        'case_ref' as column_name,
        "rule"."rule",
        live_row.trainee_ref,
        "rule".severity,
        live_row.file_name || ', row ' || live_row.source_row || ': ' || "rule".message as message,
        "rule".remedy
    from live_row
    inner join input."rule" as "rule" on "rule"."rule" = 'case_ref_reused'
    left join input.finding as said
        on
            live_row.intake_id = said.intake_id
            and live_row.file_name = said.file_name
            and live_row.source_row = said.source_row
            and "rule"."rule" = said."rule"
    where
        live_row.source_row is not null
        and said.intake_id is null
    -- A copy of an older version may have the row number of a newer row.
    qualify
        row_number() over (
            partition by live_row.intake_id, live_row.file_name, live_row.source_row
            order by live_row.trainee_ref
        ) = 1

),

said as (

    select
        intake_id,
        file_name,
        source_row,
        column_name,
        "rule",
        trainee_ref,
        severity,
        message,
        remedy
    from input.finding
    union all
    select * from reused

)

select
    said.intake_id,
    said.file_name,
    said.source_row,
    said.column_name,
    said."rule",
    said.trainee_ref,
    said.severity,
    said.message,
    said.remedy,
    trainee.data_through
from said
left join trainee on said.trainee_ref = trainee.trainee_ref;

comment on view definition.finding is
'What was left out of the exports that are live now, or kept with a warning, and why? A message quotes at most the code that was wrong, and nothing else of the row.';
comment on column definition.finding.intake_id is 'The intake: a hash of the file''s content and a number.';
comment on column definition.finding.file_name is
'The name of the file; of a book with the sheet; hidden where it looks like a person.';
comment on column definition.finding.source_row is
'The row of the file, the header being 1; blank for a finding about the whole file.';
comment on column definition.finding.column_name is 'The column; blank for a finding about the whole row.';
comment on column definition.finding.rule is 'The rule that the row or cell breaks.';
comment on column definition.finding.trainee_ref is
'The trainee whose row it is, as a pseudonym; blank when the row names none.';
comment on column definition.finding.severity is
'left_out: the row is not in the store; warning: it is, as the message says.';
comment on column definition.finding.message is 'What is wrong.';
comment on column definition.finding.remedy is 'What to do about it.';
comment on column definition.finding.data_through is
'The month through which the trainee''s data are complete; blank with no data or no trainee.';
