"""A source's own headers and words: each is said once, confirmed by a person, and remembered; nothing is guessed."""

from __future__ import annotations

import hashlib
import json
import re
from collections import Counter
from datetime import date
from pathlib import Path
from typing import Any

import pyarrow as pa
import pytest

from pipelines.contract.errors import WrongUsage
from pipelines.contract.formats import CASES
from pipelines.files.reading import ExportFile
from pipelines.mapping.answered import questions_about, save
from pipelines.mapping.model import SourceMapping, load_mapping
from pipelines.mapping.words import Words, translated, words_of
from pipelines.specialty.load import Specialty, load_specialty
from pipelines.store.store import Store
from tests.reading_back import places
from tests.resident_workbook import ANSWERS, OPERATIONS, PEOPLE, resident_workbook
from tests.stores import new_store, rows_of, run, run_well, write_csv

ROSTER = "trainee_ref,cohort,started,expected_completion\n" + "".join(
    f"{person},2026-27,2024-07,2027-06\n" for person in PEOPLE
)
CODE_OF = {
    "Phaco + IOL": "phaco_iol",
    "Trabeculectomy": "trabeculectomy",
    "Laser Trabeculoplasty": "laser_trabeculoplasty",
    "Intravitreal injection": "intravitreal_injection",
}


@pytest.fixture(scope="module")
def specialty() -> Specialty:
    return load_specialty("ophthalmology")


def words(specialty: Specialty, **mapping: Any) -> Words:
    return words_of(specialty, SourceMapping(**mapping))


def read(words: Words, **cells: str | None) -> dict[str, str | None]:
    """One row of cases in the format's own words."""
    row = translated(
        pa.table({name: pa.array([text], pa.string()) for name, text in cells.items()}), CASES, words
    )
    (values,) = row.to_pylist()
    return values


# ---- words


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("phaco_iol", "phaco_iol"),
        ("PHACO-IOL", "phaco_iol"),
        ("laser trabeculoplasty", "laser_trabeculoplasty"),
        ("Láser  Trabeculoplasty.", "laser_trabeculoplasty"),
        ("laser trabeculoplastie", "laser trabeculoplastie"),
        ("trabeculoplasty", "trabeculoplasty"),
    ],
)
def test_a_code_is_read_by_its_title_exact_but_for_case_accents_and_punctuation(
    specialty: Specialty, text: str, code: str
) -> None:
    assert read(words_of(specialty), procedure=text) == {"procedure": code}


def test_a_word_that_two_codes_go_by_means_neither(specialty: Specialty) -> None:
    procedures = dict(specialty.procedures)
    for code in ("phaco_iol", "trabeculectomy"):
        procedures[code] = procedures[code].model_copy(update={"also": ["The usual"]})
    procedures["vitrectomy"] = specialty.procedures["vitrectomy"].model_copy(update={"also": ["Wing flesh"]})
    both = words_of(specialty.model_copy(update={"procedures": procedures}))
    assert read(both, procedure="the usual") == {"procedure": "the usual"}
    assert read(both, procedure="wing-flesh") == {"procedure": "vitrectomy"}


def test_a_code_of_another_system_means_the_procedure_that_names_it(specialty: Specialty) -> None:
    procedures = dict(specialty.procedures)
    other = {"hospital": ["OP-117", "OP-118"], "billing": ["9 0042"]}
    procedures["vitrectomy"] = procedures["vitrectomy"].model_copy(update={"codes": other})
    ours = words_of(specialty.model_copy(update={"procedures": procedures}))
    for text in ("OP-117", "op 118", "9 0042"):
        assert read(ours, procedure=text) == {"procedure": "vitrectomy"}
    assert read(ours, procedure="OP-119") == {"procedure": "OP-119"}


