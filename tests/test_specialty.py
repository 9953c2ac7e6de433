"""Specialty files: every shipped one loads, and one small broken file for each way of being wrong."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pyarrow as pa
import pytest

from pipelines.errors import WrongUsage
from pipelines.specialty import (
    Specialty,
    code_sets,
    load_specialty,
    parse_specialty,
    rule_sentences,
    shipped_specialties,
    specialty_tables,
    specialty_text,
)

# The example of contract §6, with a source in place of its ellipses.
CONTRACT = """\
specialty: example
title: Example surgery
roles: {surgeon: Surgeon, teaching_assistant: Teaching assistant, assistant: Assistant, observer: Observer}
supervision:
  observed: {title: Observed, roles: [observer, assistant], band: observed or helped}
  guided: {title: With spoken guidance, roles: [surgeon], band: guided}
  available: {title: Supervisor available, roles: [surgeon], band: available}
stages: {first_year: First year, chief: Chief year}
techniques: {chop: Chop}
attributes: {simulated: Simulated, pediatric: Under 18}
risk_factors: {small_pupil: Pupil under 3 mm}
procedure_groups: {lens: Lens surgery, lid: Lid surgery}
procedures:
  phaco_iol: {title: Phacoemulsification with lens, group: lens}
  lid_repair: {title: Lid repair, group: lid}
