-- How far is each trainee with the requirements that ask for no number of cases?
--
-- Rows:   one per trainee and requirement without a minimum that is in force for their class
-- Reads:  trainee, trainee_clock, trainee_month, requirement, requirement_window, requirement_procedure, judged_case,
--         case_record, review_step
-- Source: the specialty file. Consecutive: without a case between of which nothing is recorded of what happened, all
--         of them operated within so many years. Assessments: reviews by others, in each whole period of training
create view definition.rule_without_count as
with

asked as (

    select
        trainee.programme_ref,
        trainee.cohort,
        trainee.trainee_ref,
        requirement.requirement_ref,
        requirement.title as requirement_title,
        requirement.kind,
        requirement.consecutive_cases,
        requirement.within_years,
        requirement.assessments,
        requirement.each_months,
        case
            when requirement.assessments is not null
                then cast(floor(coalesce(trainee_clock.active_month, 0) / requirement.each_months) as bigint)
        end as periods,
        requirement.edition,
        trainee.data_through
    from trainee
    inner join requirement_window
        on trainee.trainee_ref = requirement_window.trainee_ref and requirement_window.is_in_force
    inner join requirement
        on requirement_window.requirement_ref = requirement.requirement_ref and requirement.minimum is null
    inner join trainee_clock on trainee.trainee_ref = trainee_clock.trainee_ref

),

credited as (

    select
        judged_case.trainee_ref,
        judged_case.requirement_ref,
        case_record.case_ref,
        case_record.case_sequence,
        month_number(case_record.operated_month) as month_count,
        case when case_record.complications is null then 0 else 1 end as is_recorded
    from judged_case
    inner join asked
        on
            judged_case.trainee_ref = asked.trainee_ref
            and judged_case.requirement_ref = asked.requirement_ref
    inner join case_record
        on
            judged_case.trainee_ref = case_record.trainee_ref
            and judged_case.case_sequence = case_record.case_sequence
    where judged_case.credited

),

placed as (

    -- Cases in a row have the same distance between the two places.
    select
        *,
        row_number() over (partition by trainee_ref, requirement_ref order by case_sequence) as place,
        row_number() over (partition by trainee_ref, requirement_ref order by case_sequence)
        - row_number() over (partition by trainee_ref, requirement_ref, is_recorded order by case_sequence)
            as unbroken_run
    from credited

),

run_so_far as (

    select
        later.trainee_ref,
        later.requirement_ref,
        later.place,
        count(*) as in_a_row
    from placed as later
    inner join asked
        on
            later.trainee_ref = asked.trainee_ref
            and later.requirement_ref = asked.requirement_ref
            and asked.consecutive_cases is not null
    inner join placed as earlier
        on
            later.trainee_ref = earlier.trainee_ref
            and later.requirement_ref = earlier.requirement_ref
            and later.unbroken_run = earlier.unbroken_run
            and later.place >= earlier.place
            and later.month_count - earlier.month_count < 12 * asked.within_years
    where later.is_recorded = 1 and earlier.is_recorded = 1
    group by later.trainee_ref, later.requirement_ref, later.place

),

longest_run as (

    select trainee_ref, requirement_ref, max(in_a_row) as found
    from run_so_far
    group by trainee_ref, requirement_ref

),

assessed as (

    -- A rule that names procedures asks for assessments of operations that it counts.
    select distinct
        asked.trainee_ref,
        asked.requirement_ref,
        review_step.review_ref,
        cast(greatest(1, -floor(-trainee_month.active_month / asked.each_months)) as bigint) as period_number
    from asked
    inner join review_step on asked.trainee_ref = review_step.trainee_ref
    inner join case_record
        on
            review_step.trainee_ref = case_record.trainee_ref
            and review_step.case_sequence = case_record.case_sequence
    inner join trainee_month
        on
            case_record.trainee_ref = trainee_month.trainee_ref
            and case_record.operated_month = trainee_month.operated_month
    left join credited
        on
            asked.trainee_ref = credited.trainee_ref
            and asked.requirement_ref = credited.requirement_ref
            and review_step.case_ref = credited.case_ref
    where
        asked.assessments is not null
        and (
            credited.case_ref is not null
            or asked.requirement_ref not in (select requirement_ref from requirement_procedure)
        )

),

