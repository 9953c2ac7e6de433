-- How well would each requirement's forecast have served for the trainees of the classes that have completed?
--
-- Rows:   one per programme, requirement with a minimum, and active month 6, 12, 18, 24, 30
-- Reads:  pace_trial (pipelines/build/pace_tables.py)
-- Source: each completed class forecast from the other completed ones; Brier 1950, Mon Weather Rev 78:1. The bounds
--         70 % and 0.01: our own choice
create view definition.pace_backtest as
with

pooled as (

    select
        programme_ref,
        requirement_ref,
        sum(people) as people,
        sum(ranges) as ranges,
        sum(covered) as covered,
        sum(open_people) as open_people,
        sum(squares) as squares,
        sum(squares_share) as squares_share
    from pace_trial
    group by programme_ref, requirement_ref

)

select
    pace_trial.programme_ref,
    pace_trial.requirement_ref,
    pace_trial.active_month,
    pace_trial.people,
    cast(pace_trial.covered as double) / nullif(pace_trial.ranges, 0) as coverage,
    pace_trial.squares / nullif(pace_trial.open_people, 0) as brier,
    pace_trial.squares_share / nullif(pace_trial.open_people, 0) as brier_share,
    pace_trial.squares_line / nullif(pace_trial.open_people, 0) as brier_line,
    pace_trial.ranges as people_with_range,
    pace_trial.open_people,
    pace_trial.method,
    -- Nothing vouches for a forecast that could not be tried.
    pooled.people > 0
    and (pooled.ranges = 0 or 10 * pooled.covered >= 7 * pooled.ranges)
    and (pooled.open_people = 0 or pooled.squares - pooled.squares_share <= 0.01e0 * pooled.open_people)
        as forecast_is_shown,
    pooled.ranges > 0 as range_is_tried
from pace_trial
inner join pooled
    on pace_trial.programme_ref = pooled.programme_ref and pace_trial.requirement_ref = pooled.requirement_ref;

comment on view definition.pace_backtest is
'How well would each requirement''s forecast have served for the trainees of the classes that have completed? Each completed class is forecast from the other completed classes at active months 6, 12, 18, 24 and 30, by the one of two methods that served better over all of them: a choice that flatters the forecast a little. Beside it the straight line (own count so far, carried on) and the plain share (of earlier trainees with at most as many by then, how many reached it, with half a person added on either side). A forecast whose 80 % ranges hold less than 70 % of the final counts, or whose Brier score is more than 0.01 above that of the plain share, is not shown, nor is one that could not be tried.';
comment on column definition.pace_backtest.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.pace_backtest.requirement_ref is
'The requirement, by its code in the specialty file.';
comment on column definition.pace_backtest.active_month is 'The month of training at which was forecast.';
comment on column definition.pace_backtest.people is
'Trainees of completed classes whose training reached that month, and for whom there was somebody of another completed class to forecast from.';
comment on column definition.pace_backtest.coverage is
'How many of the 80 % ranges held the final count, as a share from 0 to 1; blank with no range.';
comment on column definition.pace_backtest.brier is
'The mean squared difference between the probability of reaching the minimum and what came of it (1 or 0), among those who had not reached it by then: 0 is perfect. Blank with nobody.';
comment on column definition.pace_backtest.brier_share is 'The same of the plain share; one half where no earlier trainee had as few.';
comment on column definition.pace_backtest.brier_line is
'The same of the straight line, which says 1 or 0.';
comment on column definition.pace_backtest.people_with_range is
'People among them with a range: with at least nine earlier trainees.';
comment on column definition.pace_backtest.open_people is
'People among them who had not reached the minimum by then.';
comment on column definition.pace_backtest.method is
'The method of the forecast: own count and increments (what each earlier trainee did after that month is added), or share of the final count (the own count grows by the factor by which theirs did).';
comment on column definition.pace_backtest.forecast_is_shown is
'Whether the forecast of this requirement is shown, by its back-test over all months.';
comment on column definition.pace_backtest.range_is_tried is
'Whether any range could be tried in the back-test; without one none is shown.';
