-- Does the account of every file in use balance, in whole and by trainee, and is every row in use in one?
--
-- Rows:   one per account that does not, and one per log without an account; there must be none
-- Reads:  reconciliation, input.receipt_rows, input.receipt_left_out, input.stored_rows, input.live_rows,
--         input.intake
-- Source: contract of the store: every receipt balances to the row
with

by_table as (

    select
        intake_id,
        kind,
        file_name,
        sum(rows_in_file) as rows_in_file,
        sum(accepted_rows) as accepted_rows
    from input.receipt_rows
    group by intake_id, kind, file_name
    having count(*) = count(rows_in_file)

),

by_rule as (

    select
        intake_id,
        kind,
        sum(left_out_rows) as left_out_rows
    from input.receipt_left_out
    group by intake_id, kind

),

of_file as (

    select
        intake.intake_id,
        intake.kind,
        min(intake.file_name) as file_name,
        sum(intake.left_out_rows) as left_out_rows
    from input.intake as intake
    inner join by_table
        on
            intake.intake_id = by_table.intake_id
            and intake.kind = by_table.kind
            and intake.file_name = by_table.file_name
    group by intake.intake_id, intake.kind

)

select
    'the account of ' || file_name || ' does not balance' as offence,
    trainee_ref,
    differs as terms
from reconciliation
where not balances
union all
select
    'the rows of ' || file_name || ' are not accepted, left out or held back' as offence,
    null as trainee_ref,
    kind as terms
from input.intake
where rows_in_file <> accepted_rows + left_out_rows + held_back_rows
union all
select
    'the rows of ' || intake.file_name || ' are not those of its trainees' as offence,
    null as trainee_ref,
    intake.kind as terms
from input.intake as intake
inner join by_table
    on
        intake.intake_id = by_table.intake_id
        and intake.kind = by_table.kind
        and intake.file_name = by_table.file_name
where
    -- A row of an operation is of each trainee who has it.
    intake.kind <> 'outcomes'
    and (intake.rows_in_file <> by_table.rows_in_file or intake.accepted_rows <> by_table.accepted_rows)
union all
select
    'the rows of ' || min(intake.file_name) || ' are not those that are stored' as offence,
    null as trainee_ref,
    intake.kind as terms
from input.intake as intake
inner join input.stored_rows as stored
    on intake.intake_id = stored.intake_id and intake.kind = stored.kind and stored.trainee_ref is null
group by intake.intake_id, intake.kind, stored.stored_rows
having sum(intake.accepted_rows) <> stored.stored_rows
union all
select
    'the rows left out of ' || of_file.file_name || ' are not those of its rules' as offence,
    null as trainee_ref,
    of_file.kind as terms
from of_file
left join by_rule on of_file.intake_id = by_rule.intake_id and of_file.kind = by_rule.kind
where of_file.left_out_rows <> coalesce(by_rule.left_out_rows, 0)
union all
select distinct
    'rows are in use of which no receipt in use speaks' as offence,
    live.trainee_ref,
    live.kind as terms
from input.live_rows as live
left join input.receipt_rows as receipt
    on
        live.kind = receipt.kind
        and live.trainee_ref = receipt.trainee_ref
        and live."source" = receipt."source"
        and receipt.is_live
where receipt.intake_id is null
union all
select 'a key stands twice in reconciliation' as offence, trainee_ref, kind as terms
from reconciliation
group by programme_ref, cohort, trainee_ref, intake_id, kind
having count(*) > 1
