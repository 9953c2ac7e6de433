"""Outcomes and confirmations: matched to the log, ranked above it, and listed where they differ from it.

Expected values are by hand from the contract: what others say outranks the trainee's entry; an outcome speaks of every
eligible row of its operation; what nobody's log has waits. That trainees report a part of their complications, which is
why others are asked: 42 of 105 in 575 operations (preprint rs-3303563).
"""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from pipelines.files.reading import ExportFile
from pipelines.intake.take import IntakeRequest, try_out
from pipelines.store.store import Store
from tests.drawn import Db, database, drawn, example, put, run, table
from tests.stores import new_store, rows_of, run_well, set_programme, write_csv

RATE = "trainee_ref, events, known_outcomes, unknown_outcomes, known_from_others"
STARTED = "attribution = 'as_started' and complication_ref = 'rupture'"


def programme(window: int = 0) -> Db:
    rupture = {"rupture": {"group": "lens", "window_days": window}}
    db = database(example(complications=rupture | {"cyst": {"group": "lid"}}))
    put(db, "trainees", "trainee_ref | programme_ref\nT01 | harbour-eye\nT02 | harbour-eye\nY01 | cliff-eye")
    for trainee in ("T01", "T02", "Y01"):
        put(db, "data_through", f"trainee_ref | data_through\n{trainee} | 2026-10")
    return db


def outcome(db: Db, text: str) -> None:
    """Drawn rows of outcomes; who has them and when they were taken only where it matters."""
    header, *rows = text.strip().splitlines()
    for taken, row in enumerate(rows, start=1):
        put(
            db,
            "outcomes",
            f"{header} | complication | trainee_ref | taken | programme_ref\n{row} | rupture | T01 | {taken} | harbour-eye",
        )


def test_whose_word_stands() -> None:
    db = programme()
    put(
        db,
        "cases",
        "\n".join(["case_ref | complications", *(f"C{number} | none" for number in range(1, 7)), "C7 |"]),
    )
    outcome(
        db,
        """
        case_ref | occurred | ascertained_by
        C1       | yes      | supervisor
        C2       | yes      | supervisor
        C2       | no       | audit
        C3       | no       | supervisor
        C3       | yes      | record_review
        C4       | yes      | trainee
        C5       | unknown  | audit
        C6       | yes      | audit
        C6       | no       | audit
        C7       | no       | audit
        """,
    )
    run(db)
    assert table(db, "definition.case_outcome", "case_ref, status, ascertained_by, why") == drawn(
        """
        C1 | event    | supervisor    | the supervisor says that it happened
        C2 | no event | audit         | an audit says that it did not happen
        C3 | event    | record_review | a review of the records says that it happened
        C4 | event    | trainee       | a later note of the trainee says that it happened
        C5 | no event | trainee       | complications are recorded, and this is not among them
        C6 | no event | audit         | an audit says that it did not happen
        C7 | no event | audit         | an audit says that it did not happen
        """
    )
    assert table(db, "complication_rate", RATE, f"{STARTED} and trainee_ref = 'T01'") == "T01 | 3 | 7 | 0 | 5"
    differs = "case_ref, entered_by, entry, ruling, ruled_by"
    assert table(db, "entry_disagreement", differs) == drawn(
        """
        C1 | log        | no  | yes | supervisor
        C2 | supervisor | yes | no  | audit
        C3 | log        | no  | yes | record_review
        C3 | supervisor | no  | yes | record_review
        C4 | log        | no  | yes | trainee
        """
    )


