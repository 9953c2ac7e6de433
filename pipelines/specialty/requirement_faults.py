"""What is wrong with the requirements of a specialty file, beyond its schema; and what is worth a second look."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator

from pipelines.specialty.model import CountedRule, Rule, Specialty
from pipelines.specialty.naming import Fault, named_twice, unknown
from pipelines.specialty.tables import cap_kinds, listed_procedures


def requirement_faults(spec: Specialty) -> Iterator[Fault]:
    """Every fault of every requirement, in the order of the file."""
    for ref, rule in spec.requirements.items():
        path = f"requirements.{ref}"
        yield from _missing(path, rule)
        yield from _reference_faults(path, rule, spec)
        yield from _month_faults(path, rule, spec)
        yield from _lineage_faults(path, ref, spec)
        yield from _cohort_faults(path, rule)
        if isinstance(rule, CountedRule):
            yield from _cap_faults(path, rule, spec)
            yield from _alternative_faults(path, ref, rule, spec)
            yield from _local_faults(path, rule)


def _missing(path: str, rule: Rule) -> Iterator[Fault]:
    if rule.is_of_cases and not (rule.procedures or rule.procedure_groups or rule.techniques):
        yield (
            f"{path}.procedures",
            "is missing or empty; name at least one procedure, or under procedure_groups a group, or a technique",
        )
    if rule.is_of_cases and not rule.roles:
        yield f"{path}.roles", "is missing or empty; name at least one role"
    if rule.is_counted and rule.edition is None:
        yield f"{path}.edition", "is missing; say which edition of the document the minimum comes from"


def _reference_faults(path: str, rule: Rule, spec: Specialty) -> Iterator[Fault]:
    needs = rule.attributes
    lists: list[tuple[str, list[str], Iterable[str], str]] = [
        ("procedures", rule.procedures, spec.procedures, "a procedure"),
        ("procedure_groups", rule.procedure_groups, spec.procedure_groups, "a procedure group"),
        ("techniques", rule.techniques, spec.techniques, "a technique"),
        ("roles", rule.roles, spec.roles, "a role"),
        ("exclusive", rule.exclusive, spec.roles, "a role"),
        ("stages", rule.stages, spec.stages, "a stage"),
        ("before_stage", _given(rule.before_stage), spec.stages, "a stage"),
        ("by_end_of_stage", _given(rule.by_end_of_stage), spec.stages, "a stage"),
        ("attributes.all", needs.all, spec.attributes, "an attribute"),
        ("attributes.any", needs.any, spec.attributes, "an attribute"),
        ("attributes.none", needs.none, spec.attributes, "an attribute"),
    ]
    for key, named, allowed, what in lists:
        yield from unknown(f"{path}.{key}", named, allowed, what)
        yield from named_twice(f"{path}.{key}", named)
    for code in needs.none:
        if code in needs.all:
            yield f"{path}.attributes", f'"{code}" stands under all and none: no case could count'


def _given(name: str | None) -> list[str]:
    return [name] if name is not None else []


def _month_faults(path: str, rule: Rule, spec: Specialty) -> Iterator[Fault]:
    listed = listed_procedures(rule, spec)
    for code, months in rule.procedure_months.items():
        if code not in listed:
            yield f"{path}.procedure_months", f'"{code}" is not among the procedures of this rule'
        if months.first is not None and months.last is not None and months.first > months.last:
            yield (
                f"{path}.procedure_months.{code}",
                f"from {months.first} lies after to {months.last}; give the earlier month first",
            )


def _lineage_faults(path: str, ref: str, spec: Specialty) -> Iterator[Fault]:
    rule = spec.requirements[ref]
    yield from named_twice(f"{path}.part_of", rule.part_of)
    for key, lead in (("part_of", _wholes), ("replaces", _replaced)):
        yield from unknown(f"{path}.{key}", lead(rule), spec.requirements, "a requirement")
        if ref in _ancestors(ref, lead, spec):
            yield f"{path}.{key}", f'leads back to "{ref}" itself'


def _wholes(rule: Rule) -> list[str]:
    return rule.part_of


def _replaced(rule: Rule) -> list[str]:
    return _given(rule.replaces)


def _ancestors(ref: str, lead: Callable[[Rule], list[str]], spec: Specialty) -> set[str]:
    """The requirements that `lead` leads to from `ref`, through all that it leads to."""
    found: set[str] = set()
    ahead = [*lead(spec.requirements[ref])]
    while ahead:
        other = ahead.pop()
        if other in spec.requirements and other not in found:
            found.add(other)
            ahead += lead(spec.requirements[other])
    return found


def _cohort_faults(path: str, rule: Rule) -> Iterator[Fault]:
    first, last = rule.cohorts.first, rule.cohorts.last
    if first is not None and last is not None and first > last:
        yield f"{path}.cohorts", f"from {first} lies after to {last}; give the earlier year first"


def _cap_faults(path: str, rule: CountedRule, spec: Specialty) -> Iterator[Fault]:
    for code in rule.at_most:
        kinds = [kind.replace("_", " ") for kind in cap_kinds(code, spec)]
        if not kinds:
            yield (
                f"{path}.at_most",
                f'"{code}" is not a role, attribute, technique, procedure or procedure group of this file, nor elsewhere',
            )
        if len(kinds) > 1:
            yield (
                f"{path}.at_most",
                f'"{code}" may be a {" or a ".join(kinds)}; give one of them another code',
            )


def _alternative_faults(path: str, ref: str, rule: CountedRule, spec: Specialty) -> Iterator[Fault]:
    if rule.either_or is None:
        return
    others = [
        other
        for other, each in spec.requirements.items()
        if other != ref and isinstance(each, CountedRule) and each.either_or == rule.either_or
    ]
    if not others:
        yield f"{path}.either_or", f'no other requirement says "{rule.either_or}"; at least two must'


def _local_faults(path: str, rule: CountedRule) -> Iterator[Fault]:
    if rule.local_minimum is None:
        return
    if rule.local:
        yield f"{path}.local_minimum", "the rule is local as a whole; put the number under minimum"
    if rule.local_minimum.minimum < rule.minimum:
        yield (
            f"{path}.local_minimum.minimum",
            f"is below the published minimum {rule.minimum}, which nobody may lower; give a higher one",
        )


def requirement_remarks(spec: Specialty) -> list[Fault]:
    """What may be meant so, and often is not: path and what to look at."""
    return [
        remark
        for ref, rule in spec.requirements.items()
        for remark in (*_parts_apart(ref, rule, spec), *_idle_caps(ref, rule, spec))
    ]


def _parts_apart(ref: str, rule: Rule, spec: Specialty) -> Iterator[Fault]:
    own = set(listed_procedures(rule, spec))
    for whole in rule.part_of:
        of_whole = set(listed_procedures(spec.requirements[whole], spec))
        if own and of_whole and not own & of_whole:
            yield f"requirements.{ref}.part_of", f'shares no procedure with its whole "{whole}"'


def _idle_caps(ref: str, rule: Rule, spec: Specialty) -> Iterator[Fault]:
    for code in rule.at_most if isinstance(rule, CountedRule) else ():
        if cap_kinds(code, spec) == ["role"] and code not in rule.roles:
            yield f"requirements.{ref}.at_most", f'caps the role "{code}", which the rule does not count'