def test_an_ending_says_the_side_and_another_side_beside_it_is_not_guessed_at(specialty: Specialty) -> None:
    ours = words(
        specialty,
        words={
            "side": {"OD": "right", "OS": "left"},
            "procedure": {"Phaco": "phaco_iol", "LK": {"procedure": "keratoplasty", "side": "both"}},
        },
    )
    assert read(ours, procedure="Phaco OD") == {"procedure": "phaco_iol", "side": "right"}
    assert read(ours, procedure="Phaco Left", side=None) == {"procedure": "phaco_iol", "side": "left"}
    assert read(ours, procedure="LK", side=None) == {"procedure": "keratoplasty", "side": "both"}
    assert read(ours, procedure="Phaco OD", side="OD") == {"procedure": "phaco_iol", "side": "right"}
    differing = read(ours, procedure="Phaco OD", side="left")
    assert differing["side"] not in ("left", "right", "both")
    # No ending without a word before it, and none that nobody confirmed.
    assert read(ours, procedure="OD") == {"procedure": "OD"}
    assert read(words_of(specialty), procedure="Phacoemulsification OD")["procedure"] not in CODE_OF.values()


def test_what_means_nothing_recorded_and_what_means_that_nothing_happened_is_a_persons_word(
    specialty: Specialty,
) -> None:
    ours = words(
        specialty,
        blank=["n/a"],
        none=["nil"],
        list_separator=",",
        decimal="comma",
        words={
            "complications": {"-": "none", "PCR": "capsule_rupture", "loss": "blank"},
            "takeover": {"performed": "yes"},
        },
    )
    assert read(ours, complications="-") == {"complications": "none"}
    assert read(ours, complications="NIL") == {"complications": "none"}
    assert read(ours, complications="n/a") == {"complications": None}
    assert read(ours, complications="pcr, Endophthalmitis@5,loss") == {
        "complications": "capsule_rupture;endophthalmitis@5"
    }
    assert read(ours, complications="PCR,something") == {"complications": "capsule_rupture;something"}
    assert read(ours, duration_min="12,5", takeover="Performed") == {
        "duration_min": "12.5",
        "takeover": "yes",
    }
    assert read(ours, supervisor_ref="N/A", role="-") == {"supervisor_ref": None, "role": "-"}


def test_a_line_that_nobody_confirmed_does_nothing(specialty: Specialty) -> None:
    ours = words(
        specialty,
        words={"role": {"Primary": "? surgeon"}},
        headers={"Case": "? case_ref"},
        dates="? day_first",
    )
    assert read(ours, role="Primary") == {"role": "Primary"}


# ---- the file


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("header: {Case: case_ref}", "header"),
        ("headers: {Case: caseref}", "caseref"),
        ("kind: operations", "operations"),
        ("constants: {hospital: S1}", "hospital"),
        ("words: {role: {Primary: surgeon_in_chief}}", "surgeon_in_chief"),
        ("words: {role: {Primary: none}}", "none"),
        ("words: {trainee_ref: {Hartley: T01}}", "trainee_ref"),
        ("words: {role: {' ': surgeon}}", "matches nothing"),
        ("words: {role: {Primary: surgeon, primary: assistant}}", "another meaning"),
        ("words: {role: {Primary: {procedure: phaco_iol, side: left}}}", "side"),
        ("dates: sometimes", "dates"),
        ("trainee_ref: folder", "trainee_ref"),
        ("- a list", "keys with values"),
    ],
)
def test_a_line_that_can_mean_nothing_is_an_error(
    text: str, said: str, specialty: Specialty, tmp_path: Path
) -> None:
    path = tmp_path / "main.yaml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(WrongUsage, match=re.escape(said)):
        load_mapping(path, specialty)


# ---- a workbook as programmes keep them


def answer(path: Path) -> None:
    """Confirm what `map` wrote, as a person would: the first proposal, or the answer."""
    lines = []
    for written in path.read_text(encoding="utf-8").splitlines():
        line = written
        found = re.match(r"( *)('?)(.+?)\2: '\? ?([^'/]*)[^']*'(.*)$", written)
        if found:
            indent, quote, key, proposal, rest = found.groups()
            meaning = ANSWERS.get(key, proposal.strip())
            assert meaning, f"nothing is proposed for {key}, and nobody answers"
            line = f"{indent}{quote}{key}{quote}: {meaning}{rest}"
        lines.append(line)
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


