-- Has the chart of outcomes by case number ever signalled, at which case, and where does it stand now?
--
-- Rows:   one per trainee of the roster and complication, also with nothing known
-- Reads:  trainee, complication, case_sequence_chart, chart_limit
-- Source: case_sequence_chart
create view definition.case_sequence_signal as
with

last_case as (

    select
        *,
        row_number() over (partition by trainee_ref, complication_ref order by case_number desc) as place
    from main.case_sequence_chart

),

crossing as (

    select
        trainee_ref,
        complication_ref,
        max(cusum) as cusum_highest,
        min(case when above_person then case_number end) as signal_case_person,
        min(case when above_class then case_number end) as signal_case_class
    from main.case_sequence_chart
    group by trainee_ref, complication_ref

)

select
    trainee.programme_ref,
    trainee.cohort,
    trainee.trainee_ref,
    complication.complication_ref,
    coalesce(last_case.case_number, 0) as known_outcomes,
    coalesce(last_case.events, 0) as events,
    last_case.expected_events,
    last_case.cusum,
    crossing.cusum_highest,
    for_person.cusum_limit as limit_person,
    for_class.cusum_limit as limit_class,
    crossing.signal_case_person,
    crossing.signal_case_class,
    coalesce(last_case.above_person, false) as above_person_now,
    case
        when last_case.trainee_ref is null then 'the trainee has no known outcome'
        when last_case.expected_events is null then 'others have too few known outcomes at the same case numbers'
        when for_person.cusum_limit is null then concat('no limit: ', for_person.why_none)
    end as why_none,
    trainee.data_through
from trainee
cross join complication
left join last_case
    on
        trainee.trainee_ref = last_case.trainee_ref
        and complication.complication_ref = last_case.complication_ref
        and last_case.place = 1
left join crossing
    on
        trainee.trainee_ref = crossing.trainee_ref
        and complication.complication_ref = crossing.complication_ref
left join chart_limit as for_person
    on
        trainee.programme_ref = for_person.programme_ref
        and complication.complication_ref = for_person.complication_ref
        and for_person.limit_for = 'person'
left join chart_limit as for_class
    on
        trainee.programme_ref = for_class.programme_ref
        and complication.complication_ref = for_class.complication_ref
        and for_class.limit_for = 'class';

comment on view definition.case_sequence_signal is
'Has the chart of outcomes by case number (case_sequence_chart) ever signalled, at which case, and where does it stand now? One row for every trainee of the roster and outcome. A signal stays said after the chart has come down again.';
comment on column definition.case_sequence_signal.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.case_sequence_signal.cohort is
'The class: the academic year in which its trainees are to complete.';
comment on column definition.case_sequence_signal.trainee_ref is 'The trainee, as a pseudonym.';
comment on column definition.case_sequence_signal.complication_ref is
'The outcome, by its code in the specialty file.';
comment on column definition.case_sequence_signal.known_outcomes is
'Cases with a known outcome, of all operations that the trainee began.';
comment on column definition.case_sequence_signal.events is 'Events among them.';
comment on column definition.case_sequence_signal.expected_events is
'Events expected among them; blank where others have too little at the same case numbers.';
comment on column definition.case_sequence_signal.cusum is 'The CUSUM after the last of them.';
comment on column definition.case_sequence_signal.cusum_highest is 'The highest it has been.';
comment on column definition.case_sequence_signal.limit_person is
'The limit for one person, from run_length: an average trainee crosses it in a whole training with the chance that programme.yaml sets (5 %).';
comment on column definition.case_sequence_signal.limit_class is
'The limit for a class: any one of its trainees crosses it with that chance.';
comment on column definition.case_sequence_signal.signal_case_person is
'The number of the first case after which the CUSUM stood above the limit for one person; blank: never.';
comment on column definition.case_sequence_signal.signal_case_class is
'The number of the first case after which it stood above the limit for a class; blank: never.';
comment on column definition.case_sequence_signal.above_person_now is
'Whether it stands above the limit for one person after the last case.';
comment on column definition.case_sequence_signal.why_none is
'Why nothing can be said; blank where it can.';
comment on column definition.case_sequence_signal.data_through is
'The month through which the trainee''s data are complete; blank with no data.';
