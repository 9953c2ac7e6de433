"""Each row of both published tables crosses its threshold: one below, at it, one above, in the wrong role and stage.

Sources: Review Committee for Surgery, Defined Category Minimum Numbers: General Surgery, November 2017; Review Committee
for Ophthalmology, Case Log Information, March 2021 (its numbers stand in tests/test_specialty.py, with their marks).
Which roles count in general surgery, and that 50 teaching-assistant cases count toward the total: common practice, no
source.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pyarrow as pa
import pytest
import yaml

from pipelines.specialty.load import specialty_text
from tests.drawn import Db, database, drawn, ophthalmology, put, run, table
from tests.stores import shipped_specialty
from tests.test_specialty import REQUIREMENTS

# Category: minimum, a procedure that counts, what else the case must be.
SURGERY = """
    skin_soft_tissue      |  25 | skin_soft_tissue   |
    breast                |  40 | breast_other       |
    mastectomy            |   5 | mastectomy         |
    axilla                |   5 | axilla             |
    head_neck             |  25 | head_neck          |
    alimentary            | 180 | alimentary_other   |
    esophagus             |   5 | esophagus          |
    stomach               |  15 | stomach            |
    small_intestine       |  25 | small_intestine    |
    large_intestine       |  40 | large_intestine    |
    appendix              |  40 | appendix           |
    anorectal             |  20 | anorectal          |
    abdominal             | 250 | abdominal_other    |
    biliary               |  85 | biliary            |
    hernia                |  85 | hernia             |
    liver                 |   5 | liver              |
    pancreas              |   5 | pancreas           |
    vascular              |  50 | vascular_other     |
    vascular_access       |  10 | vascular_access    |
    vascular_repair       |  10 | vascular_repair    |
    endocrine             |  15 | endocrine_other    |
    thyroid_parathyroid   |  10 | thyroid_parathyroid |
    operative_trauma      |  10 | operative_trauma   |
    nonoperative_trauma   |  40 | nonoperative_trauma |
    resuscitation_lead    |  10 | resuscitation_lead |
    thoracic              |  20 | thoracic_other     |
    thoracotomy           |   5 | thoracotomy        |
    pediatric             |  20 | hernia             | pediatric
    plastic               |  10 | plastic            |
    critical_care         |  40 | critical_care      |
    laparoscopic_basic    | 100 | appendix           | laparoscopic_basic
    endoscopy             |  85 | endoscopy_other    |
    upper_endoscopy       |  35 | upper_endoscopy    |
    colonoscopy           |  50 | colonoscopy        |
    laparoscopic_complex  |  75 | large_intestine    | laparoscopic_complex
    total_major           | 850 | biliary            | major
    chief_major           | 200 | biliary            | major
    teaching_assistant    |  25 | hernia             |
