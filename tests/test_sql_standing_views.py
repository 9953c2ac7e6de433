"""The views of technique, milestones, comparison, volume and log: columns, comments, audits of each."""

from __future__ import annotations

import pytest

from pipelines.build.build import add_comments, audit
from tests.drawn import Db, database, put, run
from tests.example_standing import Log, put_trainees, specialty

# Contract of the published views: key, then columns, then data_through as the last.
COLUMNS = {
    "technique_step": """
        programme_ref cohort trainee_ref procedure_group step training_quarter:INTEGER scored:BIGINT
        score_mean:DOUBLE score_low:DOUBLE score_high:DOUBLE done_by_supervisor:BIGINT attempts:BIGINT
        successes:BIGINT success_low:DOUBLE success_high:DOUBLE seconds_median:DOUBLE data_through
    """,
    "milestone_standing": """
        programme_ref cohort trainee_ref milestone_ref level rules_met:BIGINT rules_total:BIGINT
        rules_unknown:BIGINT missing committee_level committee_period met_by data_through
    """,
    "cohort_comparison": """
        programme_ref cohort trainee_ref measure value:DOUBLE value_low:DOUBLE value_high:DOUBLE
        reference:DOUBLE reference_low:DOUBLE reference_high:DOUBLE reference_n:BIGINT value_base:BIGINT
        reference_base:BIGINT difference:DOUBLE difference_low:DOUBLE difference_high:DOUBLE differs:BOOLEAN data_through
    """,
    "official_tally": """
        programme_ref cohort trainee_ref requirement_ref requirement_title minimum:BIGINT official_count:INTEGER
        official_as_of official_met:BOOLEAN counted_cases:BIGINT difference:BIGINT later_cases:BIGINT
        same_month_cases:BIGINT unconfirmed_cases:BIGINT other_role_cases:BIGINT elsewhere_cases:BIGINT
        otherwise_not_counted_cases:BIGINT unmapped_cases:BIGINT capped_cases:BIGINT data_through
    """,
    "volume_summary": """
        programme_ref cohort trainee_ref requirement_ref requirement_title minimum:BIGINT counted_cases:BIGINT
        remaining_cases:BIGINT met:BOOLEAN edition confirmed_cases:BIGINT held_cases:BIGINT source
        verified:BOOLEAN parts_total:BIGINT parts_short:BIGINT reached:BOOLEAN part_depth:BIGINT completed
        left reached_by unit deadline published_minimum:BIGINT is_local:BOOLEAN local_source data_through
    """,
    "volume_by_role": """
        programme_ref cohort trainee_ref requirement_ref role through_month logged_cases:BIGINT counted_cases:BIGINT
        confirmed_cases:BIGINT data_through
    """,
    "class_volume": """
        programme_ref cohort requirement_ref through_month minimum:BIGINT graduates:BIGINT met:BIGINT below:BIGINT
        reached:BIGINT cases_mean:DOUBLE cases_median:DOUBLE cases_lowest:BIGINT cases_highest:BIGINT people_left:BIGINT
    """,
    "not_final": """
        programme_ref cohort trainee_ref obstacle cases:BIGINT data_through
    """,
    # Ours, for the screens.
    "credited_month": """
        programme_ref cohort trainee_ref requirement_ref operated_month counted_cases:BIGINT confirmed_cases:BIGINT
        active_month:DOUBLE data_through
    """,
    "active_month": """
        programme_ref cohort trainee_ref calendar_month counts_as:DOUBLE active_month:DOUBLE training_month:INTEGER
        training_quarter:INTEGER is_elsewhere:BOOLEAN rotation data_through
    """,
    "training_mark": """
        programme_ref cohort trainee_ref kind first_month rotation active_from:DOUBLE active_to:DOUBLE months:BIGINT
        is_ahead:BOOLEAN data_through
    """,
    "supervision_band": """
        programme_ref cohort trainee_ref procedure_group training_quarter:INTEGER band band_order:INTEGER
        cases:BIGINT known_cases:BIGINT share:DOUBLE data_through
    """,
    "volume_course": """
        programme_ref cohort trainee_ref requirement_ref training_month:INTEGER counted_cases:BIGINT data_through
    """,
    "volume_band": """
        programme_ref requirement_ref training_month:INTEGER p10:BIGINT p25:BIGINT p50:BIGINT p75:BIGINT
        p90:BIGINT people:BIGINT
    """,
    "expected_rate": """
        programme_ref cohort trainee_ref complication_ref attribution expected:DOUBLE
        expected_from_trainees:BIGINT expected_known:BIGINT why_none expected_low:DOUBLE expected_high:DOUBLE
        expected_events:DOUBLE is_adjusted:BOOLEAN data_through
    """,
    "run_length": """
        programme_ref complication_ref limit_for cases:INTEGER people:INTEGER cusum_limit:DOUBLE expected:DOUBLE
        signal_chance:DOUBLE signal_chance_raised:DOUBLE signal_chance_in_class:DOUBLE run_length:DOUBLE
        run_length_raised:DOUBLE why_none
    """,
    "case_sequence_chart": """
        programme_ref cohort trainee_ref complication_ref case_number:INTEGER case_sequence:INTEGER is_event:BOOLEAN
        expected:DOUBLE events:INTEGER expected_events:DOUBLE observed_minus_expected:DOUBLE cusum_weight:DOUBLE
        cusum:DOUBLE limit_person:DOUBLE limit_class:DOUBLE above_person:BOOLEAN above_class:BOOLEAN data_through
    """,
    "case_sequence_signal": """
        programme_ref cohort trainee_ref complication_ref known_outcomes:INTEGER events:INTEGER
        expected_events:DOUBLE cusum:DOUBLE cusum_highest:DOUBLE limit_person:DOUBLE limit_class:DOUBLE
        signal_case_person:INTEGER signal_case_class:INTEGER above_person_now:BOOLEAN why_none data_through
    """,
    "complication_rate_recent": """
        programme_ref cohort trainee_ref complication_ref last_cases:INTEGER events:BIGINT known_outcomes:BIGINT
        rate:DOUBLE rate_low:DOUBLE rate_high:DOUBLE events_before:BIGINT known_before:BIGINT rate_before:DOUBLE
        rate_before_low:DOUBLE rate_before_high:DOUBLE data_through
    """,
    "measure_course": """
        programme_ref cohort trainee_ref measure training_quarter:INTEGER amount:DOUBLE base:BIGINT
        squares:DOUBLE due:BIGINT unclear:BIGINT data_through
    """,
    "pace_backtest": """
        programme_ref requirement_ref active_month:INTEGER people:BIGINT coverage:DOUBLE brier:DOUBLE
        brier_share:DOUBLE brier_line:DOUBLE people_with_range:BIGINT open_people:BIGINT method
        forecast_is_shown:BOOLEAN range_is_tried:BOOLEAN
    """,
    "pace": """
        programme_ref cohort trainee_ref requirement_ref count:BIGINT expected_low:BIGINT expected_median:BIGINT
        expected_high:BIGINT final_low:BIGINT final_median:BIGINT final_high:BIGINT probability_met:DOUBLE
        needed_a_month:DOUBLE minimum:BIGINT active_month:DOUBLE months_left:DOUBLE recent_a_month:DOUBLE
        earlier_a_month:DOUBLE expected_p10:BIGINT expected_p90:BIGINT earlier_people:BIGINT like_people:BIGINT
        like_met:BIGINT like_low:DOUBLE like_high:DOUBLE why_none data_through
    """,
    "rotation_yield": """
        programme_ref cohort trainee_ref requirement_ref rotation a_month_inside:DOUBLE a_month_outside:DOUBLE
        cases_inside:BIGINT months_inside:DOUBLE people:BIGINT months_had:DOUBLE months_to_come:DOUBLE
        rotations_had:BIGINT rotations_running:BIGINT rotations_to_come:BIGINT months_not_entered:DOUBLE
        data_through
    """,
    "pace_sentence": """
        programme_ref cohort trainee_ref requirement_ref stands became forecast needs rotations data_through
    """,
    "supervision_loosening": """
        programme_ref cohort trainee_ref procedure_group cases_at_level:BIGINT known_cases:BIGINT share:DOUBLE
        share_low:DOUBLE share_high:DOUBLE share_before:DOUBLE earlier_people:BIGINT earlier_low:DOUBLE
        earlier_median:DOUBLE earlier_before:DOUBLE data_through
    """,
    "step_progress": """
        programme_ref cohort trainee_ref step reviewed_operations:BIGINT operations:INTEGER score_latest:DOUBLE
        score_before:DOUBLE data_through
    """,
    "reason_rule": "reason position:INTEGER title rule is_chance:BOOLEAN",
    "false_alarm": """
        programme_ref reason chance_meeting:DOUBLE chance_training:DOUBLE power:DOUBLE simulated_programmes:INTEGER
        is_weak:BOOLEAN remark
    """,
    "discussion_reason": """
        programme_ref cohort trainee_ref reason subject sentence weak:BOOLEAN opens own_sentence position:INTEGER
        data_through
    """,
    "trainee_log": """
        programme_ref cohort trainee_ref live_intakes:BIGINT accepted_rows:BIGINT left_out_rows:BIGINT
        warnings:BIGINT unconfirmed_cases:BIGINT is_current:BOOLEAN data_through
    """,
    "left_out_rule": """
        programme_ref cohort trainee_ref severity rule findings:BIGINT data_through
    """,
    "class_finding": "programme_ref cohort severity rule findings:BIGINT rows_concerned:BIGINT",
    "unverified_item": "kind ref title source reviewed_on",
}


