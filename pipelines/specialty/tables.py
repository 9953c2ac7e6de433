"""A specialty as the tables that the SQL reads: one generic form for the rules of every specialty."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

import pyarrow as pa

from pipelines.specialty.model import Complication, MilestoneRule, Requirement, Specialty

Row = tuple[Any, ...]

_TITLED = "title text, position int"
# Column and type, in order; an empty table keeps its types.
COLUMNS: dict[str, str] = {
    "procedure_group": f"procedure_group text, {_TITLED}",
    "procedure": "procedure text, title text, procedure_group text",
    "role": f"role text, {_TITLED}",
    "supervision_level": "level_ref text, title text, level_rank int, band text",
    "supervision_role": "level_ref text, role text",
    "stage": f"stage text, {_TITLED}",
    "technique": f"technique text, {_TITLED}",
    "attribute": f"attribute text, {_TITLED}",
    "risk_factor": f"risk_factor text, {_TITLED}",
    "requirement": "requirement_ref text, title text, minimum int, unit text, part_of text, elsewhere bool, "
    "principal_only bool, cohort_from int, cohort_to int, edition text, source text, verified bool, "
    "reviewed_on text, replaces text, position int",
    "requirement_procedure": "requirement_ref text, procedure text",
    "requirement_role": "requirement_ref text, role text",
    "requirement_stage": "requirement_ref text, stage text",
    "requirement_attribute": "requirement_ref text, attribute text, need text",
    "complication": "complication_ref text, title text, procedure_group text, window_days int, "
    "definition text, source text, verified bool, position int",
    "step": "step text, title text, phase text, position int",
    "milestone_framework": "framework text, official bool",
    "milestone_level": "level text, position int",
    "milestone": "milestone_ref text, title text, position int",
    "milestone_rule": "milestone_ref text, level text, rule_number int, measure text, requirement_ref text, "
    "complication_ref text, attribution text, procedure_group text, level_ref text, step text, "
    "at_least double, at_most double",
}
_TYPES = {"text": pa.string(), "int": pa.int32(), "bool": pa.bool_(), "double": pa.float64()}


def specialty_tables(spec: Specialty) -> dict[str, pa.Table]:
    """Table name → rows; `position` counts from 1 in the order of the file."""
    rows = {**_vocabulary(spec), **_requirements(spec), **_outcomes_and_steps(spec), **_milestones(spec)}
    return {name: _table(name, rows[name]) for name in COLUMNS}


def table_schema(name: str) -> pa.Schema:
    pairs = [column.split() for column in COLUMNS[name].split(", ")]
    return pa.schema([(column, _TYPES[kind]) for column, kind in pairs])


def _table(name: str, rows: Iterable[Row]) -> pa.Table:
    schema = table_schema(name)
    return pa.Table.from_pylist([dict(zip(schema.names, row, strict=True)) for row in rows], schema=schema)


def _titled(titles: dict[str, str]) -> list[Row]:
    return [(code, title, place) for place, (code, title) in enumerate(titles.items(), start=1)]


def _vocabulary(spec: Specialty) -> dict[str, list[Row]]:
    levels = list(enumerate(spec.supervision.items(), start=1))
    return {
        "procedure_group": _titled(spec.procedure_groups),
        "procedure": [(code, each.title, each.group) for code, each in spec.procedures.items()],
        "role": _titled(spec.roles),
        "supervision_level": [(ref, level.title, rank, level.band) for rank, (ref, level) in levels],
        "supervision_role": [(ref, role) for _, (ref, level) in levels for role in level.roles],
        "stage": _titled(spec.stages),
        "technique": _titled(spec.techniques),
        "attribute": _titled(spec.attributes),
        "risk_factor": _titled(spec.risk_factors),
    }


def _requirements(spec: Specialty) -> dict[str, list[Row]]:
    rules = spec.requirements
    return {
        "requirement": [
            _requirement(ref, rule, place) for place, (ref, rule) in enumerate(rules.items(), start=1)
        ],
        "requirement_procedure": [(ref, each) for ref, rule in rules.items() for each in rule.procedures],
        "requirement_role": [(ref, each) for ref, rule in rules.items() for each in rule.roles],
        "requirement_stage": [(ref, each) for ref, rule in rules.items() for each in rule.stages],
        "requirement_attribute": [row for ref, rule in rules.items() for row in _attributes(ref, rule)],
    }


def _requirement(ref: str, rule: Requirement, place: int) -> Row:
    what = (ref, rule.title, rule.minimum, rule.unit if rule.is_counted else None, rule.part_of)
    which = (rule.elsewhere, rule.principal_only, rule.cohorts.first, rule.cohorts.last)
    whence = (rule.edition, rule.source, rule.verified, rule.reviewed_on.isoformat(), rule.replaces)
    return (*what, *which, *whence, place)


def _attributes(ref: str, rule: Requirement) -> Iterator[Row]:
    for need in ("all", "any", "none"):
        for attribute in getattr(rule.attributes, need):
            yield ref, attribute, need


def _outcomes_and_steps(spec: Specialty) -> dict[str, list[Row]]:
    outcomes = enumerate(spec.complications.items(), start=1)
    steps = [(step, phase) for phase, names in spec.steps.items() for step in names]
    return {
        "complication": [
            (ref, each.title, each.group, each.window_days, *_definition(each), place)
            for place, (ref, each) in outcomes
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
    return (ref, level, number, rule.measure, *about, rule.at_least, rule.at_most)
