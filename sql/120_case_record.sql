-- Which cases count as logged, each once, and where in the training did they fall?
--
-- Rows:   one per live case: a trainee's part in one procedure (and side) of one operation
-- Reads:  input.cases, input.data_through, trainee, trainee_month, procedure
-- Source: contract of the views: a key live in two sources counts once, as the source taken last has it
create table main.case_record as
with

ranked as (

    select
        *,
        row_number() over (
            partition by trainee_ref, case_ref, "procedure", coalesce(side, '')
            order by source_taken desc, source asc
        ) as source_place
    from input.cases

),

numbered as (

    select
        *,
        row_number() over (
            partition by trainee_ref
            order by
                operated_month, source_taken, taken, case_sequence, case_ref, "procedure", coalesce(side, '')
        ) as place_in_log
    from ranked
    where source_place = 1

)

select
    trainee.programme_ref,
    trainee.cohort,
    numbered.trainee_ref,
    numbered.case_ref,
    numbered."procedure",
    numbered.side,
    "procedure".procedure_group,
    numbered.role,
    numbered.operated_month,
    trainee_month.training_month,
    trainee_month.training_quarter,
    cast(numbered.place_in_log as integer) as case_sequence,
    trainee_month.stage,
    trainee_month.performed_elsewhere,
    -- How long after the operation, at least, the data of its own source would have shown an event.
    days_between_month_ends(numbered.operated_month, source_data.data_through) as observed_days,
    numbered.principal,
    numbered.converted_from,
    numbered.supervision,
    numbered.supervisor_ref,
    numbered.site_ref,
    numbered.supervisor_agreed,
    numbered.takeover,
    numbered.takeover_reason,
    numbered.duration_min,
    numbered.technique,
    numbered.attributes,
    numbered.risk_factors,
    numbered.complications,
    numbered.event_hands,
    numbered.follow_up_days,
    numbered.lag_days,
    numbered.same_day_logged,
    numbered.source,
    numbered.intake_id
from numbered
inner join trainee on numbered.trainee_ref = trainee.trainee_ref
inner join trainee_month
    on
        numbered.trainee_ref = trainee_month.trainee_ref
        and numbered.operated_month = trainee_month.operated_month
left join input.data_through as source_data
    on numbered.trainee_ref = source_data.trainee_ref and numbered.source = source_data.source
left join "procedure" on numbered."procedure" = "procedure"."procedure";
