"""A specialty file (YAML) of one specialty: read, and given as codes for the cells of an export and as tables for the SQL."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from functools import cache, lru_cache
from pathlib import Path
from typing import Any, get_args

import pyarrow as pa
import yaml
from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from pipelines.contract.errors import WrongUsage
from pipelines.contract.formats import FORMAT_CODES
from pipelines.specialty.faults import Fault, specialty_faults
from pipelines.specialty.model import (
    NOT_ASSESSABLE,
    OTHER,
    Complication,
    MilestoneRule,
    Requirement,
    Specialty,
)

__all__ = [
    "Specialty",
    "all_codes",
    "code_sets",
    "load_specialty",
    "parse_specialty",
    "shipped_specialties",
    "specialty_tables",
    "specialty_text",
    "spoken_words",
]

TEXT = "tag:yaml.org,2002:str"
SHIPPED = Path(__file__).parents[1] / "specialties"


# The same loader in C, where the library was built with it: ten times as quick.
QUICK_LOADER: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)


def shipped_specialties() -> list[str]:
    return sorted(path.stem for path in SHIPPED.glob("*.yaml"))


def load_specialty(name_or_path: str | Path) -> Specialty:
    """The specialty of a shipped name or of a file; WrongUsage has one line a fault."""
    return parse_specialty(specialty_text(name_or_path), _location(name_or_path).name)


def specialty_text(name_or_path: str | Path) -> bytes:
    """The file as it is, for copying into a store."""
    path = _location(name_or_path)
    try:
        return path.read_bytes()
    except OSError as error:
        shipped = ", ".join(shipped_specialties())
        raise WrongUsage(
            f"{name_or_path}: the specialty file cannot be read ({error.strerror}). "
            f"Give the path of a YAML file, or one of the shipped names: {shipped}"
        ) from None


def _location(name_or_path: str | Path) -> Path:
    name = str(name_or_path)
    return SHIPPED / f"{name}.yaml" if name in shipped_specialties() else Path(name)


@lru_cache(maxsize=8)
def parse_specialty(text: bytes, file_name: str) -> Specialty:
    """The specialty that `text` holds; `file_name` is for the messages of WrongUsage alone."""
    node = _compose(text, file_name)
    _stop_at(file_name, list(_key_faults(node, "", set())))
    content = yaml.SafeLoader("").construct_document(node)
    if not isinstance(content, dict):
        raise WrongUsage(f"{file_name}: not a specialty file: its top level must be keys with values")
    try:
        spec = Specialty.model_validate(content)
    except ValidationError as error:
        # Without their input: a message never quotes more of a file than its own path.
        _stop_at(file_name, [_in_plain_words(fault) for fault in error.errors(include_url=False)])
        raise
    _stop_at(file_name, specialty_faults(spec))
    return spec


def _stop_at(file_name: str, faults: list[Fault]) -> None:
    if faults:
        raise WrongUsage("\n".join(f"{file_name}: {path}: {what}" for path, what in faults))


def _compose(text: bytes, file_name: str) -> Any:
    try:
        node = yaml.compose(text.decode("utf-8-sig"), Loader=QUICK_LOADER)
        if node is not None:
            # Dates that do not exist and the like show only here.
            yaml.SafeLoader("").construct_document(node)
    except UnicodeDecodeError:
        raise WrongUsage(f"{file_name}: not UTF-8 text; save it as UTF-8") from None
    except (yaml.YAMLError, ValueError, TypeError, RecursionError) as error:
        raise WrongUsage(f"{file_name}: not readable as YAML: {' '.join(str(error).split())}") from None
    if node is None:
        raise WrongUsage(f"{file_name}: the file is empty")
    return node


def _key_faults(node: yaml.Node, path: str, seen: set[int]) -> Iterator[Fault]:
    """The loader lets the last of two equal keys win; here the second is a fault."""
    if id(node) in seen:  # an anchor used again
        return
    seen.add(id(node))
    if isinstance(node, yaml.SequenceNode):
        for number, item in enumerate(node.value):
            yield from _key_faults(item, f"{path}.{number}".lstrip("."), seen)
    if isinstance(node, yaml.MappingNode):
        names: set[str] = set()
        for key, value in node.value:
            name = str(key.value)
            here = f"{path}.{name}".lstrip(".")
            line = key.start_mark.line + 1
            if key.tag != TEXT:  # `no` is read as false, 12 as a number
                yield here, f"a key must be text (line {line}); put it in quotes"
            if name in names:
                yield here, f"this key stands twice (line {line}); once is allowed"
            names.add(name)
            yield from _key_faults(value, here, seen)


def _in_plain_words(fault: ErrorDetails) -> Fault:
    steps = [str(step) for step in fault["loc"] if step != "[key]"]
    path = ".".join(steps)
    given = fault.get("ctx", {})
    kind = fault["type"]
    if kind == "extra_forbidden":
        return path, f"unknown key. Allowed here: {', '.join(_keys_beside(steps))}"
    if kind == "missing":
        return path, "is missing and required"
    if kind == "string_pattern_mismatch":
        return path, "a code must be lower-case letters a-z, digits and _"
    if kind == "model_type" and steps[-2:-1] in (["roles"], ["attributes"]):
        return path, "must be text, or a mapping with a title; put a number, a date or yes/no in quotes"
    if kind == "string_type":
        return path, "must be text; put a number, a date or yes/no in quotes"
    if kind == "string_too_short":
        return path, "must not be empty"
    if kind == "literal_error":
        return path, f"is not allowed. Use one of: {given['expected']}"
    return path, re.sub(r"^Input s", "s", fault["msg"])


def _keys_beside(steps: list[str]) -> list[str]:
    """The keys that may stand where `steps` leads: the fields of the model there."""
    current: Any = Specialty
    for step in steps[:-1]:
        current = _inside(current, step)
    return [field.alias or name for name, field in current.model_fields.items()]


@cache
def _inside(kind: Any, step: str) -> Any:
    """The model that stands at `step` of a model, or that a type of many (dict, list) is made of."""
    annotation = kind
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        fields = {field.alias or name: field for name, field in kind.model_fields.items()}
        annotation = fields[step].annotation
    elif get_args(kind):
        annotation = get_args(kind)[-1]
    return _without_none(annotation)


def _without_none(annotation: Any) -> Any:
    kinds = [each for each in get_args(annotation) if each is not type(None)]
    return kinds[0] if len(kinds) == 1 and type(None) in get_args(annotation) else annotation


def code_sets(spec: Specialty) -> dict[str, list[str]]:
    """The codes that cells of an export may hold, by the name of their set, in the order of the file."""
    milestones = spec.milestones
    return {
        "roles": list(spec.roles),
        "supervision": list(spec.supervision),
        "stages": list(spec.stages),
        "techniques": list(spec.techniques),
        "attributes": list(spec.attributes),
        "risk_factors": list(spec.risk_factors),
        "complications": [*spec.complications, OTHER],
        "procedures": list(spec.procedures),
        "requirements": list(spec.requirements),
        "steps": [step for steps in spec.steps.values() for step in steps],
        "milestones": list(milestones.items) if milestones else [],
        "milestone_levels": [*(milestones.levels if milestones else []), NOT_ASSESSABLE],
    }


def all_codes(spec: Specialty) -> dict[str, list[str]]:
    """Every set of codes that a column may draw from: the format's own and the specialty's."""
    return {**{name: list(codes) for name, codes in FORMAT_CODES.items()}, **code_sets(spec)}


def spoken_words(spec: Specialty) -> dict[str, dict[str, list[str]]]:
    """What logs write for the codes, by the name of their set: titles, and the words under `also`."""
    milestones = spec.milestones.items if spec.milestones else {}
    return {
        **{
            name: {code: [each.title, *each.also] for code, each in getattr(spec, name).items()}
            for name in ("roles", "supervision", "attributes", "procedures", "complications")
        },
        **{
            name: {code: [title] for code, title in getattr(spec, name).items()}
            for name in ("stages", "techniques", "risk_factors")
        },
        "requirements": {ref: [rule.title] for ref, rule in spec.requirements.items()},
        "milestones": {ref: [item.title] for ref, item in milestones.items()},
    }


# One generic form for the rules of every specialty.

Row = tuple[Any, ...]

_TITLED = "title text, position int"
# Column and type, in order; an empty table keeps its types.
COLUMNS: dict[str, str] = {
    "procedure_group": f"procedure_group text, {_TITLED}",
    "procedure": "procedure text, title text, procedure_group text",
    "role": f"role text, {_TITLED}, operating bool, teaching bool",
    "supervision_level": "level_ref text, title text, level_rank int, band text",
    "supervision_role": "level_ref text, role text",
    "stage": f"stage text, {_TITLED}",
    "attribute": f"attribute text, {_TITLED}, patient bool",
    "requirement": "requirement_ref text, title text, minimum int, unit text, part_of text, elsewhere bool, "
    "cohort_from int, cohort_to int, edition text, source text, verified bool, "
    "reviewed_on text, replaces text, position int",
    "requirement_procedure": "requirement_ref text, procedure text",
    "requirement_role": "requirement_ref text, role text",
    "requirement_stage": "requirement_ref text, stage text",
    "requirement_attribute": "requirement_ref text, attribute text, need text",
    "complication": "complication_ref text, title text, procedure_group text, window_days int, "
    "definition text, source text, verified bool, position int",
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
        "requirement_procedure": [(ref, each) for ref, rule in rules.items() for each in rule.procedures],
        "requirement_role": [(ref, each) for ref, rule in rules.items() for each in rule.roles],
        "requirement_stage": [(ref, each) for ref, rule in rules.items() for each in rule.stages],
        "requirement_attribute": [row for ref, rule in rules.items() for row in _attributes(ref, rule)],
    }


def _parts_below(rules: dict[str, Requirement], whole: str | None = None) -> Iterator[str]:
    """Every requirement in the order of the file, its parts right below it."""
    for ref, rule in rules.items():
        if rule.part_of == whole:
            yield ref
            yield from _parts_below(rules, ref)


def _requirement(ref: str, rule: Requirement, place: int) -> Row:
    what = (ref, rule.title, rule.minimum, rule.unit if rule.is_counted else None, rule.part_of)
    which = (rule.elsewhere, rule.cohorts.first, rule.cohorts.last)
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
