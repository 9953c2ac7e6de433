-- Does each case count toward each requirement that lists its procedure, and if not, why?
--
-- Rows:   one per live case and requirement that lists its procedure; a case that could count toward
--         nothing has one row with a blank requirement
-- Reads:  judged_case, case_record, trainee
-- Source: the requirements of the specialty file, as judged_case applies them
create view definition.case_credit as
select
    case_record.programme_ref,
    judged_case.trainee_ref,
    case_record.case_ref,
    case_record."procedure",
    case_record.side,
    judged_case.requirement_ref,
    judged_case.credited,
    judged_case.reason,
    judged_case.over_cap,
    trainee.data_through
from judged_case
inner join case_record
    on judged_case.trainee_ref = case_record.trainee_ref and judged_case.case_sequence = case_record.case_sequence
inner join trainee on judged_case.trainee_ref = trainee.trainee_ref;

comment on view definition.case_credit is
'Does each case count toward each requirement that lists its procedure, and if not, why? One row for every case and every such requirement; a case that could count toward nothing has one row with a blank requirement. Of several reasons the first of the list stands. Of cases of a kind of which the requirement takes so many at most, the first operations count. Double claims of two trainees are not resolved yet: both count.';
comment on column definition.case_credit.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.case_credit.trainee_ref is 'The trainee, as a pseudonym.';
comment on column definition.case_credit.case_ref is
'The operation, as a pseudonym; the same for everybody who logs it.';
comment on column definition.case_credit."procedure" is 'The procedure as the export gives it.';
comment on column definition.case_credit.side is 'left, right or both; blank when not recorded.';
comment on column definition.case_credit.requirement_ref is
'The requirement that lists the procedure; blank when none does.';
comment on column definition.case_credit.credited is 'Whether the case counts toward the requirement.';
comment on column definition.case_credit.reason is
'Why it counts or not: credited; or unmapped_code (the specialty does not know the procedure), no_requirement (none lists it), before_credit_from (a later roster says that the trainee''s cases count only from after it), outside_edition (the rule is not for this class, or not for this procedure in that month), role, stage, attribute (also the technique), window (the months in which the rule looks for cases), performed_elsewhere, duplicate_in_operation (another row of the operation counts, or the rule takes main procedures alone), supervisor_disagreed, takeover_to_confirm (a takeover that the supervisor has not confirmed).';
comment on column definition.case_credit.over_cap is
'The kind of case of which the requirement has as many as it takes, where that alone keeps the case out; the reason is then that of the kind. Blank otherwise.';
comment on column definition.case_credit.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
