-- In which cases did something happen that has no code yet?
--
-- Rows:   one per live case that names `other` among its complications
-- Reads:  case_complication, case_record, trainee
-- Source: contract of the export format: `other` is a complication of every specialty; it is in no rate of a named
--         outcome, and waits for the code of what happened
create view definition.event_to_code as
select
    case_record.programme_ref,
    case_record.cohort,
    case_record.trainee_ref,
    case_record.case_ref,
    case_record."procedure",
    case_record.side,
    case_record.operated_month,
    min(case_complication."day") as event_day,
    trainee.data_through
from case_complication
inner join case_record
    on
        case_complication.trainee_ref = case_record.trainee_ref
        and case_complication.case_sequence = case_record.case_sequence
inner join trainee on case_record.trainee_ref = trainee.trainee_ref
where case_complication.complication_ref = 'other'
group by
    case_record.programme_ref,
    case_record.cohort,
    case_record.trainee_ref,
    case_record.case_ref,
    case_record."procedure",
    case_record.side,
    case_record.operated_month,
    trainee.data_through;

comment on view definition.event_to_code is
'In which cases did something happen that has no code yet? One row for every live case that names other among its complications, in whatever role. It is in no rate of a named outcome; where it stands alone, whether any of those happened is not known.';
comment on column definition.event_to_code.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.event_to_code.cohort is
'The class: the academic year in which its trainees are to complete.';
comment on column definition.event_to_code.trainee_ref is 'The trainee, as a pseudonym.';
comment on column definition.event_to_code.case_ref is 'The operation, as a pseudonym.';
comment on column definition.event_to_code."procedure" is 'The procedure as the export gives it.';
comment on column definition.event_to_code.side is 'left, right or both; blank when not recorded.';
comment on column definition.event_to_code.operated_month is 'The month of the operation; its day is not kept.';
comment on column definition.event_to_code.event_day is
'Days after the operation on which it happened; blank when not recorded.';
comment on column definition.event_to_code.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
