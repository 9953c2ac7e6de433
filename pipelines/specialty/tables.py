"""A specialty as tables: one generic form for the rules of every specialty, which the SQL reads."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from typing import Any

import pyarrow as pa

from pipelines.specialty.model import (
    AssessmentRule,
    AuditRule,
    Complication,
    CountedRule,
    MilestoneRule,
    Rule,
    Specialty,
    kind_of,
    units_in_words,
)

Row = tuple[Any, ...]

# Under `at_most`: cases performed elsewhere.
ELSEWHERE = "elsewhere"

_TITLED = "title text, position int"
# Column and type, in order; an empty table keeps its types.
COLUMNS: dict[str, str] = {
    "procedure_group": f"procedure_group text, {_TITLED}",
    "procedure": "procedure text, title text, procedure_group text",
    # Its own group, and those that it is also in.
    "procedure_in_group": "procedure text, procedure_group text",
    "role": f"role text, {_TITLED}, operating bool, teaching bool",
    "supervision_level": "level_ref text, title text, level_rank int, band text",
    "supervision_role": "level_ref text, role text",
    "stage": f"stage text, {_TITLED}",
    "attribute": f"attribute text, {_TITLED}, patient bool",
    "requirement": "requirement_ref text, title text, minimum int, unit text, part_of text, elsewhere bool, "
    "cohort_from int, cohort_to int, edition text, source text, verified bool, "
    "reviewed_on text, replaces text, position int, kind text, is_local bool, published_minimum int, local_source text, "
    "principal_only bool, before_stage text, by_end_of_stage text, last_years int, either_or text, "
    "consecutive_cases int, within_years int, assessments int, each_months int, units text",
    # With a technique: listed for cases done so alone. From and through bound the month of operation.
    "requirement_procedure": "requirement_ref text, procedure text, technique text, from_month text, "
    "through_month text",
    # Of the cases listed, those done so count.
    "requirement_technique": "requirement_ref text, technique text",
    "requirement_whole": "requirement_ref text, whole_ref text",
    # How many of the cases of a kind may count; `place` is the order in which the caps are applied.
    "requirement_cap": "requirement_ref text, place int, kind text, code text, at_most int",
    "requirement_role": "requirement_ref text, role text",
    "requirement_stage": "requirement_ref text, stage text",
    "requirement_attribute": "requirement_ref text, attribute text, need text",
    "complication": "complication_ref text, title text, procedure_group text, window_days int, "
    "definition text, source text, verified bool, position int",
    "complication_group": "complication_ref text, procedure_group text",
    "risk_weight": "complication_ref text, risk_factor text, log_odds double, source text, verified bool",
    "step": "step text, title text, phase text, position int",
    "milestone_framework": "framework text, official bool",
    "milestone_level": "level text, position int",
    "milestone": "milestone_ref text, title text, position int",
    "milestone_rule": "milestone_ref text, level text, rule_number int, measure text, requirement_ref text, "
    "complication_ref text, attribution text, procedure_group text, level_ref text, step text, "
    "at_least double, at_most double, last_cases int, last_quarters int",
}
_TYPES = {"text": pa.string(), "int": pa.int32(), "bool": pa.bool_(), "double": pa.float64()}


def specialty_tables(spec: Specialty) -> dict[str, pa.Table]:
    """Table name → rows; `position` counts from 1 in the order of the file, parts right below their whole."""
    rows = {**_vocabulary(spec), **_requirements(spec), **_outcomes_and_steps(spec), **_milestones(spec)}
    return {name: _table(name, rows[name]) for name in COLUMNS}


def _table(name: str, rows: Iterable[Row]) -> pa.Table:
    pairs = [column.split() for column in COLUMNS[name].split(", ")]
    schema = pa.schema([(column, _TYPES[kind]) for column, kind in pairs])
    return pa.Table.from_pylist([dict(zip(schema.names, row, strict=True)) for row in rows], schema=schema)


def _titled(titles: dict[str, str]) -> list[Row]:
    return [(code, title, place) for place, (code, title) in enumerate(titles.items(), start=1)]


def _vocabulary(spec: Specialty) -> dict[str, list[Row]]:
    levels = list(enumerate(spec.supervision.items(), start=1))
    roles = _titled({ref: role.title for ref, role in spec.roles.items()})
    attributes = _titled({ref: attribute.title for ref, attribute in spec.attributes.items()})
    return {
        "procedure_group": _titled(spec.procedure_groups),
        "procedure": [(code, each.title, each.group) for code, each in spec.procedures.items()],
        "procedure_in_group": [
            (code, group) for code, each in spec.procedures.items() for group in (each.group, *each.also_in)
        ],
        "role": [(*row, row[0] in spec.operating_roles, spec.roles[row[0]].teaching) for row in roles],
        "supervision_level": [(ref, level.title, rank, level.band) for rank, (ref, level) in levels],
        "supervision_role": [(ref, role) for _, (ref, level) in levels for role in level.roles],
        "stage": _titled(spec.stages),
        "attribute": [(*row, spec.attributes[row[0]].patient) for row in attributes],
    }


def _requirements(spec: Specialty) -> dict[str, list[Row]]:
    rules = spec.requirements
    return {
        "requirement": [
            _requirement(ref, rules[ref], place) for place, ref in enumerate(_parts_below(rules), start=1)
        ],
        "requirement_procedure": [row for ref, rule in rules.items() for row in _procedures(ref, rule, spec)],
        "requirement_technique": [
            (ref, each) for ref, rule in rules.items() if lists_procedures(rule) for each in rule.techniques
        ],
        "requirement_whole": [(ref, whole) for ref, rule in rules.items() for whole in rule.part_of],
        "requirement_cap": [row for ref, rule in rules.items() for row in _caps(ref, rule, spec)],
        "requirement_role": [(ref, each) for ref, rule in rules.items() for each in rule.roles],
        "requirement_stage": [(ref, each) for ref, rule in rules.items() for each in rule.stages],
        "requirement_attribute": [row for ref, rule in rules.items() for row in _attributes(ref, rule)],
    }


def _parts_below(rules: dict[str, Any], whole: str | None = None) -> Iterator[str]:
    """Every requirement in the order of the file, its parts right below the first of their wholes."""
    for ref, rule in rules.items():
        if (rule.part_of[0] if rule.part_of else None) == whole:
            yield ref
            yield from _parts_below(rules, ref)


def _requirement(ref: str, rule: Rule, place: int) -> Row:
    counted = rule if isinstance(rule, CountedRule) else None
    what = (ref, rule.title, counted and counted.asked, rule.unit if counted else None)
    which = (rule.part_of[0] if rule.part_of else None, rule.elsewhere, rule.cohorts.first, rule.cohorts.last)
    whence = (rule.edition, _source(rule), rule.verified, rule.reviewed_on.isoformat(), rule.replaces)
    local = counted.local_minimum if counted else None
    own = (rule.local or local is not None, counted and local and counted.minimum, local and local.source)
    when = (rule.principal_only, rule.before_stage, rule.by_end_of_stage, rule.last_years)
    instead, units = (
        counted and counted.either_or,
        units_in_words(rule.unit, counted.asked) if counted else None,
    )
    return (*what, *which, *whence, place, kind_of(rule), *own, *when, instead, *_no_count(rule), units)


def _source(rule: Rule) -> str:
    """What is the programme's own says so wherever its source is printed."""
    local = rule.local_minimum if isinstance(rule, CountedRule) else None
    if isinstance(rule, CountedRule) and local:
        return f"the programme's own number: {local.source}; the document has {rule.minimum}: {rule.source}"
    return f"the programme's own rule: {rule.source}" if rule.local else rule.source


