-- What does the log say of one case?
--
-- Rows:   one per live case
-- Reads:  case_record, trainee, procedure
-- Source: contract of the export format
--
-- Not stored: it is the record of the cases, which is, in the words of the screens.
create view definition.case_opened as
select
    case_record.programme_ref,
    case_record.cohort,
    case_record.trainee_ref,
    case_record.case_ref,
    case_record."procedure",
    case_record.side,
    coalesce("procedure".title, case_record."procedure") as title,
    case_record.procedure_group,
    case_record.operated_month,
    case_record.training_month,
    case_record.training_quarter,
    case_record.case_sequence,
    case_record.role,
    case_record.supervision,
    case_record.takeover,
    case_record.takeover_reason,
    case_record.supervisor_agreed,
    case_record.complications,
    case_record.follow_up_days,
    case_record.duration_min,
    trainee.data_through
from case_record
inner join trainee on case_record.trainee_ref = trainee.trainee_ref
left join "procedure" on case_record."procedure" = "procedure"."procedure";

comment on view definition.case_opened is
'What does the log say of one case? One row for every live case: a trainee''s part in one procedure (and side) of one operation. Whether it counts toward a requirement, and why, stands in case_credit under the same key.';
comment on column definition.case_opened.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.case_opened.cohort is
'The class: the academic year in which its trainees are to complete.';
comment on column definition.case_opened.trainee_ref is 'The trainee, as a pseudonym.';
comment on column definition.case_opened.case_ref is 'The operation, as a pseudonym.';
comment on column definition.case_opened."procedure" is 'The procedure as the export gives it.';
comment on column definition.case_opened.side is 'left, right or both; blank when not recorded.';
comment on column definition.case_opened.title is
'The procedure in words; the code where the specialty does not know it.';
comment on column definition.case_opened.procedure_group is
'The group of the procedure; blank where the specialty does not know it.';
comment on column definition.case_opened.operated_month is 'The month of the operation; its day is not kept.';
comment on column definition.case_opened.training_month is
'The month of training: active_month rounded up, and at least 1.';
comment on column definition.case_opened.training_quarter is
'Three months of training on the clock of active_month, counted from 1: leave stops it, part-time slows it.';
comment on column definition.case_opened.case_sequence is
'The place of the case among all live cases of the trainee.';
comment on column definition.case_opened.role is 'The role that the trainee logged.';
comment on column definition.case_opened.supervision is 'The supervision level; blank when not recorded.';
comment on column definition.case_opened.takeover is
'Whether a supervisor took over part of the operation; blank when not recorded.';
comment on column definition.case_opened.takeover_reason is 'planned or rescue; blank when not recorded.';
comment on column definition.case_opened.supervisor_agreed is
'Whether the supervisor confirmed the role; blank when not recorded.';
comment on column definition.case_opened.complications is
'The complications with their days, none for recorded: none, blank for not recorded.';
comment on column definition.case_opened.follow_up_days is
'The days of follow-up that the complications cover; blank when not recorded.';
comment on column definition.case_opened.duration_min is
'Minutes from first incision to last suture; blank when not recorded.';
comment on column definition.case_opened.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
