-- Does every row of each file that is in use account for itself, trainee by trainee?
--
-- Rows:   one per file in use, kind and trainee for whom it is live; a blank trainee holds the rows that are of nobody of
--         the roster, or of people who were left as they were
-- Reads:  input.receipt_rows, input.receipt_left_out, input.stored_rows, input.live_rows, input.finding, input.rule,
--         input.intake, trainee, intake_programme
-- Source: contract of the store: rows of the file = accepted + left out + held back; in use before = unchanged + changed +
--         kept + withdrawn + untouched; in use after = accepted + kept where the file replaces, else before + new - withdrawn
create view definition.reconciliation as
with

said as (

    -- Two sheets of a book are one file.
    select
        intake_id,
        kind,
        trainee_ref,
        "source",
        taken,
        is_latest,
        replaces,
        joined_in_order(file_name, file_name) as file_name,
        cast(sum(rows_in_file) as bigint) as rows_in_file,
        cast(sum(accepted_rows) as bigint) as accepted_rows,
        cast(sum(held_back_rows) as bigint) as held_back_rows,
        -- These are of all files of the command.
        cast(max(live_before) as bigint) as live_before,
        cast(max(added_rows) as bigint) as added_rows,
        cast(max(unchanged_rows) as bigint) as unchanged_rows,
        cast(max(changed_rows) as bigint) as changed_rows,
        cast(max(kept_rows) as bigint) as kept_rows,
        cast(max(withdrawn_rows) as bigint) as withdrawn_rows,
        cast(max(live_after) as bigint) as live_after
    from input.receipt_rows
    where is_live
    group by intake_id, kind, trainee_ref, "source", taken, is_latest, replaces

),

file_kind as (

    select distinct intake_id, kind, file_name
    from input.receipt_rows

),

faulty_row as (

    select
        finding.intake_id,
        file_kind.kind,
        finding.trainee_ref,
        min("rule"."position") as "position"
    from input.finding as finding
    inner join file_kind
        on finding.intake_id = file_kind.intake_id and finding.file_name = file_kind.file_name
    inner join input."rule" as "rule" on finding."rule" = "rule"."rule"
    where finding.severity = 'left_out'
    group by
        finding.intake_id, file_kind.kind, finding.trainee_ref, finding.file_name, finding.source_row

),

found as (

    select
        faulty_row.intake_id,
        faulty_row.kind,
        faulty_row.trainee_ref,
        "rule"."rule",
        "rule"."position",
        count(*) as left_out_rows
    from faulty_row
    inner join input."rule" as "rule" on faulty_row."position" = "rule"."position"
    group by
        faulty_row.intake_id, faulty_row.kind, faulty_row.trainee_ref, "rule"."rule", "rule"."position"

),

said_left_out as (

    select
        intake_id,
        kind,
        trainee_ref,
        "rule",
        cast(sum(left_out_rows) as bigint) as left_out_rows
    from input.receipt_left_out
    group by intake_id, kind, trainee_ref, "rule"

),

rule_apart as (

    select
        coalesce(found.intake_id, said_left_out.intake_id) as intake_id,
        coalesce(found.kind, said_left_out.kind) as kind,
        coalesce(found.trainee_ref, said_left_out.trainee_ref) as trainee_ref,
        count(*) as rules
    from found
    full join said_left_out
        on
            found.intake_id = said_left_out.intake_id
            and found.kind = said_left_out.kind
            and coalesce(found.trainee_ref, '') = coalesce(said_left_out.trainee_ref, '')
            and found."rule" = said_left_out."rule"
    where found.left_out_rows is distinct from said_left_out.left_out_rows
    group by
        coalesce(found.intake_id, said_left_out.intake_id),
        coalesce(found.kind, said_left_out.kind),
        coalesce(found.trainee_ref, said_left_out.trainee_ref)

),

left_out as (

    select
        intake_id,
        kind,
        trainee_ref,
        cast(sum(left_out_rows) as bigint) as left_out_rows,
        joined_in_order(concat("rule", ' ', left_out_rows), "position") as by_rule
    from found
    group by intake_id, kind, trainee_ref

),

