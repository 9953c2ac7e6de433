-- Where do two people say different things of one case, and who has the last word?
--
-- Rows:   one per live case, fact and person who says something else than the one whose word stands
-- Reads:  case_record, case_complication, complication, complication_group, outcome_entry, input.cases,
--         input.confirmations, trainee
-- Source: contract of the export format: outcomes and confirmations outrank the trainee's own entry, and what differs is
--         listed
create view definition.entry_disagreement as
with

confirmed as (

    -- The record has the supervisor's words by now; the trainee's own stand in what was logged.
    select
        case_record.trainee_ref,
        case_record.case_sequence,
        logged.role,
        logged.supervision,
        logged.supervisor_agreed,
        logged.takeover,
        logged.takeover_reason,
        said.role_agreed as said_role_agreed,
        said.supervision as said_supervision,
        said.takeover as said_takeover,
        said.takeover_reason as said_takeover_reason
    from input.confirmations as said
    inner join case_record on said.trainee_ref = case_record.trainee_ref and said.case_ref = case_record.case_ref
    inner join input.cases as logged
        on
            case_record.trainee_ref = logged.trainee_ref
            and case_record.case_ref = logged.case_ref
            and case_record."procedure" = logged."procedure"
            and coalesce(case_record.side, '') = coalesce(logged.side, '')
            and case_record.source = logged.source

),

of_confirmation as (

    select case_sequence, trainee_ref, 'role' as fact, role as entry, 'another role' as ruling
    from confirmed
    where not said_role_agreed
    union all
    select case_sequence, trainee_ref, 'supervisor_agreed' as fact, 'no' as entry, 'yes' as ruling
    from confirmed
    where said_role_agreed and not supervisor_agreed
    union all
    select case_sequence, trainee_ref, 'supervision' as fact, supervision as entry, said_supervision as ruling
    from confirmed
    where supervision <> said_supervision
    union all
    select
        case_sequence,
        trainee_ref,
        'takeover' as fact,
        case when takeover then 'yes' else 'no' end as entry,
        case when said_takeover then 'yes' else 'no' end as ruling
    from confirmed
    where takeover <> said_takeover
    union all
    select
        case_sequence, trainee_ref, 'takeover_reason' as fact, takeover_reason as entry, said_takeover_reason as ruling
    from confirmed
    where takeover_reason <> said_takeover_reason

),

own_hit as (

    select distinct case_complication.trainee_ref, case_complication.case_sequence, case_complication.complication_ref
    from case_complication
    inner join complication on case_complication.complication_ref = complication.complication_ref
    where complication.window_days = 0 or coalesce(case_complication."day", 0) <= complication.window_days

),

said_of_outcome as (

    select
        own.trainee_ref,
        own.case_sequence,
        ruling.complication_ref,
        'log' as entered_by,
        own_hit.trainee_ref is not null as is_hit,
        ruling.is_hit as is_ruled_hit,
        ruling.ascertained_by
    from case_record as own
    inner join complication_group on own.procedure_group = complication_group.procedure_group
    inner join outcome_entry as ruling
        on
            own.programme_ref = ruling.programme_ref
            and own.case_ref = ruling.case_ref
            and complication_group.complication_ref = ruling.complication_ref
    left join own_hit
        on
            own.trainee_ref = own_hit.trainee_ref
            and own.case_sequence = own_hit.case_sequence
            and ruling.complication_ref = own_hit.complication_ref
    where ruling.place = 1 and own.complications is not null and not is_only_other(own.complications)

    union all

    select
        own.trainee_ref,
        own.case_sequence,
        ruling.complication_ref,
        other.ascertained_by as entered_by,
        other.is_hit,
        ruling.is_hit as is_ruled_hit,
        ruling.ascertained_by
    from case_record as own
    inner join complication_group on own.procedure_group = complication_group.procedure_group
    inner join outcome_entry as ruling
        on
            own.programme_ref = ruling.programme_ref
            and own.case_ref = ruling.case_ref
            and complication_group.complication_ref = ruling.complication_ref
    inner join outcome_entry as other
        on
            ruling.programme_ref = other.programme_ref
            and ruling.case_ref = other.case_ref
            and ruling.complication_ref = other.complication_ref
    where ruling.place = 1 and other.place > 1

),

disagreement as (

    select trainee_ref, case_sequence, fact, 'log' as entered_by, entry, ruling, 'supervisor' as ruled_by
    from of_confirmation
    union all
    select
        trainee_ref,
        case_sequence,
        complication_ref as fact,
        entered_by,
        case when is_hit then 'yes' else 'no' end as entry,
        case when is_ruled_hit then 'yes' else 'no' end as ruling,
        ascertained_by as ruled_by
    from said_of_outcome
    where is_hit <> is_ruled_hit

)

select
    own.programme_ref,
    own.cohort,
    own.trainee_ref,
    own.case_ref,
    own."procedure",
    own.side,
    disagreement.fact,
    disagreement.entered_by,
    disagreement.entry,
    disagreement.ruling,
    disagreement.ruled_by,
    own.operated_month,
    trainee.data_through
from disagreement
inner join case_record as own
    on disagreement.trainee_ref = own.trainee_ref and disagreement.case_sequence = own.case_sequence
inner join trainee on own.trainee_ref = trainee.trainee_ref;

comment on view definition.entry_disagreement is
'Where do two people say different things of one case, and who has the last word? One row for every live case, fact, and person who says something else than the one whose word stands. A supervisor''s confirmation outranks the trainee''s log; of an outcome an audit comes first, then a review of the records, the supervisor, a later note of the trainee, and the log.';
comment on column definition.entry_disagreement.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.entry_disagreement.cohort is
'The class: the academic year in which its trainees are to complete.';
comment on column definition.entry_disagreement.trainee_ref is 'The trainee, as a pseudonym.';
comment on column definition.entry_disagreement.case_ref is 'The operation, as a pseudonym.';
comment on column definition.entry_disagreement."procedure" is 'The procedure.';
comment on column definition.entry_disagreement.side is 'left, right or both; blank when not recorded.';
comment on column definition.entry_disagreement.fact is
'What is said differently: role, supervisor_agreed, supervision, takeover, takeover_reason, or an outcome by its code.';
comment on column definition.entry_disagreement.entered_by is
'Who says something else: log (the trainee''s export), or another source of the outcome.';
comment on column definition.entry_disagreement.entry is
'What they say; of an outcome, whether it happened within its window.';
comment on column definition.entry_disagreement.ruling is 'What stands.';
comment on column definition.entry_disagreement.ruled_by is
'Whose word stands: supervisor, record_review, audit or trainee (a later note).';
comment on column definition.entry_disagreement.operated_month is
'The month of the operation; its day is not kept.';
comment on column definition.entry_disagreement.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
