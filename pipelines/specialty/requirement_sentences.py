"""One requirement as one plain sentence that fits a line."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from pipelines.contract.cautions import NOT_YET_CHECKED
from pipelines.specialty.model import (
    AssessmentRule,
    AuditRule,
    Cohorts,
    CountedRule,
    Rule,
    SignOffRule,
    Specialty,
    units_in_words,
)
from pipelines.specialty.tables import cap_kinds, listed_procedures

LONGEST = 200
# Whether procedures are named, what is not enforced is said, edition and source are (2, 1, 0), and in which words doubt is.
HOW_MUCH = (
    (True, True, 2, NOT_YET_CHECKED),
    (True, True, 1, NOT_YET_CHECKED),
    (True, False, 1, NOT_YET_CHECKED),
    (False, False, 1, NOT_YET_CHECKED),
    (False, False, 0, NOT_YET_CHECKED),
    (False, False, 0, "not yet checked"),
)


def requirement_sentence(ref: str, spec: Specialty) -> str:
    """Where the line is too long the source goes, then what is not enforced, names of procedures, and the edition."""
    rule = spec.requirements[ref]
    for by_name, claims, whence, doubted in HOW_MUCH:
        head = f"{rule.title} ({ref}): " if doubted == NOT_YET_CHECKED else f"{rule.title}: "
        doubt = "" if rule.verified else f"; {doubted}"
        conditions = [*_conditions(rule, spec, str), *(_claims(rule, spec) if claims else [])]
        sentence = head + "; ".join(
            [
                _demand(rule, spec, by_name=by_name),
                *conditions,
                *_classes(rule.cohorts),
                *_origin(rule)[:whence],
            ]
        )
        if len(sentence + doubt) < LONGEST:
            break
    return shortened(sentence, f"{doubt}.")


def requirement_in_words(ref: str, spec: Specialty) -> str:
    """What counts toward it, whole and without a code, for whoever reads title, edition and source beside it."""
    rule = spec.requirements[ref]

    def title(other: str) -> str:
        return spec.requirements[other].title if other in spec.requirements else "an earlier rule"

    said = [_demand(rule, spec, by_name=True), *_conditions(rule, spec, title), *_claims(rule, spec)]
    sentence = "; ".join([*said, *_classes(rule.cohorts)])
    return f"{sentence[0].upper()}{sentence[1:]}."


def shortened(sentence: str, end: str = ".") -> str:
    """With its end; where the two are longer than a line, the sentence is cut at a word, with an ellipsis."""
    room = LONGEST - len(end)
    if len(sentence) > room:
        sentence = f"{sentence[: room - 1].rsplit(' ', 1)[0].rstrip(';:,')} …"
    return sentence + end


def any_of(names: list[str], word: str = "or") -> str:
    """`A`, `A or B`, `A, B or C`."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} {word} {names[-1]}"


def _demand(rule: Rule, spec: Specialty, *, by_name: bool) -> str:
    if isinstance(rule, SignOffRule):
        return "a sign-off, without a count"
    if isinstance(rule, AssessmentRule):
        asked = rule.assessments
        asked_for = units_in_words("assessment", asked.at_least)
        return f"{asked.at_least} {asked_for} by others in each {asked.each_months} months of training"
    what = (
        f"as {any_of([spec.roles[role].title for role in rule.roles])}: {_what(rule, spec, by_name=by_name)}"
    )
    if isinstance(rule, AuditRule):
        cases, years = rule.consecutive.cases, rule.consecutive.within_years
        return f"an audit of {cases} consecutive cases within {years} years {what}"
    return f"{_minimum(rule)} {what}"


def _minimum(rule: Rule) -> str:
    if not isinstance(rule, CountedRule):
        return ""
    said = f"at least {rule.asked} {units_in_words(rule.unit, rule.asked)}"
    if rule.local_minimum:
        said += f" (the programme's own; the document has {rule.minimum})"
    return said


