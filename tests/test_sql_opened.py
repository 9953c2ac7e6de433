"""case_outcome and case_opened: every rate opens into its cases, each with its reason."""

from __future__ import annotations

import pytest

from pipelines.build.build import add_comments
from tests.drawn import Db, database, drawn, example, put, run, table

# Data run through October 2026.
OUTCOMES = {"capsule_rupture": {}, "infection": {"window_days": 42}}
KEY = "trainee_ref, case_ref, procedure, side, complication_ref"


@pytest.fixture
def db() -> Db:
    db = database(example(complications=OUTCOMES))
    put(db, "trainees", "trainee_ref\nT01")
    put(db, "data_through", "trainee_ref | data_through\nT01 | 2026-10")
    return db


def outcomes(db: Db, cases: str, complication: str, columns: str = "case_ref, status, why") -> str:
    put(db, "cases", cases)
    run(db)
    rows = db.execute(
        f"select {columns} from definition.case_outcome where complication_ref = ? order by {KEY}",
        [complication],
    ).fetchall()
    return "\n".join(" | ".join("" if cell is None else str(cell) for cell in row) for row in rows)


def test_an_outcome_of_the_operation_says_whether_it_is_known_and_why(db: Db) -> None:
    cases = """
        case_ref | operated_month | complications     | follow_up_days
        C01      | 2026-10        | capsule_rupture   |
        C02      | 2026-10        | capsule_rupture@3 |
        C03      | 2026-10        | none              |
        C04      | 2026-10        | infection@5       | 50
        C05      | 2026-10        |                   | 50
        C06      | 2026-10        | other             | 50
        C07      | 2026-10        | other@3           |
        C08      | 2026-10        | infection@5;other |
    """
    assert outcomes(db, cases, "capsule_rupture") == drawn("""
        C01 | event    | recorded in the operation
        C02 | event    | recorded in the operation
        C03 | no event | complications are recorded, and this is not among them
        C04 | no event | complications are recorded, and this is not among them
        C05 | unknown  | complications are not recorded
        C06 | unknown  | something else is recorded, and what it was has no code yet
        C07 | unknown  | something else is recorded, and what it was has no code yet
        C08 | no event | complications are recorded, and this is not among them
    """)


def test_an_outcome_with_a_window_says_which_days_decide(db: Db) -> None:
    cases = """
        case_ref | operated_month | complications          | follow_up_days
        C01      | 2026-01        | infection@42           | 42
        C02      | 2026-01        | infection              | 42
        C03      | 2026-01        | infection@43           | 60
        C04      | 2026-01        | infection@43           | 10
        C05      | 2026-01        | none                   | 42
        C06      | 2026-01        | none                   | 41
        C07      | 2026-01        | none                   |
        C08      | 2026-01        |                        | 99
        C09      | 2026-10        | none                   | 41
        C10      | 2026-10        | infection@5            | 41
        C11      | 2026-10        | infection              |
        C12      | 2026-10        | none                   | 42
        C13      | 2026-10        | infection@7            | 42
        C14      | 2026-01        | infection@50;infection | 60
        C15      | 2026-01        | infection@7            | 7
        C16      | 2026-01        | infection@7            | 8
        C17      | 2026-01        | infection@7            |
        C18      | 2026-01        | infection              | 8
    """
    assert outcomes(db, cases, "infection") == drawn("""
        C01 | event            | recorded on day 42, within the window of 42
        C02 | event            | recorded without a day, and taken to lie within the window
        C03 | no event         | recorded on day 43, after the window of 42
        C04 | unknown          | follow-up of 10 days does not cover the window of 42
        C05 | no event         | follow-up of 42 days covers the window of 42
        C06 | unknown          | follow-up of 41 days does not cover the window of 42
        C07 | unknown          | no follow-up is recorded for the window of 42 days
        C08 | unknown          | complications are not recorded
        C09 | not yet due      | the window of 42 days has not passed by the end of the data
        C10 | early event      | recorded on day 5, but the window of 42 days has not passed by the end of the data
        C11 | early event      | recorded without a day, but the window of 42 days has not passed by the end of the data
        C12 | not yet due      | the window of 42 days has not passed by the end of the data
        C13 | early event      | recorded on day 7, but the window of 42 days has not passed by the end of the data
        C14 | event            | recorded without a day, and taken to lie within the window
        C15 | event            | recorded on day 7, with which the follow-up ended
        C16 | unfollowed event | recorded on day 7, but follow-up of 8 days does not cover the window of 42
        C17 | unfollowed event | recorded on day 7, but no follow-up is recorded for the window of 42 days
        C18 | unfollowed event | recorded without a day, but follow-up of 8 days does not cover the window of 42
    """)


