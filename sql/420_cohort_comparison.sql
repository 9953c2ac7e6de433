-- Where does each trainee stand beside all others of the programme at the same quarter of training?
--
-- Rows:   one per trainee of the roster and measure: each requirement in force for their class, outcome by
--         attribution, procedure group, and step
-- Reads:  trainee, trainee_clock, measure_course, case_volume, complication_rate, supervision_mix,
--         upper_level, review_step, procedure_group, step, t_quantile
-- Source: intervals: 010_wilson.sql, 020_spread.sql; the reference is all other trainees, completed classes
--         included, through the end of their own quarter of that number; blank below five
create view definition.cohort_comparison as
with

share as (

    select
        supervision_mix.trainee_ref,
        supervision_mix.procedure_group,
        sum(case
            when supervision_mix.level_rank >= upper_level.level_rank then supervision_mix.cases
            else 0
        end) as cases_at_level,
        sum(supervision_mix.cases) as known_cases
    from main.supervision_mix
    cross join upper_level
    where supervision_mix.level_ref is not null
    group by supervision_mix.trainee_ref, supervision_mix.procedure_group

),

scored as (

    select
        trainee_ref,
        step,
        count(score) as scores,
        sum(score) as score_sum,
        sum(score * score) as score_squares
    from review_step
    where not done_by_supervisor and score is not null
    group by trainee_ref, step

),

own as (

    select
        trainee_ref,
        concat('counted_cases:', requirement_ref) as measure,
        cast(counted_cases as double) as own_value,
        cast(null as double) as value_low,
        cast(null as double) as value_high
    from main.case_volume
    union all
    select
        trainee_ref,
        concat('rate:', complication_ref, ':', attribution) as measure,
        rate as own_value,
        rate_low as value_low,
        rate_high as value_high
    from main.complication_rate
    union all
    select
        trainee.trainee_ref,
        concat('supervision_share:', procedure_group.procedure_group) as measure,
        cast(share.cases_at_level as double) / share.known_cases as own_value,
        wilson_low(share.cases_at_level, share.known_cases, z_two_sided(0.95e0)) as value_low,
        wilson_high(share.cases_at_level, share.known_cases, z_two_sided(0.95e0)) as value_high
    from trainee
    cross join procedure_group
    left join share
        on trainee.trainee_ref = share.trainee_ref and procedure_group.procedure_group = share.procedure_group
    union all
    select
        trainee.trainee_ref,
        concat('score_mean:', step.step) as measure,
        cast(scored.score_sum as double) / scored.scores as own_value,
        score_low(scored.scores, scored.score_sum, scored.score_squares, t_quantile.quantile) as value_low,
        score_high(scored.scores, scored.score_sum, scored.score_squares, t_quantile.quantile) as value_high
    from trainee
    cross join step
    left join scored on trainee.trainee_ref = scored.trainee_ref and step.step = scored.step
    left join t_quantile on t_quantile.degrees = least(scored.scores - 1, 1000)

),

other as (

    -- Only of trainees whose data reach the quarter: measure_course has no later row.
    select
        self.trainee_ref,
        measure_course.measure,
        measure_course.amount,
        measure_course.base,
        measure_course.squares,
        measure_course.due,
        measure_course.unclear
    from trainee_clock as self
    inner join main.measure_course
        on
            self.programme_ref = measure_course.programme_ref
            and self.last_training_quarter = measure_course.training_quarter
            and self.trainee_ref <> measure_course.trainee_ref

),

placed as (

    select
        trainee_ref,
        measure,
        amount,
        row_number() over (partition by trainee_ref, measure order by amount) as place,
        count(*) over (partition by trainee_ref, measure) as others
    from other
    where base is null

),

middle as (

    select
        trainee_ref,
        measure,
        others,
        sum(amount * quantile_weight(place, others, 0.5e0)) as reference,
        sum(amount * quantile_weight(place, others, 0.25e0)) as reference_low,
        sum(amount * quantile_weight(place, others, 0.75e0)) as reference_high
    from placed
    group by trainee_ref, measure, others

),