@pytest.fixture(scope="module")
def made() -> Db:
    """Six trainees with a row in every view, one without data; two classes of ten that have completed."""
    rules = {"B": [{"measure": "counted_cases", "requirement": "lens", "at_least": 2.0}]}
    db = database(specialty(rules))
    put_trainees(db, {f"T{number:02d}": "2026-07" for number in range(1, 7)})
    put_trainees(db, {"T07": "2026-07"})
    db.execute("delete from input.data_through where trainee_ref = 'T07'")
    put_trainees(db, {f"P{number:02d}": "2019-07" for number in range(20)})
    db.execute(
        "update input.trainees set cohort = case when trainee_ref < 'P10' then '2018-19' else '2019-20' end,"
        " completed = '2020-01' where trainee_ref like 'P%'"
    )
    log = Log(db)
    for ref in ("T01", "T02"):
        log.add(ref, "2026-08", 2, complications="none", supervision="guided")
        (case,) = log.add(ref, "2026-08", 1, supervision="available")
        log.review(ref, case, [3, 4, 4])
    log.add("P00", "2019-07", 2)
    for score in (3, 4, 3, 2, 3, 3, 4, 3, 3, 3):
        (case,) = log.add("T03", "2026-09", 1)
        log.review("T03", case, [score])
    db.execute("update input.reviews set attempts = 3, successes = 2, started_seconds = 1, ended_seconds = 9")
    put(db, "training", "trainee_ref | from | to | kind | value\nT01 | 2026-07 | 2026-09 | rotation | lens")
    put(db, "milestones", "trainee_ref | period | milestone | level\nT01 | 2026-27 mid | lens_skill | B")
    put(db, "official_counts", "trainee_ref | requirement_ref | count | as_of\nT01 | lens | 2 | 2026-09-15")
    put(
        db,
        "finding",
        """
        intake_id | file_name | source_row | column_name | rule         | trainee_ref | severity | message
        a-1       | x.csv     | 2          | role        | code_unknown | T01         | left_out | wrong
    """,
    )
    run(db)
    add_comments(db)
    return db


