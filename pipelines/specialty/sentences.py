"""Each rule of a specialty as one plain sentence, for a reader who must say whether it is right."""

from __future__ import annotations

import math

from pipelines.contract.attributions import ATTRIBUTIONS
from pipelines.contract.cautions import TO_BE_CONFIRMED
from pipelines.specialty.model import (
    Cohorts,
    Complication,
    MilestoneRule,
    Milestones,
    Requirement,
    RiskWeights,
    Specialty,
)

ATTRIBUTE_WORDS = {
    "all": "only if all of these hold",
    "any": "only if one of these holds",
    "none": "not if one of these holds",
}


def rule_sentences(spec: Specialty) -> list[str]:
    """What is operated by whom, the requirements, the complications, what each milestone asks, as in the file."""
    rules = [roles_sentence(spec), *(requirement_sentence(ref, spec) for ref in spec.requirements)]
    rules += [complication_sentence(ref, each, spec) for ref, each in spec.complications.items()]
    rules += [risk_sentence(ref, each, spec) for ref, each in spec.risk_weights.items()]
    return rules + (milestone_sentences(spec.milestones, spec) if spec.milestones else [])


def roles_sentence(spec: Specialty) -> str:
    """Whose cases enter rates and shares of supervision."""
    operating = _any_of([spec.roles[ref].title for ref in spec.operating_roles])
    teaching = [role.title for role in spec.roles.values() if role.teaching]
    parts = [f"rates and supervision: cases as {operating}"]
    if teaching:
        parts.append(f"a takeover in a case as {_any_of(teaching)} is somebody else's")
    if models := [each.title for each in spec.attributes.values() if not each.patient]:
        parts.append(f"in no rate and no share of supervision: {', '.join(models)}")
    return f"Operating roles: {'; '.join(parts)}."


def requirement_sentence(ref: str, spec: Specialty) -> str:
    rule = spec.requirements[ref]
    parts = [_demand(rule, spec), *_conditions(rule, spec), *_origin(rule)]
    return f"{rule.title} ({ref}): {'; '.join(parts)}."


def complication_sentence(ref: str, outcome: Complication, spec: Specialty) -> str:
    group = spec.procedure_groups[outcome.group]
    when = f"within {outcome.window_days} days" if outcome.window_days else "in the operation, always due"
    definition = outcome.definition.rstrip(".")
    parts = [f"counted for {group}, {when}", f"defined as: {definition}", f"source: {outcome.source}"]
    return f"{outcome.title} ({ref}): {'; '.join(parts + _doubt(outcome.verified))}."


def risk_sentence(ref: str, weights: RiskWeights, spec: Specialty) -> str:
    """By what each factor multiplies the odds."""
    factors = [
        f"{spec.risk_factors[code]} {math.exp(log_odds):.3g} times"
        for code, log_odds in weights.log_odds.items()
    ]
    parts = [
        f"the odds of {spec.complications[ref].title} with {', '.join(factors)}",
        f"source: {weights.source}",
    ]
    return f"Risk factors ({ref}): {'; '.join(parts + _doubt(weights.verified))}."


def milestone_sentences(milestones: Milestones, spec: Specialty) -> list[str]:
    """One for each milestone and level that has rules."""
    return [
        f"{item.title} ({ref}), level {level} (framework: {milestones.framework}):"
        f" {'; '.join(_asked(rule, spec) for rule in item.rules[level])}."
        for ref, item in milestones.items.items()
        for level in milestones.levels
        if item.rules.get(level)
    ]


def _asked(rule: MilestoneRule, spec: Specialty) -> str:
    if rule.requirement:
        return f"at least {rule.at_least:g} counted cases of {spec.requirements[rule.requirement].title}"
    if rule.complication:
        outcome, whose = spec.complications[rule.complication].title, ATTRIBUTIONS[str(rule.attribution)]
        bound = f"the upper end of the interval at most {100 * (rule.at_most or 0):g} %"
        return f"{outcome}, {whose}{_latest(rule, 'cases')}: {bound}"
    if rule.group and rule.level:
        share, group = f"{100 * (rule.at_least or 0):g} %", spec.procedure_groups[rule.group]
        cases = f"the cases of {group}{_latest(rule, 'cases')}"
        return f"at least {share} of {cases} at '{spec.supervision[rule.level].title}' or above, from ten cases on"
    step = str(rule.step).replace("_", " ")
    return f"a mean score of at least {rule.at_least:g} in {step}{_latest(rule, 'operations')}, from five operations on"


def _latest(rule: MilestoneRule, what: str) -> str:
    if rule.last_cases:
        return f" (the last {rule.last_cases} {what})"
    if rule.last_quarters:
        return (
            " (the last quarter)" if rule.last_quarters == 1 else f" (the last {rule.last_quarters} quarters)"
        )
    return ""


def _demand(rule: Requirement, spec: Specialty) -> str:
    if rule.sign_off:
        return "a sign-off, without a count"
    what = _any_of([spec.procedures[code].title for code in rule.procedures])
    whose = f"as {_any_of([spec.roles[role].title for role in rule.roles])}"
    if rule.consecutive:
        cases, years = rule.consecutive.cases, rule.consecutive.within_years
        return f"an audit of {cases} consecutive cases within {years} years, {whose}: {what}"
    unit = "operations" if rule.unit == "operation" else "procedures"
    return f"at least {rule.minimum} {unit} {whose}: {what}"


def _conditions(rule: Requirement, spec: Specialty) -> list[str]:
    told = []
    if rule.stages:
        told.append(f"only in {_any_of([spec.stages[stage] for stage in rule.stages])}")
    told += _attribute_conditions(rule, spec)
    if rule.part_of:
        told.append(f"part of {rule.part_of}, tested for itself")
    if rule.exclusive:
        roles = _any_of([spec.roles[role].title for role in rule.exclusive])
        told.append(f"one trainee an operation as {roles} (not yet enforced)")
    if rule.is_counted:
        told.append(f"cases performed elsewhere {'count' if rule.elsewhere else 'do not count'}")
    if rule.replaces:
        told.append(f"replaces {rule.replaces}")
    return [*told, _classes(rule.cohorts)]


def _attribute_conditions(rule: Requirement, spec: Specialty) -> list[str]:
    return [
        f"{ATTRIBUTE_WORDS[need]}: {', '.join(spec.attributes[code].title for code in codes)}"
        for need, codes in rule.attributes.model_dump().items()
        if codes
    ]


def _classes(cohorts: Cohorts) -> str:
    first, last = cohorts.first, cohorts.last
    if first is None and last is None:
        return "for every class"
    start = f" from {first}" if first is not None else ""
    end = f" to {last}" if last is not None else ""
    return f"for classes that end{start}{end}"


def _origin(rule: Requirement) -> list[str]:
    edition = [f"edition {rule.edition}"] if rule.edition else []
    reviewed = f"reviewed on {rule.reviewed_on.isoformat()}"
    return [*edition, f"source: {rule.source}", reviewed, *_doubt(rule.verified)]


def _doubt(verified: bool) -> list[str]:
    return [] if verified else [TO_BE_CONFIRMED]


def _any_of(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} or {names[-1]}"
