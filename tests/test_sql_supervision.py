"""supervision_mix: the levels of supervision as surgeon, by quarter of training."""

from __future__ import annotations

import pytest

from tests.drawn import Db, database, drawn, put, run, table


@pytest.fixture
def db() -> Db:
    db = database()
    put(db, "trainees", "trainee_ref\nT01")
    put(db, "data_through", "trainee_ref | data_through\nT01 | 2026-10")
    return db


COLUMNS = "procedure_group, training_quarter, level_ref, level_rank, cases, known_cases, share"


def test_shares_are_of_the_cases_with_a_recorded_level(db: Db) -> None:
    put(
        db,
        "cases",
        """
        case_ref | supervision
        C01      | guided
        C02      | guided
        C03      | guided
        C04      | available
        C05      |
        C06      |
    """,
    )
    run(db)
    assert table(db, "supervision_mix", COLUMNS) == drawn("""
        lens | 11 |           |   | 2 | 4 |
        lens | 11 | available | 3 | 1 | 4 | 0.25
        lens | 11 | guided    | 2 | 3 | 4 | 0.75
    """)
    names = "distinct programme_ref, cohort, trainee_ref, data_through"
    assert table(db, "supervision_mix", names) == "harbour-eye | 2026-27 | T01 | 2026-10"


def test_with_no_level_recorded_there_is_a_row_without_a_share(db: Db) -> None:
    put(db, "cases", "case_ref\nC01")
    run(db)
    assert table(db, "supervision_mix", COLUMNS) == drawn("lens | 11 | | | 1 | 0 |")


def test_groups_quarters_and_trainees_are_kept_apart(db: Db) -> None:
    put(db, "trainees", "trainee_ref | started\nT02 | 2025-11")
    put(
        db,
        "cases",
        """
        case_ref | trainee_ref | operated_month | procedure   | supervision
        C01      | T01         | 2023-09        | phaco_iol   | guided
        C02      | T01         | 2023-10        | phaco_iol   | guided
        C03      | T01         | 2023-10        | manual_lens | observed
        C04      | T01         | 2023-10        | lid_repair  | guided
        C05      | T02         | 2026-01        | phaco_iol   | guided
    """,
    )
    run(db)
    assert table(db, "supervision_mix", f"trainee_ref, {COLUMNS}") == drawn("""
        T01 | lens | 1 | guided   | 2 | 1 | 1 | 1
        T01 | lens | 2 | guided   | 2 | 1 | 2 | 0.5
        T01 | lens | 2 | observed | 1 | 1 | 2 | 0.5
        T01 | lid  | 2 | guided   | 2 | 1 | 1 | 1
        T02 | lens | 1 | guided   | 2 | 1 | 1 | 1
    """)


def test_only_cases_as_surgeon_of_this_programme_and_known_procedures_enter(db: Db) -> None:
    put(
        db,
        "cases",
        """
        case_ref | operated_month | procedure      | role      | takeover | supervision
        C01      | 2026-01        | phaco_iol      | assistant | true     | observed
        C02      | 2023-06        | phaco_iol      | surgeon   |          | guided
        C03      | 2026-01        | something_else | surgeon   |          | guided
        C04      | 2026-01        | phaco_iol      | surgeon   | true     | available
    """,
    )
    run(db)
    assert table(db, "supervision_mix", COLUMNS) == drawn("lens | 11 | available | 3 | 1 | 1 | 1")
