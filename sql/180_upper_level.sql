-- From which level of the ladder on does who operates count as closely trusted, when trainees are compared?
--
-- Rows:   one, or none where the specialty has no ladder
-- Reads:  supervision_level, supervision_role, role
-- Source: our own choice, without a code's name: the second highest of the levels that agree with an operating
--         role (the only one, where there is one)
create table main.upper_level as
with

of_operating_role as (

    -- A level that names no role agrees with any.
    select
        level_rank,
        row_number() over (order by level_rank desc) as place
    from supervision_level
    where
        level_ref not in (select level_ref from supervision_role)
        or level_ref in (
            select supervision_role.level_ref
            from supervision_role
            inner join role on supervision_role.role = role.role
            where role.operating
        )

)

select min(level_rank) as level_rank
from of_operating_role
where place <= 2
having count(*) > 0;
