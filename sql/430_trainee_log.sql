-- What came in of each trainee's log, what was left out, and what is still to be confirmed?
--
-- Rows:   one per trainee of the roster, also without an export
-- Reads:  trainee, case_record, case_intake, finding
-- Source: the live intakes; a row with two faults is left out once
create view definition.trainee_log as
with

accepted as (

    select trainee_ref, sum(accepted_rows) as accepted_rows
    from case_intake
    group by trainee_ref

),

intake_named as (

    -- An intake of which every row was left out has findings and no case.
    select trainee_ref, intake_id from case_intake
    union
    select trainee_ref, intake_id from main.finding

),

live_intake as (

    select trainee_ref, count(*) as live_intakes
    from intake_named
    group by trainee_ref

),

left_out_row as (

    select distinct trainee_ref, intake_id, file_name, source_row
    from main.finding
    where severity = 'left_out'

),

left_out as (

    select trainee_ref, count(*) as left_out_rows
    from left_out_row
    group by trainee_ref

),

warned as (

    select trainee_ref, count(*) as warnings
    from main.finding
    where severity = 'warning'
        -- These say what an intake did or did not find then, and may have come right since.
        and "rule" not in ('case_unknown', 'roster_redates_cases')
    group by trainee_ref

),

unconfirmed as (

    select trainee_ref, count(*) as unconfirmed_cases
    from case_record
    where supervisor_agreed is null
    group by trainee_ref

)

select
    trainee.programme_ref,
    trainee.cohort,
    trainee.trainee_ref,
    coalesce(live_intake.live_intakes, 0) as live_intakes,
    cast(coalesce(accepted.accepted_rows, 0) as bigint) as accepted_rows,
    coalesce(left_out.left_out_rows, 0) as left_out_rows,
    coalesce(warned.warnings, 0) as warnings,
    coalesce(unconfirmed.unconfirmed_cases, 0) as unconfirmed_cases,
    trainee.is_current,
    trainee.data_through
from trainee
left join live_intake on trainee.trainee_ref = live_intake.trainee_ref
left join accepted on trainee.trainee_ref = accepted.trainee_ref
left join left_out on trainee.trainee_ref = left_out.trainee_ref
left join warned on trainee.trainee_ref = warned.trainee_ref
left join unconfirmed on trainee.trainee_ref = unconfirmed.trainee_ref;

comment on view definition.trainee_log is
'What came in of each trainee''s log, what was left out, and what is still to be confirmed? One row for every trainee of the roster, also without an export. A log that ends early says nothing of the months after it.';
comment on column definition.trainee_log.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.trainee_log.cohort is
'The class: the academic year in which its trainees are to complete.';
comment on column definition.trainee_log.trainee_ref is 'The trainee, as a pseudonym.';
comment on column definition.trainee_log.live_intakes is
'Intakes from which live cases or live findings of the trainee come.';
comment on column definition.trainee_log.accepted_rows is 'Live case rows, each source on its own.';
comment on column definition.trainee_log.left_out_rows is
'Rows of live intakes, of any kind of file, that were left out.';
comment on column definition.trainee_log.warnings is 'Warnings about rows that were kept, but for those that say what an intake did.';
comment on column definition.trainee_log.unconfirmed_cases is
'Cases of which no supervisor has said whether the role is right.';
comment on column definition.trainee_log.is_current is
'Whether the data run to within the setting of days before the day of the snapshot or, of who completed or left, to that month.';
comment on column definition.trainee_log.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
