"""supervision_mix: the levels of supervision while operating, by quarter of training."""

from __future__ import annotations

from functools import partial
from typing import Any

import pytest
import yaml

from tests.drawn import Db, database, drawn, example, put, table
from tests.drawn import run as make

# Later files read what is tested here, and are tested elsewhere.
run = partial(make, views=("supervision_mix", "supervision_band", "upper_level"))


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
        C03      | T01         | 2023-10        | manual_lens | available
        C04      | T01         | 2023-10        | lid_repair  | guided
        C05      | T02         | 2026-01        | phaco_iol   | guided
    """,
    )
    run(db)
    assert table(db, "supervision_mix", f"trainee_ref, {COLUMNS}") == drawn("""
        T01 | lens | 1 | guided   | 2 | 1 | 1 | 1
        T01 | lens | 2 | available | 3 | 1 | 2 | 0.5
        T01 | lens | 2 | guided    | 2 | 1 | 2 | 0.5
        T01 | lid  | 2 | guided    | 2 | 1 | 1 | 1
        T02 | lens | 1 | guided    | 2 | 1 | 1 | 1
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


def of_marked(**changes: dict[str, Any]) -> Db:
    """The example with other roles or attributes, and one trainee."""
    content = yaml.safe_load(example())
    for section, marks in changes.items():
        content[section] |= marks
    db = database(yaml.safe_dump(content, sort_keys=False).encode())
    put(db, "trainees", "trainee_ref\nT01")
    return db


def test_a_level_that_contradicts_the_role_counts_as_unrecorded() -> None:
    # The ladder of the example: observed agrees with observer and assistant, guided and available with surgeon.
    db = of_marked(supervision={"free": {"title": "Any role", "band": "free"}})
    put(
        db,
        "cases",
        """
        case_ref | supervision
        C01      | observed
        C02      | guided
        C03      |
        C04      | free
    """,
    )
    run(db)
    assert table(db, "supervision_mix", "level_ref, cases, known_cases, share") == drawn("""
               | 2 | 2 |
        free   | 1 | 2 | 0.5
        guided | 1 | 2 | 0.5
    """)
    assert table(db, "case_record", "case_ref, supervision", "case_ref = 'C01'") == "C01 | observed"


def test_supervision_is_of_the_roles_that_the_specialty_marks_as_operating() -> None:
    db = of_marked(roles={"assistant": {"title": "Assistant", "operating": True}})
    put(
        db,
        "cases",
        """
        case_ref | role      | takeover | supervision
        C01      | assistant |          | observed
        C02      | assistant |          | guided
        C03      | surgeon   |          | guided
        C04      | observer  | true     | observed
    """,
    )
    run(db)
    assert table(db, "supervision_mix", "level_ref, cases, known_cases, share") == drawn("""
                 | 1 | 1 |
        observed | 1 | 1 | 1
    """)


def test_a_simulated_session_is_in_no_share() -> None:
    db = of_marked(attributes={"simulated": {"title": "Simulated", "patient": False}})
    put(
        db,
        "cases",
        """
        case_ref | attributes          | supervision
        C01      | pediatric;simulated | available
        C02      | pediatric           | guided
        C03      | simulated           |
    """,
    )
    run(db)
    assert table(db, "supervision_mix", "level_ref, cases, known_cases, share") == "guided | 1 | 1 | 1"


@pytest.mark.parametrize(
    ("operating", "rank"),
    [
        ({}, 2),  # of a surgeon: guided and available
        ({"assistant": {"title": "Assistant", "operating": True}}, 1),  # observed alone
        ({"observer": {"title": "Observer", "operating": True}}, 1),
    ],
)
def test_the_upper_levels_are_those_of_the_operating_roles(operating: dict[str, Any], rank: int) -> None:
    db = of_marked(roles=operating)
    run(db)
    assert table(db, "upper_level", "level_rank") == str(rank)