def _no_count(rule: Rule) -> Row:
    audit = rule.consecutive if isinstance(rule, AuditRule) else None
    asked = rule.assessments if isinstance(rule, AssessmentRule) else None
    return (
        audit and audit.cases,
        audit and audit.within_years,
        asked and asked.at_least,
        asked and asked.each_months,
    )


def lists_procedures(rule: Rule) -> bool:
    """Whether the rule names procedures or groups; one that names techniques alone is about any procedure."""
    return bool(rule.procedures or rule.procedure_groups)


def listed_procedures(rule: Rule, spec: Specialty) -> list[str]:
    """The codes that a rule is about, in the order of the file: those named, and those of the groups named."""
    if not lists_procedures(rule):
        return list(spec.procedures) if rule.techniques else []
    groups = set(rule.procedure_groups)
    return [
        code
        for code, each in spec.procedures.items()
        if code in rule.procedures or groups & {each.group, *each.also_in}
    ]


def _procedures(ref: str, rule: Rule, spec: Specialty) -> Iterator[Row]:
    for code in listed_procedures(rule, spec):
        months = rule.procedure_months.get(code)
        for technique in [None] if lists_procedures(rule) else rule.techniques:
            yield ref, code, technique, months and months.first, months and months.last


def _caps(ref: str, rule: Rule, spec: Specialty) -> Iterator[Row]:
    if isinstance(rule, CountedRule):
        for place, (code, at_most) in enumerate(rule.at_most.items(), start=1):
            yield ref, place, cap_kinds(code, spec)[0], code, at_most


