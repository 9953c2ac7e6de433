-- Which cases count as logged, each once, and where in the training did they fall?
--
-- Rows:   one per live case: a trainee's part in one procedure (and side) of one operation
-- Reads:  input.cases, input.confirmations, input.data_through, trainee, trainee_month, procedure
-- Source: contract of the views: a key live in two sources counts once, as the source taken last has it; what the
--         supervisor says of the operation outranks the trainee's own entry, and what the supervisor leaves open does not
create table main.case_record as
with

-- Only what orders the cases is ordered: the rows are wide, and there may be millions.
ranked as (

    select
        source,
        trainee_ref,
        case_ref,
        "procedure",
        coalesce(side, '') as side,
        operated_month,
        source_taken,
        taken,
        case_sequence,
        row_number() over (
            partition by trainee_ref, case_ref, "procedure", coalesce(side, '')
            order by source_taken desc, source asc
        ) as source_place
    from input.cases

),

numbered as (

    select
        source,
        trainee_ref,
        case_ref,
        "procedure",
        side,
        row_number() over (
            partition by trainee_ref
            order by operated_month, source_taken, taken, case_sequence, case_ref, "procedure", side
        ) as place_in_log
    from ranked
    where source_place = 1

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
