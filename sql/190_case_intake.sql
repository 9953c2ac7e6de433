-- From which intakes do the live case rows of each trainee come?
--
-- Rows:   one per trainee and intake with a live case row
-- Reads:  input.cases
-- Source: contract of the store: an intake is live for a trainee while rows of it are
create table main.case_intake as
select trainee_ref, intake_id, count(*) as accepted_rows
from input.cases
group by trainee_ref, intake_id;