@pytest.mark.slow
def test_the_workbook_is_in_after_three_commands_and_the_next_months_after_one(tmp_path: Path) -> None:
    store = new_store(tmp_path)
    run_well("intake", write_csv(tmp_path / "roster.csv", ROSTER), "--store", store)
    book = tmp_path / "log.xlsx"
    cases = resident_workbook(book)
    sha256 = hashlib.sha256(book.read_bytes()).hexdigest()

    listed = run_well("map", book, "--store", store).out
    for word in ("Case ID", "Primary", "Assisting", "PCR", "OD", "dates"):
        assert word in listed
    mapping = store / "sources" / "main.yaml"
    # Nothing is taken on a proposal.
    assert run("intake", book, "--store", store).code == 11
    answer(mapping)
    taken = run_well("intake", book, "--store", store)
    assert hashlib.sha256(book.read_bytes()).hexdigest() == sha256

    # The copy of a row in each sheet is left out, every other row is in; what was passed over is named.
    receipt = newest_receipt(store)
    assert [part["rows"] for part in receipt["parts"]] == [31, 31, 31]
    assert [part["left_out"] for part in receipt["parts"]] == [{"key_repeated": 1}] * 3
    skipped = " ".join(sentence for part in receipt["parts"] for sentence in part["skipped"])
    for what in ("row 3", "Notes", "header again", "totals"):
        assert what in skipped, what
    assert receipt["mapping"] == hashlib.sha256(mapping.read_bytes()).hexdigest()
    assert "90 of 93" in taken.out

    # Counted again from what was written into the sheets.
    expected = Counter(
        (case["trainee_ref"], CODE_OF[case["operation"]], {"OD": "right", "OS": "left"}[case["eye"]])
        for case in cases
    )
    live = {
        (row["case_ref"], row["trainee_ref"], row["procedure"], row["side"])
        for row in rows_of(store, "case_credit")
    }
    assert Counter(key[1:] for key in live) == expected
    ruptures = Counter(
        case["trainee_ref"]
        for case in cases
        if (case["operation"], case["role"], case["complication"]) == (OPERATIONS[0], "Primary", "PCR")
    )
    rates = rows_of(store, "complication_rate", complication_ref="capsule_rupture", attribution="as_logged")
    assert {row["trainee_ref"]: int(row["events"]) for row in rates} == {who: ruptures[who] for who in PEOPLE}
    assert sum(ruptures.values()) > 5

    assert run_well("map", book, "--store", store).out.startswith("Every header and every word")
    # The next month's workbook: the same rows and a few more, in one command.
    more = resident_workbook(book, later=3)
    assert "99 of 102" in run_well("intake", book, "--store", store).out
    now = {(row["case_ref"], row["trainee_ref"]) for row in rows_of(store, "case_credit")}
    assert now == {(case["case_ref"], case["trainee_ref"]) for case in more}
    assert len(now) == len(cases) + 3 * len(PEOPLE)


def newest_receipt(store: Path) -> dict[str, Any]:
    receipts = [json.loads(path.read_text()) for path in (store / "intake").glob("*/receipt.json")]
    return max(receipts, key=lambda receipt: receipt["snapshot"])


# ---- a word without a meaning

CASES_WITH_WORDS = """\
case_ref,trainee_ref,operated_on,procedure,role,side
C0001,T01,2026-01-14,Qzimbly Wort,surgeon,left
C0001,T01,2026-01-14,Zwother Wort,surgeon,left
C0002,T01,2026-02-02,phaco_iol,surgeon,right
C0003,T01,2026-02-03,Qzimbly Wort,surgeon,right
"""


