-- Where does each trainee stand beside all others of the programme at the same active month, and do the two differ?
--
-- Rows:   one per trainee of the roster and measure: each requirement in force for their class, outcome by
--         attribution, procedure group, and step
-- Reads:  trainee, trainee_clock, volume_course, case_volume, complication_rate, expected_rate, measure_month,
--         procedure_group, step, t_quantile
-- Source: intervals: 010_wilson.sql, 020_spread.sql, 045_difference.sql; one reference everywhere: a rate is set beside
--         what expected_rate expects; blank below five others. Nothing is said of few events: Wilson's lower end for one
--         event in n is near 0.18/n, so that one event alone would look like a difference
create view definition.cohort_comparison as
with

other_count as (

    select
        self.trainee_ref,
        concat('counted_cases:', volume_course.requirement_ref) as measure,
        volume_course.counted_cases as amount
    from trainee_clock as self
    inner join main.volume_course
        on
            self.programme_ref = volume_course.programme_ref
            and self.last_training_month = volume_course.training_month
            and self.trainee_ref <> volume_course.trainee_ref

),

placed as (

    select
        trainee_ref,
        measure,
        amount,
        row_number() over (partition by trainee_ref, measure order by amount) as place,
        count(*) over (partition by trainee_ref, measure) as others
    from other_count

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

everybody as (

    select
        programme_ref,
        measure,
        training_month,
        count(*) as people,
        sum(base) as base,
        sum(amount) as amount,
        sum(squares) as squares
    from measure_month
    group by programme_ref, measure, training_month

),

wanted as (

    select concat('supervision_share:', procedure_group) as measure from procedure_group
    union all
    select concat('score_mean:', step) as measure from step

),

pooled as (

    -- Of everybody whose data reach the month, and of all of them but the trainee.
    select
        trainee.trainee_ref,
        wanted.measure,
        split_part(wanted.measure, ':', 1) = 'score_mean' as is_mean,
        own.base,
        cast(own.amount as double) as amount,
        cast(own.squares as double) as squares,
        coalesce(everybody.people, 0) - case when own.base is null then 0 else 1 end as others,
        everybody.base - coalesce(own.base, 0) as others_base,
        cast(everybody.amount - coalesce(own.amount, 0) as double) as others_amount,
        cast(everybody.squares - coalesce(own.squares, 0) as double) as others_squares
    from trainee
    cross join wanted
    left join trainee_clock on trainee.trainee_ref = trainee_clock.trainee_ref
    left join measure_month as own
        on
            trainee.trainee_ref = own.trainee_ref
            and wanted.measure = own.measure
            and trainee_clock.last_training_month = own.training_month
    left join everybody
        on
            trainee.programme_ref = everybody.programme_ref
            and wanted.measure = everybody.measure
            and trainee_clock.last_training_month = everybody.training_month

),

spread as (

    select
        *,
        case when is_mean and base > 1 then mean_variance(base, amount, squares) end as own_variance,
        case when is_mean and others_base > 1 then mean_variance(others_base, others_amount, others_squares) end
            as others_variance
    from pooled

),

shared as (

    -- Means first from three operations on, cut to the scale; and nothing behind a reference of four people.
    select
        spread.trainee_ref,
        spread.measure,
        spread.is_mean,
        spread.amount / nullif(spread.base, 0) as own_value,
        case
            when not spread.is_mean then wilson_low(cast(spread.amount as bigint), spread.base, z_two_sided(0.95e0))
            when spread.base >= 3
                then greatest(spread.amount / spread.base - own_t.quantile * sqrt(spread.own_variance), 1e0)
        end as value_low,
        case
            when not spread.is_mean then wilson_high(cast(spread.amount as bigint), spread.base, z_two_sided(0.95e0))
            when spread.base >= 3
                then least(spread.amount / spread.base + own_t.quantile * sqrt(spread.own_variance), 5e0)
        end as value_high,
        spread.base,
        spread.own_variance,
        spread.others,
        case when spread.others >= 5 then cast(nullif(spread.others_base, 0) as bigint) end as others_base,
        case when spread.others >= 5 then spread.others_amount / nullif(spread.others_base, 0) end as reference,
        case
            when spread.others < 5 then null
            when not spread.is_mean
                then wilson_low(cast(spread.others_amount as bigint), spread.others_base, z_two_sided(0.95e0))
            when spread.others_base >= 3
                then greatest(
                    spread.others_amount / spread.others_base - others_t.quantile * sqrt(spread.others_variance), 1e0
                )
        end as reference_low,
        case
            when spread.others < 5 then null
            when not spread.is_mean
                then wilson_high(cast(spread.others_amount as bigint), spread.others_base, z_two_sided(0.95e0))
            when spread.others_base >= 3
                then least(
                    spread.others_amount / spread.others_base + others_t.quantile * sqrt(spread.others_variance), 5e0
                )
        end as reference_high,
        spread.others_variance,
        welch.quantile * sqrt(spread.own_variance + spread.others_variance) as half_width
    from spread
    left join t_quantile as own_t on least(spread.base - 1, 1000) = own_t.degrees
    left join t_quantile as others_t on least(spread.others_base - 1, 1000) = others_t.degrees
    left join t_quantile as welch
        on
            spread.base >= 3
            and spread.others_base >= 3
            and spread.own_variance + spread.others_variance > 0
            and least(
                welch_degrees(spread.own_variance, spread.base, spread.others_variance, spread.others_base), 1000
            ) = welch.degrees

),

placed_beside as (

    select
        case_volume.trainee_ref,
        concat('counted_cases:', case_volume.requirement_ref) as measure,
        cast(coalesce(course.counted_cases, case_volume.counted_cases) as double) as own_value,
        cast(null as double) as value_low,
        cast(null as double) as value_high,
        cast(null as bigint) as value_base,
        middle.reference,
        middle.reference_low,
        middle.reference_high,
        coalesce(middle.others, 0) as reference_n,
        cast(null as bigint) as reference_base,
        cast(null as double) as half_width,
        false as is_compared,
        false as is_enough
    from main.case_volume
    left join trainee_clock on case_volume.trainee_ref = trainee_clock.trainee_ref
    left join main.volume_course as course
        on
            case_volume.trainee_ref = course.trainee_ref
            and case_volume.requirement_ref = course.requirement_ref
            and trainee_clock.last_training_month = course.training_month
    left join middle
        on
            case_volume.trainee_ref = middle.trainee_ref
            and concat('counted_cases:', case_volume.requirement_ref) = middle.measure
    union all
    select
        rate.trainee_ref,
        concat('rate:', rate.complication_ref, ':', rate.attribution) as measure,
        rate.rate as own_value,
        rate.rate_low as value_low,
        rate.rate_high as value_high,
        rate.known_outcomes as value_base,
        expected_rate.expected as reference,
        expected_rate.expected_low as reference_low,
        expected_rate.expected_high as reference_high,
        expected_rate.expected_from_trainees as reference_n,
        case when expected_rate.expected is not null then expected_rate.expected_known end as reference_base,
        cast(null as double) as half_width,
        rate.attribution <> 'as_logged' as is_compared,
        rate.events >= 3 and rate.known_outcomes >= 10 and expected_rate.expected_known >= 10 as is_enough
    from main.complication_rate as rate
    inner join main.expected_rate
        on
            rate.trainee_ref = expected_rate.trainee_ref
            and rate.complication_ref = expected_rate.complication_ref
            and rate.attribution = expected_rate.attribution
    union all
    select
        trainee_ref,
        measure,
        own_value,
        value_low,
        value_high,
        base as value_base,
        reference,
        reference_low,
        reference_high,
        others as reference_n,
        others_base as reference_base,
        half_width,
        true as is_compared,
        case
            when is_mean then base >= 5 and others_base >= 5 and own_variance > 0 and others_variance > 0
            else base >= 10 and others_base >= 10
        end as is_enough
    from shared

),

shown as (

    select
        *,
        case when reference_n >= 5 then reference end as shown_reference,
        case when reference_n >= 5 then reference_low end as shown_low,
        case when reference_n >= 5 then reference_high end as shown_high,
        case when is_compared and reference_n >= 5 then own_value - reference end as difference
    from placed_beside

),

compared as (

    select
        *,
        case
            when difference is null or split_part(measure, ':', 1) <> 'score_mean'
                then difference_end(own_value, value_low, reference, reference_high, -1) + 0 * difference
            else difference - half_width
        end as difference_low,
        case
            when difference is null or split_part(measure, ':', 1) <> 'score_mean'
                then difference_end(own_value, value_high, reference, reference_low, 1) + 0 * difference
            else difference + half_width
        end as difference_high
    from shown

)

select
    trainee.programme_ref,
    trainee.cohort,
    trainee.trainee_ref,
    compared.measure,
    compared.own_value as "value",
    compared.value_low,
    compared.value_high,
    compared.shown_reference as reference,
    compared.shown_low as reference_low,
    compared.shown_high as reference_high,
    compared.reference_n,
    compared.value_base,
    compared.reference_base,
    compared.difference,
    compared.difference_low,
    compared.difference_high,
    case when compared.is_enough then compared.difference_low > 0 or compared.difference_high < 0 end as differs,
    trainee.data_through
from compared
inner join trainee on compared.trainee_ref = trainee.trainee_ref;

comment on view definition.cohort_comparison is
'Where does each trainee stand beside all others of the programme at the same active month, and do the two differ by more than chance? Counts, shares and means of both are cut at the active month that the trainee''s data reach, over all sources; the reference takes every other trainee whose data reach that month, completed classes included. Rates are set beside what expected_rate expects at the same case numbers. The trainee''s own cases are never in a reference. Two numbers are compared by the interval of their difference, never by whether one lies in the interval of the other. Of so many comparisons one in twenty differs by chance. It compares with the programme, not with a standard.';
comment on column definition.cohort_comparison.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.cohort_comparison.cohort is
'The class: the academic year in which its trainees are to complete.';
comment on column definition.cohort_comparison.trainee_ref is 'The trainee, as a pseudonym.';
comment on column definition.cohort_comparison.measure is
'What is measured: counted_cases:requirement, rate:complication:attribution, supervision_share:group (cases in an operating role at the second highest level of such a role or above), or score_mean:step.';
comment on column definition.cohort_comparison."value" is
'The trainee''s own number: a count, a rate or share from 0 to 1, or a mean score from 1 to 5.';
comment on column definition.cohort_comparison.value_low is
'Lower end of its 95 % interval: Wilson for rates and shares, Student''s t for means of operations, from three on; blank for counts.';
comment on column definition.cohort_comparison.value_high is 'Upper end of the same interval; in the trainee''s hands with the unclear events as theirs.';
comment on column definition.cohort_comparison.reference is
'Counts: the median of the others. Rates: the expected rate, as in expected_rate. Shares and means: all cases, or all operations scored, of the others together. Blank below five others, and where nothing is expected.';
comment on column definition.cohort_comparison.reference_low is
'Counts: the lower quartile. Otherwise the lower end of the 95 % interval of the reference.';
comment on column definition.cohort_comparison.reference_high is
'Counts: the upper quartile. Otherwise the upper end of the same interval.';
comment on column definition.cohort_comparison.reference_n is
'Other trainees whose data reach the month; for shares and means those among them of whom anything is known, for rates those behind the expected rate.';
comment on column definition.cohort_comparison.value_base is
'What the value is divided by: known outcomes, cases with a recorded level, or operations scored; blank for counts.';
comment on column definition.cohort_comparison.reference_base is
'The same of the others; for a rate their known outcomes in the bands of case number in which the trainee has cases.';
comment on column definition.cohort_comparison.difference is
'Value less reference; blank where one of them is, for counts, and for as_logged, by which nobody is compared.';
comment on column definition.cohort_comparison.difference_low is
'Lower end of the 95 % interval of the difference: Newcombe''s method 10 for rates and shares, Welch''s for means; blank where the difference is, and for means below three operations or where both are all alike.';
comment on column definition.cohort_comparison.difference_high is 'Upper end of that interval.';
comment on column definition.cohort_comparison.differs is
'Whether the interval of the difference leaves 0 out. Blank where nothing is said: below three events or ten cases of a rate, ten cases of a share, five operations of a mean, of the trainee or of the others, and where the scores of either are all alike.';
comment on column definition.cohort_comparison.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