-- What the files of the latest command hold together of one log.
command as (

    select
        said.kind,
        said.trainee_ref,
        said."source",
        said.taken,
        sum(stored.stored_rows - stored.kept_rows) as accepted_rows,
        sum(stored.changed_rows) as changed_rows,
        sum(stored.kept_rows) as kept_rows,
        sum(stored.withdrawn_rows) as withdrawn_rows
    from said
    inner join input.stored_rows as stored
        on
            said.intake_id = stored.intake_id
            and said.kind = stored.kind
            and said.trainee_ref = stored.trainee_ref
    where said.is_latest
    group by said.kind, said.trainee_ref, said."source", said.taken

),

counted as (

    select
        command.kind,
        command.trainee_ref,
        command."source",
        cast(command.accepted_rows as bigint) as accepted_rows,
        cast(command.changed_rows as bigint) as changed_rows,
        cast(command.kept_rows as bigint) as kept_rows,
        cast(command.withdrawn_rows as bigint) as withdrawn_rows,
        cast(coalesce(sum(live.live_rows), 0) as bigint) as live_after,
        cast(coalesce(sum(live.live_rows) filter (where live.taken < command.taken), 0) as bigint)
            as untouched_rows
    from command
    left join input.live_rows as live
        on
            command.kind = live.kind
            and command.trainee_ref = live.trainee_ref
            and command."source" = live."source"
    group by
        command.kind,
        command.trainee_ref,
        command."source",
        command.taken,
        command.accepted_rows,
        command.changed_rows,
        command.kept_rows,
        command.withdrawn_rows

),

account as (

    select
        said.intake_id,
        said.kind,
        said.trainee_ref,
        said."source",
        said.file_name,
        said.is_latest,
        said.rows_in_file,
        -- Nobody has no Parquet file.
        cast(
            case when said.trainee_ref is null then 0 else stored.stored_rows - stored.kept_rows end as bigint
        ) as accepted_rows,
        coalesce(left_out.left_out_rows, 0) as left_out_rows,
        left_out.by_rule,
        said.held_back_rows,
        case when said.is_latest then said.live_before end as live_before,
        case when said.is_latest then said.added_rows end as added_rows,
        case when said.is_latest then said.unchanged_rows end as unchanged_rows,
        counted.changed_rows,
        counted.kept_rows,
        counted.withdrawn_rows,
        counted.untouched_rows,
        counted.live_after,
        said.accepted_rows = case
            when said.trainee_ref is null then 0 else stored.stored_rows - stored.kept_rows
        end as accepted_agree,
        case when said.rows_in_file is not null then rule_apart.rules is null end as rules_agree,
        said.changed_rows = counted.changed_rows
        and said.kept_rows = counted.kept_rows
        and said.withdrawn_rows = counted.withdrawn_rows as changes_agree,
        said.added_rows + said.unchanged_rows + counted.changed_rows = counted.accepted_rows as new_agree,
        said.live_before
        = said.unchanged_rows + counted.changed_rows + counted.kept_rows + counted.withdrawn_rows
        + counted.untouched_rows as before_agrees,
        said.live_after = counted.live_after
        and counted.live_after = case
            when said.replaces then counted.accepted_rows + counted.kept_rows
            else said.live_before + said.added_rows - counted.withdrawn_rows
        end as after_agrees
    from said
    left join input.stored_rows as stored
        on
            said.intake_id = stored.intake_id
            and said.kind = stored.kind
            and said.trainee_ref = stored.trainee_ref
    left join counted
        on
            said.is_latest
            and said.kind = counted.kind
            and said.trainee_ref = counted.trainee_ref
            and said."source" = counted."source"
    left join left_out
        on
            said.intake_id = left_out.intake_id
            and said.kind = left_out.kind
            and coalesce(said.trainee_ref, '') = coalesce(left_out.trainee_ref, '')
    left join rule_apart
        on
            said.intake_id = rule_apart.intake_id
            and said.kind = rule_apart.kind
            and coalesce(said.trainee_ref, '') = coalesce(rule_apart.trainee_ref, '')

),

judged as (

    select
        *,
        rows_in_file = accepted_rows + left_out_rows + held_back_rows as file_agrees
    from account

)