@pytest.mark.slow
def test_a_word_without_a_meaning_is_said_once_and_never_stored_and_gets_its_meaning_as_a_change(
    tmp_path: Path,
) -> None:
    store = new_store(tmp_path)
    cases = write_csv(tmp_path / "cases.csv", CASES_WITH_WORDS)
    fixes = tmp_path / "fixes"
    run_well("intake", write_csv(tmp_path / "roster.csv", ROSTER), cases, "--store", store, "--fixes", fixes)
    assert "Qzimbly Wort".lower() in (fixes / "T01-fixes.csv").read_text().lower()
    assert not places(store, "qzimbly")
    assert not places(store, "zwother")
    keys = sorted((row["case_ref"], row["procedure"]) for row in rows_of(store, "case_credit"))
    assert keys == [
        ("C0001", "unmapped-1"),
        ("C0001", "unmapped-2"),
        ("C0002", "phaco_iol"),
        ("C0003", "unmapped-1"),
    ]
    # The same file again changes nothing.
    assert "Nothing changed" in run_well("intake", cases, "--store", store).err

    mapping = store / "sources" / "main.yaml"
    mapping.parent.mkdir()
    mapping.write_text("words: {procedure: {qzimbly wort: trabeculectomy}}\n")
    run_well("intake", cases, "--store", store)
    (part,) = newest_receipt(store)["parts"]
    (of_trainee,) = part["trainees"]
    assert of_trainee["withdrawn"] == 0
    assert of_trainee["added"] == 0
    keys = sorted(
        (row["case_ref"], row["procedure"])
        for row in rows_of(store, "case_credit", procedure="trabeculectomy")
    )
    assert sorted(set(keys)) == [("C0001", "trabeculectomy"), ("C0003", "trabeculectomy")]
    history = run_well("history", "--trainee", "T01", "--store", store, "--format", "csv").out
    assert re.search(r"procedure,unmapped-\d,trabeculectomy", history)


# ---- what looks as if it named somebody

NOTES = """\
review_ref,case_ref,trainee_ref,reviewer_ref,setting,step,score,comment
V1,C0001,Hartley,S01,recorded,incision,4,Seen with Anna Muster
V2,C0002,Hartley,S01,recorded,incision,3,Uneventful
"""


def test_a_text_like_a_name_is_listed_once_by_its_place_and_taken_once_a_person_has_read_it(
    tmp_path: Path,
) -> None:
    store = new_store(tmp_path)
    head = ROSTER.partition("\n")[0]
    roster = write_csv(tmp_path / "roster.csv", f"{head}\nHartley,2026-27,2024-07,2027-06\n")
    notes = write_csv(tmp_path / "notes.csv", NOTES)
    assert run("intake", roster, notes, "--store", store).code == 12

    listed = run_well("map", roster, notes, "--store", store).out
    assert "notes.csv, row 2, comment: looks like a person's name; read it there" in listed
    assert "roster.csv, row 2, trainee_ref: looks like a name" in listed
    mapping = store / "sources" / "main.yaml"
    written = mapping.read_text(encoding="utf-8")
    # The reference is the key by which it is confirmed; of a comment no word is printed or kept.
    assert "Muster" not in listed + written and written.count("? Hartley") == 1
    assert run("intake", roster, notes, "--store", store).code == 12
    again = run_well("map", roster, notes, "--store", store).out
    assert again.startswith("Nothing new.") and again.endswith("wait to be confirmed: 2.\n")

    mapping.write_text(written.replace("? ", ""), encoding="utf-8")
    assert "2 after (2 new)" in run_well("intake", roster, notes, "--store", store).out
    other = write_csv(tmp_path / "other.csv", NOTES.replace("Anna Muster", "Bernd Muster"))
    assert run("intake", other, "--store", store).code == 12


def test_what_a_person_says_of_such_a_text_on_a_screen_is_kept_with_their_name(tmp_path: Path) -> None:
    store = Store(new_store(tmp_path))
    files = [ExportFile("notes.csv", NOTES.encode())]
    asked = questions_about(files, store, "main")
    assert [(each.place[0], each.word) for each in asked] == [
        ("pseudonyms", "Hartley"),
        ("released", "Seen with Anna Muster"),
    ]
    name, note = asked
    today = date(2026, 11, 26)
    save(files, store, "main", {note.place: note.allowed[0]}, "Coordinator", today)
    # What was left open is asked again.
    assert questions_about(files, store, "main") == [name]
    with pytest.raises(WrongUsage):
        save(files, store, "main", {name.place: "no such answer"}, "Coordinator", today)
    save(files, store, "main", {name.place: name.allowed[0]}, "Coordinator", today)
    mapping = load_mapping(store.mapping_file("main"), store.specialty)
    assert mapping is not None
    assert (mapping.released, mapping.pseudonyms) == ([note.place[1]], ["Hartley"])
    assert [(each.by, each.on) for each in mapping.saved] == [("Coordinator", today)] * 2
    assert questions_about(files, store, "main") == []
