-- Which requirements and outcomes has nobody checked against the document named as their source?
--
-- Rows:   one per requirement or complication of the specialty file that is not verified, and one for a framework
--         of milestones that is not the accreditor's
-- Reads:  requirement, complication, milestone_framework
-- Source: `verified`, `source`, `reviewed_on` and `official` of the specialty file
create view definition.unverified_item as
select
    'requirement' as kind,
    requirement_ref as ref,
    title,
    source,
    reviewed_on
from requirement
where not verified
union all
select
    'complication' as kind,
    complication_ref as ref,
    title,
    source,
    cast(null as varchar) as reviewed_on
from complication
where not verified
union all
select
    'milestones' as kind,
    'framework' as ref,
    'Framework of the milestones' as title,
    framework as source,
    cast(null as varchar) as reviewed_on
from milestone_framework
where not official;

comment on view definition.unverified_item is
'Which requirements and outcomes has nobody checked against the document named as their source? They are to be confirmed against the current document. A framework of milestones that is not the accreditor''s stands here too.';
comment on column definition.unverified_item.kind is 'requirement, complication or milestones.';
comment on column definition.unverified_item.ref is 'Its code in the specialty file; framework for that of the milestones.';
comment on column definition.unverified_item.title is 'It in words.';
comment on column definition.unverified_item.source is 'Where it was taken from.';
comment on column definition.unverified_item.reviewed_on is
'The day on which somebody last looked at it; blank where the specialty file keeps none.';
