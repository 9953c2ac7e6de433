"""The faults of a specialty file that its schema cannot see: names that lead nowhere, rules beyond counting."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator

from pipelines.specialty.model import (
    LATEST_KEYS,
    MEASURE_KEYS,
    NOT_ASSESSABLE,
    OTHER,
    MilestoneRule,
    Requirement,
    Specialty,
)

Fault = tuple[str, str]  # path inside the file; what is wrong and what is allowed

COUNTABLE_UNITS = ("procedure", "operation")


def specialty_faults(spec: Specialty) -> list[Fault]:
    """Every fault of a specialty that the schema alone cannot see, in the order of the file."""
    return [
        *_role_faults(spec),
        *_supervision_faults(spec),
        *_procedure_faults(spec),
        *_requirement_faults(spec),
        *_complication_faults(spec),
        *_risk_faults(spec),
        *_step_faults(spec),
        *_milestone_faults(spec),
    ]


def _unknown(path: str, named: Iterable[str], allowed: Iterable[str], what: str) -> Iterator[Fault]:
    known = list(allowed)
    choice = f"Use one of: {', '.join(known)}" if known else "The file names none"
    for name in named:
        if name not in known:
            yield path, f'"{name}" is not {what} of this file. {choice}'


def _twice(path: str, names: Iterable[str]) -> Iterator[Fault]:
    for name, times in Counter(names).items():
        if times > 1:
            yield path, f'"{name}" is named {times} times; once is allowed'


def _role_faults(spec: Specialty) -> Iterator[Fault]:
    if not spec.operating_roles:
        yield "roles", "no role operates; mark one with operating: true, since rates are counted by it"
    for ref, role in spec.roles.items():
        if role.operating and role.teaching:
            yield f"roles.{ref}", "a role is operating or teaching, not both"


def _supervision_faults(spec: Specialty) -> Iterator[Fault]:
    for level, told in spec.supervision.items():
        path = f"supervision.{level}.roles"
        yield from _unknown(path, told.roles, spec.roles, "a role")
        yield from _twice(path, told.roles)


def _procedure_faults(spec: Specialty) -> Iterator[Fault]:
    for code, procedure in spec.procedures.items():
        yield from _unknown(
            f"procedures.{code}.group", [procedure.group], spec.procedure_groups, "a procedure group"
        )


def _requirement_faults(spec: Specialty) -> Iterator[Fault]:
    for ref, requirement in spec.requirements.items():
        path = f"requirements.{ref}"
        yield from _kind_faults(path, requirement)
        yield from _uncountable(path, requirement)
        yield from _reference_faults(path, requirement, spec)
        yield from _lineage_faults(path, ref, spec)
        yield from _cohort_faults(path, requirement)


def _kind_faults(path: str, rule: Requirement) -> Iterator[Fault]:
    kinds = [rule.minimum is not None, rule.consecutive is not None, rule.sign_off]
    if sum(kinds) != 1:
        yield path, "a requirement has exactly one of: minimum, consecutive, sign_off: true"
    if rule.sign_off:
        return
    if not rule.procedures:
        yield f"{path}.procedures", "is missing or empty; name at least one procedure"
    if not rule.roles:
        yield f"{path}.roles", "is missing or empty; name at least one role"
    if rule.is_counted and rule.edition is None:
        yield f"{path}.edition", "is missing; say which edition of the document the minimum comes from"


def _uncountable(path: str, rule: Requirement) -> Iterator[Fault]:
    # Counting such a rule as if the key were not there would give a wrong number without a word.
    if rule.unit not in COUNTABLE_UNITS:
        yield (
            f"{path}.unit",
            f'this version cannot count the unit "{rule.unit}" yet. Use one of: {", ".join(COUNTABLE_UNITS)}',
        )
    if rule.principal_only:
        yield f"{path}.principal_only", "this version cannot count principal procedures alone yet. Use false"
    if rule.at_most:
        yield f"{path}.at_most", "this version cannot count with a cap yet. Leave it out, or empty: {}"


def _reference_faults(path: str, rule: Requirement, spec: Specialty) -> Iterator[Fault]:
    needs = rule.attributes
    lists: list[tuple[str, list[str], Iterable[str], str]] = [
        ("procedures", rule.procedures, spec.procedures, "a procedure"),
        ("roles", rule.roles, spec.roles, "a role"),
        ("exclusive", rule.exclusive, spec.roles, "a role"),
        ("stages", rule.stages, spec.stages, "a stage"),
        ("attributes.all", needs.all, spec.attributes, "an attribute"),
        ("attributes.any", needs.any, spec.attributes, "an attribute"),
        ("attributes.none", needs.none, spec.attributes, "an attribute"),
    ]
    for key, named, allowed, what in lists:
        yield from _unknown(f"{path}.{key}", named, allowed, what)
        yield from _twice(f"{path}.{key}", named)


def _lineage_faults(path: str, ref: str, spec: Specialty) -> Iterator[Fault]:
    rule = spec.requirements[ref]
    for key, other in (("part_of", rule.part_of), ("replaces", rule.replaces)):
        if other is None:
            continue
        yield from _unknown(f"{path}.{key}", [other], spec.requirements, "a requirement")
        if ref in _ancestors(ref, key, spec):
            yield f"{path}.{key}", f'leads back to "{ref}" itself'


def _ancestors(ref: str, key: str, spec: Specialty) -> list[str]:
    """The requirements that `key` leads to from `ref`, one after the other, until it ends or repeats."""
    found: list[str] = []
    other = getattr(spec.requirements[ref], key)
    while other in spec.requirements and other not in found:
        found.append(other)
        other = getattr(spec.requirements[other], key)
    return found


def _cohort_faults(path: str, rule: Requirement) -> Iterator[Fault]:
    first, last = rule.cohorts.first, rule.cohorts.last
    if first is not None and last is not None and first > last:
        yield f"{path}.cohorts", f"from {first} lies after to {last}; give the earlier year first"


def _complication_faults(spec: Specialty) -> Iterator[Fault]:
    for code, complication in spec.complications.items():
        path = f"complications.{code}.group"
        yield from _unknown(path, [complication.group], spec.procedure_groups, "a procedure group")
    if "none" in spec.complications:
        yield "complications.none", 'the word "none" means that nothing happened; use another code'
    if OTHER in spec.complications:
        what = f'the word "{OTHER}" means that something happened which has no code; use another code'
        yield f"complications.{OTHER}", what


def _risk_faults(spec: Specialty) -> Iterator[Fault]:
    yield from _unknown("risk_weights", spec.risk_weights, spec.complications, "a complication")
    for code, weights in spec.risk_weights.items():
        yield from _unknown(
            f"risk_weights.{code}.log_odds", weights.log_odds, spec.risk_factors, "a risk factor"
        )


def _step_faults(spec: Specialty) -> Iterator[Fault]:
    yield from _twice("steps", (step for steps in spec.steps.values() for step in steps))
    for section in ("attributes", "risk_factors"):
        if "none" in getattr(spec, section):
            yield f"{section}.none", 'the word "none" means that none holds; use another code'


def _milestone_faults(spec: Specialty) -> Iterator[Fault]:
    if spec.milestones is None:
        return
    levels = spec.milestones.levels
    # Cells of an export match regardless of case, so a and A would be one level.
    yield from _twice("milestones.levels", [level.lower() for level in levels])
    if NOT_ASSESSABLE in [level.lower() for level in levels]:
        yield "milestones.levels", f'"{NOT_ASSESSABLE}" is always there; leave it out of the list'
    for ref, item in spec.milestones.items.items():
        path = f"milestones.items.{ref}.rules"
        yield from _unknown(path, item.rules, levels, "a level")
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
            yield from _unknown(f"{path}.{key}", [named], allowed, what)


def _threshold_faults(path: str, rule: MilestoneRule) -> Iterator[Fault]:
    highest = {"supervision_share": 1, "score_mean": 5}.get(rule.measure)
    if highest is not None and rule.at_least is not None and rule.at_least > highest:
        yield f"{path}.at_least", f"a {rule.measure} is never above {highest}"
