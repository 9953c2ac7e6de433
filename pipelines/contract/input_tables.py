"""The tables of the schema `input`: what a build loads before any file of sql/ runs."""

from __future__ import annotations

import pyarrow as pa

from pipelines.contract.formats import CASES, KINDS, OUTCOMES, TYPES


def _schema(columns: str) -> pa.Schema:
    pairs = [column.split() for column in columns.split(",")]
    return pa.schema([(name, TYPES[kind]) for name, kind in pairs])


# Months are text YYYY-MM, days (of programme and intake, never of an operation) text YYYY-MM-DD,
# codes lower case. A null boolean is not recorded. Lists are text: codes joined with `;` in order, `none` for
# recorded: none, null for not recorded; events carry their day, as in `capsule_rupture;endophthalmitis@5`.
INPUT_TABLES: dict[str, pa.Schema] = {
    "programme": _schema(
        "programme_ref text, title text, academic_year_starts int, current_within_days int, small_count int, "
        "as_of text, cusum_odds_ratio double, cusum_chance double, cusum_limit double"
    ),
    # The live rows: what the store keeps of each kind. Seconds of a review are on the recording's own clock.
    **{kind.name: kind.schema for kind in KINDS},
    # In days after the end of the month.
    "submission_due": _schema("owed text, due_days int"),
    "data_through": _schema("trainee_ref text, source text, data_through text, closed bool"),
    "finding": _schema(
        "intake_id text, file_name text, source_row int, column_name text, rule text, trainee_ref text, "
        "severity text, message text, remedy text"
    ),
    # The words of each rule: what hangs on the cases of others is said by a view.
    "rule": _schema("rule text, severity text, message text, remedy text, position int"),
    "intake": _schema(
        "intake_id text, kind text, source text, file_name text, taken_on text, rows_in_file int, "
        "accepted_rows int, left_out_rows int, held_back_rows int"
    ),
    # What receipts say, one row a table of a file and trainee; a blank trainee: rows of nobody, and of people who were left
    # as they were. Of a later file of the same log the balance is no longer that of what is live: is_latest says which is.
    "receipt_rows": _schema(
        "intake_id text, kind text, file_name text, trainee_ref text, source text, taken int, is_live bool, "
        "is_latest bool, replaces bool, rows_in_file int, accepted_rows int, held_back_rows int, live_before int, "
        "added_rows int, unchanged_rows int, changed_rows int, kept_rows int, withdrawn_rows int, live_after int"
    ),
    "receipt_left_out": _schema("intake_id text, kind text, trainee_ref text, rule text, left_out_rows int"),
    # What the store holds of the same: rows of the Parquet file, and keys in the file of changes.
    "stored_rows": _schema(
        "intake_id text, kind text, trainee_ref text, stored_rows int, changed_rows int, kept_rows int, "
        "withdrawn_rows int"
    ),
    # The rows that count now, by the snapshot with which their intake came.
    "live_rows": _schema("kind text, trainee_ref text, source text, taken int, live_rows int"),
    # Kinds of reasons to discuss somebody; and the numbers of their rules, one row.
    "reason_kind": _schema("reason text, position int, title text, rule text, is_chance bool"),
    "reason_setting": _schema(
        "pace_behind_chance_below double, pace_behind_people int, unconfirmed_minimum_months_left int, "
        "close_and_short_months_left int, outcome_over_time_limit text, "
        "supervision_not_loosening_quarters int, supervision_not_loosening_cases int, "
        "supervision_not_loosening_people int, supervision_not_loosening_loosened_by double, "
        "step_without_progress_operations int, step_without_progress_score_below double, "
        "level_and_evidence_levels_apart int, level_fell_levels int, log_late_months int, outcomes_unknown_due int, "
        "outcomes_unknown_share double, nothing_known_months int, past_completion_months int, weak_above double"
    ),
    # What `calibrate` found, of the inputs that it was made from.
    "calibration": _schema(
        "programme_ref text, reason text, chance_meeting double, chance_training double, power double, programmes int, "
        "inputs text"
    ),
    "intake_trainee": _schema("intake_id text, kind text, trainee_ref text"),
}
# One row a trainee, source and key; `source_taken` and `taken` are places in time: of the last intake of that trainee
# and source, and of the intake that the row came from.
ADDED = _schema("source text, source_taken int, taken int, intake_id text")
INPUT_TABLES["cases"] = pa.schema([*CASES.schema, *ADDED])
# What was said last of an operation stands, whosever rows it came with.
INPUT_TABLES["outcomes"] = pa.schema([*OUTCOMES.schema, ADDED.field("taken")])
