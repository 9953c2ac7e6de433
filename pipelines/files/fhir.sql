-- Which cells of a case does each Procedure resource give?
--
-- Rows:   one per resource, in their order; every cell is null where it was not completed
-- Reads:  resource (place, document as JSON); the variable structure, the elements that are read at all
-- Source: HL7 FHIR, resource Procedure: R4 (4.0.1) and R5 (5.0.0)
with

selected as (

    select
        place,
        json_transform(document, getvariable('structure')) as procedure
    from resource

),

completed as (

    select
        selected.place,
        selected.procedure,
        coalesce(selected.procedure."performedPeriod", selected.procedure."occurrencePeriod") as period,
        coalesce(selected.procedure."performedDateTime", selected.procedure."occurrenceDateTime") as moment,
        selected.procedure.performer[1] as performer,
        list_transform(
            coalesce(selected.procedure.complication, []),
            -- R5 has the concept of a complication one level below.
            lambda each: coalesce(
                each.concept.coding[1].code, each.coding[1].code, each.concept."text", each."text"
            ) || coalesce(
                '@' || list_filter(each.extension, lambda one: one.url = getvariable('prefix') || 'day')[1]."valueInteger", ''
            )
        ) as complications,
        list_transform(
            list_filter(coalesce(selected.procedure.extension, []), lambda one: starts_with(one.url, getvariable('prefix'))),
            lambda one: struct_pack(
                name := substr(one.url, length(getvariable('prefix')) + 1),
                value := coalesce(
                    one."valueCode", one."valueString", one."valueBoolean", one."valueInteger",
                    one."valueDecimal", one."valueDate"
                )
            )
        ) as extensions
    from selected
    where selected.procedure.status = 'completed'

)

select
    selected.procedure.status,
    -- Procedures that are part of one operation carry its id.
    coalesce(
        nullif(regexp_extract(completed.procedure."partOf"[1].reference, 'Procedure/([^/]+)$', 1), ''),
        completed.procedure.id
    ) as case_ref,
    regexp_extract(completed.performer.actor.reference, '([^/]+)$', 1) as trainee_ref,
    left(coalesce(completed.period."start", completed.moment), 10) as operated_on,
    coalesce(completed.procedure.code.coding[1].code, completed.procedure.code."text") as procedure,
    coalesce(completed.performer."function".coding[1].code, completed.performer."function"."text") as role,
    coalesce(
        completed.procedure."bodySite"[1].coding[1].code, completed.procedure."bodySite"[1]."text"
    ) as side,
    round(
        (
            epoch(try_cast(completed.period."end" as timestamptz))
            - epoch(try_cast(completed.period."start" as timestamptz))
        ) / 60
    )::bigint::varchar as duration_min,
    nullif(array_to_string(completed.complications, ';'), '') as complications,
    completed.extensions
from selected
left join completed using (place)
order by selected.place
