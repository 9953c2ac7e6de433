-- By which rules is somebody named for discussion, in which order, and can a rule name somebody for nobody's fault?
--
-- Rows:   one per kind of reason
-- Reads:  input.reason_kind (pipelines/build/reasons.py)
-- Source: `reasons:` of programme.yaml, with its defaults
create view definition.reason_rule as
select
    reason,
    "position",
    title,
    "rule",
    is_chance
from input.reason_kind;

comment on view definition.reason_rule is
'By which rules is somebody named for discussion, in which order, and can a rule name somebody for nobody''s fault? The numbers are those of reasons: in programme.yaml. The order is fixed and says nothing of weight; nobody is scored or ranked.';
comment on column definition.reason_rule.reason is 'The kind of reason, as its key in programme.yaml.';
comment on column definition.reason_rule."position" is 'Its place in the order in which reasons are listed.';
comment on column definition.reason_rule.title is 'The kind in words.';
comment on column definition.reason_rule."rule" is 'The rule in words, with the numbers of this programme.';
comment on column definition.reason_rule.is_chance is
'Whether chance alone can raise it; false for plain facts, such as a late log.';
