"""A specialty file (YAML) of one specialty: read, and given as the codes and words that cells of an export may hold."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache, lru_cache
from pathlib import Path
from typing import Any, get_args

import yaml
from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from pipelines.contract.errors import WrongUsage
from pipelines.contract.formats import FORMAT_CODES
from pipelines.specialty.faults import Fault, specialty_faults
from pipelines.specialty.model import (
    CODE_PATTERN,
    KINDS,
    NOT_ASSESSABLE,
    OTHER,
    Requirement,
    Specialty,
)
from pipelines.specialty.of_which import of_which_faults, with_of_which

__all__ = [
    "Specialty",
    "all_codes",
    "code_sets",
    "load_specialty",
    "parse_specialty",
    "shipped_specialties",
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
    _stop_at(file_name, list(of_which_faults(spec)))
    spec = with_of_which(spec)
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
    path = ".".join(steps[:2] + steps[3:] if _is_of_a_kind(steps) else steps)
    given = fault.get("ctx", {})
    kind = fault["type"]
    if (
        kind in ("missing", "extra_forbidden")
        and _is_of_a_kind(steps)
        and steps[3:] in [[key] for key in KINDS]
    ):
        return ".".join(steps[:2]), f"a requirement has exactly one of: {_kinds_in_words()}"
    if kind == "extra_forbidden":
        return path, f"unknown key. Allowed here: {', '.join(_keys_beside(steps))}"
    if kind == "missing":
        return path, "is missing and required"
    if kind == "string_pattern_mismatch" and given["pattern"] != CODE_PATTERN:
        return path, "must be a month, such as 2024-07"
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


def _is_of_a_kind(steps: list[str]) -> bool:
    """Whether the third step names the kind of a requirement, which the file does not have there."""
    return steps[:1] == ["requirements"] and len(steps) > 3


def _kinds_in_words() -> str:
    return ", ".join("sign_off: true" if key == "sign_off" else key for key in KINDS)


def _keys_beside(steps: list[str]) -> list[str]:
    """The keys that may stand where `steps` leads: the fields of the model there, by which a kind is told first."""
    current: Any = Specialty
    for step in steps[:-1]:
        current = _inside(current, step)
    names = [field.alias or name for name, field in current.model_fields.items()]
    return [
        *names[:1],
        *(name for name in names[1:] if name in KINDS),
        *(name for name in names[1:] if name not in KINDS),
    ]


@cache
def _inside(kind: Any, step: str) -> Any:
    """The model that stands at `step` of a model, or that a type of many (dict, list) is made of."""
    annotation = kind
    if kind is Requirement:
        return KINDS[step]
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
    """What logs write for the codes, by the name of their set: titles, the words under `also`, other systems' codes."""
    milestones = spec.milestones.items if spec.milestones else {}
    return {
        **{
            name: {code: [each.title, *each.also] for code, each in getattr(spec, name).items()}
            for name in ("roles", "supervision", "attributes", "complications")
        },
        "procedures": {
            code: [each.title, *each.also, *(other for codes in each.codes.values() for other in codes)]
            for code, each in spec.procedures.items()
        },
        **{
            name: {code: [title] for code, title in getattr(spec, name).items()}
            for name in ("stages", "techniques", "risk_factors")
        },
        "requirements": {ref: [rule.title] for ref, rule in spec.requirements.items()},
        "milestones": {ref: [item.title] for ref, item in milestones.items()},
    }
