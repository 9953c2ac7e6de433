-- Which requirements are parts of which, at any depth?
--
-- Rows:   one per requirement and each of its parts, parts of parts included
-- Reads:  requirement
-- Source: `part_of` of the specialty file, which is refused where it leads back to itself
create table main.requirement_part as
with recursive

lineage as (

    select part_of as requirement_ref, requirement_ref as part_ref
    from requirement
    where part_of is not null

    union all

    select requirement.part_of as requirement_ref, lineage.part_ref
    from lineage
    inner join requirement on lineage.requirement_ref = requirement.requirement_ref
    where requirement.part_of is not null

)

select requirement_ref, part_ref
from lineage;