@pytest.mark.parametrize("view", COLUMNS)
def test_a_view_has_rows_and_exactly_these_columns_and_types(made: Db, view: str) -> None:
    columns = [each.partition(":") for each in COLUMNS[view].split()]
    described = made.execute(f"select column_name, column_type from (describe main.{view})").fetchall()
    assert described == [(name, kind or "VARCHAR") for name, _, kind in columns]
    assert made.execute(f"select count(*) > 0 from {view}").fetchall() == [(True,)]


@pytest.mark.parametrize("view", COLUMNS)
def test_the_table_of_a_view_and_each_of_its_columns_carry_a_comment(made: Db, view: str) -> None:
    (of_table,) = made.execute(
        "select comment from duckdb_tables() where schema_name = 'main' and table_name = ?", [view]
    ).fetchall()
    assert len(of_table[0] or "") > 40
    told = made.execute(
        "select column_name, comment from duckdb_columns() where schema_name = 'main' and table_name = ?",
        [view],
    ).fetchall()
    assert [name for name, text in told if not text] == []


@pytest.mark.parametrize("view", COLUMNS)
def test_the_stored_table_is_its_definition(made: Db, view: str) -> None:
    for one, other in (("main", "definition"), ("definition", "main")):
        assert made.execute(f"from {one}.{view} except all from {other}.{view}").fetchall() == []


