-- What does each source beside the log say of an outcome of an operation, and who has the last word?
--
-- Rows:   one per programme, operation, complication and source that says whether it occurred; place 1 has the last word
-- Reads:  input.outcomes, complication
-- Source: contract of the export format: what others say outranks the trainee's entry. Of several an audit comes
--         first, then a review of the records, the supervisor, and a later note of the trainee. Who writes unknown
--         leaves it to the others, and so does who saw nothing but looked for less than the window
create table main.outcome_entry as
with

latest as (

    -- One row may be stored with everybody who has the operation, and before anybody had it.
    select *
    from input.outcomes
    qualify row_number() over (
        partition by programme_ref, case_ref, complication, ascertained_by
        order by taken desc, trainee_ref asc
    ) = 1

)

select
    latest.programme_ref,
    latest.case_ref,
    latest.complication as complication_ref,
    latest.ascertained_by,
    latest."day",
    latest.occurred = 'yes'
    and (complication.window_days = 0 or coalesce(latest."day", 0) <= complication.window_days) as is_hit,
    row_number() over (
        partition by latest.programme_ref, latest.case_ref, latest.complication
        order by
            case latest.ascertained_by
                when 'audit' then 1 when 'record_review' then 2 when 'supervisor' then 3 else 4
            end
    ) as place
from latest
inner join complication on latest.complication = complication.complication_ref
where
    latest.occurred = 'yes'
    or (latest.occurred = 'no' and (latest."day" is null or latest."day" >= complication.window_days));
