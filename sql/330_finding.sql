-- What was left out of the exports that are live now, or kept with a warning, and why?
--
-- Rows:   one per finding of an intake that is live for a trainee
-- Reads:  input.finding, trainee
-- Source: the rules of the export format
create view definition.finding as
select
    found.intake_id,
    found.file_name,
    found.source_row,
    found.column_name,
    found.rule,
    found.trainee_ref,
    found.severity,
    found.message,
    found.remedy,
    trainee.data_through
from input.finding as found
left join trainee on found.trainee_ref = trainee.trainee_ref;

comment on view definition.finding is
'What was left out of the exports that are live now, or kept with a warning, and why? A message quotes at most the code that was wrong, and nothing else of the row.';
comment on column definition.finding.intake_id is 'The intake: a hash of the file''s content and a number.';
comment on column definition.finding.file_name is
'The name of the file; of a book with the sheet; hidden where it looks like a person.';
comment on column definition.finding.source_row is
'The row of the file, the header being 1; blank for a finding about the whole file.';
comment on column definition.finding.column_name is 'The column; blank for a finding about the whole row.';
comment on column definition.finding.rule is 'The rule that the row or cell breaks.';
comment on column definition.finding.trainee_ref is
'The trainee whose row it is, as a pseudonym; blank when the row names none.';
comment on column definition.finding.severity is
'left_out: the row is not in the store; warning: it is, as the message says.';
comment on column definition.finding.message is 'What is wrong.';
comment on column definition.finding.remedy is 'What to do about it.';
comment on column definition.finding.data_through is
'The month through which the trainee''s data are complete; blank with no data or no trainee.';
