"""wording: the sentences say what the numbers say, and nothing that the numbers cannot.

Intervals come from statsmodels (Wilson), a reference library outside the project.
"""

from __future__ import annotations

import re
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard import wording
from pipelines.contract.rules import LEFT_OUT, REFUSALS, WARNINGS
from tests.printed import FIGURE, JUDGEMENTS, span, wilson

# ---- shares


@pytest.mark.parametrize(
    ("rate", "n", "text"),
    [
        (3 / 41, 41, "7 %"),
        (2 / 117, 117, "1.7 %"),
        (9730 / 961208, 961208, "1.01 %"),  # Sim 2024, Eye, doi 10.1038/s41433-024-03344-2
        (0.0, 41, "0 %"),
        (0.0, 4000, "0.00 %"),
        (0.004, 99, "under 1 %"),
        (0.0004, 500, "under 0.1 %"),
        (0.00004, 5000, "under 0.01 %"),
        (1.0, 8, "100 %"),
        (0.997, 99, "over 99 %"),
        (0.9996, 500, "over 99.9 %"),
    ],
)
def test_a_share_has_as_many_digits_as_its_cases_deserve(rate: float, n: int, text: str) -> None:
    assert wording.share_text(rate, n) == text


@given(st.integers(1, 10**6), st.integers(1, 10**6))
def test_more_cases_never_give_fewer_digits(one: int, two: int) -> None:
    fewer, more = sorted((one, two))
    assert wording.decimals(fewer) <= wording.decimals(more)


@given(st.integers(1, 10**6))
def test_below_a_hundred_percents_are_whole_and_above_no_digit_is_finer_than_a_tenth_of_a_case(
    n: int,
) -> None:
    worth_of_last_digit = n / 100 / 10 ** wording.decimals(n)
    assert wording.decimals(n) == 0 if n < 100 else worth_of_last_digit >= 0.1 - 1e-9


@given(st.floats(0, 1), st.integers(1, 10**6))
def test_none_and_all_are_printed_only_for_none_and_all(rate: float, n: int) -> None:
    text = wording.share_text(rate, n)
    low, high = span(text.removesuffix(" %"))
    half = 50 * 10.0 ** -(wording.decimals(n) + 2)
    assert (low == high == 0) == (rate == 0)
    assert (low == high == 100) == (rate == 1)
    assert low - half - 1e-9 <= 100 * rate <= high + half + 1e-9


@given(st.floats(0, 1), st.floats(0, 1), st.integers(1, 10**5))
def test_a_range_prints_its_lower_end_first(one: float, two: float, n: int) -> None:
    low, high = sorted((one, two))
    figures = re.findall(FIGURE, wording.range_text(low, high, n))
    assert len(figures) in {1, 2}
    assert span(figures[0])[0] <= span(figures[-1])[1]
    assert span(figures[0])[0] <= 100 * low + 0.51 and span(figures[-1])[1] >= 100 * high - 0.51


def test_an_interval_says_what_it_is() -> None:
    assert wording.interval_text(0.025, 0.194, 41) == "95 % interval 2–19 %"
    assert wording.interval_text(0.003, 0.0801, 41) == "95 % interval under 1 % to 8 %"
    assert wording.interval_text(0.6097, 0.997, 8) == "95 % interval 61 % to over 99 %"
    assert wording.interval_text(0.0101, 0.0103, 90) == "95 % interval 1 %"


# ---- volume and rules


@pytest.mark.parametrize(
    ("counted", "minimum", "remaining", "parts_short", "parts_total", "reached", "text", "mark"),
    [
        (117, 86, 0, 0, 0, True, "117 of 86, reached", "✓ 117"),
        (86, 86, 0, 0, 0, True, "86 of 86, reached", "✓ 86"),
        (46, 28, 0, 1, 3, False, "46 of 28, 1 of 3 parts short", "46, 1 of 3 short"),
        (46, 28, 0, 0, 3, True, "46 of 28, reached", "✓ 46"),
        (74, 86, 12, 0, 0, False, "74 of 86, 12 still to come", "74"),
        (0, 86, 86, 0, 0, False, "0 of 86, 86 still to come", "0"),
        (20, 28, 8, 2, 3, False, "20 of 28, 8 still to come, 2 of 3 parts short", "20, 2 of 3 short"),
    ],
)
def test_a_volume_says_what_is_counted_and_what_is_missing(
    counted: int,
    minimum: int,
    remaining: int,
    parts_short: int,
    parts_total: int,
    reached: bool,
    text: str,
    mark: str,
) -> None:
    row = SimpleNamespace(
        requirement_title="Lens surgery",
        part_depth=2,
        counted_cases=counted,
        minimum=minimum,
        remaining_cases=remaining,
        parts_short=parts_short,
        parts_total=parts_total,
        reached=reached,
    )
    sentence = wording.volume_sentence(row)
    assert sentence == f"Lens surgery: {text}."
    assert not JUDGEMENTS.search(sentence)
    assert wording.volume_mark(row) == mark
    assert wording.requirement_text(row) == "– – Lens surgery"


