"""The faults of a specialty file that its schema cannot see: names that lead nowhere, rules beyond counting."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from pipelines.specialty.model import (
    LATEST_KEYS,
    MEASURE_KEYS,
    NOT_ASSESSABLE,
    OTHER,
    MilestoneRule,
    Specialty,
)
from pipelines.specialty.naming import Fault, named_twice, unknown
from pipelines.specialty.requirement_faults import requirement_faults

__all__ = ["Fault", "specialty_faults"]


def specialty_faults(spec: Specialty) -> list[Fault]:
    """Every fault of a specialty that the schema alone cannot see, in the order of the file."""
    return [
        *_role_faults(spec),
        *_supervision_faults(spec),
        *_procedure_faults(spec),
        *requirement_faults(spec),
        *_complication_faults(spec),
        *_risk_faults(spec),
        *_step_faults(spec),
        *_milestone_faults(spec),
    ]


def _role_faults(spec: Specialty) -> Iterator[Fault]:
    if not spec.operating_roles:
        yield "roles", "no role operates; mark one with operating: true, since rates are counted by it"
    for ref, role in spec.roles.items():
        if role.operating and role.teaching:
            yield f"roles.{ref}", "a role is operating or teaching, not both"


def _supervision_faults(spec: Specialty) -> Iterator[Fault]:
    for level, told in spec.supervision.items():
        path = f"supervision.{level}.roles"
        yield from unknown(path, told.roles, spec.roles, "a role")
        yield from named_twice(path, told.roles)


def _procedure_faults(spec: Specialty) -> Iterator[Fault]:
    for code, procedure in spec.procedures.items():
        yield from unknown(
            f"procedures.{code}.group", [procedure.group], spec.procedure_groups, "a procedure group"
        )
        path = f"procedures.{code}.also_in"
        yield from unknown(path, procedure.also_in, spec.procedure_groups, "a procedure group")
        yield from named_twice(path, [procedure.group, *procedure.also_in])


def _complication_faults(spec: Specialty) -> Iterator[Fault]:
    for code, complication in spec.complications.items():
        path = f"complications.{code}.group"
        yield from unknown(path, complication.groups, spec.procedure_groups, "a procedure group")
        yield from named_twice(path, complication.groups)
    if "none" in spec.complications:
        yield "complications.none", 'the word "none" means that nothing happened; use another code'
    if OTHER in spec.complications:
        what = f'the word "{OTHER}" means that something happened which has no code; use another code'
        yield f"complications.{OTHER}", what


def _risk_faults(spec: Specialty) -> Iterator[Fault]:
    yield from unknown("risk_weights", spec.risk_weights, spec.complications, "a complication")
    for code, weights in spec.risk_weights.items():
        yield from unknown(
            f"risk_weights.{code}.log_odds", weights.log_odds, spec.risk_factors, "a risk factor"
        )


def _step_faults(spec: Specialty) -> Iterator[Fault]:
    yield from named_twice("steps", (step for steps in spec.steps.values() for step in steps))
    for section in ("attributes", "risk_factors"):
        if "none" in getattr(spec, section):
            yield f"{section}.none", 'the word "none" means that none holds; use another code'


def _milestone_faults(spec: Specialty) -> Iterator[Fault]:
    if spec.milestones is None:
        return
    levels = spec.milestones.levels
    # Cells of an export match regardless of case, so a and A would be one level.
    yield from named_twice("milestones.levels", [level.lower() for level in levels])
    if NOT_ASSESSABLE in [level.lower() for level in levels]:
        yield "milestones.levels", f'"{NOT_ASSESSABLE}" is always there; leave it out of the list'
    for ref, item in spec.milestones.items.items():
        path = f"milestones.items.{ref}.rules"
        yield from unknown(path, item.rules, levels, "a level")
        for level, rules in item.rules.items():
            for number, rule in enumerate(rules):
                yield from _rule_faults(f"{path}.{level}.{number}", rule, spec)


def _rule_faults(path: str, rule: MilestoneRule, spec: Specialty) -> Iterator[Fault]:
    needed = MEASURE_KEYS[rule.measure]
    given = {key for key in rule.model_fields_set if key != "measure" and getattr(rule, key) is not None}
    latest = given & set(LATEST_KEYS)
    if latest and rule.measure == "counted_cases":
        yield path, f"counted cases are counted from the beginning; leave {' and '.join(sorted(latest))} out"
        return
    if len(latest) > 1:
        yield path, f"a rule looks at {' or '.join(LATEST_KEYS)}, not both"
        return
    if given - latest != set(needed):
        yield path, f"the measure {rule.measure} takes exactly the keys {', '.join(needed)}"
        return
    yield from _measure_faults(path, rule, spec)
    yield from _threshold_faults(path, rule)


def _measure_faults(path: str, rule: MilestoneRule, spec: Specialty) -> Iterator[Fault]:
    counted = [ref for ref, each in spec.requirements.items() if each.is_counted]
    steps = [step for group in spec.steps.values() for step in group]
    references: list[tuple[str, str | None, Iterable[str], str]] = [
        ("requirement", rule.requirement, counted, "a counted requirement"),
        ("complication", rule.complication, spec.complications, "a complication"),
        ("group", rule.group, spec.procedure_groups, "a procedure group"),
        ("level", rule.level, spec.supervision, "a supervision level"),
        ("step", rule.step, steps, "a step"),
    ]
    for key, named, allowed, what in references:
        if named is not None:
            yield from unknown(f"{path}.{key}", [named], allowed, what)


def _threshold_faults(path: str, rule: MilestoneRule) -> Iterator[Fault]:
    highest = {"supervision_share": 1, "score_mean": 5}.get(rule.measure)
    if highest is not None and rule.at_least is not None and rule.at_least > highest:
        yield f"{path}.at_least", f"a {rule.measure} is never above {highest}"
