"""The questions that a volume summary asks of a snapshot: each selects what sql/ has counted and decided."""

from __future__ import annotations

WHOLE = "select * from volume_summary"
# The same rows as they stood at the end of a month.
THROUGH = """
select
    volume_summary.* replace (
        by_then.counted_cases as counted_cases,
        by_then.remaining_cases as remaining_cases,
        by_then.met as met,
        by_then.confirmed_cases as confirmed_cases,
        by_then.held_cases as held_cases,
        by_then.parts_short as parts_short,
        by_then.reached as reached,
        by_then.reached_by as reached_by
    ),
    $through as counted_through
from volume_summary
inner join (
    select *
    from volume_by_month
    where through_month is null or through_month <= $through
    qualify row_number() over (
        partition by trainee_ref, requirement_ref
        order by through_month desc nulls last
    ) = 1
) as by_then using (programme_ref, cohort, trainee_ref, requirement_ref)
"""
# Of every class: somebody may have changed the class since.
EARLIER = """
select cohort, trainee_ref, requirement_ref, counted_cases
from ({volume})
where programme_ref = $programme_ref
"""
VOLUME = """
select
    volume.*,
    requirement.reviewed_on,
    instead.title as reached_by_title
from ({volume}) as volume
inner join requirement using (requirement_ref)
left join requirement as instead on volume.reached_by = instead.requirement_ref
where programme_ref = $programme_ref and cohort = $cohort
order by trainee_ref, requirement.position
"""
# The last row at the end of a month, or of all.
CLASS_LINES = """
select class_volume.*
from class_volume
inner join requirement using (requirement_ref)
where programme_ref = $programme_ref and cohort = $cohort and coalesce(through_month <= $through, true)
qualify row_number() over (partition by requirement_ref order by through_month desc nulls last) = 1
order by position
"""
BY_ROLE = """
select trainee_ref, requirement_ref, role.title as role, logged_cases, counted_cases, confirmed_cases
from volume_by_role
inner join role using (role)
inner join requirement using (requirement_ref)
where programme_ref = $programme_ref and cohort = $cohort and coalesce(through_month <= $through, true)
qualify row_number() over (
    partition by trainee_ref, requirement_ref, role.role
    order by through_month desc nulls last
) = 1
order by requirement.position, trainee_ref, role.position
"""
TALLY = """
select official_tally.*
from official_tally
inner join requirement using (requirement_ref)
where programme_ref = $programme_ref and cohort = $cohort
order by trainee_ref, position
"""
NOT_FINAL = """
select trainee_ref, obstacle, cases, data_through
from not_final
where programme_ref = $programme_ref and cohort = $cohort
order by trainee_ref
"""
COHORTS = "select distinct cohort from trainee where programme_ref = $programme_ref order by cohort"
PEOPLE = """
select trainee_ref, data_through, is_current, completed, "left"
from trainee
where programme_ref = $programme_ref and cohort = $cohort
order by trainee_ref
"""
# Rules without a count (an audit, a sign-off) are in force too: the class must know of them.
RULES = """
select
    requirement_ref,
    title,
    minimum,
    (
        select string_agg(role.title, ' or ' order by role.position)
        from requirement_role
        inner join role using (role)
        where requirement_role.requirement_ref = requirement.requirement_ref
    ) as roles,
    edition,
    source,
    verified,
    reviewed_on,
    is_local,
    local_source,
    published_minimum
from requirement
where coalesce(cohort_from <= $ends, true) and coalesce(cohort_to >= $ends, true)
order by position
"""
# Files that are live for somebody of the class; one may hold other classes too.
INTAKES = """
select distinct
    intake_id,
    file_name,
    kind,
    source,
    taken_on,
    rows_in_file,
    accepted_rows,
    left_out_rows,
    if(rows_in_file = accepted_rows + left_out_rows, 'yes', 'no') as balances
from input.intake
inner join input.intake_trainee using (intake_id, kind)
inner join trainee using (trainee_ref)
where programme_ref = $programme_ref and cohort = $cohort
order by kind, file_name, intake_id
"""
FINDINGS = """
select rule, severity, findings, rows_concerned
from class_finding
where programme_ref = $programme_ref and cohort = $cohort
order by severity, rule
"""
LIVE_INTAKES = (
    "select distinct intake_id from live_intake where programme_ref = $programme_ref order by intake_id"
)
# A title changed since then is not this snapshot's; one of another programme is not known.
HEADING = """
select
    if(programme.programme_ref = $programme_ref, programme.title, $programme_ref) as programme,
    settings.body as settings,
    specialty."name" as specialty_file,
    specialty.body as specialty
from input.programme as programme
inner join input.document as settings on settings."name" = 'programme.yaml'
inner join input.document as specialty on specialty."name" <> 'programme.yaml'
"""
