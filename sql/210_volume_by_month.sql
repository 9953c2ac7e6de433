-- What had each trainee counted toward each requirement by the end of each month, and was it reached?
--
-- Rows:   one per trainee, counted requirement in force for their class, and month in which a case of the trainee
--         counts toward any of these; and one with a blank month, from before the first of them
-- Reads:  trainee, requirement, requirement_part, requirement_window, credited_month
-- Source: minimums, parts and rules that stand in for one another come from the specialty file
create view definition.volume_by_month as
with

expected as (

    select
        trainee.programme_ref,
        trainee.cohort,
        trainee.trainee_ref,
        requirement.requirement_ref,
        requirement.minimum,
        requirement.either_or,
        trainee.data_through
    from trainee
    inner join requirement_window
        on trainee.trainee_ref = requirement_window.trainee_ref and requirement_window.is_in_force
    inner join requirement
        on requirement_window.requirement_ref = requirement.requirement_ref and requirement.minimum is not null

),

calendar as (

    -- The same months for every requirement of a trainee: a whole and its parts are compared at one time.
    select distinct trainee_ref, operated_month
    from main.credited_month
    union all
    select trainee_ref, cast(null as varchar) as operated_month
    from trainee

),

summed as (

    select
        expected.*,
        calendar.operated_month as through_month,
        coalesce(sum(credited_month.counted_cases) over so_far, 0) as counted_cases,
        coalesce(sum(credited_month.confirmed_cases) over so_far, 0) as confirmed_cases
    from expected
    inner join calendar on expected.trainee_ref = calendar.trainee_ref
    left join main.credited_month
        on
            expected.trainee_ref = credited_month.trainee_ref
            and expected.requirement_ref = credited_month.requirement_ref
            and calendar.operated_month = credited_month.operated_month
    window so_far as (
        partition by expected.trainee_ref, expected.requirement_ref
        order by calendar.operated_month nulls first
        rows between unbounded preceding and current row
    )

),

compared as (

    -- A blank month as a key that equals itself.
    select *, counted_cases >= minimum as met, coalesce(through_month, '') as month_key
    from summed

),

by_itself as (

    -- Which rules that may stand in for another are met, each of their parts included?
    select
        compared.trainee_ref,
        compared.requirement_ref,
        compared.either_or,
        compared.month_key
    from compared
    left join requirement_part on compared.requirement_ref = requirement_part.requirement_ref
    left join compared as own_part
        on
            requirement_part.part_ref = own_part.requirement_ref
            and compared.trainee_ref = own_part.trainee_ref
            and compared.month_key = own_part.month_key
    where compared.either_or is not null and compared.met
    group by compared.trainee_ref, compared.requirement_ref, compared.either_or, compared.month_key
    having count(*) filter (where not own_part.met) = 0

),

stand_in as (

    select
        compared.trainee_ref,
        compared.requirement_ref,
        compared.month_key,
        min(by_itself.requirement_ref) as reached_by
    from compared
    inner join by_itself
        on
            compared.trainee_ref = by_itself.trainee_ref
            and compared.either_or = by_itself.either_or
            and compared.month_key = by_itself.month_key
            and compared.requirement_ref <> by_itself.requirement_ref
    group by compared.trainee_ref, compared.requirement_ref, compared.month_key

),

part as (

    select
        compared.trainee_ref,
        requirement_part.requirement_ref,
        compared.month_key,
        count(*) as parts_total,
        count(*) filter (where not compared.met and stand_in.reached_by is null) as parts_short
    from compared
    inner join requirement_part on compared.requirement_ref = requirement_part.part_ref
    left join stand_in
        on
            compared.trainee_ref = stand_in.trainee_ref
            and compared.requirement_ref = stand_in.requirement_ref
            and compared.month_key = stand_in.month_key
    group by compared.trainee_ref, requirement_part.requirement_ref, compared.month_key

),

asked as (

    select
        compared.*,
        stand_in.reached_by,
        coalesce(part.parts_total, 0) as parts_total,
        coalesce(part.parts_short, 0) as parts_short,
        compared.met and coalesce(part.parts_short, 0) = 0 as by_own_cases
    from compared
    left join part
        on
            compared.trainee_ref = part.trainee_ref
            and compared.requirement_ref = part.requirement_ref
            and compared.month_key = part.month_key
    left join stand_in
        on
            compared.trainee_ref = stand_in.trainee_ref
            and compared.requirement_ref = stand_in.requirement_ref
            and compared.month_key = stand_in.month_key

)

select
    programme_ref,
    cohort,
    trainee_ref,
    requirement_ref,
    through_month,
    cast(minimum as bigint) as minimum,
    cast(counted_cases as bigint) as counted_cases,
    cast(greatest(minimum - counted_cases, 0) as bigint) as remaining_cases,
    met,
    cast(confirmed_cases as bigint) as confirmed_cases,
    -- Nothing is held until double claims are judged.
    cast(0 as bigint) as held_cases,
    parts_total,
    parts_short,
    by_own_cases or reached_by is not null as reached,
    case when not by_own_cases then reached_by end as reached_by,
    data_through
from asked;

comment on view definition.volume_by_month is
'What had each trainee counted toward each requirement by the end of each month, and was it reached? A row for each month in which anything counts for the trainee, and one with a blank month, from before that; in between nothing changes. The last of them is case_volume.';
comment on column definition.volume_by_month.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.volume_by_month.cohort is
'The class: the academic year in which its trainees are to complete.';
comment on column definition.volume_by_month.trainee_ref is 'The trainee, as a pseudonym.';
comment on column definition.volume_by_month.requirement_ref is
'The requirement, by its code in the specialty file.';
comment on column definition.volume_by_month.through_month is
'Cases operated through the end of this month are counted; blank: before any of them.';
comment on column definition.volume_by_month.minimum is 'How many cases the requirement asks for.';
comment on column definition.volume_by_month.counted_cases is
'Cases credited toward the requirement: the rows of case_credit that say credited.';
comment on column definition.volume_by_month.remaining_cases is
'Minimum less counted cases, and 0 once the minimum is met.';
comment on column definition.volume_by_month.met is
'Whether the counted cases reach the requirement''s own minimum, whatever its parts.';
comment on column definition.volume_by_month.confirmed_cases is
'Counted cases in which the supervisor confirmed the role.';
comment on column definition.volume_by_month.held_cases is
'Cases held back until a double claim is decided; 0 in this version, which does not judge double claims.';
comment on column definition.volume_by_month.parts_total is
'Requirements in force for the class that are parts of this one, parts of parts included.';
comment on column definition.volume_by_month.parts_short is
'Parts among them whose own minimum is not met, and for which no other rule stands in.';
comment on column definition.volume_by_month.reached is
'Whether its own minimum is met and no part, nor part of a part, is short; or a rule that stands in for it is there.';
comment on column definition.volume_by_month.reached_by is
'The rule that stands in for it, where its own cases do not reach it; blank otherwise.';
comment on column definition.volume_by_month.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
