-- How did each trainee come to their number of cases, month by month of training?
--
-- Rows:   one per trainee, counted requirement in force for their class, and month from the first to the last
--         of their data or training
-- Reads:  case_volume, credited_month, trainee_month, trainee_clock
-- Source: the credited cases of case_credit, on the clock of active_month
create view definition.volume_course as
with

by_month as (

    select
        credited_month.trainee_ref,
        credited_month.requirement_ref,
        trainee_month.training_month,
        sum(credited_month.counted_cases) as cases
    from main.credited_month
    inner join trainee_month
        on
            credited_month.trainee_ref = trainee_month.trainee_ref
            and credited_month.operated_month = trainee_month.operated_month
    group by credited_month.trainee_ref, credited_month.requirement_ref, trainee_month.training_month

),

trained as (

    select trainee_clock.trainee_ref, part.training_month
    from trainee_clock
    cross join unnest(numbers_to(trainee_clock.last_training_month)) as part (training_month)

)

select
    case_volume.programme_ref,
    case_volume.cohort,
    case_volume.trainee_ref,
    case_volume.requirement_ref,
    cast(trained.training_month as integer) as training_month,
    cast(coalesce(sum(by_month.cases) over (
        partition by case_volume.trainee_ref, case_volume.requirement_ref
        order by trained.training_month
        rows between unbounded preceding and current row
    ), 0) as bigint) as counted_cases,
    case_volume.data_through
from main.case_volume
inner join trained on case_volume.trainee_ref = trained.trainee_ref
left join by_month
    on
        case_volume.trainee_ref = by_month.trainee_ref
        and case_volume.requirement_ref = by_month.requirement_ref
        and trained.training_month = by_month.training_month;

comment on view definition.volume_course is
'How did each trainee come to their number of cases, month by month of training? It ends with the last month of the trainee''s data, or of their training where that came first; cases after it are in case_volume alone. A log that ends early says nothing of the months after it, and its last months may still grow.';
comment on column definition.volume_course.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.volume_course.cohort is
'The class: the academic year in which its trainees are to complete.';
comment on column definition.volume_course.trainee_ref is 'The trainee, as a pseudonym.';
comment on column definition.volume_course.requirement_ref is
'The requirement, by its code in the specialty file.';
comment on column definition.volume_course.training_month is
'The month of training: active_month rounded up. Leave stops the clock.';
comment on column definition.volume_course.counted_cases is
'Cases credited through the end of that month.';
comment on column definition.volume_course.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
