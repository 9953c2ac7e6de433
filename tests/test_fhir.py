"""Procedure resources of FHIR are read as cases; what identifies somebody in them is never selected.

The two official examples: HL7 FHIR R4 (4.0.1) and R5 (5.0.0), resource Procedure, example "example" ("Routine
Appendectomy"), compared element by element with public copies of both; of R5 without its `supportingInfo`. Extensions:
`pipelines/files/fhir.py`.
"""

from __future__ import annotations

import json
from typing import Any

import pytest

from pipelines.contract.errors import FileRefused
from pipelines.files.headers import TableMapping
from pipelines.files.reading import ExportFile, Part, read_parts
from pipelines.specialty.load import load_specialty

SPECIALTY = load_specialty("ophthalmology")
PERSON = {"reference": "Practitioner/example", "display": "Dr Cecil Surgeon"}
R4 = {
    "resourceType": "Procedure",
    "id": "example",
    "text": {"status": "generated", "div": "<div xmlns=\"http://www.w3.org/1999/xhtml\">Routine Appendectomy</div>"},
    "status": "completed",
    "code": {
        "coding": [{"system": "http://snomed.info/sct", "code": "80146002", "display": "Appendectomy (Procedure)"}],
        "text": "Appendectomy",
    },
    "subject": {"reference": "Patient/example"},
    "performedDateTime": "2013-04-05",
    "recorder": PERSON,
    "asserter": PERSON,
    "performer": [{"actor": PERSON}],
    "reasonCode": [{"text": "Generalized abdominal pain 24 hours. Localized in RIF with rebound and guarding"}],
    "followUp": [{"text": "ROS 5 days  - 2013-04-10"}],
    "note": [{"text": "Routine Appendectomy. Appendix was inflamed and in retro-caecal position"}],
}  # fmt: skip
R5 = {
    **{
        name: value
        for name, value in R4.items()
        if name not in ("performedDateTime", "asserter", "reasonCode")
    },
    "occurrenceDateTime": "2013-04-05",
    "meta": {"versionId": "1"},
    "reportedReference": PERSON,
    "reason": [
        {
            "concept": {
                "text": "Generalized abdominal pain 24 hours. Localized in RIF with rebound and guarding"
            }
        }
    ],
}
SURGEON = TableMapping(constants={"role": "surgeon"})


def ours(name: str, **value: object) -> dict[str, object]:
    return {"url": f"urn:cohort-standing:{name}", **value}


def procedure(number: int, **more: object) -> dict[str, Any]:
    return {
        "resourceType": "Procedure",
        "id": f"P{number:05}",
        "status": "completed",
        "identifier": [{"system": "urn:x", "value": "MRN-00123456"}],
        "subject": {"reference": "Patient/p1", "display": "Anna Muster"},
        "code": {"coding": [{"code": "phaco_iol"}], "text": "for Anna Muster"},
        "performer": [{"function": {"coding": [{"code": "surgeon"}]}, "actor": {"reference": "Practitioner/T07"}}],
        "performedPeriod": {"start": "2026-04-03T10:00:00+02:00", "end": "2026-04-03T10:25:10+02:00"},
        **more,
    }  # fmt: skip


def ndjson(*resources: dict[str, Any]) -> bytes:
    return "\n".join(json.dumps(each) for each in resources).encode()


def bundle(*resources: dict[str, Any]) -> bytes:
    entries = [{"fullUrl": f"urn:uuid:{place}", "resource": each} for place, each in enumerate(resources)]
    return json.dumps({"resourceType": "Bundle", "type": "collection", "entry": entries}, indent=1).encode()


def part_of(data: bytes, mapping: TableMapping | None = None) -> Part:
    (part,) = read_parts([ExportFile("procedures.json", data)], SPECIALTY, False, mapping)
    return part


def cells(part: Part) -> list[dict[str, object]]:
    own = ("__source_row", "__too_many_cells")
    rows = part.take_rows().to_pylist()
    return [
        {name: cell for name, cell in row.items() if name not in own and cell is not None} for row in rows
    ]


@pytest.mark.parametrize("example", [R4, R5], ids=["R4", "R5"])
@pytest.mark.parametrize("form", [ndjson, bundle, lambda one: json.dumps(one, indent=2).encode()])
def test_the_official_example_is_a_case_without_a_word_of_its_people(
    example: dict[str, Any], form: Any
) -> None:
    part = part_of(form(example), SURGEON)
    assert (part.kind.name, part.skipped) == ("cases", ())
    assert cells(part) == [
        {
            "case_ref": "example",
            "trainee_ref": "example",
            "operated_on": "2013-04-05",
            "procedure": "80146002",
            "role": "surgeon",
        }
    ]


