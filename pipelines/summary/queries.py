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
COUNTED = """
select cohort, trainee_ref, requirement_ref, counted_cases
from ({volume})
where programme_ref = $programme_ref
"""
VOLUME = """
select volume.*, requirement.reviewed_on
from ({volume}) as volume
inner join requirement using (requirement_ref)
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
UNCOUNTED = """
select rule_without_count.*
from rule_without_count
inner join requirement using (requirement_ref)
where programme_ref = $programme_ref and cohort = $cohort
order by trainee_ref, position
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
REFS = "select trainee_ref from trainee where programme_ref = $programme_ref and cohort = $cohort"
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
# Of the people of the class, and of nobody in files that are in use for somebody of it.
ACCOUNTS = """
select account.*
from reconciliation as account
where
    account.programme_ref = $programme_ref
    and (
        account.cohort = $cohort
        or account.cohort is null
        and account.intake_id in (
            select intake_id
            from input.intake_trainee
            inner join trainee using (trainee_ref)
            where programme_ref = $programme_ref and cohort = $cohort
        )
    )
order by account.kind, account.trainee_ref, account.file_name, account.intake_id
"""
QUALITY = """
select trainee_ref, measure, within_days, numerator, denominator
from log_quality
where programme_ref = $programme_ref and cohort = $cohort
order by trainee_ref, "position"
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
# Every case and counted requirement that lists it, also of people who have changed their class.
CREDITS = """
select
    credit.trainee_ref,
    credit.requirement_ref,
    credit.case_ref,
    credit."procedure",
    coalesce(credit.side, '') as side,
    credit.credited,
    credit.reason
from case_credit as credit
inner join requirement
    on credit.requirement_ref = requirement.requirement_ref and requirement.minimum is not null
inner join case_record as operated
    on
        credit.trainee_ref = operated.trainee_ref
        and credit.case_ref = operated.case_ref
        and credit."procedure" = operated."procedure"
        and credit.side is not distinct from operated.side
where credit.programme_ref = $programme_ref and coalesce(operated.operated_month <= $through, true)
"""
CHANGES = """
select now.trainee_ref, now.requirement_ref, now.counted_cases - before.counted_cases as change
from now
left join before using (trainee_ref, requirement_ref)
"""
# Cases gained, and lost, by what became of them: a case, its procedure or side, the rule, or the reason is another.
WHY = """
with one_way as (
    select 1 as sign, * from now
    union all
    select -1 as sign, * from before
),
other_way as (
    select 1 as sign, * from before
    union all
    select -1 as sign, * from now
)
select
    one.trainee_ref,
    one.requirement_ref,
    cast(sum(one.sign) as bigint) as cases,
    case
        when other.case_ref is not null then 'reason'
        when exists (
            select 1 from other_way as same
            where
                same.sign = one.sign and same.trainee_ref = one.trainee_ref and same.case_ref = one.case_ref
                and same."procedure" = one."procedure" and same.side = one.side
        ) then 'rule'
        when exists (
            select 1 from other_way as same
            where same.sign = one.sign and same.trainee_ref = one.trainee_ref and same.case_ref = one.case_ref
        ) then 'key'
        else 'case'
    end as kind,
    other.reason
from one_way as one
left join other_way as other
    on
        other.sign = one.sign
        and other.trainee_ref = one.trainee_ref
        and other.requirement_ref = one.requirement_ref
        and other.case_ref = one.case_ref
        and other."procedure" = one."procedure"
        and other.side = one.side
where one.credited and not coalesce(other.credited, false)
group by one.sign, one.trainee_ref, one.requirement_ref, kind, other.reason
order by one.trainee_ref, one.requirement_ref, cases desc, kind, other.reason
"""
# A row for each file of cases or confirmations, with the fields that it changed in rows that were there before.
EXPORTS = """
with changed as (
    select trainee_ref, snapshot, intake_id, field, count(*) as rows_changed
    from history
    where kind in ('cases', 'confirmations') and change = 'changed'
    group by trainee_ref, snapshot, intake_id, field
),
fields as (
    select
        trainee_ref, snapshot, intake_id,
        string_agg(field || ' (' || rows_changed || ')', ', ' order by field) as fields
    from changed
    group by trainee_ref, snapshot, intake_id
)
select history.trainee_ref, history.taken_on, history.file_name, history.change as rows, fields.fields
from history
left join fields using (trainee_ref, snapshot, intake_id)
where history.kind in ('cases', 'confirmations') and history.field = 'live rows'
order by history.trainee_ref, cast(history.snapshot as integer), history.file_name
"""