def cap_kinds(code: str, spec: Specialty) -> list[str]:
    """What a code under `at_most` may stand for; exactly one of these in a file without faults."""
    sets: dict[str, Collection[str]] = {
        "role": spec.roles,
        "attribute": spec.attributes,
        "technique": spec.techniques,
        "procedure": spec.procedures,
        "procedure_group": spec.procedure_groups,
        "elsewhere": (ELSEWHERE,),
    }
    return [kind for kind, codes in sets.items() if code in codes]


def _attributes(ref: str, rule: Rule) -> Iterator[Row]:
    for need in ("all", "any", "none"):
        for attribute in getattr(rule.attributes, need):
            yield ref, attribute, need


def _outcomes_and_steps(spec: Specialty) -> dict[str, list[Row]]:
    outcomes = enumerate(spec.complications.items(), start=1)
    steps = [(step, phase) for phase, names in spec.steps.items() for step in names]
    return {
        "complication": [
            (ref, each.title, each.groups[0], each.window_days, *_definition(each), place)
            for place, (ref, each) in outcomes
        ],
        "complication_group": [
            (ref, group) for ref, each in spec.complications.items() for group in each.groups
        ],
        "risk_weight": [
            (ref, factor, weight, each.source, each.verified)
            for ref, each in spec.risk_weights.items()
            for factor, weight in each.log_odds.items()
        ],
        "step": [
            (step, step.replace("_", " ").capitalize(), phase, place)
            for place, (step, phase) in enumerate(steps, start=1)
        ],
    }


def _definition(outcome: Complication) -> Row:
    return (outcome.definition, outcome.source, outcome.verified)


def _milestones(spec: Specialty) -> dict[str, list[Row]]:
    if spec.milestones is None:
        return {name: [] for name in COLUMNS if name.startswith("milestone")}
    items = spec.milestones.items
    return {
        "milestone_framework": [(spec.milestones.framework, spec.milestones.official)],
        "milestone_level": [(level, place) for place, level in enumerate(spec.milestones.levels, start=1)],
        "milestone": _titled({ref: item.title for ref, item in items.items()}),
        "milestone_rule": [
            _milestone_rule(ref, level, number, rule)
            for ref, item in items.items()
            for level, rules in item.rules.items()
            for number, rule in enumerate(rules, start=1)
        ],
    }


def _milestone_rule(ref: str, level: str, number: int, rule: MilestoneRule) -> Row:
    about = (rule.requirement, rule.complication, rule.attribution, rule.group, rule.level, rule.step)
    return (
        ref,
        level,
        number,
        rule.measure,
        *about,
        rule.at_least,
        rule.at_most,
        rule.last_cases,
        rule.last_quarters,
    )
