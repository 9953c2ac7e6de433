-- Which files are live for the trainees of each programme?
--
-- Rows:   one per programme and file of an intake that is live for a trainee of it; somebody of no roster counts
--         for the store's own programme
-- Reads:  input.intake, input.intake_trainee, trainee, input.programme
-- Source: contract of the store: an intake is live for a trainee while its rows are
create table main.live_intake as
with

named as (

    select distinct
        coalesce(trainee.programme_ref, programme.programme_ref) as programme_ref,
        intake_trainee.intake_id,
        intake_trainee.kind
    from input.intake_trainee as intake_trainee
    cross join input.programme as programme
    left join trainee on intake_trainee.trainee_ref = trainee.trainee_ref

)

select
    named.programme_ref,
    intake.intake_id,
    intake.kind,
    intake.source,
    intake.file_name,
    intake.taken_on,
    intake.rows_in_file,
    intake.accepted_rows,
    intake.left_out_rows
from input.intake as intake
inner join named on intake.intake_id = named.intake_id and intake.kind = named.kind;
