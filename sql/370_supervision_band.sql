-- How closely was each trainee supervised while operating, in the short words of the charts?
--
-- Rows:   one per trainee, procedure group (and `all` of them), training quarter and band with a case
-- Reads:  supervision_mix, supervision_level
-- Source: the ladder of the specialty file; `band` is its short form, and may join neighbouring levels
create view definition.supervision_band as
with

grouped as (

    select
        programme_ref,
        cohort,
        trainee_ref,
        procedure_group,
        training_quarter,
        level_ref,
        cases,
        data_through
    from main.supervision_mix
    where level_ref is not null
    union all
    select
        programme_ref,
        cohort,
        trainee_ref,
        'all' as procedure_group,
        training_quarter,
        level_ref,
        cases,
        data_through
    from main.supervision_mix
    where level_ref is not null

),

band_place as (

    select band, min(level_rank) as band_order
    from supervision_level
    group by band

),

counted as (

    select
        grouped.programme_ref,
        grouped.cohort,
        grouped.trainee_ref,
        grouped.procedure_group,
        grouped.training_quarter,
        supervision_level.band,
        grouped.data_through,
        cast(sum(grouped.cases) as bigint) as cases
    from grouped
    inner join supervision_level on grouped.level_ref = supervision_level.level_ref
    group by
        grouped.programme_ref,
        grouped.cohort,
        grouped.trainee_ref,
        grouped.procedure_group,
        grouped.training_quarter,
        supervision_level.band,
        grouped.data_through

),

shared as (

    select
        *,
        cast(
            sum(cases) over (partition by trainee_ref, procedure_group, training_quarter) as bigint
        ) as known_cases
    from counted

)

select
    shared.programme_ref,
    shared.cohort,
    shared.trainee_ref,
    shared.procedure_group,
    shared.training_quarter,
    shared.band,
    band_place.band_order,
    shared.cases,
    shared.known_cases,
    cast(shared.cases as double) / shared.known_cases as share,
    shared.data_through
from shared
inner join band_place on shared.band = band_place.band;

comment on view definition.supervision_band is
'In how many of the cases in which they operated was each trainee supervised how closely, in the short words of the charts? Only cases with a recorded level. It tells what happened, not what a trainee may do next; how many cases have no recorded level stands in supervision_mix.';
comment on column definition.supervision_band.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.supervision_band.cohort is
'The class: the academic year in which its trainees are to complete.';
comment on column definition.supervision_band.trainee_ref is 'The trainee, as a pseudonym.';
comment on column definition.supervision_band.procedure_group is
'The group of the procedures; all stands for every group together.';
comment on column definition.supervision_band.training_quarter is
'Three months of training on the clock of active_month, counted from 1: leave stops it, part-time slows it.';
comment on column definition.supervision_band.band is 'The level of supervision in short words.';
comment on column definition.supervision_band.band_order is
'The place of the lowest level of the band in the ladder, 1 = lowest.';
comment on column definition.supervision_band.cases is 'Cases in an operating role in that band.';
comment on column definition.supervision_band.known_cases is
'Cases in an operating role in that group and quarter with a level that agrees with the role.';
comment on column definition.supervision_band.share is 'Cases by known cases.';
comment on column definition.supervision_band.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