def test_only_cases_as_surgeon_or_taken_over_performed_here_in_the_group_of_the_outcome_are_rows(
    db: Db,
) -> None:
    cases = """
        case_ref | procedure   | role      | takeover | operated_month | event_hands | side
        C01      | phaco_iol   | surgeon   |          | 2026-01        | trainee     | left
        C01      | phaco_iol   | surgeon   |          | 2026-01        |             | right
        C02      | phaco_iol   | assistant | true     | 2026-01        |             |
        C03      | phaco_iol   | assistant |          | 2026-01        |             |
        C04      | lid_cyst    | surgeon   |          | 2026-01        |             |
        C05      | manual_lens | surgeon   |          | 2023-06        |             |
        C06      | manual_lens | surgeon   | true     | 2023-07        |             |
    """
    columns = "case_ref, procedure, side, case_sequence, training_quarter, role, in_operating_role, event_hands, data_through"
    assert outcomes(db, cases, "infection", columns) == drawn("""
        C01 | phaco_iol   | left  | 3 | 11 | surgeon   | True  | trainee | 2026-10
        C01 | phaco_iol   | right | 4 | 11 | surgeon   | True  |         | 2026-10
        C02 | phaco_iol   |       | 5 | 11 | assistant | False |         | 2026-10
        C06 | manual_lens |       | 2 | 1  | surgeon   | True  |         | 2026-10
    """)


def test_the_rows_of_a_rate_add_up_to_its_counts(db: Db) -> None:
    put(
        db,
        "cases",
        """
        case_ref | operated_month | complications   | follow_up_days | role      | takeover
        C01      | 2026-01        | infection@5     | 50             | surgeon   |
        C02      | 2026-01        | none            | 50             | surgeon   |
        C03      | 2026-01        |                 |                | surgeon   |
        C04      | 2026-10        | none            | 1              | surgeon   |
        C05      | 2026-10        | infection@1     | 1              | assistant | true
        C06      | 2025-01        | capsule_rupture |                | assistant | true
        C07      | 2026-01        | infection@9     | 10             | surgeon   |
    """,
    )
    run(db)
    counted = db.execute("""
        select complication_ref,
            count(*) filter (status in ('event', 'no event')) as known,
            count(*) filter (status = 'event') as events,
            count(*) filter (status in ('unknown', 'unfollowed event')) as unknown,
            count(*) filter (status = 'unfollowed event') as unfollowed,
            count(*) filter (status in ('not yet due', 'early event')) as not_yet_due,
            count(*) filter (status = 'early event') as early
        from definition.case_outcome group by all order by all
    """).fetchall()
    rate = db.execute("""
        select complication_ref, known_outcomes, events, unknown_outcomes, events_unfollowed, not_yet_due, early_events
        from complication_rate where attribution = 'as_started' order by all
    """).fetchall()
    assert counted == rate == [("capsule_rupture", 6, 1, 1, 0, 0, 0), ("infection", 2, 1, 3, 1, 2, 1)]


