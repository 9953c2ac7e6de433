-- Do scores, their means and the manoeuvres of each step fit together?
--
-- Rows:   one per trainee, step and quarter that breaks a rule; there must be none
-- Reads:  technique_step, t_quantile
-- Source: contract of the views: an interval is blank below three scores
select
    'a mean score lies outside its interval or outside 1 to 5' as offence,
    trainee_ref,
    step,
    training_quarter
from technique_step
where
    score_low > score_mean
    or score_mean > score_high
    or score_low < 1
    or score_high > 5
    or (scored >= 3) <> (score_low is not null)
    or (scored >= 3) <> (score_high is not null)
    or (scored > 0) <> (score_mean is not null)
union all
select
    'more successes than attempts, or an interval that does not fit' as offence,
    trainee_ref,
    step,
    training_quarter
from technique_step
where
    successes > attempts
    or success_low < 0
    or success_low > success_high
    or success_high > 1
    or (attempts > 0) <> (success_low is not null)
union all
select 'a step took less than no time' as offence, trainee_ref, step, training_quarter
from technique_step
where seconds_median < 0
union all
select
    'the quantiles of Student''s t are not all there' as offence,
    null as trainee_ref,
    null as step,
    count(*) as training_quarter
from t_quantile
having count(*) <> 1000 or min(degrees) <> 1 or max(degrees) <> 1000
