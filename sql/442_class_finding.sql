-- By which rules were rows of each class left out, or kept with a warning, and how many rows were concerned?
--
-- Rows:   one per programme, class, severity and rule with a finding
-- Reads:  finding, trainee, intake_programme, input.intake_trainee
-- Source: the rules of the export format; a finding about nobody of the roster is told to each class for which its
--         file is live, and to none where the file is about several programmes
create view definition.class_finding as
with

live_for as (

    select distinct trainee.programme_ref, trainee.cohort, intake_trainee.intake_id
    from input.intake_trainee as intake_trainee
    inner join trainee on intake_trainee.trainee_ref = trainee.trainee_ref
    inner join intake_programme on intake_trainee.intake_id = intake_programme.intake_id

),

told as (

    select
        trainee.programme_ref,
        trainee.cohort,
        finding.severity,
        finding.rule,
        finding.intake_id,
        finding.file_name,
        finding.source_row
    from main.finding
    inner join trainee on finding.trainee_ref = trainee.trainee_ref
    union all
    select
        live_for.programme_ref,
        live_for.cohort,
        finding.severity,
        finding.rule,
        finding.intake_id,
        finding.file_name,
        finding.source_row
    from main.finding
    inner join live_for on finding.intake_id = live_for.intake_id
    left join trainee on finding.trainee_ref = trainee.trainee_ref
    where trainee.trainee_ref is null

),

by_row as (

    select
        programme_ref,
        cohort,
        severity,
        rule,
        count(*) as findings
    from told
    group by programme_ref, cohort, severity, rule, intake_id, file_name, source_row

)

select
    programme_ref,
    cohort,
    severity,
    rule,
    cast(sum(findings) as bigint) as findings,
    count(*) as rows_concerned
from by_row
group by programme_ref, cohort, severity, rule;

comment on view definition.class_finding is
'By which rules were rows of each class left out, or kept with a warning, and how many rows were concerned? With them stand findings about nobody of the roster, in files that are live for somebody of the class and about one programme alone.';
comment on column definition.class_finding.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.class_finding.cohort is
'The class: the academic year in which its trainees are to complete.';
comment on column definition.class_finding.severity is
'left_out: the row is not in the store; warning: it is.';
comment on column definition.class_finding.rule is 'The rule that the row or cell breaks.';
comment on column definition.class_finding.findings is 'How often.';
comment on column definition.class_finding.rows_concerned is
'In how many rows; what is said of a whole file or trainee counts as one.';
