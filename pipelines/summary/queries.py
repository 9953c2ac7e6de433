"""The questions that a volume summary asks of a snapshot."""

from __future__ import annotations

VIEW = "volume_summary"
KEY = "programme_ref nulls first, cohort nulls first, trainee_ref nulls first, requirement_ref nulls first"
WHOLE = f"select * from {VIEW}"
# The same rows, counted over the cases operated through a month; whose these are is case_credit's to say.
THROUGH = """
with

counted as (

    select
        case_credit.trainee_ref,
        case_credit.requirement_ref,
        count(*) filter (case_credit.credited) as counted_cases,
        count(*) filter (case_credit.credited and case_record.supervisor_agreed) as confirmed_cases,
        count(*) filter (case_credit.reason = 'claimed_twice') as held_cases
    from case_credit
    inner join case_record
        on
            case_credit.trainee_ref = case_record.trainee_ref
            and case_credit.case_ref = case_record.case_ref
            and case_credit."procedure" = case_record."procedure"
            and case_credit.side is not distinct from case_record.side
    where case_record.operated_month <= $through
    group by case_credit.trainee_ref, case_credit.requirement_ref

)

select
    volume_summary.* replace (
        coalesce(counted.counted_cases, 0) as counted_cases,
        greatest(minimum - coalesce(counted.counted_cases, 0), 0) as remaining_cases,
        coalesce(counted.counted_cases, 0) >= minimum as met,
        coalesce(counted.confirmed_cases, 0) as confirmed_cases,
        coalesce(counted.held_cases, 0) as held_cases
    ),
    $through as counted_through
from volume_summary
left join counted using (trainee_ref, requirement_ref)
"""
PEOPLE = (
    "select trainee_ref, data_through, is_current from trainee where cohort = $cohort order by trainee_ref"
)
# Parts stand below the requirement that they are parts of, in the order of the specialty file. A requirement is
# reached when its own minimum is met and those of all its parts.
LINES = """
with recursive

in_force as (

    select distinct
        class_volume.requirement_ref,
        requirement.position,
        parent.requirement_ref as part_of
    from class_volume
    inner join requirement on class_volume.requirement_ref = requirement.requirement_ref
    left join class_volume as parent on requirement.part_of = parent.requirement_ref

),

placed as (

    select requirement_ref, 0 as depth, [position] as place
    from in_force
    where part_of is null

    union all

    select in_force.requirement_ref, placed.depth + 1, list_append(placed.place, in_force.position)
    from in_force
    inner join placed on in_force.part_of = placed.requirement_ref

),

lineage as (

    select part_of as requirement_ref, requirement_ref as part
    from in_force
    where part_of is not null

    union all

    select in_force.part_of, lineage.part
    from lineage
    inner join in_force on lineage.requirement_ref = in_force.requirement_ref
    where in_force.part_of is not null

),

parts as (

    select
        class_volume.trainee_ref,
        lineage.requirement_ref,
        count(*) as parts,
        count(*) filter (not class_volume.met) as parts_short
    from lineage
    inner join class_volume on lineage.part = class_volume.requirement_ref
    group by class_volume.trainee_ref, lineage.requirement_ref

)

select
    class_volume.trainee_ref,
    class_volume.requirement_ref,
    class_volume.requirement_title,
    placed.depth,
    class_volume.minimum,
    class_volume.counted_cases,
    class_volume.remaining_cases,
    class_volume.met and coalesce(parts.parts_short, 0) = 0 as reached,
    coalesce(parts.parts, 0) as parts,
    coalesce(parts.parts_short, 0) as parts_short,
    class_volume.confirmed_cases,
    class_volume.held_cases,
    class_volume.edition,
    class_volume.verified
from class_volume
inner join placed on class_volume.requirement_ref = placed.requirement_ref
left join parts
    on
        class_volume.trainee_ref = parts.trainee_ref
        and class_volume.requirement_ref = parts.requirement_ref
order by class_volume.trainee_ref, placed.place
"""
# Rules without a count (an audit, a sign-off) are in force too: the class must know of them.
RULES = """
with

roles as (

    select requirement_role.requirement_ref, string_agg(role.title, ' or ' order by role.position) as titles
    from requirement_role
    inner join role on requirement_role.role = role.role
    group by requirement_role.requirement_ref

)

select
    requirement.requirement_ref,
    requirement.title,
    requirement.minimum,
    roles.titles as roles,
    requirement.edition,
    requirement.source,
    requirement.verified,
    requirement.reviewed_on
from requirement
left join roles on requirement.requirement_ref = roles.requirement_ref
where
    exists (
        select 1
        from trainee
        where
            trainee.cohort = $cohort
            and (requirement.cohort_from is null or trainee.cohort_ends >= requirement.cohort_from)
            and (requirement.cohort_to is null or trainee.cohort_ends <= requirement.cohort_to)
    )
order by requirement.position
"""
INTAKES = """
select
    file_name,
    kind,
    "source",
    taken_on,
    rows_in_file,
    accepted_rows,
    left_out_rows,
    rows_in_file = accepted_rows + left_out_rows as balances,
    intake_id
from input.intake
where list_contains($intakes, intake_id)
order by kind, file_name, intake_id
"""
FINDINGS = """
select
    finding.rule,
    finding.severity,
    count(*) as findings,
    count(distinct (finding.intake_id, finding.file_name, finding.source_row)) as rows_concerned
from finding
left join trainee on finding.trainee_ref = trainee.trainee_ref
where
    list_contains($intakes, finding.intake_id)
    and (trainee.cohort = $cohort or trainee.trainee_ref is null)
group by finding.rule, finding.severity
order by finding.severity, finding.rule
"""
CHANGE = """
select
    class_volume.trainee_ref,
    class_volume.requirement_ref,
    earlier.counted_cases as counted_before,
    class_volume.counted_cases,
    class_volume.counted_cases - earlier.counted_cases as change
from class_volume
left join earlier using (trainee_ref, requirement_ref)
"""
GONE = """
select distinct trainee_ref
from earlier
where cohort = $cohort and trainee_ref not in (select trainee_ref from trainee where cohort = $cohort)
order by trainee_ref
"""
