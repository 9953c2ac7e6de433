"""The tables of the schema `input`: what a build loads before any file of sql/ runs."""

from __future__ import annotations

import pyarrow as pa

_TYPES = {"text": pa.string(), "int": pa.int32(), "bool": pa.bool_(), "double": pa.float64()}


def _schema(columns: str) -> pa.Schema:
    pairs = [column.split() for column in columns.split(",")]
    return pa.schema([(name, _TYPES[kind]) for name, kind in pairs])


# Months are text YYYY-MM, days (of programme and intake, never of an operation) text YYYY-MM-DD,
# codes lower case. A null boolean is not recorded. Lists are text: codes joined with `;` in order, `none` for
# recorded: none, null for not recorded; events carry their day, as in `capsule_rupture;endophthalmitis@5`.
INPUT_TABLES: dict[str, pa.Schema] = {
    "programme": _schema(
        "programme_ref text, title text, academic_year_starts int, current_within_days int, small_count int, "
        "as_of text"
    ),
    "specialty": _schema("specialty text, title text"),
    "trainees": _schema(
        "trainee_ref text, cohort text, started text, expected_completion text, stage text, "
        "programme_ref text, level text, credit_from text, completed text, left text"
    ),
    "training": _schema("trainee_ref text, from text, to text, kind text, value text"),
    # One row a trainee, source and key; `source_taken` and `taken` are places in time: of the last intake of
    # that trainee and source, and of the intake that the row came from.
    "cases": _schema(
        "trainee_ref text, case_ref text, operated_month text, procedure text, role text, side text, "
        "principal bool, converted_from text, supervision text, supervisor_ref text, site_ref text, "
        "supervisor_agreed bool, takeover bool, takeover_reason text, duration_min double, technique text, "
        "attributes text, risk_factors text, complications text, event_hands text, follow_up_days int, "
        "lag_days int, same_day_logged int, case_sequence int, source text, source_taken int, taken int, "
        "intake_id text"
    ),
    # Seconds are on the recording's own clock; seconds in the operation = those x recording_speed.
    "reviews": _schema(
        "review_ref text, case_ref text, trainee_ref text, reviewer_ref text, setting text, self_review bool, "
        "step text, score int, done_by_supervisor text, attempts int, successes int, started_seconds int, "
        "ended_seconds int, recording_speed double, comment text"
    ),
    # A period is text such as `2026-27 mid`; a level is one of the framework's, or `not assessable`.
    "milestones": _schema("trainee_ref text, period text, milestone text, level text, rationale text"),
    "data_through": _schema("trainee_ref text, source text, data_through text"),
    "finding": _schema(
        "intake_id text, file_name text, source_row int, column_name text, rule text, trainee_ref text, "
        "severity text, message text, remedy text"
    ),
    "intake": _schema(
        "intake_id text, kind text, source text, file_name text, taken_on text, rows_in_file int, "
        "accepted_rows int, left_out_rows int"
    ),
    "intake_trainee": _schema("intake_id text, kind text, trainee_ref text"),
}