"""
PUBLISHED = {
    ref: (int(minimum), procedure, attribute or None)
    for ref, minimum, procedure, attribute in (
        [cell.strip() for cell in line.split("|")] for line in SURGERY.strip().splitlines()
    )
}
# What one trainee of a rule has: how many cases beside the minimum, and which kind they are of.
KINDS = {"below": -1, "at": 0, "above": 1, "role": 0, "stage": 0}


def case(trainee: str, place: int, **said: Any) -> dict[str, Any]:
    row = {
        "trainee_ref": trainee,
        "case_ref": f"{trainee}-{place}",
        "operated_month": "2026-01",
        "case_sequence": place,
    }
    row |= {"attributes": None, "complications": None, "follow_up_days": None}
    return row | {"source": "main", "source_taken": 1, "taken": 1, "intake_id": "a-1", **said}


def of_surgery() -> Iterator[dict[str, Any]]:
    for ref, (minimum, procedure, attribute) in PUBLISHED.items():
        role = "teaching_assistant" if ref == "teaching_assistant" else "surgeon_junior"
        for kind, more in KINDS.items():
            said = {
                "procedure": procedure,
                "attributes": attribute,
                "role": "first_assistant" if kind == "role" else role,
            }
            said["operated_month"] = "2025-01" if kind == "stage" else "2026-01"
            yield from (case(f"{ref}-{kind}", place, **said) for place in range(minimum + more))


def of_the_eye() -> Iterator[dict[str, Any]]:
    for ref, (minimum, roles, _, procedures) in REQUIREMENTS.items():
        for kind, more in KINDS.items():
            role = "observer" if kind == "role" else roles.split()[-1]
            said = {"procedure": procedures.split()[0], "role": role}
            yield from (case(f"{ref}-{kind}", place, **said) for place in range(minimum + more))


def counted(specialty: bytes, cases: list[dict[str, Any]]) -> Db:
    """Everybody who has a case: a junior until June 2025, then chief."""
    db = database(specialty)
    rows = pa.Table.from_pylist(cases)
    db.register("logged", rows)
    names = ", ".join(f'"{name}"' for name in rows.column_names)
    db.execute(f"insert into input.cases ({names}) select {names} from logged")
    people = "select distinct trainee_ref from logged"
    db.execute(
        "insert into input.trainees (trainee_ref, cohort, started, expected_completion)"
        f" select trainee_ref, '2025-26', '2021-07', '2026-06' from ({people})"
    )
    db.execute(
        f"insert into input.data_through (trainee_ref, source, data_through) select *, 'main', '2026-01' from ({people})"
    )
    for start, end, stage in (("2021-07", "2025-06", "junior"), ("2025-07", None, "chief")):
        db.execute(
            'insert into input.training (trainee_ref, "from", "to", kind, "value")'
            f" select trainee_ref, ?, ?, 'stage', ? from ({people})",
            [start, end, stage],
        )
    db.unregister("logged")
    publish(db)
    return db


def publish(db: Db) -> None:
    run(db, ("case_credit", "case_volume", "complication_rate"))


@pytest.fixture(scope="module")
def surgery() -> Db:
    return counted(specialty_text("general_surgery"), list(of_surgery()))


@pytest.fixture(scope="module")
def eye() -> Db:
    return counted(ophthalmology(), list(of_the_eye()))


def crossed(db: Db, ref: str) -> dict[str, tuple[int, bool]]:
    """Kind → counted cases and whether the minimum is met."""
    rows = db.execute(
        "select trainee_ref, counted_cases, met, minimum from case_volume where requirement_ref = ?"
        " and trainee_ref like concat(?, '-%') and length(trainee_ref) - length(?) <= 6 and trainee_ref[length(?) + 2:] in"
        " ('below', 'at', 'above', 'role', 'stage')",
        [ref] * 4,
    ).fetchall()
    return {trainee.removeprefix(f"{ref}-"): (cases, met) for trainee, cases, met, _ in rows}


@pytest.mark.parametrize("ref", PUBLISHED)
def test_a_row_of_the_table_of_general_surgery_crosses_its_threshold(surgery: Db, ref: str) -> None:
    minimum, *_ = PUBLISHED[ref]
    # Only the rule of the chief year asks for a stage.
    other_stage = (0, False) if ref == "chief_major" else (minimum, True)
    assert crossed(surgery, ref) == {
        "below": (minimum - 1, False), "at": (minimum, True), "above": (minimum + 1, True),
        "role": (0, False), "stage": other_stage,
    }  # fmt: skip


@pytest.mark.parametrize("ref", REQUIREMENTS)
def test_a_row_of_the_table_of_the_eye_crosses_its_threshold(eye: Db, ref: str) -> None:
    minimum = REQUIREMENTS[ref][0]
    assert crossed(eye, ref) == {
        "below": (minimum - 1, False), "at": (minimum, True), "above": (minimum + 1, True),
        "role": (0, False), "stage": (minimum, True),
    }  # fmt: skip


def test_general_surgery_is_the_published_table_and_nothing_else() -> None:
    rules = shipped_specialty("general_surgery")["requirements"]
    assert {ref: rule["minimum"] for ref, rule in rules.items()} == {
        ref: row[0] for ref, row in PUBLISHED.items()
    }
    wholes = {ref: rule["part_of"] for ref, rule in rules.items() if "part_of" in rule}
    # Children of the table; the rest of it stands alone.
    assert wholes == {
        "mastectomy": "breast", "axilla": "breast",
        **dict.fromkeys(("esophagus", "stomach", "small_intestine", "large_intestine", "appendix", "anorectal"), "alimentary"),
        **dict.fromkeys(("biliary", "hernia", "liver", "pancreas"), "abdominal"),
        "vascular_access": "vascular", "vascular_repair": "vascular", "thyroid_parathyroid": "endocrine",
        "resuscitation_lead": "nonoperative_trauma", "thoracotomy": "thoracic",
        "upper_endoscopy": "endoscopy", "colonoscopy": "endoscopy",
    }  # fmt: skip
    units = {ref: rule["unit"] for ref, rule in rules.items() if rule["unit"] != "operation"}
    assert units == {
        "nonoperative_trauma": "patient",
        "resuscitation_lead": "resuscitation",
        "critical_care": "patient",
    }


def test_the_codes_of_general_surgery_are_those_that_exports_of_it_use() -> None:
    spec = shipped_specialty("general_surgery")
    leaves = {procedure for _, procedure, attribute in PUBLISHED.values() if attribute is None}
    others = {
        f"{whole}_other"
        for whole in ("breast", "alimentary", "abdominal", "vascular", "endocrine", "thoracic", "endoscopy")
    }
    assert set(spec["procedures"]) == leaves | others
    assert {"laparoscopic_basic", "laparoscopic_complex", "pediatric", "major"} <= set(spec["attributes"])
    assert list(spec["roles"]) == ["surgeon_chief", "surgeon_junior", "teaching_assistant", "first_assistant"]
    assert [ref for ref, role in spec["roles"].items() if isinstance(role, dict) and role.get("operating")] == [
        "surgeon_chief", "surgeon_junior",
    ]  # fmt: skip
    assert "chief" in spec["stages"]


def mixed(number: int, trainee: str, first: int = 0, **said: Any) -> list[dict[str, Any]]:
    return [
        case(trainee, place, **{"role": "surgeon_junior", **said}) for place in range(first, first + number)
    ]


@pytest.fixture(scope="module")
def people() -> Db:
    """Those of whom the rules are said to hold."""
    junior = {"procedure": "hernia", "attributes": "major", "operated_month": "2024-01"}
    chief = {"procedure": "hernia", "attributes": "major", "role": "surgeon_chief"}
    return counted(
        specialty_text("general_surgery"),
        [
            *mixed(176, "gut", procedure="stomach"),
            *mixed(4, "gut", 176, procedure="esophagus"),
            *mixed(651, "major", **junior),
            *mixed(199, "major", 651, **chief),
            *mixed(800, "teacher", **junior),
            *mixed(51, "teacher", 800, procedure="hernia", attributes="major", role="teaching_assistant"),
            *mixed(1, "leaky", procedure="stomach", role="surgeon_chief", operated_month="2025-09",
                   complications="anastomotic_leak@5", follow_up_days=5),
            *mixed(3, "leaky", 1, procedure="pancreas", role="surgeon_chief", operated_month="2025-09",
                   complications="none", follow_up_days=60),
        ],
    )  # fmt: skip


def test_enough_of_the_whole_may_be_too_few_of_a_part(people: Db) -> None:
    columns = "requirement_ref, counted_cases, met, parts_short, reached"
    where = "trainee_ref = 'gut' and requirement_ref in ('alimentary', 'esophagus')"
    assert table(people, "case_volume", columns, where) == drawn("""
        alimentary | 180 | true  | 5 | false
        esophagus  | 4   | false | 0 | false
    """)


def test_enough_in_all_may_be_too_few_in_the_chief_year(people: Db) -> None:
    columns = "requirement_ref, counted_cases, remaining_cases, met"
    assert table(
        people, "case_volume", columns, "trainee_ref = 'major' and requirement_ref like '%_major'"
    ) == drawn("""
        chief_major | 199 | 1 | false
        total_major | 850 | 0 | true
    """)


def test_the_fifty_first_case_as_teaching_assistant_adds_nothing_to_the_total(people: Db) -> None:
    columns = "requirement_ref, counted_cases, met"
    refs = "('total_major', 'teaching_assistant')"
    assert table(
        people, "case_volume", columns, f"trainee_ref = 'teacher' and requirement_ref in {refs}"
    ) == drawn("""
        teaching_assistant | 51  | true
        total_major        | 850 | true
    """)
    left_out = "trainee_ref = 'teacher' and requirement_ref = 'total_major' and not credited"
    assert (
        table(people, "case_credit", "case_ref, reason, over_cap", left_out)
        == "teacher-850 | role | teaching_assistant"
    )


def test_a_leak_of_a_chief_stands_in_the_rate_of_both_groups(people: Db) -> None:
    columns = "events, known_outcomes, rate"
    where = "trainee_ref = 'leaky' and complication_ref = 'anastomotic_leak' and attribution = 'as_started'"
    assert table(people, "complication_rate", columns, where) == "1 | 4 | 0.25"


def test_to_make_somebody_chief_today_changes_no_earlier_case() -> None:
    rows = [
        *mixed(3, "T01", procedure="hernia", attributes="major", operated_month="2025-12"),
        *mixed(2, "T01", 3, procedure="hernia", attributes="major", operated_month="2025-05"),
    ]
    stages = "trainee_ref | from | to | kind | value\n"
    found = []
    for training in (
        "T01 | 2021-07 | | stage | junior",
        "T01 | 2021-07 | | stage | junior\nT01 | 2026-01 | | stage | chief",
    ):
        db = database(specialty_text("general_surgery"))
        put(db, "trainees", "trainee_ref | cohort | stage\nT01 | 2025-26 | chief")
        put(db, "training", stages + training)
        for row in rows:
            put(db, "cases", " | ".join(row) + "\n" + " | ".join(str(value or "") for value in row.values()))
        publish(db)
        found.append(table(db, "case_credit", "case_ref, requirement_ref, reason"))
    assert found[0] == found[1]
    assert found[0].count("chief_major | stage") == 5


BOTH_EYES = """
    case_ref | procedure      | side
    C01      | phaco_iol      | left
    C01      | phaco_iol      | right
    C01      | trabeculectomy | left
    C01      | trabeculectomy | right
"""


@pytest.mark.parametrize(("unit", "counted_cases"), [("procedure", 2), ("operation", 1)])
def test_cataract_and_filtering_surgery_on_both_sides_count_by_the_unit_of_each_rule(
    unit: str, counted_cases: int
) -> None:
    specialty = shipped_specialty()
    for ref in ("cataract", "glaucoma_filtering"):
        specialty["requirements"][ref]["unit"] = unit
    db = database(yaml.safe_dump(specialty, sort_keys=False).encode())
    put(db, "trainees", "trainee_ref\nT01")
    put(db, "cases", BOTH_EYES)
    publish(db)
    where = "requirement_ref in ('cataract', 'glaucoma_filtering')"
    assert table(db, "case_volume", "requirement_ref, counted_cases, unit", where) == drawn(f"""
        cataract           | {counted_cases} | {unit}
        glaucoma_filtering | {counted_cases} | {unit}
    """)
    reasons = {
        "procedure": ["credited"] * 4,
        "operation": ["credited", "credited", *["duplicate_in_operation"] * 2],
    }
    rows = db.execute("select reason from case_credit order by reason").fetchall()
    assert [reason for (reason,) in rows] == reasons[unit]