def test_a_rule_is_told_with_its_edition_its_source_and_whether_somebody_checked_it() -> None:
    roles = ["Surgeon", "Assistant"]
    assert wording.rule_sentence("Keratoplasty", 5, roles, "March 2021", "Review committee", True) == (
        "Keratoplasty: at least 5 as surgeon or assistant. Edition March 2021. Source: Review committee."
        " Checked against the document."
    )
    assert wording.rule_sentence("Sign-off", None, [], None, "Programme policy.", False) == (
        "Sign-off: without a count. Source: Programme policy. To be confirmed against the current document."
    )


def test_a_source_that_is_none_is_not_told_as_one() -> None:
    assert wording.source_sentence("Review committee, table 3.") == "Source: Review committee, table 3."
    assert wording.source_sentence("common practice, no source") == "No source (common practice)."
    assert wording.source_sentence("window: common practice, no source") == (
        "No source (window: common practice)."
    )


# The reasons of the view case_credit, from the contract of the views.
REASONS = [
    *("credited", "before_credit_from", "role", "stage", "attribute", "duplicate_in_operation"),
    *("supervisor_disagreed", "takeover_to_confirm", "performed_elsewhere", "outside_edition"),
    *("no_requirement", "unmapped_code"),
]


def test_every_reason_has_plain_words_of_its_own() -> None:
    told = {reason: wording.reason_text(reason) for reason in REASONS}
    assert set(wording.REASONS) == set(REASONS)
    assert len(set(told.values())) == len(REASONS)
    assert [reason for reason, words in told.items() if "_" in words or len(words) > 90] == []
    assert [reason for reason, words in told.items() if words == "counts"] == ["credited"]


def test_a_case_that_is_excluded_for_what_it_is_says_for_what() -> None:
    assert wording.reason_text("attribute", "simulated") == (
        "does not count: the requirement excludes cases of this kind (simulated)"
    )


def test_every_rule_about_rows_has_plain_words_of_its_own() -> None:
    rules = [*REFUSALS, *LEFT_OUT, *WARNINGS]
    told = {rule: wording.rule_text(rule) for rule in rules}
    assert set(wording.RULES) == set(rules)
    assert len(set(told.values())) == len(rules)
    assert [rule for rule, words in told.items() if "_" in words or words == rule.replace("_", " ")] == []


def test_a_row_that_was_kept_is_not_told_as_left_out() -> None:
    assert wording.severity_text("left_out") == "left out"
    assert wording.severity_text("warning") == "kept, please check"
    assert wording.severity_text("refused") == "refused"


# ---- time


@pytest.mark.parametrize(
    ("through", "current", "in_training", "sentence"),
    [
        ("2026-10", True, True, "T27: data through October 2026."),
        (
            "2026-07",
            False,
            True,
            "T27: data through July 2026, more than 45 days before the day of this snapshot:"
            " late logs are not missing operations.",
        ),
        ("2026-07", False, False, "T27: data through July 2026."),
        (None, False, True, "T27: no data yet."),
        (None, False, False, "T27: no data yet."),
    ],
)
def test_a_line_about_a_person_says_through_when_the_data_run(
    through: str | None, current: bool, in_training: bool, sentence: str
) -> None:
    told = wording.through_sentence(
        "T27", through, is_current=current, in_training=in_training, within_days=45
    )
    assert told == sentence


@pytest.mark.parametrize(
    ("completed", "left", "told"),
    [
        (None, None, "expected to complete June 2027"),
        ("2027-06", None, "completed June 2027"),
        (None, "2026-02", "left February 2026"),
    ],
)
def test_how_training_ends_is_told_as_it_ended(completed: str | None, left: str | None, told: str) -> None:
    assert wording.end_text(completed, left, "2027-06") == told


def test_months_and_classes_are_written_as_people_say_them() -> None:
    assert [wording.month_text(month) for month in ("2026-01", "2026-07", "2027-12")] == [
        "January 2026",
        "July 2026",
        "December 2027",
    ]
    assert wording.cohort_text("2026-27") == "class of 2026–27"


# ---- supervision and technique


@pytest.mark.parametrize(
    ("scored", "mean", "low", "high", "sentence"),
    [
        (8, 3.62, 2.91, 4.33, "8 scored: mean 3.6 of 5 (95 % interval 2.9–4.3)"),
        (2, 3.5, None, None, "2 scored: mean 3.5 of 5 (no interval: fewer than three scores)"),
        (3, 4.0, 4.0, 4.0, "3 scored: mean 4.0 of 5 (all alike: no interval can be told from them)"),
        (0, None, None, None, "not scored yet"),
    ],
)
def test_a_score_is_told_with_its_count_and_without_an_interval_below_three(
    scored: int, mean: float | None, low: float | None, high: float | None, sentence: str
) -> None:
    assert wording.score_sentence(scored, mean, low, high) == sentence


