-- How often would each kind of reason name somebody though everybody were alike and fine, and how much does it find?
--
-- Rows:   one per programme of the roster and kind of reason
-- Reads:  trainee, reason_rule, input.calibration, input.reason_setting, calibration_inputs
--         (pipelines/build/calibration.py)
-- Source: `calibrate`: programmes of this size, volume and mix are simulated, and judged by these very rules
create view definition.false_alarm as
with

programme as (

    select distinct programme_ref
    from trainee

)

select
    programme.programme_ref,
    reason_rule.reason,
    case when reason_rule.is_chance then calibration.chance_meeting end as chance_meeting,
    case when reason_rule.is_chance then calibration.chance_training end as chance_training,
    case when reason_rule.is_chance then calibration.power end as power,
    case when reason_rule.is_chance then calibration.programmes end as simulated_programmes,
    case
        when not reason_rule.is_chance then false
        else calibration.chance_meeting > setting.weak_above
    end as is_weak,
    case
        when not reason_rule.is_chance then 'a plain fact'
        when calibration.programme_ref is null then 'not calibrated: run calibrate'
        when calibration.inputs <> calibration_inputs.inputs
            then 'calibrated before the data or rules were as they are now: run calibrate again'
    end as remark
from programme
cross join main.reason_rule
cross join input.reason_setting as setting
left join input.calibration as calibration
    on programme.programme_ref = calibration.programme_ref and reason_rule.reason = calibration.reason
left join calibration_inputs on programme.programme_ref = calibration_inputs.programme_ref;

comment on view definition.false_alarm is
'How often would each kind of reason name somebody though everybody were alike and fine, and how much does it find? From simulated programmes of this size, volume and mix, judged by these very rules (the command calibrate); never part of a build. Blank for plain facts, and before the first calibrate.';
comment on column definition.false_alarm.programme_ref is 'The programme, as a pseudonym.';
comment on column definition.false_alarm.reason is 'The kind of reason.';
comment on column definition.false_alarm.chance_meeting is
'The chance that the kind names anybody at one meeting, though everybody is alike and fine.';
comment on column definition.false_alarm.chance_training is
'The chance that it names anybody at any meeting over the length of a training.';
comment on column definition.false_alarm.power is
'The chance that it names the one person whom it should: with a doubled rate of an outcome, half the volume, supervision that stays where it was, or a step that does not improve.';
comment on column definition.false_alarm.simulated_programmes is 'Programmes simulated.';
comment on column definition.false_alarm.is_weak is
'Whether chance_meeting lies above weak_above of programme.yaml; blank where it is not known.';
comment on column definition.false_alarm.remark is
'Whether the figures are of the data and rules as they are now, or why there are none.';
