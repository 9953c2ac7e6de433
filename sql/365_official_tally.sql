-- How far is each count from the accreditor's own, and what could explain it?
--
-- Rows:   one per trainee and counted requirement in force for their class of which the accreditor's tally came in
-- Reads:  input.official_counts, case_volume, case_credit, credited_month, trainee
-- Source: the file of official counts; the accreditor's tally is what is judged
create view definition.official_tally as
with

official as (

    select trainee_ref, requirement_ref, "count" as official_count, as_of, substr(as_of, 1, 7) as as_of_month
    from input.official_counts

),

later as (

    -- Only the month of an operation is kept: of the month of the tally some may be before its day, some after.
    select
        official.trainee_ref,
        official.requirement_ref,
        sum(month.counted_cases) filter (where month.operated_month > official.as_of_month) as later_cases,
        sum(month.counted_cases) filter (where month.operated_month = official.as_of_month) as same_month_cases
    from official
    inner join main.credited_month as month
        on official.trainee_ref = month.trainee_ref and official.requirement_ref = month.requirement_ref
    group by official.trainee_ref, official.requirement_ref

),

refused as (

    select
        trainee_ref,
        requirement_ref,
        count(*) filter (where over_cap is null and reason = 'role') as other_role_cases,
        count(*) filter (where over_cap is null and reason = 'performed_elsewhere') as elsewhere_cases,
        count(*) filter (where over_cap is null and reason not in ('role', 'performed_elsewhere'))
            as otherwise_not_counted_cases,
        count(over_cap) as capped_cases
    from main.case_credit
    where not credited and requirement_ref is not null
    group by trainee_ref, requirement_ref

),

unmapped as (

    select trainee_ref, count(*) as unmapped_cases
    from main.case_credit
    where reason = 'unmapped_code'
    group by trainee_ref

)

select
    volume.programme_ref,
    volume.cohort,
    volume.trainee_ref,
    volume.requirement_ref,
    volume.requirement_title,
    volume.minimum,
    official.official_count,
    official.as_of as official_as_of,
    official.official_count >= volume.minimum as official_met,
    volume.counted_cases,
    volume.counted_cases - official.official_count as difference,
    cast(coalesce(later.later_cases, 0) as bigint) as later_cases,
    cast(coalesce(later.same_month_cases, 0) as bigint) as same_month_cases,
    volume.counted_cases - volume.confirmed_cases as unconfirmed_cases,
    coalesce(refused.other_role_cases, 0) as other_role_cases,
    coalesce(refused.elsewhere_cases, 0) as elsewhere_cases,
    coalesce(refused.otherwise_not_counted_cases, 0) as otherwise_not_counted_cases,
    coalesce(unmapped.unmapped_cases, 0) as unmapped_cases,
    coalesce(refused.capped_cases, 0) as capped_cases,
    volume.data_through
from main.case_volume as volume
inner join official
    on volume.trainee_ref = official.trainee_ref and volume.requirement_ref = official.requirement_ref
left join later on volume.trainee_ref = later.trainee_ref and volume.requirement_ref = later.requirement_ref
left join refused on volume.trainee_ref = refused.trainee_ref and volume.requirement_ref = refused.requirement_ref
left join unmapped on volume.trainee_ref = unmapped.trainee_ref;

comment on view definition.official_tally is
'How far is each count from the accreditor''s own, and what could explain it? One row for every trainee and counted requirement of which the accreditor''s tally came in. The accreditor''s tally is what is judged. The explanations are counts of cases that could make a difference; a case may stand in several, and they need not add up to it.';
comment on column definition.official_tally.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.official_tally.cohort is
'The class: the academic year in which its trainees are to complete.';
comment on column definition.official_tally.trainee_ref is 'The trainee, as a pseudonym.';
comment on column definition.official_tally.requirement_ref is 'The requirement, by its code in the specialty file.';
comment on column definition.official_tally.requirement_title is 'The requirement in words.';
comment on column definition.official_tally.minimum is 'How many cases the requirement asks for.';
comment on column definition.official_tally.official_count is 'How many the accreditor counts.';
comment on column definition.official_tally.official_as_of is 'The day of the accreditor''s tally.';
comment on column definition.official_tally.official_met is 'Has the accreditor''s count reached the minimum?';
comment on column definition.official_tally.counted_cases is 'How many count here, as in case_volume.';
comment on column definition.official_tally.difference is
'Counted here less the accreditor''s count: above 0 where the accreditor counts fewer.';
comment on column definition.official_tally.later_cases is
'Of those counted here, how many were operated in a month after that of the tally.';
comment on column definition.official_tally.same_month_cases is
'Of those counted here, how many were operated in the month of the tally: before its day or after.';
comment on column definition.official_tally.unconfirmed_cases is
'Of those counted here, how many no supervisor has confirmed.';
comment on column definition.official_tally.other_role_cases is
'Cases of the requirement that are not counted here because of their role.';
comment on column definition.official_tally.elsewhere_cases is
'Cases of the requirement that are not counted here because they were performed elsewhere.';
comment on column definition.official_tally.otherwise_not_counted_cases is
'Cases of the requirement that are not counted here for any other reason; case_credit names it.';
comment on column definition.official_tally.unmapped_cases is
'Cases of the trainee whose procedure has no code yet: they count toward nothing here.';
comment on column definition.official_tally.capped_cases is
'Cases not counted here since the requirement has as many of their kind as it takes.';
comment on column definition.official_tally.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