def test_the_window_binds_what_others_say_too() -> None:
    db = programme(window=30)
    put(
        db,
        "cases",
        """
        case_ref | operated_month | complications | follow_up_days
        D1       | 2026-01        |               |
        D2       | 2026-01        |               |
        D3       | 2026-01        |               |
        D4       | 2026-01        | rupture@9     | 9
        D5       | 2026-10        |               |
        D6       | 2026-10        | rupture@9     | 9
        """,
    )
    outcome(
        db,
        """
        case_ref | occurred | ascertained_by | day
        D1       | yes      | record_review  | 31
        D2       | no       | record_review  | 29
        D3       | no       | record_review  | 30
        D4       | no       | record_review  | 29
        D5       | yes      | record_review  | 3
        D6       | no       | record_review  |
        """,
    )
    run(db)
    # Who looked for less than the window and saw nothing has not the last word; nobody's word makes a case due.
    assert table(db, "definition.case_outcome", "case_ref, status, ascertained_by") == drawn(
        """
        D1 | no event    | record_review
        D2 | unknown     |
        D3 | no event    | record_review
        D4 | event       | trainee
        D5 | early event | record_review
        D6 | not yet due | record_review
        """
    )


def test_an_outcome_is_of_one_programme_and_of_everybody_in_its_operation() -> None:
    db = programme()
    put(
        db,
        "cases",
        """
        case_ref | trainee_ref | procedure   | complications
        E1       | T01         | phaco_iol   | none
        E1       | T01         | manual_lens | none
        E1       | T01         | lid_repair  | none
        E1       | T02         | phaco_iol   | none
        E1       | Y01         | phaco_iol   | none
        """,
    )
    outcome(db, "case_ref | occurred | ascertained_by\nE1 | yes | audit")
    run(db)
    assert table(db, "complication_rate", RATE, STARTED) == drawn(
        """
        Y01 | 0 | 1 | 0 | 0
        T01 | 2 | 2 | 0 | 2
        T02 | 1 | 1 | 0 | 1
        """
    )


def test_a_supervisor_has_the_last_word_on_the_role_the_help_and_the_takeover() -> None:
    db = programme()
    put(
        db,
        "cases",
        """
        case_ref | supervision | supervisor_agreed | takeover | takeover_reason
        F1       | available   |                   | no       |
        F2       | available   | yes               | yes      | planned
        F3       |             | no                |          |
        F4       | guided      | yes               | no       |
        """,
    )
    put(
        db,
        "confirmations",
        """
        case_ref | trainee_ref | supervisor_ref | role_agreed | supervision | takeover | takeover_reason
        F1       | T01         | S1             | no          | guided      | yes      | rescue
        F2       | T01         | S1             |             |             | no       |
        F3       | T01         | S1             | yes         | guided      |          |
        F4       | T02         | S1             | no          | available   | yes      | rescue
        """,
    )
    run(db)
    columns = "case_ref, supervision, supervisor_agreed, takeover, takeover_reason, supervisor_ref"
    # What the supervisor leaves open stays as logged; F4 is another trainee's part.
    assert table(db, "case_record", columns) == drawn(
        """
        F1 | guided    | false | true  | rescue | S1
        F2 | available | true  | false |        | S1
        F3 | guided    | true  |       |        | S1
        F4 | guided    | true  | false |        |
        """
    )
    assert table(db, "case_credit", "case_ref, reason") == drawn(
        """
        F1 | supervisor_disagreed
        F2 | credited
        F3 | credited
        F4 | credited
        """
    )
    assert table(db, "entry_disagreement", "case_ref, fact, entry, ruling, ruled_by") == drawn(
        """
        F1 | role              | surgeon   | another role | supervisor
        F1 | supervision       | available | guided       | supervisor
        F1 | takeover          | no        | yes          | supervisor
        F2 | takeover          | yes       | no           | supervisor
        F3 | supervisor_agreed | no        | yes          | supervisor
        """
    )


# ---- through the store

ROSTER = "trainee_ref,cohort,started,expected_completion,programme_ref\n" + "".join(
    f"{ref},2026-27,2024-07,2027-06,{programme}\n"
    for ref, programme in (("T01", ""), ("T02", ""), ("Y01", "cliff-eye"))
)
CASE_COLUMNS = "case_ref,trainee_ref,operated_on,procedure,role,complications\n"
OUTCOMES = "case_ref,complication,occurred,day,source\nHE-01,capsule_rupture,yes,,audit\nHE-02,capsule_rupture,yes,,audit\n"