assessed_in_period as (

    select trainee_ref, requirement_ref, period_number, count(*) as found
    from assessed
    group by trainee_ref, requirement_ref, period_number

),

assessed_in_all as (

    select trainee_ref, requirement_ref, sum(found) as found
    from assessed_in_period
    group by trainee_ref, requirement_ref

),

whole_period as (

    select
        asked.trainee_ref,
        asked.requirement_ref,
        count(*) filter (where coalesce(assessed_in_period.found, 0) < asked.assessments) as periods_short
    from asked
    cross join unnest(numbers_to(asked.periods)) as part (period_number)
    left join assessed_in_period
        on
            asked.trainee_ref = assessed_in_period.trainee_ref
            and asked.requirement_ref = assessed_in_period.requirement_ref
            and part.period_number = assessed_in_period.period_number
    group by asked.trainee_ref, asked.requirement_ref

)

select
    asked.programme_ref,
    asked.cohort,
    asked.trainee_ref,
    asked.requirement_ref,
    asked.requirement_title,
    asked.kind,
    cast(coalesce(asked.consecutive_cases, asked.assessments) as bigint) as asked_for,
    case
        when asked.kind <> 'sign_off'
            then cast(coalesce(longest_run.found, assessed_in_all.found, 0) as bigint)
    end as found,
    asked.periods,
    case when asked.periods is not null then coalesce(whole_period.periods_short, 0) end as periods_short,
    case
        when asked.kind = 'consecutive' then coalesce(longest_run.found, 0) >= asked.consecutive_cases
        when asked.periods > 0 then whole_period.periods_short = 0
    end as met,
    asked.edition,
    asked.data_through
from asked
left join longest_run
    on asked.trainee_ref = longest_run.trainee_ref and asked.requirement_ref = longest_run.requirement_ref
left join assessed_in_all
    on asked.trainee_ref = assessed_in_all.trainee_ref and asked.requirement_ref = assessed_in_all.requirement_ref
left join whole_period
    on asked.trainee_ref = whole_period.trainee_ref and asked.requirement_ref = whole_period.requirement_ref;

comment on view definition.rule_without_count is
'How far is each trainee with the requirements that ask for no number of cases? One row for every trainee and such requirement in force for their class. A sign-off is recorded by people, not in the log.';
comment on column definition.rule_without_count.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.rule_without_count.cohort is
'The class: the academic year in which its trainees are to complete.';
comment on column definition.rule_without_count.trainee_ref is 'The trainee, as a pseudonym.';
comment on column definition.rule_without_count.requirement_ref is
'The requirement, by its code in the specialty file.';
comment on column definition.rule_without_count.requirement_title is 'The requirement in words.';
comment on column definition.rule_without_count.kind is
'consecutive (an audit of cases in a row), assessments (so many a period) or sign_off.';
comment on column definition.rule_without_count.asked_for is
'How many consecutive cases, or assessments in each period; blank for a sign-off.';
comment on column definition.rule_without_count.found is
'The most cases in a row within the years allowed, each with a record of what happened; or all assessments by others. Blank for a sign-off.';
comment on column definition.rule_without_count.periods is
'Whole periods of training that the data reach; blank but for assessments.';
comment on column definition.rule_without_count.periods_short is
'Periods among them with fewer assessments than asked for; blank but for assessments.';
comment on column definition.rule_without_count.met is
'Whether it is there; blank for a sign-off, and for assessments before the first period is over.';
comment on column definition.rule_without_count.edition is
'The edition of the document from which the requirement comes.';
comment on column definition.rule_without_count.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