select
    coalesce(trainee.programme_ref, intake_programme.programme_ref) as programme_ref,
    trainee.cohort,
    judged.trainee_ref,
    judged.intake_id,
    judged.kind,
    judged.file_name,
    judged."source",
    judged.rows_in_file,
    judged.accepted_rows,
    judged.left_out_rows,
    judged.by_rule as left_out_by_rule,
    judged.held_back_rows,
    judged.live_before,
    judged.unchanged_rows,
    judged.changed_rows,
    judged.kept_rows,
    judged.withdrawn_rows,
    judged.untouched_rows,
    judged.added_rows,
    judged.live_after,
    nullif(
        concat(
            case when not judged.file_agrees then 'rows of the file; ' else '' end,
            case when not judged.accepted_agree then 'accepted; ' else '' end,
            case when not judged.rules_agree then 'left out; ' else '' end,
            case when not judged.changes_agree then 'changed, kept, withdrawn; ' else '' end,
            case when not judged.new_agree then 'new, unchanged; ' else '' end,
            case when not judged.before_agrees then 'in use before; ' else '' end,
            case when not judged.after_agrees then 'in use after; ' else '' end
        ),
        ''
    ) as differs,
    -- What an earlier version said of its files is not held against them.
    case
        when judged.rows_in_file is not null
            then
                judged.file_agrees
                and judged.accepted_agree
                and judged.rules_agree
                and (
                    not judged.is_latest
                    or (judged.changes_agree and judged.new_agree and judged.before_agrees and judged.after_agrees)
                )
    end as balances,
    trainee.data_through
from judged
left join trainee on judged.trainee_ref = trainee.trainee_ref
left join intake_programme on judged.intake_id = intake_programme.intake_id;

comment on view definition.reconciliation is
'Does every row of each file that is in use account for itself, trainee by trainee? Rows of the file are accepted, left out or held back; what was in use before is unchanged, changed, kept, withdrawn or untouched; what is in use after is accepted or kept where a file replaces, else what was in use before and what is new. The receipt says one side; the other is counted from the rows, findings and changes that the store holds. A build whose account does not balance is not published.';
comment on column definition.reconciliation.programme_ref is
'The programme, as a pseudonym; blank where a row names nobody of the roster and its file several programmes.';
comment on column definition.reconciliation.cohort is
'The class; blank where the row names nobody of the roster.';
comment on column definition.reconciliation.trainee_ref is
'The trainee, as a pseudonym; blank for rows that name nobody, or people who were left as they were; _unmatched for what is said of operations in no log. A row about an operation is of each trainee who has it.';
comment on column definition.reconciliation.intake_id is 'The intake: a hash of the file''s content and a number.';
comment on column definition.reconciliation.kind is 'The kind of file.';
comment on column definition.reconciliation.file_name is
'The name of the file; of a book with its sheets; hidden where it looks like a person.';
comment on column definition.reconciliation.source is 'The source of the export.';
comment on column definition.reconciliation.rows_in_file is
'Rows of the file that name the trainee, as its receipt says; blank in receipts of earlier versions.';
comment on column definition.reconciliation.accepted_rows is 'Rows of the file that the store holds.';
comment on column definition.reconciliation.left_out_rows is
'Rows of the file that its findings leave out, each once.';
comment on column definition.reconciliation.left_out_by_rule is
'How many of them break each rule; a row with two faults stands under the first in the order of the rules.';
comment on column definition.reconciliation.held_back_rows is
'Rows of people who were left as they were, since something of theirs was held; they stand with no trainee.';
comment on column definition.reconciliation.live_before is
'Rows of this trainee, kind and source in use before the command, as the receipt says. This and the next seven are of all files of the command, and blank where a later file has been taken since.';
comment on column definition.reconciliation.unchanged_rows is
'Of those, the ones that the files say again as they were, as the receipt says.';
comment on column definition.reconciliation.changed_rows is 'Those of which the stored changes name a field.';
comment on column definition.reconciliation.kept_rows is
'Those that stay in an older version, since the new row was left out; counted in the stored changes.';
comment on column definition.reconciliation.withdrawn_rows is 'Those that went; counted in the stored changes.';
comment on column definition.reconciliation.untouched_rows is
'Those that the files do not name and that stay; counted in the rows in use.';
comment on column definition.reconciliation.added_rows is 'Rows that were not in use before, as the receipt says.';
comment on column definition.reconciliation.live_after is 'Rows in use now, counted.';
comment on column definition.reconciliation.differs is 'The terms that do not agree; blank where all do.';
comment on column definition.reconciliation.balances is
'Whether every term agrees; blank where an earlier version stored too little to say so.';
comment on column definition.reconciliation.data_through is
'The month through which the trainee''s data are complete; blank with no data or no trainee.';
