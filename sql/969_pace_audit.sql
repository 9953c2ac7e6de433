-- Do pace, its back-test and the rotations fit together, and is nobody missing?
--
-- Rows:   one per trainee or programme and requirement that breaks a rule; there must be none
-- Reads:  pace, pace_backtest, rotation_yield, case_volume, trainee, trainee_clock
-- Source: a forecast is withheld while the data are not current, and where the back-test does not bear it out
select 'a forecast of nobody in training, or of data that are not current' as offence, pace.trainee_ref, pace.requirement_ref
from pace
inner join trainee on pace.trainee_ref = trainee.trainee_ref
where
    (trainee.training_is_over or not trainee.is_current)
    and (pace.probability_met is not null or pace.final_median is not null or pace.like_people is not null)
union all
select 'a forecast beside the reason why there is none, or neither' as offence, trainee_ref, requirement_ref
from pace
where (why_none is null) <> (probability_met is not null) or (why_none is null) <> (final_median is not null)
union all
select 'the ends of a range or of a band are not in order' as offence, trainee_ref, requirement_ref
from pace
where
    final_low > final_median
    or final_median > final_high
    or expected_low > expected_median
    or expected_median > expected_high
    or expected_p10 > expected_low
    or expected_high > expected_p90
    or probability_met not between 0 and 1
union all
select 'bands of too few people' as offence, trainee_ref, requirement_ref
from pace
where
    (coalesce(earlier_people, 0) >= 10) <> (expected_median is not null)
    or (coalesce(earlier_people, 0) >= 20) <> (expected_p10 is not null)
union all
select 'more like them than there are, or more reached than are like them' as offence, trainee_ref, requirement_ref
from pace
where like_met > like_people or like_people > earlier_people
union all
select 'a trainee has no pace toward a requirement' as offence, case_volume.trainee_ref, case_volume.requirement_ref
from case_volume
left join pace
    on case_volume.trainee_ref = pace.trainee_ref and case_volume.requirement_ref = pace.requirement_ref
where pace.trainee_ref is null or pace."count" > case_volume.counted_cases
union all
select 'a back-test outside of 0 to 1' as offence, programme_ref as trainee_ref, requirement_ref
from pace_backtest
where
    coverage not between 0 and 1
    or brier not between 0 and 1
    or brier_share not between 0 and 1
    or brier_line not between 0 and 1
    or open_people > people
    or people_with_range > people
union all
select 'more months of rotations than of training' as offence, rotation_yield.trainee_ref, rotation_yield.requirement_ref
from rotation_yield
inner join trainee_clock on rotation_yield.trainee_ref = trainee_clock.trainee_ref
where
    rotation_yield.months_had > trainee_clock.active_month
    or rotation_yield.months_to_come > trainee_clock.months_left
    or rotation_yield.months_not_entered < 0
