-- Which cases count as logged, each once, and where in the training did they fall?
--
-- Rows:   one per live case: a trainee's part in one procedure (and side) of one operation
-- Reads:  input.cases, input.confirmations, input.data_through, trainee, trainee_month, procedure
-- Source: contract of the views: a key live in two sources counts once, as the source taken last has it; what the
--         supervisor says of the operation outranks the trainee's own entry, and what the supervisor leaves open does not
create table main.case_record as
with

-- Nobody else can have a row that stands in two sources.
with_two_sources as (

    select trainee_ref
    from input.cases
    group by trainee_ref
    having min(source) < max(source)

),

ranked as (

    select
        cases.source,
        cases.trainee_ref,
        cases.case_ref,
        cases."procedure",
        coalesce(cases.side, '') as side,
        row_number() over (
            partition by cases.trainee_ref, cases.case_ref, cases."procedure", coalesce(cases.side, '')
            order by cases.source_taken desc, cases.source asc
        ) as source_place
    from input.cases as cases
    inner join with_two_sources on cases.trainee_ref = with_two_sources.trainee_ref

),

-- Only what orders the cases is ordered: the rows are wide, and there may be millions.
numbered as (

    select
        cases.source,
        cases.trainee_ref,
        cases.case_ref,
        cases."procedure",
        coalesce(cases.side, '') as side,
        row_number() over (
            partition by cases.trainee_ref
            order by
                cases.operated_month,
                cases.source_taken,
                cases.taken,
                cases.case_sequence,
                cases.case_ref,
                cases."procedure",
                coalesce(cases.side, '')
        ) as place_in_log
    from input.cases as cases
    left join ranked
        on
            cases.trainee_ref = ranked.trainee_ref
            and cases.case_ref = ranked.case_ref
            and cases."procedure" = ranked."procedure"
            and coalesce(cases.side, '') = ranked.side
            and cases.source = ranked.source
    where coalesce(ranked.source_place, 1) = 1

)

select
    trainee.programme_ref,
    trainee.cohort,
    live.trainee_ref,
    live.case_ref,
    live."procedure",
    live.side,
    "procedure".procedure_group,
    live.role,
    live.operated_month,
    trainee_month.training_month,
    trainee_month.training_quarter,
    cast(numbered.place_in_log as integer) as case_sequence,
    trainee_month.stage,
    trainee_month.performed_elsewhere,
    -- How long after the operation, at least, the data of its own source would have shown an event.
    days_between_month_ends(live.operated_month, source_data.data_through) as observed_days,
    live.principal,
    live.converted_from,
    coalesce(confirmed.supervision, live.supervision) as supervision,
    coalesce(live.supervisor_ref, confirmed.supervisor_ref) as supervisor_ref,
    live.site_ref,
    coalesce(confirmed.role_agreed, live.supervisor_agreed) as supervisor_agreed,
    coalesce(confirmed.takeover, live.takeover) as takeover,
    case
        when coalesce(confirmed.takeover, true)
            then coalesce(confirmed.takeover_reason, live.takeover_reason)
    end as takeover_reason,
    live.duration_min,
    live.technique,
    live.attributes,
    live.risk_factors,
    live.complications,
    live.event_hands,
    live.follow_up_days,
    live.lag_days,
    live.same_day_logged,
    live.source,
    live.intake_id
from input.cases as live
inner join numbered
    on
        live.trainee_ref = numbered.trainee_ref
        and live.case_ref = numbered.case_ref
        and live."procedure" = numbered."procedure"
        and coalesce(live.side, '') = numbered.side
        and live.source = numbered.source
left join input.confirmations as confirmed
    on live.case_ref = confirmed.case_ref and live.trainee_ref = confirmed.trainee_ref
inner join trainee on live.trainee_ref = trainee.trainee_ref
inner join trainee_month
    on
        live.trainee_ref = trainee_month.trainee_ref
        and live.operated_month = trainee_month.operated_month
left join input.data_through as source_data
    on live.trainee_ref = source_data.trainee_ref and live.source = source_data.source
left join "procedure" on live."procedure" = "procedure"."procedure";
