"""Two programmes in one store: nothing of the one in any file of the other's summary, byte for byte."""

from __future__ import annotations

import csv
import io
import json
import zipfile
from pathlib import Path

import pytest

from pipelines.cli.cohort_text import cohort_text
from pipelines.contract.errors import WrongUsage
from pipelines.store.store import Store
from pipelines.summary.files import Options, summary_files
from tests.drawn import example
from tests.paper import Paper
from tests.stores import new_store, run, run_well, set_programme, write_csv

# Whatever is the one's begins with these letters: people, files, supervisors, the class that only they have.
ROSTER = "trainee_ref,cohort,started,expected_completion,programme_ref,left"
PEOPLE = {
    "quay": [
        "HA01,2026-27,2023-07,2027-06,,",
        "HA02,2026-27,2023-07,2027-06,,2025-11",
        "HA03,2027-28,2024-07,2028-06,,",
    ],
    "hill": [
        "DU01,2026-27,2023-07,2027-06,dune-eye,",
        "DU02,2026-27,2023-07,2027-06,dune-eye,2025-12",
        "DU03,2029-30,2024-07,2028-06,dune-eye,",
    ],
}
HARBOUR, DUNE = "harbour-eye", "dune-eye"
RULES = {"lens": {}, "lid": {"procedures": ["lid_repair"]}}
SIGNS = {
    HARBOUR: [HARBOUR, "Harbour Eye", "HA0", "quay", "2027-28", "2025-11"],
    DUNE: [DUNE, "DU0", "hill", "2029-30", "2025-12"],
}


def export(prefix: str, cases: int) -> str:
    rows = [
        f"{prefix}-C{number},{prefix}01,2025-06-0{number},phaco_iol,surgeon,"
        for number in range(1, cases + 1)
    ]
    faulty = f"{prefix}-C9,{prefix}01,2025-06-09,phaco_iol,surgeon,no such level"
    return "\n".join(["case_ref,trainee_ref,operated_on,procedure,role,supervision", *rows, faulty, ""])


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    folder = tmp_path_factory.mktemp("programmes")
    specialty = folder / "example.yaml"
    specialty.write_bytes(example(RULES))
    root = new_store(folder, specialty)
    set_programme(root, as_of="2026-10-31")
    rosters = [
        write_csv(folder / f"{place}-people.csv", "\n".join([ROSTER, *rows, ""]))
        for place, rows in PEOPLE.items()
    ]
    run_well("intake", *rosters, "--store", root)
    for prefix, place, cases in (("HA", "quay", 3), ("DU", "hill", 5)):
        run_well("intake", write_csv(folder / f"{place}-log.csv", export(prefix, cases)), "--store", root)
    return Store(root)


def contents(files: dict[str, bytes]) -> dict[str, bytes]:
    """Every file, every file within the workbook, and what the PDF says, which is packed in it."""
    paper = Paper(files["volume-2027.pdf"])
    said = [paper.text, paper.root.text, *map(str, paper.pdf.docinfo.values())]
    with zipfile.ZipFile(io.BytesIO(files["volume-2027.xlsx"])) as book:
        within = {name: book.read(name) for name in book.namelist()}
    return files | within | {"said by the PDF": "\n".join(said).encode()}


@pytest.mark.parametrize(("ours", "theirs"), [(HARBOUR, DUNE), (DUNE, HARBOUR)])
@pytest.mark.parametrize("options", [Options(), Options(since=2), Options(through="2025-09")], ids=str)
def test_no_file_of_a_programme_holds_a_sign_of_the_other(
    store: Store, ours: str, theirs: str, options: Options
) -> None:
    found = contents(summary_files(store, ours, "2027", options).contents)
    receipt = json.loads(found["volume-2027.json"])
    # Their intakes by name, too: everything that is live and not in our receipt.
    others = [each for each in store.current().intakes() if each not in receipt["intakes"]]
    assert len(receipt["intakes"]) == len(others) == 2
    for name, content in found.items():
        for sign in [*SIGNS[theirs], *others]:
            assert sign.encode() not in content, (name, sign)
    ref = {HARBOUR: "HA02", DUNE: "DU02"}[ours]
    assert {person["trainee_ref"] for person in receipt["trainees"]} == {ref.replace("2", "1"), ref}
    assert sum(ref.encode() in content for content in found.values()) >= 3


def test_the_command_makes_the_summary_of_the_stores_own_programme(store: Store, tmp_path: Path) -> None:
    run_well("summary", "--store", store.root, "--cohort", 2027, "--out", tmp_path)
    written = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    assert written == summary_files(store, HARBOUR, "2027").contents


def test_a_class_of_another_programme_is_not_there_and_is_not_named(store: Store, tmp_path: Path) -> None:
    done = run("summary", "--store", store.root, "--cohort", "2030", "--out", tmp_path / "out")
    assert (done.code, "There are: 2026-27, 2027-28." in done.err) == (2, True)
    with pytest.raises(WrongUsage, match="There are: 2026-27, 2029-30"):
        summary_files(store, DUNE, "2028")


def test_who_left_or_completed_stands_beside_the_name(store: Store) -> None:
    files = summary_files(store, HARBOUR, "2027").contents
    assert json.loads(files["volume-2027.json"])["trainees"][1]["left"] == "2025-11"
    shared = contents(files)["xl/sharedStrings.xml"].decode()
    assert "HA02, left 2025-11<" in shared
    assert "HA02, left 2025-11, class of 2026-27<" in shared
    rows = [
        row
        for row in csv.DictReader(files["volume-2027.csv"].decode().splitlines())
        if row["trainee_ref"] == "HA02"
    ]
    assert [(row["completed"], row["left"], row["data_through"]) for row in rows] == [("", "2025-11", "")] * 2


def test_the_text_of_the_command_names_the_stores_own_people_alone(store: Store) -> None:
    text = cohort_text(store)
    assert "HA01" in text and "HA03" in text
    assert not any(sign in text for sign in SIGNS[DUNE])
