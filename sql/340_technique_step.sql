-- How did reviewers score each step of a trainee's operations, how often did it succeed, how long was it?
--
-- Rows:   one per trainee, procedure group, step and training quarter with a review by somebody else
-- Reads:  review_step, trainee, t_quantile
-- Source: median and interval of the mean: 020_spread.sql; interval of the manoeuvres that succeed:
--         010_wilson.sql
create view definition.technique_step as
with

counted as (

    -- What a supervisor did is counted, and is not the trainee's technique.
    select
        trainee_ref,
        procedure_group,
        step,
        training_quarter,
        count(score) filter (where not done_by_supervisor) as scored,
        cast(sum(case when not done_by_supervisor then score end) as bigint) as score_sum,
        cast(sum(case when not done_by_supervisor then score * score end) as bigint) as score_squares,
        count(*) filter (where done_by_supervisor) as done_by_supervisor,
        -- An attempt of which nobody said whether it succeeded did not fail.
        cast(coalesce(sum(
            case when not done_by_supervisor and successes is not null then attempts end
        ), 0) as bigint) as attempts,
        cast(coalesce(sum(case when not done_by_supervisor then successes end), 0) as bigint) as successes
    from review_step
    group by trainee_ref, procedure_group, step, training_quarter

),

placed as (

    select
        trainee_ref,
        procedure_group,
        step,
        training_quarter,
        seconds,
        row_number() over (
            partition by trainee_ref, procedure_group, step, training_quarter
            order by seconds
        ) as place,
        count(*) over (partition by trainee_ref, procedure_group, step, training_quarter) as timed
    from review_step
    where not done_by_supervisor and seconds is not null

),

middle as (

    select
        trainee_ref,
        procedure_group,
        step,
        training_quarter,
        sum(seconds * quantile_weight(place, timed, 0.5e0)) as seconds_median
    from placed
    group by trainee_ref, procedure_group, step, training_quarter

)

select
    trainee.programme_ref,
    trainee.cohort,
    trainee.trainee_ref,
    counted.procedure_group,
    counted.step,
    counted.training_quarter,
    counted.scored,
    case when counted.scored > 0 then cast(counted.score_sum as double) / counted.scored end as score_mean,
    score_low(counted.scored, counted.score_sum, counted.score_squares, t_quantile.quantile) as score_low,
    score_high(counted.scored, counted.score_sum, counted.score_squares, t_quantile.quantile) as score_high,
    counted.done_by_supervisor,
    counted.attempts,
    counted.successes,
    wilson_low(counted.successes, counted.attempts, z_two_sided(0.95e0)) as success_low,
    wilson_high(counted.successes, counted.attempts, z_two_sided(0.95e0)) as success_high,
    middle.seconds_median,
    trainee.data_through
from counted
inner join trainee on counted.trainee_ref = trainee.trainee_ref
left join middle
    on
        counted.trainee_ref = middle.trainee_ref
        and counted.procedure_group = middle.procedure_group
        and counted.step = middle.step
        and counted.training_quarter = middle.training_quarter
left join t_quantile on t_quantile.degrees = least(counted.scored - 1, 1000);

comment on view definition.technique_step is
'How did reviewers score each step of a trainee''s operations, how often did it succeed, how long did it take? One row for every step, procedure group and quarter of training with a review. A trainee''s review of themselves stays out. Steps done by a supervisor are counted and stay out of everything else. Cases performed elsewhere are left out. Reviewers differ in severity, which is not taken out.';
comment on column definition.technique_step.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.technique_step.cohort is
'The class: the academic year in which its trainees are to complete.';
comment on column definition.technique_step.trainee_ref is 'The trainee, as a pseudonym.';
comment on column definition.technique_step.procedure_group is
'The group of the main procedure of the operation, or of the first logged where none is marked as the main one.';
comment on column definition.technique_step.step is
'The step of the operation, by its code in the specialty file.';
comment on column definition.technique_step.training_quarter is
'Three months of training on the clock of active_month, counted from 1: leave stops it, part-time slows it.';
comment on column definition.technique_step.scored is
'Scores of the trainee''s own steps; a step that a reviewer did not see has none.';
comment on column definition.technique_step.score_mean is
'Mean of these scores, from 1 to 5; blank with none.';
comment on column definition.technique_step.score_low is
'Lower end of the 95 % interval of the mean, by Student''s t, and not below 1; blank below three scores. Scores that are all alike give an interval of no width: that says nothing of the next one.';
comment on column definition.technique_step.score_high is 'Upper end of the same interval, and not above 5.';
comment on column definition.technique_step.done_by_supervisor is
'Reviewed steps that a supervisor did, as planned or to the rescue.';
comment on column definition.technique_step.attempts is 'Attempts at the manoeuvre, where the reviewer also said how many succeeded.';
comment on column definition.technique_step.successes is 'Attempts that succeeded.';
comment on column definition.technique_step.success_low is
'Lower end of the Wilson interval, 95 %, of successes by attempts; blank with no attempt.';
comment on column definition.technique_step.success_high is 'Upper end of the same interval.';
comment on column definition.technique_step.seconds_median is
'Median of the seconds that the step took in the operation: time on the recording by the recording''s speed; blank where no reviewer timed it.';
comment on column definition.technique_step.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
