"""Published views have the columns, types, comments and order of the contract; audits find what is broken."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipelines.build.build import KEYS, SQL, add_comments, audit, make_views, order_of, sql_files, view_name
from tests.drawn import Db, database, drawn, put, run, table
from tests.test_sql_standing_views import COLUMNS as STANDING

# Contract of the published views: key, then columns, then data_through as the last.
COLUMNS = {
    "case_credit": """
        programme_ref trainee_ref case_ref procedure side requirement_ref credited:BOOLEAN reason over_cap
        data_through
    """,
    "case_volume": """
        programme_ref cohort trainee_ref requirement_ref requirement_title minimum:BIGINT counted_cases:BIGINT
        remaining_cases:BIGINT met:BOOLEAN edition confirmed_cases:BIGINT held_cases:BIGINT parts_total:BIGINT
        parts_short:BIGINT reached:BOOLEAN part_depth:BIGINT reached_by unit deadline published_minimum:BIGINT
        data_through
    """,
    "rule_without_count": """
        programme_ref cohort trainee_ref requirement_ref requirement_title kind asked_for:BIGINT found:BIGINT
        periods:BIGINT periods_short:BIGINT met:BOOLEAN edition data_through
    """,
    "volume_by_month": """
        programme_ref cohort trainee_ref requirement_ref through_month minimum:BIGINT counted_cases:BIGINT
        remaining_cases:BIGINT met:BOOLEAN confirmed_cases:BIGINT held_cases:BIGINT parts_total:BIGINT
        parts_short:BIGINT reached:BOOLEAN reached_by data_through
    """,
    "complication_rate": """
        programme_ref cohort trainee_ref complication_ref procedure_group attribution events:BIGINT
        known_outcomes:BIGINT unknown_outcomes:BIGINT rate:DOUBLE rate_low:DOUBLE rate_high:DOUBLE
        confidence:DOUBLE eligible_cases:BIGINT not_yet_due:BIGINT events_unclear:BIGINT early_events:BIGINT
        events_unfollowed:BIGINT possible_low:DOUBLE possible_high:DOUBLE
        anytime_low:DOUBLE anytime_high:DOUBLE known_from_others:BIGINT data_through
    """,
    "supervision_mix": """
        programme_ref cohort trainee_ref procedure_group training_quarter:INTEGER level_ref level_rank:INTEGER
        cases:BIGINT known_cases:BIGINT share:DOUBLE data_through
    """,
    "entry_disagreement": """
        programme_ref cohort trainee_ref case_ref procedure side fact entered_by entry ruling ruled_by operated_month
        data_through
    """,
    "event_to_code": """
        programme_ref cohort trainee_ref case_ref procedure side operated_month event_day:INTEGER data_through
    """,
    "log_quality": """
        programme_ref cohort trainee_ref measure position:INTEGER numerator:BIGINT denominator:BIGINT value:DOUBLE
        median_days:DOUBLE within_days:INTEGER earlier_low:DOUBLE earlier_median:DOUBLE earlier_high:DOUBLE
        earlier_people:BIGINT data_through
    """,
    "credit_reason": """
        programme_ref cohort trainee_ref requirement_ref reason over_cap credited:BOOLEAN cases:BIGINT data_through
    """,
    "count_composition": """
        programme_ref cohort trainee_ref requirement_ref made_of code title counted_cases:BIGINT of_cases:BIGINT
        data_through
    """,
    "submission": """
        programme_ref cohort trainee_ref owed month case_ref procedure side supervisor_ref role title missing
        age_months:INTEGER due_on is_overdue:BOOLEAN data_through
    """,
    "reconciliation": """
        programme_ref cohort trainee_ref intake_id kind file_name source rows_in_file:BIGINT accepted_rows:BIGINT
        left_out_rows:BIGINT left_out_by_rule held_back_rows:BIGINT live_before:BIGINT unchanged_rows:BIGINT
        changed_rows:BIGINT kept_rows:BIGINT withdrawn_rows:BIGINT untouched_rows:BIGINT added_rows:BIGINT
        live_after:BIGINT differs balances:BOOLEAN data_through
    """,
    "finding": """
        intake_id file_name source_row:INTEGER column_name rule trainee_ref severity message remedy
        data_through
    """,
}


@pytest.fixture(scope="module")
def made() -> Db:
    """Two trainees, published."""
    db = with_cases()
    run(db)
    add_comments(db)
    return db


def with_cases() -> Db:
    db = database()
    put(db, "trainees", "trainee_ref\nT01\nT02")
    put(db, "data_through", "trainee_ref | data_through\nT01 | 2026-10")
    put(
        db,
        "cases",
        """
        case_ref | trainee_ref | procedure  | side  | supervision | complications   | supervisor_agreed
        C02      | T01         | phaco_iol  | right | guided      | none            | true
        C02      | T01         | phaco_iol  |       | guided      | none            |
        C02      | T01         | phaco_iol  | left  | available   | capsule_rupture |
        C10      | T02         | lid_cyst   |       |             |                 |
        C01      | T02         | phaco_iol  |       |             | none            |
        a01      | T01         | phaco_iol  |       |             | none            |
    """,
    )
    return db


@pytest.mark.parametrize("view", COLUMNS)
def test_a_view_has_exactly_the_columns_and_types_of_the_contract(made: Db, view: str) -> None:
    columns = [each.partition(":") for each in COLUMNS[view].split()]
    described = made.execute(f"select column_name, column_type from (describe main.{view})").fetchall()
    assert described == [(name, kind or "VARCHAR") for name, _, kind in columns]


def test_every_view_file_has_a_key_and_every_key_a_file() -> None:
    views = [view_name(path) for path in sql_files() if path.name[0] not in "019"]
    assert sorted(views) == sorted(KEYS) == sorted({**COLUMNS, **STANDING})


@pytest.mark.parametrize("view", COLUMNS)
def test_what_a_file_says_of_its_view_and_of_each_column_is_said_of_the_table(made: Db, view: str) -> None:
    said = made.execute(
        "select comment from duckdb_tables() where schema_name = 'main' and table_name = ?", [view]
    ).fetchone()
    assert said is not None and len(said[0]) > 40
    of_columns = made.execute(
        "select column_name, comment from duckdb_columns() where schema_name = 'main' and table_name = ?",
        [view],
    ).fetchall()
    (path,) = (path for path in sql_files() if view_name(path) == view)
    text = path.read_text(encoding="utf-8").replace('"', "")
    for name, comment in [("", said[0]), *((f".{name}", comment) for name, comment in of_columns)]:
        what = "column" if name else "view"
        assert (
            f"comment on {what} definition.{view}{name} is '{comment.replace(chr(39), 2 * chr(39))}';"
            in " ".join(text.split())
        )


@pytest.mark.parametrize("view", COLUMNS)
def test_the_stored_table_is_its_definition(made: Db, view: str) -> None:
    for one, other in (("main", "definition"), ("definition", "main")):
        rest = made.execute(f"from {one}.{view} except all from {other}.{view}").fetchall()
        assert rest == []


def test_rows_are_ordered_by_key_nulls_first_and_text_by_code_point(made: Db) -> None:
    query = f"select trainee_ref, case_ref, side from main.case_credit order by {order_of('case_credit')}"
    rows = made.execute(query).fetchall()
    assert rows == [
        ("T01", "C02", None),
        ("T01", "C02", "left"),
        ("T01", "C02", "right"),
        ("T01", "a01", None),
        ("T02", "C01", None),
        ("T02", "C10", None),
    ]


def test_a_finding_carries_through_when_the_data_of_its_trainee_run() -> None:
    db = with_cases()
    put(
        db,
        "finding",
        """
        intake_id | file_name | source_row | column_name | rule           | trainee_ref | severity | message
        a-1       | T01.csv   | 2          | role        | code_unknown   | T01         | left_out | wrong
        a-1       | T01.csv   |            | extra       | column_unknown |             | warning  | unknown
        a-1       | T01.csv   | 3          | role        | code_unknown   | T02         | left_out | wrong
    """,
    )
    run(db)
    columns = "source_row, column_name, rule, trainee_ref, severity, data_through"
    assert table(db, "finding", columns) == drawn("""
           | extra | column_unknown |     | warning  |
        2  | role  | code_unknown   | T01 | left_out | 2026-10
        3  | role  | code_unknown   | T02 | left_out |
    """)


def test_an_empty_store_has_every_view_and_no_row() -> None:
    db = database()
    run(db)
    rows = {view: db.execute(f"select count(*) from {view}").fetchone() for view in KEYS}
    # What nobody checked is the specialty's, and the rules are the programme's, whoever is in the store.
    assert {view for view, number in rows.items() if number != (0,)} == {"unverified_item", "reason_rule"}


@pytest.mark.parametrize(
    ("damage", "caught_by"),
    [
        ("delete from case_record where case_ref = 'C10'", "900_case_record_audit.sql"),
        ("insert into case_record from case_record where case_ref = 'C10'", "900_case_record_audit.sql"),
        ("delete from case_credit where case_ref = 'C10'", "910_case_credit_audit.sql"),
        ("update case_credit set reason = null where case_ref = 'C10'", "910_case_credit_audit.sql"),
        # As many cases as there are, and one of them another.
        ("update case_credit set case_ref = 'C99' where case_ref = 'C10'", "910_case_credit_audit.sql"),
        ("update case_credit set over_cap = 'surgeon' where credited", "910_case_credit_audit.sql"),
        ("update case_credit set credited = true where case_ref = 'C10'", "910_case_credit_audit.sql"),
        ("insert into case_credit from case_credit", "910_case_credit_audit.sql"),
        (
            "insert into case_credit select * replace ('T99' as trainee_ref) from case_credit",
            "910_case_credit_audit.sql",
        ),
        ("insert into case_credit from case_credit", "920_key_audit.sql"),
        ("insert into case_volume from case_volume", "920_key_audit.sql"),
        ("insert into complication_rate from complication_rate", "920_key_audit.sql"),
        ("insert into supervision_mix from supervision_mix", "920_key_audit.sql"),
        ("insert into finding (intake_id) values ('a'), ('a')", "920_key_audit.sql"),
        ("update case_volume set remaining_cases = 1 where trainee_ref = 'T01'", "930_case_volume_audit.sql"),
        ("update case_volume set remaining_cases = -1, met = false", "930_case_volume_audit.sql"),
        ("update case_volume set met = not met", "930_case_volume_audit.sql"),
        ("update case_volume set confirmed_cases = counted_cases + 1", "930_case_volume_audit.sql"),
        ("delete from case_volume where trainee_ref = 'T02'", "930_case_volume_audit.sql"),
        ("insert into volume_by_month from volume_by_month", "920_key_audit.sql"),
        ("update volume_by_month set reached = not reached", "930_case_volume_audit.sql"),
        ("update volume_by_month set counted_cases = counted_cases + 1", "930_case_volume_audit.sql"),
        ("delete from volume_by_month where trainee_ref = 'T01'", "930_case_volume_audit.sql"),
        ("update complication_rate set unknown_outcomes = 9", "940_complication_rate_audit.sql"),
        (
            "update complication_rate set unknown_outcomes = -1, eligible_cases = eligible_cases - 1",
            "940_complication_rate_audit.sql",
        ),
        ("update complication_rate set events = known_outcomes + 1", "940_complication_rate_audit.sql"),
        ("update complication_rate set events_unclear = known_outcomes", "940_complication_rate_audit.sql"),
        ("update complication_rate set early_events = not_yet_due + 1", "940_complication_rate_audit.sql"),
        (
            "update complication_rate set events_unfollowed = unknown_outcomes + 1",
            "940_complication_rate_audit.sql",
        ),
        (
            "update complication_rate set possible_low = possible_high + 0.1",
            "940_complication_rate_audit.sql",
        ),
        (
            "update complication_rate set possible_low = null, possible_high = null",
            "940_complication_rate_audit.sql",
        ),
        ("update complication_rate set possible_high = 1.1", "940_complication_rate_audit.sql"),
        ("update complication set window_days = 7", "940_complication_rate_audit.sql"),
        ("update complication_rate set rate_low = 0.99", "940_complication_rate_audit.sql"),
        ("update complication_rate set rate_high = 0.01", "940_complication_rate_audit.sql"),
        ("update complication_rate set rate_high = 1.01", "940_complication_rate_audit.sql"),
        ("update complication_rate set rate_low = null", "940_complication_rate_audit.sql"),
        ("update complication_rate set rate = null", "940_complication_rate_audit.sql"),
        ("delete from complication_rate where attribution = 'as_logged'", "940_complication_rate_audit.sql"),
        ("delete from credit_reason where credited", "975_composition_audit.sql"),
        ("update credit_reason set cases = cases + 1", "975_composition_audit.sql"),
        ("insert into credit_reason from credit_reason", "975_composition_audit.sql"),
        ("delete from count_composition", "975_composition_audit.sql"),
        ("update count_composition set counted_cases = counted_cases + 1", "975_composition_audit.sql"),
        ("update count_composition set of_cases = of_cases + 1", "975_composition_audit.sql"),
        ("delete from submission where owed = 'confirmation'", "974_submission_audit.sql"),
        ("insert into submission from submission", "974_submission_audit.sql"),
        ("update submission set owed = 'log' where trainee_ref = 'T01'", "974_submission_audit.sql"),
        ("update submission set age_months = -1", "974_submission_audit.sql"),
        ("insert into input.submission_due values ('confirmation', 30)", "974_submission_audit.sql"),
        ("delete from log_quality where measure = 'role_confirmed'", "973_log_quality_audit.sql"),
        ("update log_quality set numerator = denominator + 1", "973_log_quality_audit.sql"),
        ("update log_quality set denominator = 99", "973_log_quality_audit.sql"),
        ("insert into log_quality from log_quality", "973_log_quality_audit.sql"),
        ("update supervision_mix set share = 0.4", "950_supervision_mix_audit.sql"),
        ("update supervision_mix set cases = cases + 1", "950_supervision_mix_audit.sql"),
        ("update supervision_mix set share = null", "950_supervision_mix_audit.sql"),
        ("update supervision_mix set share = 1 where level_ref is null", "950_supervision_mix_audit.sql"),
        ("update supervision_mix set training_quarter = 0", "950_supervision_mix_audit.sql"),
    ],
)
def test_an_audit_finds_the_damage(made: Db, damage: str, caught_by: str) -> None:
    made.execute("begin")
    try:
        made.execute(damage)
        found = [name for name, _ in audit(made)]
    finally:
        made.execute("rollback")
    assert caught_by in found


def test_statements_are_told_apart_though_a_comment_holds_a_semicolon(tmp_path: Path) -> None:
    files = {path.name: path.read_text(encoding="utf-8") for path in SQL.glob("*.sql")}
    files["330_finding.sql"] += "\ncomment on view definition.finding is 'One; two: isn''t it; so.';\n"
    for name, text in files.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    db = database()
    make_views(db, tmp_path)
    add_comments(db, tmp_path)
    told = db.execute("select comment from duckdb_tables() where table_name = 'finding'").fetchall()
    assert ("One; two: isn't it; so.",) in told


@pytest.mark.parametrize("path", sql_files(), ids=lambda path: path.name)
def test_every_file_opens_with_its_question_and_says_rows_reads_and_source(path: Path) -> None:
    head = path.read_text(encoding="utf-8").splitlines()[:16]
    assert head[0].startswith("-- ") and head[0].endswith("?")
    for word in ("-- Rows:", "-- Reads:", "-- Source:"):
        assert any(line.startswith(word) for line in head), word
