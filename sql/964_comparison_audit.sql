-- Is every reference made of at least five others, in order, and is nobody missing?
--
-- Rows:   one per trainee and measure that breaks a rule; there must be none
-- Reads:  trainee, procedure_group, step, cohort_comparison, expected_rate, complication
-- Source: contract of the views: blank below five
with

wanted as (

    select concat('supervision_share:', procedure_group) as measure
    from procedure_group
    union all
    select concat('score_mean:', step) as measure
    from step

)

select 'a reference of fewer than five others' as offence, trainee_ref, measure
from cohort_comparison
where reference_n < 5 and (reference is not null or reference_low is not null or reference_high is not null)
union all
select 'a count has no reference though there are five others' as offence, trainee_ref, measure
from cohort_comparison
where reference_n >= 5 and reference is null and split_part(measure, ':', 1) = 'counted_cases'
union all
select 'a value or a reference lies outside its interval' as offence, trainee_ref, measure
from cohort_comparison
where value_low > "value" or "value" > value_high or reference_low > reference or reference > reference_high
union all
select 'an interval of no value or of no reference' as offence, trainee_ref, measure
from cohort_comparison
where
    ("value" is null and (value_low is not null or value_high is not null))
    or (reference is null and (reference_low is not null or reference_high is not null))
union all
select 'a rate is compared with something else than is expected' as offence, compared.trainee_ref, compared.measure
from cohort_comparison as compared
left join expected_rate
    on
        compared.trainee_ref = expected_rate.trainee_ref
        and compared.measure = concat('rate:', expected_rate.complication_ref, ':', expected_rate.attribution)
where
    split_part(compared.measure, ':', 1) = 'rate'
    and compared.reference is not null
    and coalesce(abs(compared.reference - expected_rate.expected) > 1e-12, true)
union all
select 'a rate or share lies outside 0 to 1' as offence, trainee_ref, measure
from cohort_comparison
where
    split_part(measure, ':', 1) in ('rate', 'supervision_share')
    and (value_low < 0 or value_high > 1 or reference_low < 0 or reference_high > 1)
union all
select 'a trainee has no row for a group or step' as offence, trainee.trainee_ref, wanted.measure
from trainee
cross join wanted
left join cohort_comparison
    on trainee.trainee_ref = cohort_comparison.trainee_ref and wanted.measure = cohort_comparison.measure
where cohort_comparison.trainee_ref is null
union all
select
    'an expected rate without a reason, or a reason beside one' as offence,
    trainee_ref,
    complication_ref as measure
from expected_rate
where (expected is null) <> (why_none is not null) or expected < 0 or expected > 1
union all
select
    'a trainee has not three expected rates of a complication' as offence,
    trainee.trainee_ref,
    complication.complication_ref as measure
from trainee
cross join complication
left join expected_rate
    on
        trainee.trainee_ref = expected_rate.trainee_ref
        and complication.complication_ref = expected_rate.complication_ref
group by trainee.trainee_ref, complication.complication_ref
having count(expected_rate.attribution) <> 3