pooled as (

    -- Somebody of whom nothing is known stands behind no rate, share or mean.
    select
        trainee_ref,
        measure,
        split_part(measure, ':', 1) = 'score_mean' as is_mean,
        count(*) filter (where base > 0) as others,
        sum(amount) as amount,
        case when 2 * sum(base) >= sum(due) then sum(base) else 0 end as base,
        sum(squares) as squares,
        sum(unclear) as unclear
    from other
    where base is not null
    group by trainee_ref, measure

),

reference as (

    select trainee_ref, measure, others, reference, reference_low, reference_high
    from middle
    union all
    select
        pooled.trainee_ref,
        pooled.measure,
        pooled.others,
        case when pooled.base > 0 then cast(pooled.amount as double) / pooled.base end as reference,
        case
            when pooled.is_mean
                then score_low(pooled.base, pooled.amount, pooled.squares, t_quantile.quantile)
            else wilson_low(pooled.amount, pooled.base, z_two_sided(0.95e0))
        end as reference_low,
        case
            when pooled.is_mean
                then score_high(pooled.base, pooled.amount, pooled.squares, t_quantile.quantile)
            else wilson_high(pooled.amount + pooled.unclear, pooled.base, z_two_sided(0.95e0))
        end as reference_high
    from pooled
    left join t_quantile on t_quantile.degrees = least(pooled.base - 1, 1000)

)

select
    trainee.programme_ref,
    trainee.cohort,
    trainee.trainee_ref,
    own.measure,
    own.own_value as "value",
    own.value_low,
    own.value_high,
    case when reference.others >= 5 then reference.reference end as reference,
    case when reference.others >= 5 then reference.reference_low end as reference_low,
    case when reference.others >= 5 then reference.reference_high end as reference_high,
    coalesce(reference.others, 0) as reference_n,
    trainee.data_through
from own
inner join trainee on own.trainee_ref = trainee.trainee_ref
left join reference on own.trainee_ref = reference.trainee_ref and own.measure = reference.measure;

comment on view definition.cohort_comparison is
'Where does each trainee stand beside all others of the programme at the same quarter of training? The reference takes every other trainee whose data reach that quarter, completed classes included, through the end of their own quarter of that number; the trainee''s own cases are never in it. A quarter still running is compared with whole quarters of others, so that a count may look up to two months behind. It compares with the programme, not with a standard, and does not know how hard the cases were.';
comment on column definition.cohort_comparison.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.cohort_comparison.cohort is
'The class: the academic year in which its trainees are to complete.';
comment on column definition.cohort_comparison.trainee_ref is 'The trainee, as a pseudonym.';
comment on column definition.cohort_comparison.measure is
'What is measured: counted_cases:requirement, rate:complication:attribution, supervision_share:group (cases in an operating role at the second highest level of such a role or above), or score_mean:step.';
comment on column definition.cohort_comparison."value" is
'The trainee''s own number today: a count, a rate or share from 0 to 1, or a mean score from 1 to 5.';
comment on column definition.cohort_comparison.value_low is
'Lower end of its 95 % interval: Wilson for rates and shares, Student''s t for means; blank for counts.';
comment on column definition.cohort_comparison.value_high is 'Upper end of the same interval; in the trainee''s hands with the unclear events as theirs.';
comment on column definition.cohort_comparison.reference is
'Counts: the median of the others. Rates, shares and means: all cases or scores of the others together. Blank below five others; and for an outcome with a window, while fewer than half of their due cases are known, and always in the trainee''s hands.';
comment on column definition.cohort_comparison.reference_low is
'Counts: the lower quartile. Otherwise the lower end of the 95 % interval of the reference.';
comment on column definition.cohort_comparison.reference_high is
'Counts: the upper quartile. Otherwise the upper end of the same interval.';
comment on column definition.cohort_comparison.reference_n is
'Other trainees whose data reach the quarter; for rates, shares and means those among them of whom anything is known.';
comment on column definition.cohort_comparison.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
