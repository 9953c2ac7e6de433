-- Have the latest reviews of each step gone better than those before?
--
-- Rows:   one per trainee and step with twice as many reviewed operations as programme.yaml asks for
-- Reads:  trainee, operation_score, input.reason_setting
-- Source: means of operations, each the mean of its reviewers: two reviews of one operation are not two operations
create view definition.step_progress as
with

placed as (

    select
        trainee_ref,
        step,
        score,
        row_number() over (partition by trainee_ref, step order by case_sequence desc) as place
    from operation_score

),

compared as (

    select
        placed.trainee_ref,
        placed.step,
        setting.step_without_progress_operations as operations,
        count(*) as reviewed_operations,
        sum(case when placed.place <= setting.step_without_progress_operations then placed.score end)
            as latest,
        sum(
            case
                when
                    placed.place > setting.step_without_progress_operations
                    and placed.place <= 2 * setting.step_without_progress_operations
                    then placed.score
            end
        ) as before
    from placed
    cross join input.reason_setting as setting
    group by placed.trainee_ref, placed.step, setting.step_without_progress_operations
    having count(*) >= 2 * setting.step_without_progress_operations

)

select
    trainee.programme_ref,
    trainee.cohort,
    trainee.trainee_ref,
    compared.step,
    compared.reviewed_operations,
    compared.operations,
    cast(compared.latest as double) / compared.operations as score_latest,
    cast(compared.before as double) / compared.operations as score_before,
    trainee.data_through
from compared
inner join trainee on compared.trainee_ref = trainee.trainee_ref;

comment on view definition.step_progress is
'Have the latest reviews of each step gone better than those before? The mean of the latest reviewed operations (five, unless programme.yaml says otherwise) beside that of as many before; each operation counts once, with the mean of its reviewers. Self-reviews and steps done by a supervisor are left out.';
comment on column definition.step_progress.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.step_progress.cohort is
'The class: the academic year in which its trainees are to complete.';
comment on column definition.step_progress.trainee_ref is 'The trainee, as a pseudonym.';
comment on column definition.step_progress.step is 'The step of the operation.';
comment on column definition.step_progress.reviewed_operations is 'Operations with a score of the step.';
comment on column definition.step_progress.operations is 'How many of them are in each of the two means.';
comment on column definition.step_progress.score_latest is 'The mean of the latest ones, from 1 to 5.';
comment on column definition.step_progress.score_before is 'The mean of as many before those.';
comment on column definition.step_progress.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