def test_six_of_six_is_not_told_as_certain() -> None:
    # six of six: 61.0-100 % (Wilson, statsmodels)
    low, high = wilson(6, 6)
    assert wording.success_sentence(6, 6, low, high) == "6 of 6 attempts succeeded (95 % interval 61–100 %)"
    assert wording.success_sentence(0, 0, None, None) == "no attempts recorded"


# ---- comparison


def test_a_comparison_says_whether_the_interval_includes_the_reference_and_no_more() -> None:
    share = wording.unit_of("rate:capsule_rupture:as_started", 74)
    told = wording.comparison_sentence(3 / 74, 0.014, 0.113, 0.031, 0.02, 0.04, 11, share)
    assert told == (
        "4 % (95 % interval 1–11 %); the 11 other trainees at this training quarter: together 3 % (95 % interval"
        " 2–4 %); the interval includes the reference."
    )
    outside = wording.comparison_sentence(0.2, 0.1, 0.3, 0.031, 0.02, 0.04, 11, share)
    assert outside.endswith("; the interval does not include the reference.")


def test_a_count_and_a_score_are_compared_in_their_own_units() -> None:
    cases, score = wording.unit_of("counted_cases:cataract"), wording.unit_of("score_mean:capsulorhexis")
    assert wording.comparison_sentence(74, None, None, 61.5, 40, 88, 9, cases) == (
        "74 cases; the 9 other trainees at this training quarter: median 61.5 cases (middle half 40–88)."
    )
    assert wording.comparison_sentence(1, None, None, 1, 0, 2, 9, cases) == (
        "1 case; the 9 other trainees at this training quarter: median 1 case (middle half 0–2)."
    )
    assert wording.comparison_sentence(3.62, 2.91, 4.33, 3.4, 3.1, 3.7, 6, score) == (
        "3.6 (95 % interval 2.9–4.3); the 6 other trainees at this training quarter: together 3.4 (95 % interval"
        " 3.1–3.7); the interval includes the reference."
    )


def test_without_five_others_there_is_no_comparison() -> None:
    share = wording.Unit("share", 74)
    assert wording.comparison_sentence(3 / 74, 0.014, 0.113, None, None, None, 4, share) == (
        "4 % (95 % interval 1–11 %); no comparison: fewer than five other trainees at this training quarter"
        " of whom this is known."
    )
    told = wording.comparison_sentence(None, None, None, 0.03, 0.02, 0.04, 9, share)
    assert (
        told
        == "nothing known; the 9 other trainees at this training quarter: together 3 % (95 % interval 2–4 %)."
    )


@given(st.integers(0, 60))
def test_why_there_is_no_comparison_goes_with_the_number_of_others(others: int) -> None:
    told = wording.comparison_sentence(0.1, None, None, None, None, None, others)
    assert ("fewer than five other trainees" in told) == (others < 5)
    assert (f"fewer than half of the due outcomes of the {others} other trainees" in told) == (others >= 5)


def test_of_a_person_without_data_nothing_is_said_about_the_others() -> None:
    said = wording.comparison_sentence(None, None, None, None, None, None, 0)
    assert "nothing known" in said and "no comparison" in said and not re.search(r"five|other", said)


fraction = st.floats(0, 1)


@given(fraction, fraction, fraction, fraction, st.integers(5, 60), st.integers(1, 500))
def test_a_comparison_never_judges(
    value: float, low: float, high: float, reference: float, others: int, n: int
) -> None:
    low, value, high = sorted((low, value, high))
    unit = wording.Unit("share", n)
    told = wording.comparison_sentence(value, low, high, reference, reference, reference, others, unit)
    assert not JUDGEMENTS.search(told)
    assert f"the {others} other" in told
    inside = low <= reference <= high
    assert told.endswith("the interval includes the reference.") == inside
    assert told.endswith("the interval does not include the reference.") == (not inside)


# ---- cautions


@pytest.mark.parametrize(
    "must",
    ["judgement", "floor", "competence", "accreditor", "policy", "privacy", "employment law", "licensed"],
)
def test_the_one_line_and_the_list_both_carry_each_caution(must: str) -> None:
    assert must in wording.caution()
    assert must in " ".join(wording.cautions())


def test_the_list_of_cautions_cannot_be_changed_by_who_reads_it() -> None:
    wording.cautions().clear()
    assert len(wording.cautions()) > 5
    assert any("good standing" in each for each in wording.cautions())
    assert "logged themselves" in wording.caution()


def test_small_words() -> None:
    assert wording.any_of(["surgeon"]) == "surgeon"
    assert wording.any_of(["a", "b", "c"]) == "a, b or c"
    assert [wording.cases_text(count) for count in (0, 1, 2)] == ["0 cases", "1 case", "2 cases"]
    assert [wording.reviews_text(count) for count in (1, 2)] == ["1 review", "2 reviews"]
