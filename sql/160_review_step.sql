-- Which steps of operations did a reviewer other than the trainee see, and in which operation of the log?
--
-- Rows:   one per step of a review, of a case that is live, performed here, in a known procedure
-- Reads:  input.reviews, case_record
-- Source: contract of the export format: self-reviews and steps done by a supervisor stay out of means; time
--         in the operation = time on the recording x recording_speed
create table main.review_step as
with

reviewed as (

    select distinct trainee_ref, case_ref
    from input.reviews

),

ranked as (

    -- A review names the operation, not the procedure: its main one, or else the first that was logged.
    select
        case_record.trainee_ref,
        case_record.case_ref,
        case_record.procedure_group,
        case_record.training_quarter,
        case_record.case_sequence,
        row_number() over (
            partition by case_record.trainee_ref, case_record.case_ref
            order by case when case_record.principal then 0 else 1 end, case_record.case_sequence
        ) as place
    from case_record
    inner join reviewed
        on case_record.trainee_ref = reviewed.trainee_ref and case_record.case_ref = reviewed.case_ref
    where case_record.procedure_group is not null and not case_record.performed_elsewhere

)

select
    reviews.trainee_ref,
    ranked.case_ref,
    ranked.case_sequence,
    ranked.procedure_group,
    ranked.training_quarter,
    reviews.step,
    reviews.review_ref,
    reviews.reviewer_ref,
    coalesce(reviews.done_by_supervisor in ('planned', 'rescue'), false) as done_by_supervisor,
    reviews.score,
    reviews.attempts,
    reviews.successes,
    (reviews.ended_seconds - reviews.started_seconds) * coalesce(reviews.recording_speed, 1e0) as seconds
from input.reviews as reviews
inner join ranked
    on reviews.trainee_ref = ranked.trainee_ref and reviews.case_ref = ranked.case_ref and ranked.place = 1
where not coalesce(reviews.self_review, false);
