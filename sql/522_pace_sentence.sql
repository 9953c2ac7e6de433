-- What is to be said, in words, of the pace toward each minimum that is not yet reached?
--
-- Rows:   one per trainee in training whose log is current, and requirement whose minimum is not reached and for
--         which no other stands in
-- Reads:  pace, rotation_yield, trainee, requirement, case_volume
-- Source: the numbers of pace and rotation_yield
create view definition.pace_sentence as
with

bringing as (

    -- The rotation that brings the cases of a requirement: at least twice as many a month as the rest.
    select
        *,
        row_number() over (
            partition by trainee_ref, requirement_ref
            order by a_month_inside desc, rotation asc
        ) as place
    from main.rotation_yield
    where a_month_inside > 0 and a_month_inside >= 2 * coalesce(a_month_outside, 0)

),

rotation_told as (

    select
        trainee_ref,
        requirement_ref,
        case
            when rotations_running > 0
                then concat(' The ', replace(rotation, '_', ' '), ' rotation is running.')
            when rotations_to_come > 0
                then concat(
                    ' ', counted_text(rotations_to_come, concat(replace(rotation, '_', ' '), ' rotation')),
                    case when rotations_to_come = 1 then ' is' else ' are' end, ' still to come.'
                )
            when coalesce(months_not_entered, 1) > 0
                then concat(
                    ' ', counted_text(rotations_had, concat(replace(rotation, '_', ' '), ' rotation')),
                    case when rotations_had = 1 then ' is' else ' are' end,
                    ' past; which are to come is not entered.'
                )
            when rotations_had = 0 then concat(' No ', replace(rotation, '_', ' '), ' rotation is planned.')
            when rotations_had = 1 then concat(' The ', replace(rotation, '_', ' '), ' rotation is past.')
            when rotations_had = 2 then concat(' Both ', replace(rotation, '_', ' '), ' rotations are past.')
            else concat(' All ', rotations_had, ' ', replace(rotation, '_', ' '), ' rotations are past.')
        end as told
    from bringing
    where place = 1

),

paced as (

    select
        pace.programme_ref,
        pace.cohort,
        pace.trainee_ref,
        pace.requirement_ref,
        concat(
            requirement.title, ': ', pace."count", ' of ', pace.minimum,
            case when requirement.unit <> 'procedure' then concat(' ', requirement.units) else '' end, ' after ',
            counted_text(pace.active_month, 'active month'), '.'
        ) as stands,
        case
            when pace.like_people is null or pace.earlier_people = 0 then ''
            when pace.like_people = 0 then ' No earlier trainee had so few by then.'
            else concat(
                ' Of ', counted_text(pace.like_people, 'earlier trainee'), ' who had ',
                case when pace."count" = 0 then 'none' else concat('at most ', pace."count") end,
                ' by then, ', pace.like_met, ' reached ', pace.minimum, ' (95 % interval ',
                whole_percent(pace.like_low), ' to ', whole_percent(pace.like_high), ').'
            )
        end as became,
        case
            when pace.probability_met is null then ''
            else concat(
                ' Forecast: ', pace.final_median, ' by the end',
                case
                    when pace.final_low is not null
                        then concat(' (80 % range ', pace.final_low, ' to ', pace.final_high, ')')
                    else ''
                end,
                '; the chance of reaching ', pace.minimum, ' is about ', whole_percent(pace.probability_met), '.'
            )
        end as forecast,
        concat(
            case
                when case_volume.deadline is not null
                    then concat(' Cases count through ', month_in_words(case_volume.deadline), '.')
                else ''
            end,
            case
                when pace.months_left > 0
                    then concat(
                        ' In the ', counted_text(pace.months_left, 'active month'), ' left it takes ',
                        number_text(pace.needed_a_month), ' a month; in the last six it was ',
                        number_text(pace.recent_a_month), ' a month.'
                    )
                when case_volume.deadline is not null then ' No active month is left until then.'
                else ' No active month is left by the plan.'
            end
        ) as needs,
        coalesce(rotation_told.told, '') as rotations,
        pace.data_through
    from main.pace
    inner join trainee
        on pace.trainee_ref = trainee.trainee_ref and trainee.is_current and not trainee.training_is_over
    inner join requirement on pace.requirement_ref = requirement.requirement_ref
    inner join main.case_volume
        on pace.trainee_ref = case_volume.trainee_ref and pace.requirement_ref = case_volume.requirement_ref
    left join rotation_told
        on pace.trainee_ref = rotation_told.trainee_ref and pace.requirement_ref = rotation_told.requirement_ref
    where pace."count" < pace.minimum and case_volume.reached_by is null

)

select *
from paced;

comment on view definition.pace_sentence is
'What is to be said, in words, of the pace toward each minimum that is not yet reached? Part by part, so that a trainee reads the own part alone. Nothing is said while the log ends too early.';
comment on column definition.pace_sentence.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.pace_sentence.cohort is
'The class: the academic year in which its trainees are to complete.';
comment on column definition.pace_sentence.trainee_ref is 'The trainee, as a pseudonym.';
comment on column definition.pace_sentence.requirement_ref is
'The requirement, by its code in the specialty file.';
comment on column definition.pace_sentence.stands is 'Where the trainee stands.';
comment on column definition.pace_sentence.became is
'What became of earlier trainees with at most as many by then; empty where nobody has completed.';
comment on column definition.pace_sentence.forecast is 'The forecast; empty where none is shown.';
comment on column definition.pace_sentence.needs is 'What it takes a month, beside the latest six active months.';
comment on column definition.pace_sentence.rotations is
'The rotation that brings such cases, at least twice as many a month as the rest: past, running, or to come; empty with no such rotation.';
comment on column definition.pace_sentence.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
