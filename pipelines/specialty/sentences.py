"""Each rule of a specialty as one plain sentence of at most 200 characters, for a reader who must say whether it is right."""

from __future__ import annotations

import math

from pipelines.contract.attributions import ATTRIBUTIONS
from pipelines.contract.cautions import NOT_YET_CHECKED
from pipelines.specialty.model import Complication, MilestoneRule, Milestones, RiskWeights, Specialty
from pipelines.specialty.requirement_sentences import LONGEST, any_of, requirement_sentence, shortened

# So many procedure groups of an outcome are named.
MOST_NAMED = 4


def rule_sentences(spec: Specialty) -> list[str]:
    """What is operated by whom, the requirements, the complications, what each milestone asks, as in the file."""
    rules = [roles_sentence(spec), *(requirement_sentence(ref, spec) for ref in spec.requirements)]
    rules += [complication_sentence(ref, each, spec) for ref, each in spec.complications.items()]
    rules += [risk_sentence(ref, each, spec) for ref, each in spec.risk_weights.items()]
    return rules + (milestone_sentences(spec.milestones, spec) if spec.milestones else [])


def roles_sentence(spec: Specialty) -> str:
    """Whose cases enter rates and shares of supervision."""
    operating = any_of([spec.roles[ref].title for ref in spec.operating_roles])
    teaching = [role.title for role in spec.roles.values() if role.teaching]
    parts = [f"rates and supervision: cases as {operating}"]
    if teaching:
        parts.append(f"a takeover in a case as {any_of(teaching)} is somebody else's")
    if models := [each.title for each in spec.attributes.values() if not each.patient]:
        parts.append(f"in no rate and no share of supervision: {', '.join(models)}")
    return _fitted("Operating roles", parts)


def complication_sentence(ref: str, outcome: Complication, spec: Specialty) -> str:
    groups = [spec.procedure_groups[group] for group in outcome.groups]
    group = any_of(groups) if len(groups) <= MOST_NAMED else f"{len(groups)} procedure groups"
    when = f"within {outcome.window_days} days" if outcome.window_days else "in the operation, always due"
    definition = outcome.definition.rstrip(".")
    parts = [f"counted for {group}, {when}", f"defined as: {definition}", f"source: {outcome.source}"]
    return _fitted(f"{outcome.title} ({ref})", parts + _doubt(outcome.verified))


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
    return _fitted(f"Risk factors ({ref})", parts + _doubt(weights.verified))


def milestone_sentences(milestones: Milestones, spec: Specialty) -> list[str]:
    """One for each rule of each milestone and level."""
    return [
        _of_level(f"{item.title} ({ref}), level {level}", milestones.framework, _asked(rule, spec))
        for ref, item in milestones.items.items()
        for level in milestones.levels
        for rule in item.rules.get(level, [])
    ]


def _of_level(head: str, framework: str, asked: str) -> str:
    sentence = f"{head} ({framework}): {asked}"
    return shortened(sentence if len(sentence) < LONGEST else f"{head}: {asked}")


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


def _fitted(head: str, parts: list[str]) -> str:
    """One sentence; where it is too long, without the last parts but the doubt."""
    kept = list(parts)
    while len(kept) > 1 and len(f"{head}: {'; '.join(kept)}.") > LONGEST:
        kept.pop(-2 if kept[-1] == NOT_YET_CHECKED else -1)
    return shortened(f"{head}: {'; '.join(kept)}")


def _doubt(verified: bool) -> list[str]:
    return [] if verified else [NOT_YET_CHECKED]
