-- Which requirements are parts of which, at any depth?
--
-- Rows:   one per requirement and each of its parts, parts of parts included
-- Reads:  requirement, requirement_whole
-- Source: `part_of` of the specialty file, which is refused where it leads back to itself. A part of several wholes is
--         listed below the first
create table main.requirement_part as
with recursive

step_up as (

    select
        requirement_whole.requirement_ref,
        requirement_whole.whole_ref,
        case when requirement_whole.whole_ref = requirement.part_of then 1 else 0 end as is_first
    from requirement_whole
    inner join requirement on requirement_whole.requirement_ref = requirement.requirement_ref

),

lineage as (

    select whole_ref as requirement_ref, requirement_ref as part_ref, is_first as is_listed
    from step_up

    union all

    select
        step_up.whole_ref as requirement_ref,
        lineage.part_ref,
        lineage.is_listed * step_up.is_first as is_listed
    from lineage
    inner join step_up on lineage.requirement_ref = step_up.requirement_ref

)

select requirement_ref, part_ref, max(is_listed) = 1 as is_listed
from lineage
group by requirement_ref, part_ref;
