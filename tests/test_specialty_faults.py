"""One small broken specialty file for each way of being wrong."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipelines.contract.errors import WrongUsage
from pipelines.specialty.load import load_specialty, parse_specialty
from pipelines.specialty.requirement_faults import requirement_remarks
from tests.example_specialty import CONTRACT, RULES


def faults(text: str | bytes) -> list[str]:
    with pytest.raises(WrongUsage) as raised:
        parse_specialty(text.encode() if isinstance(text, str) else text, "broken.yaml")
    assert raised.value.exit_code == 2
    return str(raised.value).splitlines()


def broken(old: str, new: str) -> list[str]:
    assert CONTRACT.count(old) == 1, "the fault must change exactly one place"
    return faults(CONTRACT.replace(old, new))


ROLES = "surgeon, teaching_assistant, assistant, observer"
LEVEL_RULE = "milestones.items.lens_skill.rules.C.0"


@pytest.mark.parametrize(
    ("old", "new", "path", "said"),
    [
        (
            "title: Example surgery",
            "titel: Example surgery",
            "titel",
            "unknown key. Allowed here: specialty, title,",
        ),
        ("title: Example surgery\n", "", "title", "is missing and required"),
        ("title: Example surgery", "title: 2026", "title", "must be text"),
        ("title: Example surgery", 'title: " "', "title", "must not be empty"),
        (
            RULES,
            "{C: [{measure: counted_cases, requirement: lens, at_least: 30, last_cases: 20}]}",
            LEVEL_RULE,
            "counted cases are counted from the beginning",
        ),
        (
            RULES,
            "{C: [{measure: score_mean, step: incision, at_least: 3, last_cases: 20, last_quarters: 2}]}",
            LEVEL_RULE,
            "a rule looks at last_cases or last_quarters, not both",
        ),
        (
            "steps: {opening",
            "risk_weights: {leak: {log_odds: {small_pupil: 0.7}, source: Made up, verified: false}}\nsteps: {opening",
            "risk_weights",
            '"leak" is not a complication of this file',
        ),
        (
            "steps: {opening",
            "risk_weights: {capsule_rupture: {log_odds: {age: 0.7}, source: Made up, verified: false}}\nsteps: {opening",
            "risk_weights.capsule_rupture.log_odds",
            '"age" is not a risk factor of this file',
        ),
        (
            "steps: {opening",
            "risk_weights: {capsule_rupture: {log_odds: {}, source: Made up, verified: false}}\nsteps: {opening",
            "risk_weights.capsule_rupture.log_odds",
            "",
        ),
        ("specialty: example", "specialty: Example", "specialty", "a code must be lower-case"),
        ("  lid_repair: {", "  Lid-repair: {", "procedures.Lid-repair", "a code must be lower-case"),
        ("  lid_repair: {", "  no: {", "procedures.no", "a key must be text"),
        (
            "roles: {surgeon: Surgeon, ",
            "roles: {",
            "roles",
            "no role operates; mark one with operating: true",
        ),
        ("{surgeon: Surgeon, ", "{surgeon: 5, ", "roles.surgeon", "must be text, or a mapping with a title"),
        (
            "{surgeon: Surgeon, ",
            "{surgeon: {operating: true}, ",
            "roles.surgeon.title",
            "is missing and required",
        ),
        (
            "{surgeon: Surgeon, ",
            "{surgeon: {title: Surgeon, operates: true}, ",
            "roles.surgeon.operates",
            "unknown key. Allowed here: title, also, operating, teaching",
        ),
        (
            "{surgeon: Surgeon, ",
            "{surgeon: {title: Surgeon, operating: true, teaching: true}, ",
            "roles.surgeon",
            "operating or teaching, not both",
        ),
        (
            "{simulated: Simulated, ",
            "{simulated: {title: Simulated, patients: false}, ",
            "attributes.simulated.patients",
            "unknown key. Allowed here: title, also, patient",
        ),
        (
            "roles: [observer, assistant]",
            "roles: [helper]",
            "supervision.observed.roles",
            f"Use one of: {ROLES}",
        ),
        (
            "lens, group: lens}\n",
            "lens, group: eye}\n",
            "procedures.phaco_iol.group",
            '"eye" is not a procedure group',
        ),
        ("minimum: 86", "minimum: 0", "requirements.lens.minimum", "greater than or equal to 1"),
        ("minimum: 86", "minimum: many", "requirements.lens.minimum", "should be a valid integer"),
        ("minimum: 86", "minimum: 8.5", "requirements.lens.minimum", "should be a valid integer"),
        (
            "minimum: 86",
            "sign_of: true",
            "requirements.lens.sign_of",
            "unknown key. Allowed here: title, minimum",
        ),
        ("    minimum: 86\n", "", "requirements.lens", "exactly one of: minimum, consecutive, sign_off"),
        ("minimum: 86", "minimum: 86\n    sign_off: true", "requirements.lens", "exactly one of"),
        ("unit: procedure", "unit: Eyes", "requirements.lens.unit", "a code must be lower-case"),
        ("principal_only: false", "principal_only: 1", "requirements.lens.principal_only", "valid boolean"),
        ("at_most: {}", "at_most: {fake: 2}", "requirements.lens.at_most", '"fake" is not a role, attribute'),
        ("at_most: {}", "at_most: {simulated: -1}", "requirements.lens.at_most.simulated", "greater than or"),
        (
            "procedures: [phaco_iol]\n",
            "procedure_groups: [eye]\n",
            "requirements.lens.procedure_groups",
            "Use one of: lens, lid",
        ),
        (
            "procedures: [phaco_iol]\n",
            "techniques: [laser]\n",
            "requirements.lens.techniques",
            "Use one of: chop",
        ),
        ("stages: []", "before_stage: second", "requirements.lens.before_stage", "Use one of: first_year"),
        ("stages: []", "by_end_of_stage: second", "requirements.lens.by_end_of_stage", "Use one of: first"),
        ("stages: []", "last_years: 0", "requirements.lens.last_years", "greater than or equal to 1"),
        (
            "stages: []",
            "procedure_months: {lid_repair: {from: 2024-07}}",
            "requirements.lens.procedure_months",
            '"lid_repair" is not among the procedures of this rule',
        ),
        (
            "stages: []",
            "procedure_months: {phaco_iol: {from: 2024-07, to: 2024-06}}",
            "requirements.lens.procedure_months.phaco_iol",
            "from 2024-07 lies after to 2024-06",
        ),
        (
            "stages: []",
            "procedure_months: {phaco_iol: {from: 2024-13}}",
            "requirements.lens.procedure_months.phaco_iol.from",
            "must be a month, such as 2024-07",
        ),
        (
            "at_most: {}",
            "at_most: {lens_big: 1}\n    of_which: {audit: {title: A, minimum: 1}}",
            "requirements.lens.of_which.audit",
            "another requirement has this code",
        ),
        (
            "at_most: {}",
            "of_which: {big: {title: A}}",
            "requirements.lens.of_which.big.minimum",
            "is missing",
        ),
        (
            "at_most: {}",
            "of_which: {big: {title: A, minimum: 1, roles: [chief]}}",
            "requirements.big.roles",
            f"Use one of: {ROLES}",
        ),
        ("at_most: {}", "either_or: lenses", "requirements.lens.either_or", "no other requirement says"),
        (
            "at_most: {}",
            "local_minimum: {minimum: 85, source: Own}",
            "requirements.lens.local_minimum.minimum",
            "is below the published minimum 86",
        ),
        (
            "at_most: {}",
            "local: true\n    local_minimum: {minimum: 90, source: Own}",
            "requirements.lens.local_minimum",
            "the rule is local as a whole",
        ),
        ("all: [],", "all: [simulated],", "requirements.lens.attributes", "no case could count"),
        ("part_of: null", "part_of: [audit, audit]", "requirements.lens.part_of", "is named 2 times"),
        ("part_of: null", "part_of: [audit, eye]", "requirements.lens.part_of", '"eye" is not a requirement'),
        (
            "title: Lid repair, group: lid}",
            "title: Lid repair, group: lid, also_in: [eye]}",
            "procedures.lid_repair.also_in",
            "Use one of: lens, lid",
        ),
        (
            "title: Lid repair, group: lid}",
            "title: Lid repair, group: lid, also_in: [lid]}",
            "procedures.lid_repair.also_in",
            "is named 2 times",
        ),
        (
            "rupture, group: lens",
            "rupture, group: [lens, eye]",
            "complications.capsule_rupture.group",
            "Use one of: lens, lid",
        ),
        (
            "consecutive: {cases: 50, within_years: 3}",
            "assessments: {at_least: 3, each: year}",
            "requirements.audit.assessments.each",
            "Allowed here: at_least, each_months",
        ),
        (
            "procedures: [phaco_iol]\n",
            "procedures: [phaco]\n",
            "requirements.lens.procedures",
            '"phaco" is not a',
        ),
        (
            "procedures: [phaco_iol]\n",
            "procedures: []\n",
            "requirements.lens.procedures",
            "at least one procedure",
        ),
        (
            "procedures: [phaco_iol]\n",
            "procedures: [phaco_iol, phaco_iol]\n",
            "requirements.lens.procedures",
            "is named 2 times",
        ),
        ("roles: [surgeon]\n", "roles: [chief]\n", "requirements.lens.roles", f"Use one of: {ROLES}"),
        ("roles: [surgeon]\n", "roles: []\n", "requirements.lens.roles", "at least one role"),
        ("stages: []", "stages: [second]", "requirements.lens.stages", "Use one of: first_year, chief"),
        ("all: [],", "all: [big],", "requirements.lens.attributes.all", "Use one of: simulated, pediatric"),
        ("any: [],", "any: [big],", "requirements.lens.attributes.any", "Use one of: simulated, pediatric"),
        ("none: [simulated]", "none: [fake]", "requirements.lens.attributes.none", "Use one of: simulated"),
        (
            "none: [simulated]",
            "never: []",
            "requirements.lens.attributes.never",
            "Allowed here: all, any, none",
        ),
        ("exclusive: [surgeon]", "exclusive: [chief]", "requirements.lens.exclusive", f"Use one of: {ROLES}"),
        ("part_of: null", "part_of: eye", "requirements.lens.part_of", "Use one of: lens, audit, sign_off"),
        ("part_of: null", "part_of: lens", "requirements.lens.part_of", 'leads back to "lens" itself'),
        ("elsewhere: true", "replaces: older", "requirements.lens.replaces", "is not a requirement"),
        ("elsewhere: true", "replaces: lens", "requirements.lens.replaces", 'leads back to "lens" itself'),
        ("elsewhere: true", "elsewhere: 1", "requirements.lens.elsewhere", "should be a valid boolean"),
        ("to: null}", "to: 2018}", "requirements.lens.cohorts", "lies after to 2018"),
        ("cohorts: {from", "cohorts: {form", "requirements.lens.cohorts.form", "Allowed here: from, to"),
        ("    edition: March 2021\n", "", "requirements.lens.edition", "is missing"),
        (
            "    source: Review committee, table of minimums, March 2021\n",
            "",
            "requirements.lens.source",
            "is missing",
        ),
        (
            "within_years: 3}",
            "in: 3}",
            "requirements.audit.consecutive.in",
            "Allowed here: cases, within_years",
        ),
        (
            "rupture, group: lens",
            "rupture, group: eye",
            "complications.capsule_rupture.group",
            "Use one of: lens, lid",
        ),
        (
            "window_days: 42",
            "window_days: -1",
            "complications.endophthalmitis.window_days",
            "greater than or equal",
        ),
        ("  capsule_rupture: {", "  none: {", "complications.none", "use another code"),
        ("  capsule_rupture: {", "  other: {", "complications.other", "use another code"),
        ("[capsulorhexis, ", "[incision, ", "steps", '"incision" is named 2 times'),
        (
            "levels: [A, B, C, D, E]",
            "levels: [A, B, D]",
            "milestones.items.lens_skill.rules",
            "Use one of: A, B, D",
        ),
        ("levels: [A,", "levels: [c, A,", "milestones.levels", '"c" is named 2 times'),
        ("levels: [A,", "levels: [Not assessable, A,", "milestones.levels", "is always there"),
        (
            "measure: counted_cases",
            "measure: luck",
            f"{LEVEL_RULE}.measure",
            "Use one of: 'counted_cases', 'rate'",
        ),
        ("at_least: 30", "at_most: 0.5", LEVEL_RULE, "takes exactly the keys requirement, at_least"),
        ("requirement: lens, at", "requirement: eye, at", f"{LEVEL_RULE}.requirement", "Use one of: lens"),
        (
            "requirement: lens, at",
            "requirement: audit, at",
            f"{LEVEL_RULE}.requirement",
            "not a counted requirement",
        ),
        (
            RULES,
            "{C: [{measure: rate, complication: luck, attribution: as_logged, at_most: 0.1}]}",
            f"{LEVEL_RULE}.complication",
            "Use one of: capsule_rupture, endophthalmitis",
        ),
        (
            RULES,
            "{C: [{measure: rate, complication: capsule_rupture, attribution: mine, at_most: 0.1}]}",
            f"{LEVEL_RULE}.attribution",
            "'as_logged', 'as_started' or 'in_trainee_hands'",
        ),
        (
            RULES,
            "{C: [{measure: supervision_share, group: eye, level: alone, at_least: 0.5}]}",
            f"{LEVEL_RULE}.group",
            "Use one of: lens, lid",
        ),
        (
            RULES,
            "{C: [{measure: supervision_share, group: lens, level: guided, at_least: 50}]}",
            f"{LEVEL_RULE}.at_least",
            "never above 1",
        ),
        (
            RULES,
            "{C: [{measure: score_mean, step: luck, at_least: 3}]}",
            f"{LEVEL_RULE}.step",
            "Use one of: incision",
        ),
        (
            RULES,
            "{C: [{measure: score_mean, step: incision, at_least: 6}]}",
            f"{LEVEL_RULE}.at_least",
            "above 5",
        ),
        (
            "minimum: 86",
            "minimum: 86\n    minimum: 87",
            "requirements.lens.minimum",
            "stands twice (line 20)",
        ),
        ("  lid_repair: {", "  phaco_iol: {", "procedures.phaco_iol", "stands twice"),
        ("{title: Simulation", "{title: A, title: Simulation", "requirements.sign_off.title", "stands twice"),
        (
            "measure: counted_cases,",
            "measure: rate, measure: counted_cases,",
            f"{LEVEL_RULE}.measure",
            "stands twice",
        ),
    ],
)
def test_a_fault_is_named_with_file_path_and_what_is_allowed(
    old: str, new: str, path: str, said: str
) -> None:
    lines = broken(old, new)
    assert any(line.startswith(f"broken.yaml: {path}: ") and said in line for line in lines), lines


def test_each_fault_has_a_line_of_its_own() -> None:
    lines = faults(
        CONTRACT.replace("at_most: {}", "at_most: {fake: 2}").replace("stages: []", "stages: [none]")
    )
    assert [line.split(": ")[1] for line in lines] == [
        "requirements.lens.stages",
        "requirements.lens.at_most",
    ]


def test_a_code_of_two_things_cannot_be_capped() -> None:
    both = CONTRACT.replace("techniques: {chop: Chop}", "techniques: {chop: Chop, assistant: Helped}")
    lines = faults(both.replace("at_most: {}", "at_most: {assistant: 2}"))
    assert lines == [
        'broken.yaml: requirements.lens.at_most: "assistant" may be a role or a technique; give one of them another code'
    ]


def test_what_is_often_not_meant_is_told_and_is_no_fault() -> None:
    text = CONTRACT.replace("part_of: null", "part_of: lids").replace(
        "at_most: {}", "at_most: {assistant: 2}"
    )
    text = text.replace(
        "  audit: {",
        "  lids: {title: Lids, minimum: 1, procedures: [lid_repair], roles: [surgeon], edition: A, source: Made up, "
        "verified: false, reviewed_on: 2026-11-24}\n  audit: {",
    )
    assert requirement_remarks(parse_specialty(text.encode(), "example.yaml")) == [
        ("requirements.lens.part_of", 'shares no procedure with its whole "lids"'),
        ("requirements.lens.at_most", 'caps the role "assistant", which the rule does not count'),
    ]
    assert requirement_remarks(parse_specialty(CONTRACT.encode(), "example.yaml")) == []


def test_parts_may_not_lead_in_a_circle() -> None:
    circle = CONTRACT.replace("part_of: null", "part_of: audit").replace(
        "{title: Audit of consecutive cases,", "{title: Audit of consecutive cases, part_of: lens,"
    )
    assert [line.split(": ")[1] for line in faults(circle)] == [
        "requirements.lens.part_of",
        "requirements.audit.part_of",
    ]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (b"", "empty"),
        (b"just words", "top level"),
        (b"- a\n- b\n", "top level"),
        (b"a: [1", "not readable as YAML"),
        (b"a: \x00", "not readable as YAML"),
        (b"reviewed_on: 2026-02-30", "not readable as YAML"),
        (b"a: !!python/object:os.system 1", "not readable as YAML"),
        ("title: Chirurgie générale".encode("latin-1"), "not UTF-8"),
    ],
)
def test_what_is_no_specialty_at_all_is_said_in_one_line(text: bytes, said: str) -> None:
    lines = faults(text)
    assert len(lines) == 1 and said in lines[0]


def test_a_file_that_is_not_there_is_answered_with_the_shipped_names(tmp_path: Path) -> None:
    for place in (tmp_path / "none.yaml", tmp_path, "no_such_specialty"):
        with pytest.raises(WrongUsage, match=r"shipped names: .*ophthalmology"):
            load_specialty(place)