def test_every_element_that_is_read_becomes_its_column() -> None:
    one = procedure(
        1,
        bodySite=[{"coding": [{"code": "left"}]}],
        complication=[
            {"coding": [{"code": "capsule_rupture"}]},
            {"coding": [{"code": "endophthalmitis"}], "extension": [ours("day", valueInteger=5)]},
        ],
    )
    assert cells(part_of(ndjson(one))) == [
        {
            "case_ref": "P00001",
            "trainee_ref": "T07",
            "operated_on": "2026-04-03",
            "procedure": "phaco_iol",
            "role": "surgeon",
            "side": "left",
            "duration_min": "25",
            "complications": "capsule_rupture;endophthalmitis@5",
        }
    ]


def test_what_fhir_lacks_is_read_back_from_extensions_of_ours() -> None:
    extensions = [
        ours("supervision", valueCode="spoken_guidance"),
        ours("takeover", valueBoolean=True),
        ours("takeover_reason", valueCode="rescue"),
        ours("event_hands", valueCode="trainee"),
        ours("follow_up_days", valueInteger=42),
        ours("supervisor_ref", valueString="S03"),
        ours("logged_on", valueDate="2026-04-05"),
        ours("risk_factors", valueCode="small_pupil"),
        ours("risk_factors", valueCode="dense_cataract"),
        ours("no_column_of_ours", valueString="Anna Muster"),
        {"url": "urn:other:supervision", "valueCode": "observed"},
    ]
    (row,) = cells(part_of(ndjson(procedure(1, extension=extensions))))
    assert {name: row[name] for name in list(row)[-8:]} == {
        "supervision": "spoken_guidance",
        "takeover": "true",
        "takeover_reason": "rescue",
        "event_hands": "trainee",
        "follow_up_days": "42",
        "supervisor_ref": "S03",
        "logged_on": "2026-04-05",
        "risk_factors": "small_pupil;dense_cataract",
    }
    assert "Muster" not in str(row)


def test_only_completed_procedures_are_cases_and_the_others_are_named() -> None:
    statuses = ["completed", "not-done", "entered-in-error", "in-progress", "not-done", "completed"]
    part = part_of(ndjson(*(procedure(place, status=status) for place, status in enumerate(statuses))))
    assert part.skipped == (
        "1 procedure entered in error: not read.",
        "2 procedures not done: not read.",
        "1 procedure of another status: not read.",
    )
    assert part.row_count == 2
    # Numbered as the resources are.
    assert part.take_rows().column("__source_row").to_pylist() == [1, 6]


def test_procedures_that_are_part_of_one_operation_carry_its_reference() -> None:
    part = part_of(bundle(procedure(1), procedure(2, partOf=[{"reference": "Procedure/P00001"}])))
    assert [row["case_ref"] for row in cells(part)] == ["P00001", "P00001"]


def test_r5_has_its_complications_one_level_below() -> None:
    one = procedure(1, complication=[{"concept": {"coding": [{"code": "capsule_rupture"}]}}])
    one["occurrencePeriod"] = one.pop("performedPeriod")
    (row,) = cells(part_of(ndjson(one)))
    assert (row["complications"], row["duration_min"]) == ("capsule_rupture", "25")


def test_other_resources_beside_procedures_are_not_read() -> None:
    patient = {"resourceType": "Patient", "id": "p1", "name": [{"family": "Muster"}]}
    assert part_of(bundle(patient, procedure(1))).row_count == 1


def test_words_of_another_system_are_mapped_like_any_other_header_or_word() -> None:
    # Without a function of the performer there is no role, and the message says so.
    one = procedure(1, performer=[{"actor": {"reference": "Practitioner/T07"}}])
    with pytest.raises(FileRefused) as refused:
        part_of(ndjson(one))
    assert [finding.message for finding in refused.value.findings] == [
        "procedures.json: There is no column role."
    ]
    assert cells(part_of(ndjson(one), SURGEON))[0]["role"] == "surgeon"


@pytest.mark.parametrize(
    "data",
    [
        b"{",
        b'{"resourceType": "Patient"}',
        b'{"resourceType": "Bundle"}',
        b'{"resourceType": "Procedure", "status": [1]}',
        b'{"a": 1}\n{"resourceType": "Procedure"',
        b"{" * 100_000,
        b'{"resourceType": "Bundle", "entry": ' + b"[" * 50_000,
    ],
)
def test_what_is_no_procedure_is_refused(data: bytes) -> None:
    with pytest.raises(FileRefused) as refused:
        part_of(data)
    assert refused.value.exit_code == 11


def test_a_person_in_what_is_read_is_found_as_in_any_other_file() -> None:
    one = procedure(
        1, performer=[{"function": {"text": "surgeon"}, "actor": {"reference": "Practitioner/Hartley"}}]
    )
    with pytest.raises(FileRefused) as refused:
        part_of(ndjson(one))
    (finding,) = refused.value.findings
    assert finding.message == 'procedures.json, row 1, trainee_ref: "Hartley" looks like a name.'
