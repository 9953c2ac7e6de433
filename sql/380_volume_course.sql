-- How did each trainee come to their number of cases, month by month of training?
--
-- Rows:   one per trainee, counted requirement in force for their class, and month from the first to the last
--         of their data or training
-- Reads:  case_volume, case_credit, case_record, trainee_clock
-- Source: the credited cases of case_credit; what was credited before month 1 (performed elsewhere) is where
--         month 1 begins
create view definition.volume_course as
with

credited as (

    select case_credit.trainee_ref, case_credit.requirement_ref, case_record.training_month, count(*) as cases
    from main.case_credit
    inner join case_record
        on
            case_credit.trainee_ref = case_record.trainee_ref
            and case_credit.case_ref = case_record.case_ref
            and case_credit."procedure" = case_record."procedure"
            and case_credit.side is not distinct from case_record.side
    where case_credit.credited
    group by case_credit.trainee_ref, case_credit.requirement_ref, case_record.training_month

),

by_month as (

    select
        trainee_ref,
        requirement_ref,
        greatest(training_month, 1) as training_month,
        sum(cases) as cases
    from credited
    group by trainee_ref, requirement_ref, greatest(training_month, 1)

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
'The month of training; 1 is the month in which the trainee started. Leave does not stop the clock.';
comment on column definition.volume_course.counted_cases is
'Cases credited through the end of that month; those credited from before the training began count from month 1 on.';
comment on column definition.volume_course.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