def _what(rule: Rule, spec: Specialty, *, by_name: bool) -> str:
    groups = [spec.procedure_groups[group] for group in rule.procedure_groups]
    alone = [spec.procedures[code].title for code in rule.procedures]
    listed = listed_procedures(rule, spec)
    if len(listed) == len(spec.procedures) and len(listed) > 1:
        named = ["any procedure"]
    elif by_name or len(groups + alone) == 1:
        named = [*groups, *alone]
    else:
        named = [f"{len(listed)} kinds of procedure"]
    done = [spec.techniques[technique] for technique in rule.techniques]
    return any_of(named) + (f" by {any_of(done)}" if done else "")


def _conditions(rule: Rule, spec: Specialty, named: Callable[[str], str]) -> list[str]:
    """`named` says how other requirements are called."""
    said = [*_when(rule, spec), *_attributes(rule, spec)]
    if rule.principal_only:
        said.append("main procedures alone")
    if isinstance(rule, CountedRule):
        said += [_cap(code, most, spec) for code, most in rule.at_most.items()]
        said += [f"of which {each.minimum}: {each.title}" for each in rule.of_which.values()]
        said += _instead(rule, spec)
    if rule.part_of:
        said.append(f"part of {any_of([named(whole) for whole in rule.part_of], 'and')}")
    if rule.is_counted:
        said.append("elsewhere too" if rule.elsewhere else "not elsewhere")
    if rule.replaces:
        said.append(f"replaces {named(rule.replaces)}")
    return said + (["the programme's own rule"] if rule.local else [])


def _claims(rule: Rule, spec: Specialty) -> list[str]:
    if not rule.exclusive:
        return []
    return [
        f"one trainee an operation as {any_of([spec.roles[role].title for role in rule.exclusive])} (not yet enforced)"
    ]


def _when(rule: Rule, spec: Specialty) -> list[str]:
    said = []
    if rule.stages:
        said.append(f"in {any_of([spec.stages[stage] for stage in rule.stages])}")
    if rule.before_stage:
        said.append(f"before {spec.stages[rule.before_stage]}")
    if rule.by_end_of_stage:
        said.append(f"by the end of {spec.stages[rule.by_end_of_stage]}")
    if rule.last_years:
        said.append(
            "in the last year of training"
            if rule.last_years == 1
            else f"in the last {rule.last_years} years of training"
        )
    for code, months in rule.procedure_months.items():
        start = f" from {months.first}" if months.first else ""
        end = f" to {months.last}" if months.last else ""
        said.append(f"{spec.procedures[code].title}{start}{end}")
    return said


def _attributes(rule: Rule, spec: Specialty) -> list[str]:
    needs = rule.attributes
    titles = {code: each.title for code, each in spec.attributes.items()}
    said = []
    if needs.all:
        said.append(f"only {any_of([titles[code] for code in needs.all], 'and')}")
    if needs.any:
        said.append(f"only {any_of([titles[code] for code in needs.any])}")
    if needs.none:
        said.append(f"never {any_of([titles[code] for code in needs.none])}")
    return said


def _cap(code: str, most: int, spec: Specialty) -> str:
    kind = cap_kinds(code, spec)[0]
    if kind == "elsewhere":
        return f"at most {most} from elsewhere"
    named: dict[str, Mapping[str, Any]] = {
        "role": spec.roles,
        "attribute": spec.attributes,
        "technique": spec.techniques,
        "procedure": spec.procedures,
        "procedure_group": spec.procedure_groups,
    }
    title = getattr(named[kind][code], "title", named[kind][code])
    before = {"role": "as ", "technique": "by "}.get(kind, "")
    return f"at most {most} {before}{title}"


def _instead(rule: CountedRule, spec: Specialty) -> list[str]:
    others = [
        each.title
        for each in spec.requirements.values()
        if isinstance(each, CountedRule) and each is not rule and each.either_or == rule.either_or
    ]
    return [f"or instead {any_of(others)}"] if rule.either_or and others else []


def _classes(cohorts: Cohorts) -> list[str]:
    first, last = cohorts.first, cohorts.last
    if first is None and last is None:
        return []
    start = f" from {first}" if first is not None else ""
    end = f" to {last}" if last is not None else ""
    return [f"for classes{start}{end}"]


def _origin(rule: Rule) -> list[str]:
    return [*([f"edition {rule.edition}"] if rule.edition else []), f"source: {rule.source}"]