def test_a_case_opens_into_what_the_log_says_of_it(db: Db) -> None:
    put(
        db,
        "cases",
        """
        case_ref | procedure      | side | operated_month | role      | supervision | complications | follow_up_days
        C01      | lid_cyst       | left | 2023-06        | assistant | observed    | none          | 7
        C02      | something_else |      | 2023-08        | surgeon   |             |               |
    """,
    )
    db.execute("""
        update input.cases set takeover = true, takeover_reason = 'rescue', supervisor_agreed = false,
            duration_min = 12.5
        where case_ref = 'C01'
    """)
    run(db)
    when = "case_ref, procedure, side, operated_month, training_month, training_quarter, case_sequence, data_through"
    assert table(db, "definition.case_opened", when) == drawn("""
        C01 | lid_cyst       | left | 2023-06 | 1 | 1 | 1 | 2026-10
        C02 | something_else |      | 2023-08 | 2 | 1 | 2 | 2026-10
    """)
    how = "case_ref, title, procedure_group, role, supervision, takeover, takeover_reason, supervisor_agreed"
    assert table(db, "definition.case_opened", how) == drawn("""
        C01 | Lid cyst       | lid | assistant | observed | true | rescue | false
        C02 | something_else |     | surgeon   |          |      |        |
    """)
    what = "case_ref, complications, follow_up_days, duration_min"
    assert table(db, "definition.case_opened", what) == drawn("""
        C01 | none | 7 | 12.5
        C02 |      |   |
    """)


def test_every_live_case_opens_once_and_joins_its_credit_on_the_key(db: Db) -> None:
    put(
        db,
        "cases",
        """
        case_ref | procedure | side  | source | source_taken
        C01      | phaco_iol |       | main   | 1
        C01      | phaco_iol | left  | main   | 1
        C01      | phaco_iol | left  | other  | 2
        C02      | lid_cyst  | right | main   | 1
    """,
    )
    run(db)
    rows = db.execute("""
        select opened.case_ref, opened.side, credit.requirement_ref, credit.reason
        from definition.case_opened as opened
        left join case_credit as credit
            on opened.trainee_ref = credit.trainee_ref and opened.case_ref = credit.case_ref
            and opened."procedure" = credit."procedure" and opened.side is not distinct from credit.side
        order by all nulls first
    """).fetchall()
    assert rows == [
        ("C01", None, "lens", "credited"),
        ("C01", "left", "lens", "credited"),
        ("C02", "right", None, "no_requirement"),
    ]


@pytest.mark.parametrize("view", ["case_outcome", "case_opened"])
def test_a_view_that_is_not_stored_has_comments_and_no_table(db: Db, view: str) -> None:
    run(db)
    add_comments(db)
    told = db.execute("select comment from duckdb_views() where view_name = ?", [view]).fetchall()
    columns = db.execute(
        "select column_name from duckdb_columns() where table_name = ? and comment is null", [view]
    ).fetchall()
    stored = db.execute("select count(*) from duckdb_tables() where table_name = ?", [view]).fetchall()
    assert len(told) == 1 and told[0][0]
    assert columns == [] and stored == [(0,)]


def test_cases_in_which_something_else_happened_wait_for_a_code(db: Db) -> None:
    put(
        db,
        "cases",
        """
        case_ref | operated_month | procedure | role     | side | complications
        C01      | 2026-03        | phaco_iol | surgeon  | left | other
        C02      | 2026-04        | phaco_iol | surgeon  |      | capsule_rupture;other@9
        C03      | 2026-05        | lid_cyst  | observer |      | other@0
        C04      | 2026-05        | phaco_iol | surgeon  |      | none
        C05      | 2026-05        | phaco_iol | surgeon  |      | capsule_rupture
        C06      | 2026-05        | phaco_iol | surgeon  |      |
    """,
    )
    run(db)
    columns = "trainee_ref, case_ref, procedure, side, operated_month, event_day, data_through"
    assert table(db, "event_to_code", columns) == drawn("""
        T01 | C01 | phaco_iol | left | 2026-03 |   | 2026-10
        T01 | C02 | phaco_iol |      | 2026-04 | 9 | 2026-10
        T01 | C03 | lid_cyst  |      | 2026-05 | 0 | 2026-10
    """)