requirements:
  lens:
    title: Lens surgery
    minimum: 86
    unit: procedure
    procedures: [phaco_iol]
    roles: [surgeon]
    stages: []
    attributes: {all: [], any: [], none: [simulated]}
    exclusive: [surgeon]
    principal_only: false
    part_of: null
    at_most: {}
    elsewhere: true
    cohorts: {from: 2019, to: null}
    edition: March 2021
    source: Review committee, table of minimums, March 2021
    verified: false
    reviewed_on: 2026-11-24
  audit: {title: Audit of consecutive cases, consecutive: {cases: 50, within_years: 3}, \
procedures: [phaco_iol], roles: [surgeon], source: Made up, verified: false, reviewed_on: 2026-11-24}
  sign_off: {title: Simulation sign-off, sign_off: true, source: Made up, verified: true, \
reviewed_on: 2026-11-24}
complications:
  capsule_rupture: {title: Capsule rupture, group: lens, window_days: 0, definition: It tore, \
source: Made up, verified: true}
  endophthalmitis: {title: Endophthalmitis, group: lens, window_days: 42, definition: Infected, \
source: Made up, verified: false}
steps: {opening: [incision], lens: [capsulorhexis, nucleus_disassembly], closing: [wound_closure], \
throughout: [tissue_handling]}
milestones: {framework: example, official: false, levels: [A, B, C, D, E], items: {lens_skill: {title: Lens \
surgery, rules: {C: [{measure: counted_cases, requirement: lens, at_least: 30}]}}}}
"""


@pytest.fixture
def spec() -> Specialty:
    return parse_specialty(CONTRACT.encode(), "example.yaml")


def faults(text: str | bytes) -> list[str]:
    with pytest.raises(WrongUsage) as raised:
        parse_specialty(text.encode() if isinstance(text, str) else text, "broken.yaml")
    assert raised.value.exit_code == 2
    return str(raised.value).splitlines()


def broken(old: str, new: str) -> list[str]:
    assert CONTRACT.count(old) == 1, "the fault must change exactly one place"
    return faults(CONTRACT.replace(old, new))


def test_the_example_of_the_contract_loads(spec: Specialty) -> None:
    lens = spec.requirements["lens"]
    assert (lens.minimum, lens.cohorts.first, lens.cohorts.last) == (86, 2019, None)
    assert (lens.is_counted, spec.requirements["audit"].is_counted) == (True, False)
    assert lens.reviewed_on == date(2026, 11, 24)


ROLES = "surgeon, teaching_assistant, assistant, observer"
RULES = "{C: [{measure: counted_cases, requirement: lens, at_least: 30}]}"
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
        ("specialty: example", "specialty: Example", "specialty", "a code must be lower-case"),
        ("  lid_repair: {", "  Lid-repair: {", "procedures.Lid-repair", "a code must be lower-case"),
        ("  lid_repair: {", "  no: {", "procedures.no", "a key must be text"),
        ("roles: {surgeon: Surgeon, ", "roles: {", "roles", "the role surgeon is missing"),
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
        ("unit: procedure", "unit: patient", "requirements.lens.unit", "cannot count the unit"),
        ("principal_only: false", "principal_only: true", "requirements.lens.principal_only", "cannot count"),
        (
            "at_most: {}",
            "at_most: {simulated: 2}",
            "requirements.lens.at_most",
            "cannot count with a cap yet",
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
        CONTRACT.replace("unit: procedure", "unit: patient").replace("stages: []", "stages: [none]")
    )
    assert [line.split(": ")[1] for line in lines] == ["requirements.lens.unit", "requirements.lens.stages"]


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
        with pytest.raises(WrongUsage, match="shipped names: ophthalmology"):
            load_specialty(place)


def test_a_name_is_a_shipped_file_and_anything_else_a_path(tmp_path: Path) -> None:
    path = tmp_path / "own.yaml"
    path.write_text(CONTRACT, encoding="utf-8")
    assert load_specialty(path).specialty == load_specialty(str(path)).specialty == "example"
    assert load_specialty("ophthalmology").specialty == "ophthalmology"
    assert specialty_text(path) == CONTRACT.encode()


# Issue text: codes that people's exports use.
PROCEDURE_GROUPS = {
    "cataract": "phaco_iol manual_cataract",
    "laser": "yag_capsulotomy laser_trabeculoplasty laser_iridotomy panretinal_photocoagulation",
    "cornea": "penetrating_keratoplasty endothelial_keratoplasty pterygium_excision",
    "refractive": "keratorefractive_laser",
    "strabismus": "strabismus_surgery",
    "glaucoma": "trabeculectomy tube_shunt",
    "retina": "vitrectomy scleral_buckle",
    "injection": "intravitreal_injection",
    "trauma": "open_globe_repair",
    "oculoplastic": "eyelid_laceration_repair chalazion_excision ptosis_repair blepharoplasty orbit_surgery "
    "dacryocystorhinostomy",
}
# Minimum, roles, verified, procedures. Review Committee for Ophthalmology, Case Log Information, March 2021:
# number and roles read for the verified ones, the rest from another publication or from memory.
REQUIREMENTS = {
    "cataract": (86, "surgeon", True, PROCEDURE_GROUPS["cataract"]),
    "laser_capsulotomy": (5, "surgeon", True, "yag_capsulotomy"),
    "laser_trabeculoplasty": (5, "surgeon", True, "laser_trabeculoplasty"),
    "laser_iridotomy": (4, "surgeon", False, "laser_iridotomy"),
    "laser_panretinal": (10, "surgeon", False, "panretinal_photocoagulation"),
    "keratoplasty": (5, "surgeon assistant", False, "penetrating_keratoplasty endothelial_keratoplasty"),
    "ocular_surface": (3, "surgeon", False, "pterygium_excision"),
    "keratorefractive": (6, "surgeon assistant", False, "keratorefractive_laser"),
    "strabismus": (10, "surgeon", False, "strabismus_surgery"),
    "glaucoma_filtering": (5, "surgeon", False, PROCEDURE_GROUPS["glaucoma"]),
    "retina_vitreous": (10, "surgeon assistant", False, PROCEDURE_GROUPS["retina"]),
    "intravitreal_injection": (10, "surgeon", False, "intravitreal_injection"),
    "oculoplastic_total": (28, "surgeon", False, PROCEDURE_GROUPS["oculoplastic"]),
    "eyelid_laceration": (3, "surgeon", False, "eyelid_laceration_repair"),
    "chalazion": (3, "surgeon", False, "chalazion_excision"),
    "ptosis_blepharoplasty": (3, "surgeon", False, "ptosis_repair blepharoplasty"),
    "globe_trauma": (4, "surgeon", False, "open_globe_repair"),
}
# Definition of capsule rupture: the national audit's, read. Windows: common practice, no source.
COMPLICATIONS = {
    "capsule_rupture": (0, True),
    "vitreous_loss": (0, False),
    "dropped_nucleus": (0, False),
    "zonular_dialysis": (0, False),
    "endophthalmitis": (42, False),
    "macular_oedema": (90, False),
    "retinal_detachment": (90, False),
    "wound_leak": (7, False),
}


@pytest.mark.parametrize("name", shipped_specialties())
def test_every_shipped_specialty_loads_under_its_own_name(name: str) -> None:
    spec = load_specialty(name)
    assert spec.specialty == name
    assert all(rule.reviewed_on == date(2026, 11, 24) for rule in spec.requirements.values())


def test_ophthalmology_has_its_requirements() -> None:
    rules = load_specialty("ophthalmology").requirements
    assert {
        ref: (rule.minimum, " ".join(rule.roles), rule.verified, " ".join(rule.procedures))
        for ref, rule in rules.items()
    } == REQUIREMENTS
    for rule in rules.values():
        assert (rule.unit, rule.elsewhere, rule.edition) == ("procedure", True, "March 2021")
        assert (rule.cohorts.first, rule.cohorts.last, rule.stages) == (None, None, [])
        assert rule.attributes.model_dump() == {"all": [], "any": [], "none": ["simulated"]}
    parts = {ref for ref, rule in rules.items() if rule.part_of == "oculoplastic_total"}
    assert parts == {"eyelid_laceration", "chalazion", "ptosis_blepharoplasty"}


def test_ophthalmology_has_its_procedures_complications_and_codes() -> None:
    spec = load_specialty("ophthalmology")
    groups = {
        group: " ".join(code for code, each in spec.procedures.items() if each.group == group)
        for group in spec.procedure_groups
    }
    assert groups == PROCEDURE_GROUPS
    assert {
        ref: (each.window_days, each.verified) for ref, each in spec.complications.items()
    } == COMPLICATIONS
    assert {each.group for each in spec.complications.values()} == {"cataract"}
    codes = {name: " ".join(values) for name, values in code_sets(spec).items()}
    assert codes["roles"] == "surgeon assistant teaching_assistant observer"
    assert codes["supervision"] == (
        "observed assisted performed_jointly spoken_guidance supervisor_in_room supervisor_available "
        "supervised_junior"
    )
    assert codes["stages"] == "first_year second_year third_year"
    assert codes["techniques"] == "divide_and_conquer stop_and_chop chop"
    assert codes["attributes"] == "simulated pediatric"
    assert codes["risk_factors"] == (
        "previous_vitrectomy corneal_scar small_pupil shallow_chamber high_age high_ametropia capsule_plaque "
        "posterior_polar dense_cataract pseudoexfoliation phacodonesis"
    )
    assert codes["steps"] == (
        "draping incision capsulorhexis hydrodissection nucleus_disassembly segment_removal cortex_removal "
        "lens_insertion viscoelastic_removal wound_closure eye_position tissue_handling flow"
    )
    assert codes["milestone_levels"] == "A B C D E not assessable"


def test_ophthalmology_says_with_which_roles_each_level_agrees() -> None:
    levels = load_specialty("ophthalmology").supervision
    assert {ref: " ".join(level.roles) for ref, level in levels.items()} == {
        "observed": "observer assistant",
        "assisted": "assistant",
        "performed_jointly": "surgeon assistant",
        "spoken_guidance": "surgeon",
        "supervisor_in_room": "surgeon",
        "supervisor_available": "surgeon",
        "supervised_junior": "teaching_assistant",
    }


def test_the_milestones_that_are_shipped_say_that_they_are_nobodys_standard() -> None:
    milestones = load_specialty("ophthalmology").milestones
    assert milestones is not None
    assert (milestones.framework, milestones.official) == ("example, not the accreditor's", False)
    assert list(milestones.items) == [
        "cataract_operating",
        "laser_operating",
        "oculoplastic_operating",
        "emergency_care",
        "complication_management",
        "honest_log",
    ]


def rows(spec: Specialty, name: str) -> list[tuple[object, ...]]:
    return [tuple(row.values()) for row in specialty_tables(spec)[name].to_pylist()]


def test_the_tables_hold_what_the_file_says_in_its_order(spec: Specialty) -> None:
    assert rows(spec, "role")[:2] == [
        ("surgeon", "Surgeon", 1),
        ("teaching_assistant", "Teaching assistant", 2),
    ]
    assert rows(spec, "supervision_level")[0] == ("observed", "Observed", 1, "observed or helped")
    assert rows(spec, "supervision_role")[:2] == [("observed", "observer"), ("observed", "assistant")]
    assert rows(spec, "procedure")[0] == ("phaco_iol", "Phacoemulsification with lens", "lens")
    printed = [" | ".join(str(value) for value in row) for row in rows(spec, "requirement")]
    committee = "Review committee, table of minimums, March 2021"
    assert printed == [
        "lens | Lens surgery | 86 | procedure | None | True | False | 2019 | None | March 2021 | "
        f"{committee} | False | 2026-11-24 | None | 1",
        "audit | Audit of consecutive cases | None | None | None | False | False | None | None | None | "
        "Made up | False | 2026-11-24 | None | 2",
        "sign_off | Simulation sign-off | None | None | None | False | False | None | None | None | "
        "Made up | True | 2026-11-24 | None | 3",
    ]
    assert rows(spec, "requirement_procedure") == [("lens", "phaco_iol"), ("audit", "phaco_iol")]
    assert rows(spec, "requirement_role") == [("lens", "surgeon"), ("audit", "surgeon")]
    assert rows(spec, "requirement_attribute") == [("lens", "simulated", "none")]
    endophthalmitis = ("endophthalmitis", "Endophthalmitis", "lens", 42, "Infected", "Made up", False, 2)
    assert rows(spec, "complication")[1] == endophthalmitis
    assert rows(spec, "step")[2] == ("nucleus_disassembly", "Nucleus disassembly", "lens", 3)
    assert rows(spec, "milestone_level")[2] == ("C", 3)
    assert rows(spec, "milestone") == [("lens_skill", "Lens surgery", 1)]
    rule = ("lens_skill", "C", 1, "counted_cases", "lens", None, None, None, None, None, 30.0, None)
    assert rows(spec, "milestone_rule") == [rule]


def test_every_measure_of_a_milestone_keeps_its_own_columns() -> None:
    measures = (
        "{B: [{measure: rate, complication: endophthalmitis, attribution: as_started, at_most: 0.1}], "
        "C: [{measure: supervision_share, group: lens, level: guided, at_least: 0.5}, "
        "{measure: score_mean, step: incision, at_least: 3}]}"
    )
    spec = parse_specialty(CONTRACT.replace(RULES, measures).encode(), "example.yaml")
    named = ("lens_skill", "C")
    assert rows(spec, "milestone_rule") == [
        ("lens_skill", "B", 1, "rate", None, "endophthalmitis", "as_started", None, None, None, None, 0.1),
        (*named, 1, "supervision_share", None, None, None, "lens", "guided", None, 0.5, None),
        (*named, 2, "score_mean", None, None, None, None, None, "incision", 3.0, None),
    ]


def test_an_empty_table_keeps_its_types() -> None:
    bare = CONTRACT[: CONTRACT.index("requirements:")]
    tables = specialty_tables(parse_specialty(bare.encode(), "example.yaml"))
    assert tables["requirement"].num_rows == tables["milestone_rule"].num_rows == 0
    assert tables["requirement"].schema.field("minimum").type == pa.int32()
    assert tables["requirement"].schema.field("verified").type == pa.bool_()
    assert tables["milestone_rule"].schema.field("at_least").type == pa.float64()


def test_each_rule_is_one_plain_sentence_with_its_source_and_its_doubt(spec: Specialty) -> None:
    lens, audit, sign_off, rupture, endophthalmitis = rule_sentences(spec)
    doubt = "to be confirmed against the current document"
    assert lens == (
        "Lens surgery (lens): at least 86 procedures as Surgeon: Phacoemulsification with lens; "
        "not if one of these holds: Simulated; one trainee an operation as Surgeon (applies from a later "
        "version); cases performed elsewhere count; for classes that end from 2019; edition March 2021; "
        "source: Review committee, table of minimums, March 2021; reviewed on 2026-11-24; "
        f"{doubt}."
    )
    assert "an audit of 50 consecutive cases within 3 years" in audit and doubt in audit
    assert "a sign-off, without a count" in sign_off and doubt not in sign_off
    assert "in the operation, always due" in rupture and doubt not in rupture
    assert "within 42 days" in endophthalmitis and doubt in endophthalmitis


def test_a_sentence_names_stages_units_parts_and_what_is_replaced() -> None:
    text = (
        CONTRACT.replace("unit: procedure", "unit: operation")
        .replace("stages: []", "stages: [first_year, chief]")
        .replace("part_of: null", "part_of: audit\n    replaces: sign_off")
        .replace("elsewhere: true", "elsewhere: false")
        .replace("from: 2019, to: null", "to: 2030")
    )
    lens = rule_sentences(parse_specialty(text.encode(), "example.yaml"))[0]
    for words in (
        "at least 86 operations",
        "only in First year or Chief year",
        "part of audit, tested for itself",
        "cases performed elsewhere do not count",
        "replaces sign_off",
        "for classes that end to 2030",
    ):
        assert words in lens