@pytest.fixture
def store(tmp_path: Path) -> Path:
    store = new_store(tmp_path)
    set_programme(store, as_of="2026-05-31")
    return store


def test_what_nobody_has_waits_for_the_case_and_is_counted_once_it_comes(store: Path, tmp_path: Path) -> None:
    roster = write_csv(tmp_path / "roster.csv", ROSTER)
    both = "".join(f"HE-01,{who},2026-01-05,phaco_iol,surgeon,none\n" for who in ("T01", "T02"))
    first = write_csv(tmp_path / "cases.csv", CASE_COLUMNS + both)
    outcomes = write_csv(tmp_path / "outcomes.csv", OUTCOMES)
    said = run_well("intake", outcomes, roster, first, "--store", store)
    assert "no live case has this case_ref: 1 row" in said.out
    assert "outcomes of 2 trainees and of operations in no log yet: 0 in use before, 3 after" in said.out
    # With each trainee who has the operation, so that one person can be taken out; what nobody has apart.
    assert sorted(path.stem for path in (store / "intake").rglob("outcomes/*.parquet")) == [
        "T01",
        "T02",
        "_unmatched",
    ]
    (waiting,) = [row for row in rows_of(store, "finding") if row["rule"] == "case_unknown"]
    assert (waiting["trainee_ref"], waiting["source_row"]) == ("", "3")
    # Another programme's operation of the same reference is not meant.
    later = write_csv(
        tmp_path / "later.csv",
        CASE_COLUMNS
        + "HE-02,T02,2026-02-05,phaco_iol,surgeon,none\nHE-02,Y01,2026-02-05,phaco_iol,surgeon,none\n",
    )
    run_well("intake", later, "--append", "--store", store)
    assert {(row["trainee_ref"], row["case_ref"]) for row in rows_of(store, "entry_disagreement")} == {
        ("T01", "HE-01"),
        ("T02", "HE-01"),
        ("T02", "HE-02"),
    }
    # Taken again it moves to the trainee who has the case now; and then it changes nothing any more.
    assert "outcomes" in run_well("intake", outcomes, "--store", store).out
    assert "Nothing changed" in run_well("intake", outcomes, "--store", store).err
    # A later row of the same source replaces the earlier one, wherever that was stored.
    changed = write_csv(
        tmp_path / "outcomes2.csv", OUTCOMES.replace("HE-02,capsule_rupture,yes", "HE-02,capsule_rupture,no")
    )
    run_well("intake", changed, "--store", store)
    assert {row["case_ref"] for row in rows_of(store, "entry_disagreement")} == {"HE-01"}
    run_well("build", "--store", store)


def test_a_trial_says_which_counts_a_confirmation_would_change(store: Path, tmp_path: Path) -> None:
    rows = "".join(f"HE-0{number},T01,2026-01-05,phaco_iol,surgeon,none\n" for number in (1, 2, 3))
    files = [
        write_csv(tmp_path / "roster.csv", ROSTER),
        write_csv(tmp_path / "cases.csv", CASE_COLUMNS + rows),
    ]
    run_well("intake", *files, "--store", store)
    refused = write_csv(
        tmp_path / "confirmations.csv",
        "case_ref,trainee_ref,supervisor_ref,role_agreed,supervision,takeover,takeover_reason\nHE-02,T01,S01,no,,,\n",
    )
    request = IntakeRequest(
        [ExportFile(refused.name, refused.read_bytes())], date(2026, 5, 31), with_counts=True
    )
    assert [
        (each.requirement, each.before, each.after) for each in try_out(Store(store), request).counts
    ] == [("Cataract", 3, 2)]
