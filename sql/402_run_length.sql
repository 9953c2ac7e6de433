-- How often does the chart of outcomes by case number cross its limit though nothing is wrong, and when something is?
--
-- Rows:   two per programme and complication with a known outcome: the limit for one person, and that for a class
-- Reads:  chart_limit
-- Source: exact recursion over the values that the CUSUM can take (Brook and Evans 1972, Biometrika 59:539, without a
--         grid); the limit is the lowest with at most the programme's chance of a signal in a whole training
create view definition.run_length as
select
    programme_ref,
    complication_ref,
    limit_for,
    cases,
    people,
    cusum_limit,
    expected,
    signal_chance,
    signal_chance_raised,
    1e0 - power(1e0 - signal_chance, people) as signal_chance_in_class,
    run_length,
    run_length_raised,
    why_none
from chart_limit;

comment on view definition.run_length is
'How often does the chart of outcomes by case number (case_sequence_chart) cross its limit though nothing is wrong, and when something is? For each outcome two limits: for one person, so that in this programme a whole training of an average trainee signals with the chance that programme.yaml sets (5 %), and for a class, so that any one of its trainees does. Both are worked out exactly for the known cases of a whole training (the middle one of those who completed, 300 at most) at the chances of this programme; beyond them a chart goes on with more false alarms.';
comment on column definition.run_length.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.run_length.complication_ref is 'The outcome, by its code in the specialty file.';
comment on column definition.run_length.limit_for is 'person or class: for whom the chance of a false alarm is kept.';
comment on column definition.run_length.cases is
'Known cases of a whole training: the middle of those who completed; while fewer than five have, the most that anybody has so far; 300 at most.';
comment on column definition.run_length.people is 'Trainees of the largest class.';
comment on column definition.run_length.cusum_limit is
'The limit: the chart signals above it. Blank where the programme has too little, as why_none says.';
comment on column definition.run_length.expected is 'The mean chance of an event in these cases.';
comment on column definition.run_length.signal_chance is
'The chance that an average trainee crosses the limit within these cases: a false alarm.';
comment on column definition.run_length.signal_chance_raised is
'The chance that a trainee whose odds are raised by the programme''s cusum_odds_ratio (2) from the first case on crosses it: the power.';
comment on column definition.run_length.signal_chance_in_class is
'The chance that at least one of the trainees of the largest class crosses it, all of them average.';
comment on column definition.run_length.run_length is
'Cases until the limit is crossed, on average, at the mean chance and without an end.';
comment on column definition.run_length.run_length_raised is 'The same with the odds raised.';
comment on column definition.run_length.why_none is 'Why there is no limit; blank where there is one.';
