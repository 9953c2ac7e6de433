-- By which rules were rows of each trainee left out, or kept with a warning, and how often?
--
-- Rows:   one per trainee, severity and rule with a finding; a blank trainee holds rows that name nobody, and a
--         blank programme those of them that stand in a file about several programmes
-- Reads:  finding, trainee, intake_programme
-- Source: the rules of the export format
create view definition.left_out_rule as
select
    coalesce(trainee.programme_ref, intake_programme.programme_ref) as programme_ref,
    trainee.cohort,
    finding.trainee_ref,
    finding.severity,
    finding.rule,
    count(*) as findings,
    trainee.data_through
from main.finding
left join trainee on finding.trainee_ref = trainee.trainee_ref
left join intake_programme on finding.intake_id = intake_programme.intake_id
group by
    coalesce(trainee.programme_ref, intake_programme.programme_ref),
    trainee.cohort,
    finding.trainee_ref,
    finding.severity,
    finding.rule,
    trainee.data_through;

comment on view definition.left_out_rule is
'By which rules were rows of each trainee left out, or kept with a warning, and how often? A row with two faults has two findings. Rows that name nobody of the roster have no class.';
comment on column definition.left_out_rule.programme_ref is
'The programme, as a pseudonym; blank where a row names nobody of the roster and its file several programmes.';
comment on column definition.left_out_rule.cohort is
'The class; blank where the row names nobody of the roster.';
comment on column definition.left_out_rule.trainee_ref is
'The trainee, as a pseudonym; blank where the row names none.';
comment on column definition.left_out_rule.severity is
'left_out: the row is not in the store; warning: it is.';
comment on column definition.left_out_rule.rule is 'The rule that the row or cell breaks.';
comment on column definition.left_out_rule.findings is 'How often.';
comment on column definition.left_out_rule.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
