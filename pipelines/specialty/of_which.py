"""`of_which` of a rule: each becomes a requirement of its own, a part of the rule, that narrows what the rule counts."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from pipelines.specialty.model import CountedRule, OfWhich, Requirement, Specialty


def of_which_faults(spec: Specialty) -> Iterator[tuple[str, str]]:
    """A part that goes by the code of another requirement."""
    taken = set(spec.requirements)
    for ref, rule in spec.requirements.items():
        for part in rule.of_which if isinstance(rule, CountedRule) else ():
            if part in taken:
                yield f"requirements.{ref}.of_which.{part}", "another requirement has this code; use another"
            taken.add(part)


def with_of_which(spec: Specialty) -> Specialty:
    """The specialty with every part written out, right after the rule that holds it."""
    rules: dict[str, Requirement] = {}
    for ref, rule in spec.requirements.items():
        rules[ref] = rule
        if isinstance(rule, CountedRule):
            rules |= {part: _written_out(ref, rule, own) for part, own in rule.of_which.items()}
    return spec.model_copy(update={"requirements": rules})


def _written_out(ref: str, rule: CountedRule, own: OfWhich) -> CountedRule:
    """A technique narrows the procedures of the rule; procedures and groups take their place."""
    said = {name: getattr(own, name) for name in own.model_fields_set if getattr(own, name) is not None}
    if "procedures" in said or "procedure_groups" in said:
        said = {"procedures": own.procedures, "procedure_groups": own.procedure_groups, **said}
    # A cap on a role that the part leaves out says nothing of it.
    roles = said.get("roles", rule.roles)
    caps = {code: most for code, most in rule.at_most.items() if code in roles or code not in rule.roles}
    alone: dict[str, Any] = {"of_which": {}, "either_or": None, "local_minimum": None, "replaces": None}
    return rule.model_copy(update={**alone, "at_most": caps, **said, "part_of": [ref]})
