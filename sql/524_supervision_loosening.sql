-- Does supervision loosen for each trainee as it had for earlier ones at the same time of training?
--
-- Rows:   one per trainee in training and procedure group in which they operated with a recorded level
-- Reads:  trainee, trainee_clock, supervision_mix, upper_level, input.reason_setting
-- Source: shares at the second highest level of an operating role or above; quartiles: 020_spread.sql; interval:
--         010_wilson.sql
create view definition.supervision_loosening as
with

by_quarter as (

    select
        supervision_mix.programme_ref,
        supervision_mix.trainee_ref,
        supervision_mix.procedure_group,
        supervision_mix.training_quarter,
        sum(case when supervision_mix.level_rank >= upper_level.level_rank then supervision_mix.cases else 0 end)
            as cases_at_level,
        sum(supervision_mix.cases) as known_cases
    from main.supervision_mix
    cross join upper_level
    where supervision_mix.level_ref is not null
    group by
        supervision_mix.programme_ref,
        supervision_mix.trainee_ref,
        supervision_mix.procedure_group,
        supervision_mix.training_quarter

),

looking as (

    select
        trainee_clock.programme_ref,
        trainee_clock.trainee_ref,
        trainee_clock.last_training_quarter as until_quarter,
        trainee_clock.last_training_quarter - setting.supervision_not_loosening_quarters as before_quarter,
        setting.supervision_not_loosening_cases as cases_needed
    from trainee_clock
    inner join trainee on trainee_clock.trainee_ref = trainee.trainee_ref and not trainee.training_is_over
    cross join input.reason_setting as setting

),

moment as (

    select distinct programme_ref, until_quarter, before_quarter, cases_needed
    from looking

),

own as (

    select
        looking.programme_ref,
        looking.trainee_ref,
        looking.until_quarter,
        by_quarter.procedure_group,
        sum(case when by_quarter.training_quarter > looking.before_quarter then by_quarter.cases_at_level else 0 end)
            as cases_at_level,
        sum(case when by_quarter.training_quarter > looking.before_quarter then by_quarter.known_cases else 0 end)
            as known_cases,
        sum(case when by_quarter.training_quarter <= looking.before_quarter then by_quarter.cases_at_level else 0 end)
            as cases_at_level_before,
        sum(case when by_quarter.training_quarter <= looking.before_quarter then by_quarter.known_cases else 0 end)
            as known_cases_before
    from looking
    inner join by_quarter
        on
            looking.trainee_ref = by_quarter.trainee_ref
            and looking.until_quarter >= by_quarter.training_quarter
    group by looking.programme_ref, looking.trainee_ref, looking.until_quarter, by_quarter.procedure_group

),

earlier as (

    select
        moment.programme_ref,
        moment.until_quarter,
        moment.cases_needed,
        by_quarter.procedure_group,
        by_quarter.trainee_ref,
        sum(case when by_quarter.training_quarter > moment.before_quarter then by_quarter.cases_at_level else 0 end)
            as cases_at_level,
        sum(case when by_quarter.training_quarter > moment.before_quarter then by_quarter.known_cases else 0 end)
            as known_cases,
        sum(case when by_quarter.training_quarter <= moment.before_quarter then by_quarter.cases_at_level else 0 end)
            as cases_at_level_before,
        sum(case when by_quarter.training_quarter <= moment.before_quarter then by_quarter.known_cases else 0 end)
            as known_cases_before
    from moment
    inner join trainee_clock
        on
            moment.programme_ref = trainee_clock.programme_ref
            and moment.until_quarter <= trainee_clock.last_training_quarter
            and trainee_clock.of_completed_class
    inner join by_quarter
        on
            trainee_clock.trainee_ref = by_quarter.trainee_ref
            and moment.until_quarter >= by_quarter.training_quarter
    group by
        moment.programme_ref,
        moment.until_quarter,
        moment.cases_needed,
        by_quarter.procedure_group,
        by_quarter.trainee_ref

),

placed as (

    select
        *,
        cast(cases_at_level as double) / known_cases as level_share,
        row_number() over (
            partition by programme_ref, until_quarter, procedure_group
            order by cast(cases_at_level as double) / known_cases
        ) as place,
        count(*) over (partition by programme_ref, until_quarter, procedure_group) as people
    from earlier
    where known_cases >= cases_needed

),

stood as (

    select
        programme_ref,
        until_quarter,
        procedure_group,
        people,
        sum(level_share * quantile_weight(place, people, 0.25e0)) as lower_quartile,
        sum(level_share * quantile_weight(place, people, 0.5e0)) as middle,
        cast(sum(cases_at_level_before) as double) / nullif(sum(known_cases_before), 0) as share_before
    from placed
    group by programme_ref, until_quarter, procedure_group, people

)

select
    trainee.programme_ref,
    trainee.cohort,
    trainee.trainee_ref,
    own.procedure_group,
    cast(own.cases_at_level as bigint) as cases_at_level,
    cast(own.known_cases as bigint) as known_cases,
    cast(own.cases_at_level as double) / nullif(own.known_cases, 0) as share,
    wilson_low(own.cases_at_level, own.known_cases, z_two_sided(0.95e0)) as share_low,
    wilson_high(own.cases_at_level, own.known_cases, z_two_sided(0.95e0)) as share_high,
    cast(own.cases_at_level_before as double) / nullif(own.known_cases_before, 0) as share_before,
    coalesce(stood.people, 0) as earlier_people,
    stood.lower_quartile as earlier_low,
    stood.middle as earlier_median,
    stood.share_before as earlier_before,
    trainee.data_through
from own
inner join trainee on own.trainee_ref = trainee.trainee_ref
left join stood
    on
        own.programme_ref = stood.programme_ref
        and own.until_quarter = stood.until_quarter
        and own.procedure_group = stood.procedure_group;

comment on view definition.supervision_loosening is
'Does supervision loosen for each trainee as it had for earlier ones at the same time of training? Shares of operations in an operating role, of those with a recorded level, at the second highest level of such a role or above: in the latest quarters of the trainee''s data (two, unless programme.yaml says otherwise) and before them, beside those of earlier trainees with enough operations in the very same quarters.';
comment on column definition.supervision_loosening.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.supervision_loosening.cohort is
'The class: the academic year in which its trainees are to complete.';
comment on column definition.supervision_loosening.trainee_ref is 'The trainee, as a pseudonym.';
comment on column definition.supervision_loosening.procedure_group is 'The group of the procedures.';
comment on column definition.supervision_loosening.cases_at_level is
'Operations of the latest quarters at that level or above.';
comment on column definition.supervision_loosening.known_cases is
'Operations of the latest quarters with a recorded level that agrees with the role.';
comment on column definition.supervision_loosening.share is 'The one by the other; blank with none.';
comment on column definition.supervision_loosening.share_low is
'Lower end of the 95 % interval of the share (Wilson).';
comment on column definition.supervision_loosening.share_high is 'Upper end of the same interval.';
comment on column definition.supervision_loosening.share_before is
'The share in all quarters before; blank with no such operation.';
comment on column definition.supervision_loosening.earlier_people is
'Earlier trainees with enough operations in these quarters.';
comment on column definition.supervision_loosening.earlier_low is
'Three in four of them had this share or more.';
comment on column definition.supervision_loosening.earlier_median is 'Half of them had this share or more.';
comment on column definition.supervision_loosening.earlier_before is
'Their share in all quarters before, all operations together.';
comment on column definition.supervision_loosening.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
