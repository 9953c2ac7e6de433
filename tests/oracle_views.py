"""Every published view with a number, computed a second time: which columns of it, and by which rows."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from tests import (
    oracle_comparison,
    oracle_expected,
    oracle_log,
    oracle_milestones,
    oracle_others,
    oracle_pace,
    oracle_rules,
    oracle_technique,
    oracle_volume,
)
from tests.oracle import COLUMNS, HEAD, KEYS, Oracle
from tests.oracle_rows import Row

Answer = dict[str, Any]

MORE_KEYS = {
    "credited_month": f"{HEAD} requirement_ref operated_month",
    "active_month": f"{HEAD} calendar_month",
    "training_mark": f"{HEAD} kind first_month",
    "volume_by_month": f"{HEAD} requirement_ref through_month",
    "volume_summary": f"{HEAD} requirement_ref",
    "rule_without_count": f"{HEAD} requirement_ref",
    "volume_course": f"{HEAD} requirement_ref training_month",
    "volume_band": "programme_ref requirement_ref training_month",
    "pace_backtest": "programme_ref requirement_ref active_month",
    "pace": f"{HEAD} requirement_ref",
    "rotation_yield": f"{HEAD} requirement_ref rotation",
    "supervision_band": f"{HEAD} procedure_group training_quarter band",
    "technique_step": f"{HEAD} procedure_group step training_quarter",
    "measure_course": f"{HEAD} measure training_quarter",
    "cohort_comparison": f"{HEAD} measure",
    "expected_rate": f"{HEAD} complication_ref attribution",
    "case_sequence_chart": f"{HEAD} complication_ref case_number",
    "case_sequence_signal": f"{HEAD} complication_ref",
    "complication_rate_recent": f"{HEAD} complication_ref last_cases",
    "milestone_standing": f"{HEAD} milestone_ref level",
    "trainee_log": HEAD,
    "left_out_rule": f"{HEAD} severity rule",
    "class_finding": "programme_ref cohort severity rule",
    "event_to_code": f"{HEAD} case_ref procedure side",
    "entry_disagreement": f"{HEAD} case_ref procedure side fact entered_by",
}
MORE_COLUMNS = {
    "credited_month": "counted_cases confirmed_cases active_month data_through",
    "active_month": "counts_as active_month training_month training_quarter is_elsewhere rotation data_through",
    "training_mark": "rotation active_from active_to months is_ahead data_through",
    "volume_by_month": "minimum counted_cases remaining_cases met confirmed_cases held_cases parts_total parts_short"
    " reached reached_by data_through",
    "volume_summary": "requirement_title minimum counted_cases remaining_cases met edition confirmed_cases held_cases"
    " source verified parts_total parts_short reached part_depth completed left reached_by unit deadline published_minimum"
    " is_local local_source data_through",
    "volume_course": "counted_cases data_through",
    "rule_without_count": "requirement_title kind asked_for found periods periods_short met edition data_through",
    "volume_band": "p10 p25 p50 p75 p90 people",
    "pace_backtest": "people coverage brier brier_share brier_line people_with_range open_people method forecast_is_shown"
    " range_is_tried",
    "pace": "count expected_low expected_median expected_high final_low final_median final_high probability_met"
    " needed_a_month minimum active_month months_left recent_a_month earlier_a_month expected_p10 expected_p90"
    " earlier_people like_people like_met like_low like_high is_reason_given data_through",
    "rotation_yield": "a_month_inside a_month_outside cases_inside months_inside people months_had months_to_come"
    " rotations_had rotations_running rotations_to_come months_not_entered data_through",
    "supervision_band": "band_order cases known_cases share data_through",
    "technique_step": "scored score_mean score_low score_high done_by_supervisor attempts successes success_low"
    " success_high seconds_median data_through",
    "measure_course": "amount base squares due unclear data_through",
    "cohort_comparison": "value value_low value_high reference reference_low reference_high reference_n"
    " value_base reference_base difference difference_low difference_high differs data_through",
    "expected_rate": "expected expected_from_trainees expected_known is_reason_given expected_low expected_high"
    " expected_events is_adjusted data_through",
    # Limits are judged in tests/test_run_lengths.py: by another recursion, which takes a while.
    "case_sequence_chart": "case_sequence is_event expected events expected_events observed_minus_expected cusum_weight"
    " cusum data_through",
    "complication_rate_recent": "events known_outcomes rate rate_low rate_high events_before known_before rate_before"
    " rate_before_low rate_before_high data_through",
    "case_sequence_signal": "known_outcomes events expected_events cusum cusum_highest data_through",
    # The sentences `missing` and `why_none` have their own drawn tests; here, whether there is one.
    "milestone_standing": "rules_met rules_total rules_unknown is_something_missing committee_level committee_period"
    " is_something_met data_through",
    "trainee_log": "live_intakes accepted_rows left_out_rows warnings unconfirmed_cases is_current data_through",
    "left_out_rule": "findings data_through",
    "class_finding": "findings rows_concerned",
    "entry_disagreement": "entry ruling ruled_by operated_month data_through",
    "event_to_code": "operated_month event_day data_through",
}
VIEWS = {
    **{name: (KEYS[name], COLUMNS[name]) for name in KEYS},
    **{
        name: (keys.split(), [*keys.split(), *MORE_COLUMNS[name].split()]) for name, keys in MORE_KEYS.items()
    },
}


@dataclass(frozen=True)
class Evidence:
    """What a programme exports beside roster, training and cases, and what its intake found."""

    reviews: list[Row] = field(default_factory=list)
    milestones: list[Row] = field(default_factory=list)
    findings: list[oracle_log.Finding] = field(default_factory=list)
    live_for: oracle_log.LiveFor = field(default_factory=dict)
    as_of: str = "2024-06-30"
    periods: tuple[str, ...] = ("mid", "end")


def answers(it: Oracle, evidence: Evidence) -> dict[str, list[Answer]]:
    """View → its rows with the columns of `VIEWS`, in no order."""
    own: dict[str, list[Answer]] = {view: it.view(view) for view in KEYS}
    credited: dict[tuple[str, str], list[Row]] = {}
    for trainee in it.roster:
        for ref in it.specialty["requirements"]:
            credited[trainee, ref] = it.credited(trainee, ref)
    steps = oracle_technique.reviewed_steps(it, evidence.reviews)
    volumes, mix = own["case_volume"], own["supervision_mix"]
    courses = oracle_volume.volume_course(it, volumes, credited)
    measures = oracle_comparison.Measures(it, steps)
    measured = oracle_comparison.measure_course(it, measures, courses)
    pace = oracle_pace.Pace(it, volumes, credited, evidence.as_of)
    trials = oracle_pace.pace_backtest(pace)
    outcomes = oracle_expected.Outcomes(it)
    expected = oracle_expected.expected_rate(outcomes)
    charted = oracle_expected.case_sequence_chart(outcomes)
    found = own | {
        "pace_backtest": trials,
        "pace": oracle_pace.pace_rows(pace, trials),
        "rotation_yield": oracle_pace.rotation_yield(pace),
        "credited_month": oracle_volume.credited_month(it, volumes, credited),
        "active_month": oracle_volume.active_month(it),
        "training_mark": oracle_volume.training_mark(it, evidence.as_of),
        "volume_by_month": oracle_volume.volume_by_month(it, volumes, credited),
        "volume_summary": oracle_volume.volume_summary(it, volumes),
        "volume_course": courses,
        "rule_without_count": oracle_rules.rule_without_count(it, steps),
        "volume_band": oracle_volume.volume_band(it, courses, evidence.as_of),
        "supervision_band": oracle_technique.supervision_band(it, mix),
        "technique_step": oracle_technique.technique_step(it, steps),
        "measure_course": measured,
        "cohort_comparison": oracle_comparison.cohort_comparison(it, measures, own, courses, expected),
        "expected_rate": expected,
        "case_sequence_chart": charted,
        "complication_rate_recent": oracle_expected.complication_rate_recent(
            outcomes, own["complication_rate"]
        ),
        "case_sequence_signal": oracle_expected.case_sequence_signal(it, charted),
        "milestone_standing": oracle_milestones.milestone_standing(
            it, own, steps, evidence.milestones, list(evidence.periods)
        ),
        "trainee_log": oracle_log.trainee_log(it, evidence.findings, evidence.as_of),
        "left_out_rule": oracle_log.left_out_rule(it, evidence.findings, evidence.live_for),
        "class_finding": oracle_log.class_finding(it, evidence.findings, evidence.live_for),
        "entry_disagreement": oracle_others.entry_disagreement(it),
        "event_to_code": oracle_log.event_to_code(it),
    }
    return {
        view: [{name: row[name] for name in columns} for row in found[view]]
        for view, (_, columns) in VIEWS.items()
    }
