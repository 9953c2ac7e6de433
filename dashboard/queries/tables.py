"""What each role may read: the tables that a query of theirs may name, the rows of each, and the columns.

A query reads a table through a view made for its scope (`live.py`). A table that does not stand here, or not for the
role, is read by no query, whatever the query says. `{db}` stands for the snapshot's own tables, which the views
cover; programme_ref, whose and ref are variables of the connection.
"""

from __future__ import annotations

OWN = (
    "programme_ref = getvariable('programme_ref')"
    " and (getvariable('whose') = 'everyone' or trainee_ref = getvariable('ref'))"
)
OWN_PEOPLE = f"trainee_ref in (select trainee_ref from {{db}}.main.trainee where {OWN})"
OF_PROGRAMME = "programme_ref = getvariable('programme_ref')"

# Rules of the specialty and settings: the same for everybody who may see anything.
RULES = (
    "attribute",
    "complication",
    "complication_group",
    "milestone",
    "milestone_framework",
    "milestone_level",
    "procedure_group",
    "requirement",
    "review_period",
    "requirement_attribute",
    "requirement_cap",
    "reason_rule",
    "requirement_role",
    "requirement_whole",
    "role",
    "step",
    "supervision_level",
    "supervision_role",
    "unverified_item",
)

# Every other table: which of its rows are in a scope.
ROWS = {
    "active_month": OWN,
    "case_attribute": OWN_PEOPLE,
    "case_sequence_chart": OWN,
    "case_sequence_signal": OWN,
    "complication_rate_recent": OWN,
    "milestones": OWN_PEOPLE,
    "run_length": OF_PROGRAMME,
    "case_credit": OWN,
    "case_opened": OWN,
    "case_outcome": OWN,
    "case_volume": OWN,
    "cohort_comparison": OWN,
    "count_composition": OWN,
    "complication_rate": OWN,
    "discussion_reason": OWN,
    "entry_disagreement": OWN,
    "event_to_code": OWN,
    "expected_rate": OWN,
    "false_alarm": OF_PROGRAMME,
    # What names nobody of the roster belongs to the programme whose people alone its file is about.
    "feedback": OWN_PEOPLE,
    "finding": f"""
        {OWN_PEOPLE}
        or getvariable('whose') = 'everyone'
        and coalesce(trainee_ref not in (select trainee_ref from {{db}}.main.trainee), true)
        and intake_id in (select intake_id from {{db}}.main.intake_programme where {OF_PROGRAMME})
    """,
    "left_out_rule": OWN,
    "live_intake": OF_PROGRAMME,
    "log_quality": OWN,
    "milestone_standing": OWN,
    "not_final": OWN,
    "official_tally": OWN,
    "other_programme": "true",
    "pace": OWN,
    "pace_backtest": OF_PROGRAMME,
    "pace_sentence": OWN,
    "reconciliation": OWN,
    "reviews": f"""
        reviewer_ref = getvariable('ref') and not coalesce(self_review, false)
        and trainee_ref in (select trainee_ref from {{db}}.main.trainee where {OF_PROGRAMME})
    """,
    "rotation_yield": OWN,
    "rule_without_count": OWN,
    "step_progress": OWN,
    "submission": OWN,
    "supervision_band": OWN,
    "supervision_loosening": OWN,
    "supervision_mix": OWN,
    "technique_step": OWN,
    "trainee": OWN,
    "trainee_clock": OWN,
    "trainee_log": OWN,
    "training_mark": OWN,
    # The bands hold completed classes, and so that of a trainee who has completed: a colleague could be read off them.
    "volume_band": f"""
        {OF_PROGRAMME}
        and (
            getvariable('whose') = 'everyone'
            or exists (select 1 from {{db}}.main.trainee where {OWN} and completed is null)
        )
    """,
    "volume_course": OWN,
    "volume_summary": OWN,
}
MONTH_OF_REVIEW = """(
    select min(operated.operated_month)
    from {db}.main.case_record as operated
    where operated.trainee_ref = review.trainee_ref and operated.case_ref = review.case_ref
) as operated_month"""
# Where a table does not lie in `main`.
PLACES = {
    "case_outcome": "{db}.definition.case_outcome",
    "reviews": f"(select review.*, {MONTH_OF_REVIEW} from {{db}}.input.reviews as review)",
    # How severe a reviewer is, is for the director and for each reviewer alone: who wrote it, is not in it.
    "feedback": f"""(
    select review.* exclude (reviewer_ref), {MONTH_OF_REVIEW}
    from {{db}}.input.reviews as review
)""",
}
PLACES |= {"milestones": "{db}.input.milestones", "review_period": "{db}.input.review_period"}
PLACES["other_programme"] = f"""(
    select count(*) > 0 as elsewhere from {{db}}.main.trainee where not ({OF_PROGRAMME})
)"""
PLACES["case_opened"] = """(
    select
        opened.* replace (
            coalesce(role.title, opened.role) as role, coalesce(level.title, opened.supervision) as supervision
        )
    from {db}.definition.case_opened as opened
    left join {db}.main.role as role on opened.role = role.role
    left join {db}.main.supervision_level as level on opened.supervision = level.level_ref
)"""

