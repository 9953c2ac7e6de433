-- Which intakes are about the trainees of one programme alone?
--
-- Rows:   one per such intake
-- Reads:  main.live_intake
-- Source: nothing of one programme is shown to another: what a file of both says of nobody is shown to neither
create table main.intake_programme as
select intake_id, min(programme_ref) as programme_ref
from main.live_intake
group by intake_id
having count(distinct programme_ref) = 1;
