-- How was each step of each operation scored, by all its reviewers together?
--
-- Rows:   one per trainee, operation and step that somebody other than the trainee scored
-- Reads:  review_step, case_record
-- Source: two reviews of one operation are not two operations; steps done by a supervisor stay out
create table main.operation_score as
select
    review_step.trainee_ref,
    review_step.case_ref,
    review_step.case_sequence,
    review_step.step,
    case_record.training_month,
    case_record.training_quarter,
    cast(cast(sum(review_step.score) as double) / count(*) as decimal(18, 12)) as score
from review_step
inner join case_record
    on
        review_step.trainee_ref = case_record.trainee_ref
        and review_step.case_sequence = case_record.case_sequence
where not review_step.done_by_supervisor and review_step.score is not null
group by
    review_step.trainee_ref,
    review_step.case_ref,
    review_step.case_sequence,
    review_step.step,
    case_record.training_month,
    case_record.training_quarter;
