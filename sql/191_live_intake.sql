-- Which files are live for the trainees of each programme?
--
-- Rows:   one per programme and file of an intake that is live for a trainee of it; a file that names nobody of the
--         roster is the store's own programme's
-- Reads:  input.intake, input.intake_trainee, trainee, input.programme
-- Source: contract of the store: an intake is live for a trainee while its rows are
create table main.live_intake as
with

named as (

    select intake_trainee.intake_id, intake_trainee.kind, trainee.programme_ref
    from input.intake_trainee as intake_trainee
    left join trainee on intake_trainee.trainee_ref = trainee.trainee_ref

),

of_programme as (

    select distinct intake_id, kind, programme_ref
    from named
    where programme_ref is not null

    union all

    select named.intake_id, named.kind, programme.programme_ref
    from named
    cross join input.programme as programme
    group by named.intake_id, named.kind, programme.programme_ref
    having count(named.programme_ref) = 0

)

select
    of_programme.programme_ref,
    intake.intake_id,
    intake.kind,
    intake.source,
    intake.file_name,
    intake.taken_on,
    intake.rows_in_file,
    intake.accepted_rows,
    intake.left_out_rows
from input.intake as intake
inner join of_programme on intake.intake_id = of_programme.intake_id and intake.kind = of_programme.kind;
