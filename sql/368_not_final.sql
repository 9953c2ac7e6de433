-- What keeps the counts of a class from being final?
--
-- Rows:   one per trainee and obstacle; none for a class whose counts can be final
-- Reads:  trainee, requirement, case_credit, case_volume
-- Source: final are counts where nobody is out of date, no role is in dispute, and nothing is held
create view definition.not_final as
with

disputed as (

    -- A case may be listed by several requirements; it is one case all the same.
    select distinct
        case_credit.trainee_ref,
        case_credit.case_ref,
        case_credit."procedure",
        coalesce(case_credit.side, '') as side,
        case_credit.reason
    from main.case_credit
    inner join requirement
        on case_credit.requirement_ref = requirement.requirement_ref and requirement.minimum is not null
    where case_credit.reason in ('supervisor_disagreed', 'takeover_to_confirm')

),

obstacle as (

    select
        trainee_ref,
        case when data_through is null then 'no_data' else 'not_current' end as obstacle,
        cast(null as bigint) as cases
    from trainee
    where not is_current

    union all

    select trainee_ref, reason as obstacle, count(*) as cases
    from disputed
    group by trainee_ref, reason

    union all

    select trainee_ref, 'held' as obstacle, cast(max(held_cases) as bigint) as cases
    from main.case_volume
    where held_cases > 0
    group by trainee_ref

)

select
    trainee.programme_ref,
    trainee.cohort,
    trainee.trainee_ref,
    obstacle.obstacle,
    obstacle.cases,
    trainee.data_through
from obstacle
inner join trainee on obstacle.trainee_ref = trainee.trainee_ref;

comment on view definition.not_final is
'What keeps the counts of a class from being final? One row for each trainee and obstacle: no data, data that are not current, a role that the supervisor refused, a takeover that waits for the supervisor''s word, cases held. Without a row the counts of the class can be final.';
comment on column definition.not_final.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.not_final.cohort is
'The class: the academic year in which its trainees are to complete.';
comment on column definition.not_final.trainee_ref is 'The trainee, as a pseudonym.';
comment on column definition.not_final.obstacle is
'no_data, not_current (the data end too long before the day of the snapshot), supervisor_disagreed, takeover_to_confirm (reasons of case_credit), held.';
comment on column definition.not_final.cases is
'How many cases of the trainee: each once, however many requirements list it; for held the most that one requirement has. Blank where the obstacle is of no case.';
comment on column definition.not_final.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
