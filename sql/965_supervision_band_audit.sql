-- Do the shares of the bands make a whole, and do all groups together hold every case at a level of the ladder?
--
-- Rows:   one per trainee, group and quarter that breaks a rule; there must be none
-- Reads:  supervision_band, supervision_mix
-- Source: share = cases / known cases
with

of_all as (

    select trainee_ref, training_quarter, sum(cases) as cases
    from supervision_band
    where procedure_group = 'all'
    group by trainee_ref, training_quarter

),

of_mix as (

    select trainee_ref, training_quarter, sum(cases) as cases
    from supervision_mix
    where level_rank is not null
    group by trainee_ref, training_quarter

)

select 'shares do not sum to 1, or cases to known cases' as offence, trainee_ref, training_quarter
from supervision_band
group by trainee_ref, procedure_group, training_quarter
having abs(sum(share) - 1) > 1e-9 or sum(cases) <> max(known_cases) or min(known_cases) <> max(known_cases)
union all
select
    'all groups together hold another number of cases' as offence,
    of_mix.trainee_ref,
    of_mix.training_quarter
from of_mix
left join of_all
    on of_mix.trainee_ref = of_all.trainee_ref and of_mix.training_quarter = of_all.training_quarter
where of_all.cases is null or of_all.cases <> of_mix.cases
