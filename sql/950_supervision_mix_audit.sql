-- Do the shares of the recorded levels make a whole?
--
-- Rows:   one per trainee, group and quarter that breaks a rule; there must be none
-- Reads:  supervision_mix
-- Source: contract of the views: share = cases / known cases, blank where the level is
select 'shares do not sum to 1, or cases to known cases' as offence, trainee_ref, procedure_group, training_quarter
from supervision_mix
where level_ref is not null
group by trainee_ref, procedure_group, training_quarter
having
    abs(sum(share) - 1) > 1e-9
    or sum(cases) <> max(known_cases)
    or min(known_cases) <> max(known_cases)
union all
select 'a share without a level, or a quarter before the first' as offence, trainee_ref, procedure_group, training_quarter
from supervision_mix
where (level_ref is null) <> (share is null) or training_quarter < 1