def test_an_empty_store_has_no_row_but_what_the_specialty_leaves_unverified_and_the_rules() -> None:
    db = database()
    run(db)
    rows = {view: db.execute(f"select count(*) from {view}").fetchall()[0][0] for view in COLUMNS}
    assert {view for view, number in rows.items() if number} == {"unverified_item", "reason_rule"}


DAMAGE = [
    *((f"insert into {view} from {view}", "960") for view in COLUMNS),
    ("update technique_step set score_low = 4.9", "961"),
    ("update technique_step set score_high = 1.1", "961"),
    ("update technique_step set score_low = 0.9", "961"),
    ("update technique_step set score_high = 5.1", "961"),
    ("update technique_step set scored = 2", "961"),
    ("update technique_step set score_low = null", "961"),
    ("update technique_step set score_high = null", "961"),
    ("update technique_step set score_mean = null, score_low = null, score_high = null, scored = 1", "961"),
    ("update technique_step set successes = attempts + 1", "961"),
    ("update technique_step set success_low = -0.1", "961"),
    ("update technique_step set success_low = 1", "961"),
    ("update technique_step set success_high = 1.1", "961"),
    ("update technique_step set success_low = null", "961"),
    ("update technique_step set seconds_median = -1", "961"),
    ("delete from t_quantile where degrees = 7", "961"),
    ("update milestone_standing set rules_unknown = 2 where level = 'B'", "962"),
    ("update milestone_standing set rules_met = -1", "962"),
    ("update milestone_standing set rules_unknown = -1", "962"),
    ("update milestone_standing set missing = null where rules_met < rules_total", "962"),
    ("update milestone_standing set committee_level = 'A' where level = 'C' and trainee_ref = 'T01'", "962"),
    ("delete from milestone_standing where level = 'A' and trainee_ref = 'T02'", "962"),
    ("update volume_course set counted_cases = 9 where training_month = 1", "963"),
    ("delete from volume_course where training_month = 2", "963"),
    ("update volume_course set counted_cases = 9", "963"),
    ("update volume_band set p25 = p50 + 1", "963"),
    ("update volume_band set p50 = p75 + 1", "963"),
    ("update volume_band set p10 = p25 + 1", "963"),
    ("update volume_band set p75 = p90 + 1, p50 = p90 + 1", "963"),
    ("update volume_band set people = 9", "963"),
    ("update volume_band set people = 19", "963"),
    ("update volume_band set p50 = null", "963"),
    ("update volume_summary set counted_cases = counted_cases + 1", "963"),
    ("update volume_summary set reached = not reached", "963"),
    ("update volume_summary set parts_total = 1", "963"),
    ("update volume_summary set parts_short = 1", "963"),
    ("update volume_summary set part_depth = 1", "963"),
    ("delete from volume_summary where trainee_ref = 'T01'", "963"),
    ("update cohort_comparison set reference_n = 4", "964"),
    ("update cohort_comparison set reference = null", "964"),
    ("update cohort_comparison set reference = 0.5 where measure like 'rate:%'", "964"),
    ("update cohort_comparison set value_low = value + 0.1", "964"),
    ("update cohort_comparison set value_high = 1.1", "964"),
    ("update cohort_comparison set reference_low = reference + 1", "964"),
    ("update cohort_comparison set reference_high = reference - 1", "964"),
    ("delete from cohort_comparison where measure = 'score_mean:wound_closure'", "964"),
    ("update expected_rate set why_none = null", "964"),
    ("update expected_rate set expected = 0.5", "964"),
    ("update expected_rate set expected = 1.5, why_none = null", "964"),
    ("delete from expected_rate where attribution = 'as_logged'", "964"),
    ("update supervision_band set share = 0.4", "965"),
    ("update supervision_band set cases = cases + 1", "965"),
    ("delete from supervision_band where procedure_group = 'all'", "965"),
    ("delete from trainee_log where trainee_ref = 'T06'", "966"),
    ("update trainee_log set accepted_rows = 2", "966"),
    ("update trainee_log set unconfirmed_cases = 99", "966"),
    ("update trainee_log set live_intakes = 0", "966"),
    ("update left_out_rule set findings = 2", "966"),
    ("update class_finding set findings = 0", "966"),
    ("update class_finding set rows_concerned = 2", "966"),
    ("update class_finding set rows_concerned = 0", "966"),
    ("delete from class_finding", "966"),
    ("insert into pace from pace", "960"),
    ("insert into pace_sentence from pace_sentence", "960"),
    ("insert into supervision_loosening from supervision_loosening", "960"),
    ("insert into step_progress from step_progress", "960"),
    ("insert into reason_rule from reason_rule", "960"),
    ("insert into false_alarm from false_alarm", "960"),
    ("insert into discussion_reason from discussion_reason", "960"),
    ("update discussion_reason set trainee_ref = 'P00'", "970"),
    ("update discussion_reason set sentence = null", "970"),
    ("update discussion_reason set reason = 'gossip'", "970"),
    ("update supervision_loosening set share = 1.1", "970"),
    ("update supervision_loosening set cases_at_level = known_cases + 1", "970"),
    ("update step_progress set score_latest = 5.1", "970"),
    ("update false_alarm set chance_meeting = 1.1", "970"),
    ("update false_alarm set is_weak = null where reason = 'log_late'", "970"),
    ("delete from false_alarm where reason = 'log_late'", "970"),
    ("insert into pace_backtest from pace_backtest", "960"),
    ("insert into rotation_yield from rotation_yield", "960"),
    ("update pace set like_people = 0 where trainee_ref = 'P00'", "969"),
    ("update pace set why_none = 'no reason' where trainee_ref = 'T01'", "969"),
    ("update pace set probability_met = null where trainee_ref = 'T01'", "969"),
    ("update pace set final_low = final_median + 1", "969"),
    ("update pace set final_high = final_median - 1", "969"),
    ("update pace set expected_low = expected_median + 1", "969"),
    ("update pace set expected_p90 = expected_high - 1", "969"),
    ("update pace set probability_met = 1.1 where trainee_ref = 'T01'", "969"),
    ("update pace set earlier_people = 9", "969"),
    ("update pace set like_met = like_people + 1", "969"),
    ("delete from pace where trainee_ref = 'T01'", "969"),
    ("update pace set count = 99", "969"),
    ("update pace_backtest set coverage = 1.1", "969"),
    ("update pace_backtest set open_people = people + 1", "969"),
    ("update rotation_yield set months_had = 99", "969"),
    ("insert into credited_month from credited_month", "960"),
    ("insert into active_month from active_month", "960"),
    ("insert into training_mark from training_mark", "960"),
    ("update training_mark set active_to = active_from - 1", "967"),
    ("update training_mark set active_to = active_from + 1 where kind = 'data_end'", "967"),
    ("update active_month set counts_as = 1.5", "967"),
    ("update active_month set active_month = active_month + 1 where calendar_month = '2026-08'", "967"),
    ("delete from active_month where trainee_ref = 'T06'", "967"),
    ("update trainee_clock set last_training_month = 0", "967"),
    ("update case_record set training_quarter = 0", "967"),
    ("update credited_month set counted_cases = 7", "967"),
    ("insert into volume_by_role from volume_by_role", "960"),
    ("insert into class_volume from class_volume", "960"),
    ("insert into not_final from not_final", "960"),
    ("update volume_by_role set counted_cases = counted_cases + 1", "972"),
    ("update volume_by_role set confirmed_cases = confirmed_cases + 1", "972"),
    ("update volume_by_role set logged_cases = -1", "972"),
    ("delete from volume_by_role where trainee_ref = 'T01'", "972"),
    ("update class_volume set met = met + 1, below = below - 1", "972"),
    ("update class_volume set reached = reached + 1", "972"),
    ("update class_volume set graduates = graduates + 1", "972"),
    ("update class_volume set cases_mean = cases_mean + 1", "972"),
    ("update class_volume set cases_median = cases_highest + 1", "972"),
    ("update class_volume set cases_lowest = cases_median + 1", "972"),
    ("update class_volume set people_left = people_left + 1", "972"),
    ("delete from class_volume", "972"),
    ("delete from not_final", "972"),
]


@pytest.mark.parametrize(("damage", "caught_by"), DAMAGE, ids=lambda value: value[:60])
def test_an_audit_finds_the_damage(made: Db, damage: str, caught_by: str) -> None:
    made.execute("begin")
    try:
        made.execute(damage)
        found = [name for name, _ in audit(made)]
    finally:
        made.execute("rollback")
    assert [name for name in found if name.startswith(caught_by)]
