"""Specialty files: the example of the contract and every shipped one, as tables, codes and sentences."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pyarrow as pa
import pytest

from pipelines.specialty.load import (
    Specialty,
    code_sets,
    load_specialty,
    parse_specialty,
    shipped_specialties,
    specialty_text,
)
from pipelines.specialty.sentences import rule_sentences
from pipelines.specialty.tables import specialty_tables
from tests.example_specialty import CONTRACT, RULES


@pytest.fixture
def spec() -> Specialty:
    return parse_specialty(CONTRACT.encode(), "example.yaml")


def test_the_example_of_the_contract_loads(spec: Specialty) -> None:
    lens = spec.requirements["lens"]
    assert (lens.minimum, lens.cohorts.first, lens.cohorts.last) == (86, 2019, None)
    assert (lens.is_counted, spec.requirements["audit"].is_counted) == (True, False)
    assert lens.reviewed_on == date(2026, 11, 24)


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
    parts = {ref for ref, rule in rules.items() if rule.part_of == ["oculoplastic_total"]}
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
    assert {tuple(each.groups) for each in spec.complications.values()} == {("cataract",)}
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
        ("surgeon", "Surgeon", 1, True, False),
        ("teaching_assistant", "Teaching assistant", 2, False, False),
    ]
    assert rows(spec, "attribute") == [
        ("simulated", "Simulated", 1, True),
        ("pediatric", "Under 18", 2, True),
    ]
    assert rows(spec, "supervision_level")[0] == ("observed", "Observed", 1, "observed or helped")
    assert rows(spec, "supervision_role")[:2] == [("observed", "observer"), ("observed", "assistant")]
    assert rows(spec, "procedure")[0] == ("phaco_iol", "Phacoemulsification with lens", "lens")
    printed = [" | ".join(str(value) for value in row) for row in rows(spec, "requirement")]
    committee = "Review committee, table of minimums, March 2021"
    # Local, published minimum, local source, main procedures alone, before and by the end of a stage, last years, instead.
    unsaid = "False | None | None | False | None | None | None | None"
    assert printed == [
        "lens | Lens surgery | 86 | procedure | None | True | 2019 | None | March 2021 | "
        f"{committee} | False | 2026-11-24 | None | 1 | minimum | {unsaid} | None | None | None | None | procedures",
        "audit | Audit of consecutive cases | None | None | None | False | None | None | None | "
        f"Made up | False | 2026-11-24 | None | 2 | consecutive | {unsaid} | 50 | 3 | None | None | None",
        "sign_off | Simulation sign-off | None | None | None | False | None | None | None | "
        f"Made up | True | 2026-11-24 | None | 3 | sign_off | {unsaid} | None | None | None | None | None",
    ]
    assert rows(spec, "requirement_procedure") == [
        ("lens", "phaco_iol", None, None, None),
        ("audit", "phaco_iol", None, None, None),
    ]
    assert rows(spec, "requirement_role") == [("lens", "surgeon"), ("audit", "surgeon")]
    assert rows(spec, "requirement_attribute") == [("lens", "simulated", "none")]
    endophthalmitis = ("endophthalmitis", "Endophthalmitis", "lens", 42, "Infected", "Made up", False, 2)
    assert rows(spec, "complication")[1] == endophthalmitis
    assert rows(spec, "step")[2] == ("nucleus_disassembly", "Nucleus disassembly", "lens", 3)
    assert rows(spec, "milestone_level")[2] == ("C", 3)
    assert rows(spec, "milestone") == [("lens_skill", "Lens surgery", 1)]
    rule = (
        "lens_skill",
        "C",
        1,
        "counted_cases",
        "lens",
        None,
        None,
        None,
        None,
        None,
        30.0,
        None,
        None,
        None,
    )
    assert rows(spec, "milestone_rule") == [rule]


MARKED = CONTRACT.replace(
    "roles: {surgeon: Surgeon, teaching_assistant: Teaching assistant,",
    "roles: {chief: {title: Chief surgeon, operating: true}, surgeon: Surgeon, "
    "teaching_assistant: {title: Teaching assistant, teaching: true},",
).replace("{simulated: Simulated,", "{simulated: {title: Simulated, patient: false},")


def test_a_role_that_is_marked_operates_and_then_surgeon_does_only_if_it_is_marked_too() -> None:
    def marks(text: str) -> list[tuple[object, ...]]:
        return [(row[0], *row[3:]) for row in rows(parse_specialty(text.encode(), "example.yaml"), "role")]

    others = [("teaching_assistant", False, True), ("assistant", False, False), ("observer", False, False)]
    assert marks(MARKED) == [("chief", True, False), ("surgeon", False, False), *others]
    both = MARKED.replace("surgeon: Surgeon", "surgeon: {title: Surgeon, operating: true}")
    assert marks(both) == [("chief", True, False), ("surgeon", True, False), *others]


def test_a_specialty_without_the_role_surgeon_loads_where_another_role_operates() -> None:
    text = MARKED.replace("surgeon: Surgeon, ", "").replace("[surgeon]", "[chief]")
    spec = parse_specialty(text.encode(), "example.yaml")
    assert (list(spec.roles), spec.operating_roles) == (
        ["chief", "teaching_assistant", "assistant", "observer"],
        ["chief"],
    )


def test_an_attribute_says_whether_a_patient_was_operated_on_and_the_sentence_tells_it() -> None:
    spec = parse_specialty(MARKED.encode(), "example.yaml")
    assert rows(spec, "attribute") == [
        ("simulated", "Simulated", 1, False),
        ("pediatric", "Under 18", 2, True),
    ]
    assert rule_sentences(spec)[0] == (
        "Operating roles: rates and supervision: cases as Chief surgeon; a takeover in a case as Teaching assistant "
        "is somebody else's; in no rate and no share of supervision: Simulated."
    )


def test_ophthalmology_marks_who_teaches_and_what_is_no_patient() -> None:
    spec = load_specialty("ophthalmology")
    assert spec.operating_roles == ["surgeon"]
    assert [ref for ref, role in spec.roles.items() if role.teaching] == ["teaching_assistant"]
    assert [ref for ref, each in spec.attributes.items() if not each.patient] == ["simulated"]


def test_every_measure_of_a_milestone_keeps_its_own_columns() -> None:
    measures = (
        "{B: [{measure: rate, complication: endophthalmitis, attribution: as_started, at_most: 0.1}], "
        "C: [{measure: supervision_share, group: lens, level: guided, at_least: 0.5, last_cases: 20}, "
        "{measure: score_mean, step: incision, at_least: 3, last_quarters: 2}]}"
    )
    spec = parse_specialty(CONTRACT.replace(RULES, measures).encode(), "example.yaml")
    named = ("lens_skill", "C")
    assert rows(spec, "milestone_rule") == [
        (
            "lens_skill",
            "B",
            1,
            "rate",
            None,
            "endophthalmitis",
            "as_started",
            None,
            None,
            None,
            None,
            0.1,
            None,
            None,
        ),
        (*named, 1, "supervision_share", None, None, None, "lens", "guided", None, 0.5, None, 20, None),
        (*named, 2, "score_mean", None, None, None, None, None, "incision", 3.0, None, None, 2),
    ]


def test_an_empty_table_keeps_its_types() -> None:
    bare = CONTRACT[: CONTRACT.index("requirements:")]
    tables = specialty_tables(parse_specialty(bare.encode(), "example.yaml"))
    assert tables["requirement"].num_rows == tables["milestone_rule"].num_rows == 0
    assert tables["requirement"].schema.field("minimum").type == pa.int32()
    assert tables["requirement"].schema.field("verified").type == pa.bool_()
    assert tables["milestone_rule"].schema.field("at_least").type == pa.float64()


def test_each_rule_is_one_plain_sentence_with_its_source_and_its_doubt(spec: Specialty) -> None:
    roles, lens, audit, sign_off, rupture, endophthalmitis, *milestones = rule_sentences(spec)
    doubt = "not yet checked against the current document"
    assert roles == "Operating roles: rates and supervision: cases as Surgeon."
    assert lens == (
        "Lens surgery (lens): at least 86 procedures as Surgeon: Phacoemulsification with lens; never Simulated; "
        f"elsewhere too; for classes from 2019; {doubt}."
    )
    assert "an audit of 50 consecutive cases within 3 years" in audit and doubt in audit
    assert "a sign-off, without a count" in sign_off and doubt not in sign_off
    assert "in the operation, always due" in rupture and doubt not in rupture
    assert "within 42 days" in endophthalmitis and doubt in endophthalmitis
    assert milestones == [
        "Lens surgery (lens_skill), level C (example): at least 30 counted cases of Lens surgery."
    ]


def test_what_a_milestone_asks_is_told_for_each_measure() -> None:
    told = [each for each in rule_sentences(load_specialty("ophthalmology")) if ", level " in each]
    assert len(told) == 23
    for words in (
        "Cataract operating (cataract_operating), level B (example, not the accreditor's): at least 10 "
        "counted cases of Cataract.",
        "at least 50 % of the cases of Cataract (the last 20 cases) at 'Performed, supervisor in the room' or above, "
        "from ten cases on",
        "a mean score of at least 3.5 in nucleus disassembly, from five operations on",
        "Capsule rupture, all operations they began: the upper end of the interval at most 10 %",
    ):
        assert any(words in each for each in told), words


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"unit: procedure": "unit: case_study"}, "at least 86 case studies as Surgeon"),
        ({"unit: procedure": "unit: resuscitation"}, "at least 86 resuscitations"),
        ({"stages: []": "stages: [first_year, chief]"}, "in First year or Chief year"),
        ({"stages: []": "before_stage: chief"}, "before Chief year"),
        ({"stages: []": "by_end_of_stage: first_year"}, "by the end of First year"),
        ({"stages: []": "last_years: 2"}, "in the last 2 years of training"),
        ({"part_of: null": "part_of: [audit, sign_off]"}, "part of audit and sign_off"),
        ({"part_of: null": "replaces: sign_off"}, "replaces sign_off"),
        ({"elsewhere: true": "elsewhere: false"}, "not elsewhere"),
        ({"from: 2019, to: null": "to: 2030"}, "for classes to 2030"),
        ({"all: []": "all: [pediatric]", "none: [simulated]": "none: []"}, "only Under 18"),
        ({"principal_only: false": "principal_only: true"}, "main procedures alone"),
        ({"at_most: {}": "at_most: {assistant: 5, elsewhere: 1}"}, "at most 5 as Assistant; at most 1 from elsewhere"),
        ({"procedures: [phaco_iol]\n": "procedure_groups: [lens, lid]\n"}, "as Surgeon: any procedure"),
        ({"procedures: [phaco_iol]\n": "techniques: [chop]\n"}, "any procedure by Chop"),
        (
            {"stages: []": "procedure_months: {phaco_iol: {from: 2024-07}}"},
            "Phacoemulsification with lens from 2024-07",
        ),
        (
            {"minimum: 86": "minimum: 86\n    local_minimum: {minimum: 100, source: Own}"},
            "at least 100 procedures (the programme's own; the document has 86)",
        ),
        ({"stages: []": "local: true"}, "the programme's own rule"),
    ],
)  # fmt: skip
def test_a_sentence_names_every_part_of_a_rule(changes: dict[str, str], words: str) -> None:
    text = CONTRACT
    for old, new in changes.items():
        assert text.count(old) == 1
        text = text.replace(old, new)
    lens = rule_sentences(parse_specialty(text.encode(), "example.yaml"))[1]
    assert words in lens and len(lens) <= 200


def test_no_sentence_of_a_shipped_specialty_is_longer_than_a_line_or_leaves_the_doubt_out() -> None:
    for name in shipped_specialties():
        spec = load_specialty(name)
        told = rule_sentences(spec)
        assert max(len(each) for each in told) <= 200
        doubted = [each for each in spec.requirements.values() if not each.verified]
        assert sum("not yet checked" in each for each in told[1 : 1 + len(spec.requirements)]) == len(doubted)


def test_a_sentence_that_does_not_fit_is_cut_at_a_word_and_keeps_its_doubt() -> None:
    text = CONTRACT.replace("title: Lens surgery\n    minimum", f"title: {'Lens ' * 60}surgery\n    minimum")
    lens = rule_sentences(parse_specialty(text.encode(), "example.yaml"))[1]
    assert len(lens) <= 200
    assert lens.endswith(" Lens …; not yet checked.")
