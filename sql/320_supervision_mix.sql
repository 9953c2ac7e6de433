-- How closely was each trainee supervised while operating, quarter by quarter of their training?
--
-- Rows:   one per trainee, procedure group, training quarter and supervision level with a case; a blank level
--         holds the cases in which it was not recorded
-- Reads:  supervised_case, trainee, supervision_level
-- Source: the ladder of the specialty file; it is ordinal, so shares are given and never a mean
create view definition.supervision_mix as
with

counted as (

    select
        trainee_ref,
        procedure_group,
        training_quarter,
        level_ref,
        count(*) as cases
    from supervised_case
    group by trainee_ref, procedure_group, training_quarter, level_ref

),

shared as (

    select
        *,
        cast(
            coalesce(
                sum(case when level_ref is not null then cases end)
                    over (partition by trainee_ref, procedure_group, training_quarter),
                0
            ) as bigint
        ) as known_cases
    from counted

)

select
    trainee.programme_ref,
    trainee.cohort,
    trainee.trainee_ref,
    shared.procedure_group,
    shared.training_quarter,
    shared.level_ref,
    supervision_level.level_rank,
    shared.cases,
    shared.known_cases,
    case when shared.level_ref is not null then cast(shared.cases as double) / shared.known_cases end as share,
    trainee.data_through
from shared
inner join trainee on shared.trainee_ref = trainee.trainee_ref
left join supervision_level on shared.level_ref = supervision_level.level_ref;

comment on view definition.supervision_mix is
'How closely was each trainee supervised while operating, quarter by quarter of their training? One row for every level with a case in an operating role. It tells what happened, not what a trainee may do next. Cases performed elsewhere, those without a patient (simulated), and procedures that the specialty does not know, are left out.';
comment on column definition.supervision_mix.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.supervision_mix.cohort is
'The class: the academic year in which its trainees are to complete.';
comment on column definition.supervision_mix.trainee_ref is 'The trainee, as a pseudonym.';
comment on column definition.supervision_mix.procedure_group is 'The group of the procedures.';
comment on column definition.supervision_mix.training_quarter is
'Three months of training on the clock of active_month, counted from 1: leave stops it, part-time slows it.';
comment on column definition.supervision_mix.level_ref is
'The supervision level; blank for the cases in which it was not recorded, or contradicts the role.';
comment on column definition.supervision_mix.level_rank is
'The place of the level in the ladder, 1 = lowest; blank where the level is.';
comment on column definition.supervision_mix.cases is 'Cases in an operating role at that level.';
comment on column definition.supervision_mix.known_cases is
'Cases in an operating role in that group and quarter with a level that agrees with the role.';
comment on column definition.supervision_mix.share is
'Cases by known cases; blank for the cases without a level.';
comment on column definition.supervision_mix.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