# Volume and the quality of the log: no rate, no complication, no level of supervision, no score, no comment.
COUNTS = (
    *("active_month", "case_attribute", "case_credit", "case_volume", "finding", "trainee", "volume_band"),
    *("count_composition", "training_mark", "rule_without_count", "volume_course"),
)
CASE_OF_A_COUNT = (
    "programme_ref, trainee_ref, case_ref, procedure, side, title, operated_month, case_sequence, role,"
    " supervisor_agreed"
)
STANDING = (
    *(*COUNTS, "case_opened", "case_outcome", "complication_rate", "entry_disagreement"),
    *("complication_rate_recent", "event_to_code", "feedback", "milestone_standing", "milestones"),
    *("step_progress", "supervision_band", "supervision_mix", "technique_step", "trainee_clock"),
)
# What is made of others of today is not for trainees.
OF_OTHERS = (
    *("cohort_comparison", "discussion_reason", "expected_rate", "false_alarm", "other_programme", "pace"),
    *("pace_backtest", "pace_sentence", "rotation_yield", "supervision_loosening"),
    *("case_sequence_chart", "case_sequence_signal", "run_length"),
)
# Of their own pace a trainee reads the count, what is needed, and the bands; not what became of whom.
OWN_PACE = (
    'programme_ref, cohort, trainee_ref, requirement_ref, "count", expected_low, expected_median, expected_high,'
    " needed_a_month, minimum, active_month, months_left, recent_a_month, data_through"
)
# The same reasons, in words without what is made of others.
OWN_PACE_SENTENCE = (
    "programme_ref, cohort, trainee_ref, requirement_ref, stands, needs, rotations, data_through"
)
OWN_REASON = (
    "programme_ref, cohort, trainee_ref, reason, subject, own_sentence as sentence, opens, position,"
    " data_through"
)
# Shares of rows of a log, and no rate of outcomes.
LOG_QUALITY = (
    'programme_ref, cohort, trainee_ref, measure, "position", numerator, denominator, "value" as proportion,'
    " median_days, within_days, earlier_low, earlier_median, earlier_high, earlier_people, data_through"
)
DESK = (
    *(
        "left_out_rule",
        "live_intake",
        "not_final",
        "official_tally",
        "other_programme",
        "reconciliation",
        "trainee_log",
    ),
    *("submission", "volume_summary"),
)


def _whole(*tables: str) -> dict[str, str]:
    return dict.fromkeys((*RULES, *tables), "*") | {"log_quality": LOG_QUALITY}


# The tables of each role, with their columns.
COLUMNS: dict[str, dict[str, str]] = {
    "director": _whole(*STANDING, *OF_OTHERS, *DESK),
    "committee_member": _whole(*STANDING, *OF_OTHERS),
    "coordinator": _whole(*COUNTS, *DESK) | {"case_opened": CASE_OF_A_COUNT},
    "reviewer": dict.fromkeys((*RULES, "reviews"), "*"),
    "trainee": _whole(*STANDING)
    | {
        "submission": "*",
        "discussion_reason": OWN_REASON,
        "pace": OWN_PACE,
        "pace_sentence": OWN_PACE_SENTENCE,
    },
}
