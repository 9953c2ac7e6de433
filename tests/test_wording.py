"""wording: the sentences say what the numbers say, and nothing that the numbers cannot.

Intervals come from statsmodels (Wilson), a reference library outside the project.
"""

from __future__ import annotations

import re
from types import SimpleNamespace
from typing import Any, NamedTuple

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard import comparison, labels, wording
from pipelines.contract.codes_in_words import uncounted_text
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


def numbers(sentence: str) -> list[int]:
    return [int(figure) for figure in re.findall(r"\d+", sentence)]


@pytest.mark.parametrize(
    ("counted", "minimum", "remaining", "parts_short", "parts_total", "reached", "figures", "mark"),
    [
        (117, 86, 0, 0, 0, True, [117, 86], "✓ 117"),
        (86, 86, 0, 0, 0, True, [86, 86], "✓ 86"),
        (46, 28, 0, 1, 3, False, [46, 28, 1, 3], "46, 1 of 3 short"),
        (46, 28, 0, 0, 3, True, [46, 28], "✓ 46"),
        (74, 86, 12, 0, 0, False, [74, 86, 12], "74"),
        (0, 86, 86, 0, 0, False, [0, 86, 86], "0"),
        (20, 28, 8, 2, 3, False, [20, 28, 8, 2, 3], "20, 2 of 3 short"),
    ],
)
def test_a_volume_says_what_is_counted_and_what_is_missing(
    counted: int,
    minimum: int,
    remaining: int,
    parts_short: int,
    parts_total: int,
    reached: bool,
    figures: list[int],
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
        reached_by=None,
        confirmed_cases=minimum,
        unit="procedure",
        units="procedures",
    )
    sentence = wording.volume_sentence(row)
    assert "Lens surgery" in sentence
    assert numbers(sentence) == figures
    assert ("reached" in sentence) == reached
    assert ("to come" in sentence) == (remaining > 0)
    assert ("short" in sentence) == (parts_short > 0)
    assert not JUDGEMENTS.search(sentence)
    assert wording.volume_mark(row) == mark
    assert wording.requirement_text(row) == "– – Lens surgery"


def test_a_volume_says_what_it_counts_where_that_is_no_row_and_what_reached_it_instead() -> None:
    row = SimpleNamespace(
        requirement_title="Critical care", part_depth=0, counted_cases=41, minimum=40, remaining_cases=0, parts_short=0,
        parts_total=0, reached=True, reached_by=None, confirmed_cases=40, unit="patient", units="patients",
    )  # fmt: skip
    assert wording.volume_sentence(row) == "Critical care: 41 of 40 patients, reached."
    assert wording.requirement_text(row) == "Critical care (patients)"
    row.unit, row.units = "operation", "operations"
    assert wording.volume_sentence(row) == "Critical care: 41 of 40 operations, reached."
    assert wording.requirement_text(row) == "Critical care"
    row.counted_cases, row.confirmed_cases, row.remaining_cases, row.reached_by = 2, 0, 38, "Trauma"
    assert wording.volume_sentence(row) == "Critical care: 2 of 40 operations, reached by Trauma."
    assert wording.volume_mark(row) == "✓ 2"


def test_a_rule_stands_with_its_edition_its_source_and_whether_somebody_checked_it() -> None:
    roles = ["Surgeon", "Assistant"]
    rule = wording.rule_sentence(
        "Keratoplasty", "5 operations", roles, "March 2021", "Review committee", True
    )
    for words in (
        "Keratoplasty",
        "at least 5 operations",
        "surgeon or assistant",
        "March 2021",
        "Review committee",
    ):
        assert words in rule
    assert "Checked" in rule and "confirmed" not in rule
    sign_off = wording.rule_sentence("Sign-off", None, [], None, "Programme policy.", False)
    assert "without a count" in sign_off and "Programme policy." in sign_off
    assert "Not yet checked" in sign_off and "Checked" not in sign_off
    assert not re.search(r"Edition|None|at least", sign_off)


def test_a_source_that_is_none_does_not_read_as_one() -> None:
    assert wording.source_sentence("Review committee, table 3.") == "Source: Review committee, table 3."
    for common in ("common practice", "window: common practice"):
        sentence = wording.source_sentence(f"{common}, no source")
        assert sentence.startswith("No source") and common in sentence


# The reasons of the view case_credit, from the contract of the views.
REASONS = [
    *("credited", "before_credit_from", "role", "stage", "attribute", "duplicate_in_operation"),
    *("supervisor_disagreed", "takeover_to_confirm", "performed_elsewhere", "outside_edition"),
    *("no_requirement", "unmapped_code", "window"),
]


def test_every_reason_has_plain_words_of_its_own() -> None:
    texts = {reason: labels.reason_text(reason) for reason in REASONS}
    assert set(labels.REASONS) == set(REASONS)
    assert len(set(texts.values())) == len(REASONS)
    assert [reason for reason, words in texts.items() if "_" in words or len(words) > 90] == []
    assert [reason for reason, words in texts.items() if words == "counts"] == ["credited"]


def test_a_refused_role_and_a_role_that_waits_are_two_things() -> None:
    refused, waits = labels.reason_text("supervisor_disagreed"), labels.reason_text("takeover_to_confirm")
    assert "role refused" in refused and "waiting" not in refused
    assert "waiting for confirmation" in waits and "refused" not in waits


def test_a_case_that_is_excluded_for_what_it_is_says_for_what() -> None:
    text = labels.reason_text("attribute", "simulated")
    assert "does not count" in text and "excludes" in text and "simulated" in text


def test_a_case_beyond_a_cap_says_of_what_kind_and_how_many_count() -> None:
    text = labels.reason_text("role", None, "teaching_assistant", "50")
    assert text == "does not count: of this kind (teaching assistant) the requirement takes 50 at most"


@pytest.mark.parametrize(
    ("kind", "asked_for", "found", "periods", "short", "met", "said"),
    [
        ("sign_off", None, None, None, None, None, "recorded by the committee, not in the log"),
        ("consecutive", 50, 12, None, None, False, "12 of 50 in a row, each with a record of what happened"),
        (
            "consecutive",
            5,
            6,
            None,
            None,
            True,
            "6 of 5 in a row, each with a record of what happened: reached",
        ),
        ("assessments", 3, 2, 0, 0, None, "2 assessments by others"),
        ("assessments", 3, 1, 0, 0, None, "1 assessment by others"),
        ("assessments", 3, 7, 2, 1, False, "7 assessments by others; 1 of 2 whole periods short of 3"),
        (
            "assessments",
            3,
            7,
            2,
            0,
            True,
            "7 assessments by others; 0 of 2 whole periods short of 3: reached",
        ),
    ],
)
def test_a_requirement_without_a_count_says_how_far_it_is(
    kind: str, asked_for: int, found: int, periods: int, short: int, met: bool | None, said: str
) -> None:
    row = SimpleNamespace(
        kind=kind, asked_for=asked_for, found=found, periods=periods, periods_short=short, met=met
    )
    assert uncounted_text(row) == said


def test_what_a_rule_is_besides_stands_after_it_and_nothing_where_it_is_nothing() -> None:
    assert wording.own_rule_text(None, None) == ""
    assert wording.own_rule_text("86", "2026-06") == (
        " The number is the programme's own; the document has 86. Cases count through June 2026."
    )


def test_every_rule_about_rows_has_plain_words_of_its_own() -> None:
    rules = [*REFUSALS, *LEFT_OUT, *WARNINGS]
    texts = {rule: labels.rule_text(rule) for rule in rules}
    assert set(labels.RULES) == set(rules)
    assert len(set(texts.values())) == len(rules)
    assert [rule for rule, words in texts.items() if "_" in words or words == rule.replace("_", " ")] == []


def test_a_row_that_was_kept_does_not_read_as_left_out() -> None:
    assert "left out" in labels.severity_text("left_out")
    assert "kept" in labels.severity_text("warning")
    assert "refused" in labels.severity_text("refused")


# ---- time


@pytest.mark.parametrize(
    ("through", "current", "in_training", "missing", "sentence"),
    [
        ("2026-10", True, True, 0, "T27: data through October 2026."),
        ("2026-07", False, True, 3, "T27: log ends July 2026, 3 months not entered."),
        ("2026-09", False, True, 1, "T27: log ends September 2026, 1 month not entered."),
        # A setting of less than a month: late, and no whole month is missing.
        ("2026-10", False, True, 0, "T27: log ends October 2026."),
        ("2026-07", False, False, 3, "T27: data through July 2026."),
        (None, False, True, None, "T27: no data yet."),
        (None, False, False, None, "T27: no data yet."),
    ],
)
def test_a_line_about_a_log_says_where_it_ends_and_how_much_is_not_entered(
    through: str | None, current: bool, in_training: bool, missing: int | None, sentence: str
) -> None:
    row = SimpleNamespace(
        trainee_ref="T27",
        data_through=through,
        is_current=current,
        in_training=in_training,
        months_not_entered=missing,
    )
    assert wording.log_sentence(row) == sentence


@pytest.mark.parametrize(
    ("completed", "left", "words"),
    [
        (None, None, "expected to complete June 2027"),
        ("2027-06", None, "completed June 2027"),
        (None, "2026-02", "left February 2026"),
    ],
)
def test_training_ends_in_the_words_for_how_it_ended(
    completed: str | None, left: str | None, words: str
) -> None:
    assert wording.end_text(completed, left, "2027-06") == words


def test_months_and_classes_are_written_as_people_say_them() -> None:
    assert [wording.month_text(month) for month in ("2026-01", "2026-07", "2027-12")] == [
        "January 2026",
        "July 2026",
        "December 2027",
    ]
    assert wording.cohort_text("2026-27") == "class of 2026–27"


# ---- supervision and technique


@pytest.mark.parametrize(
    ("scored", "mean", "low", "high", "figures", "words"),
    [
        (8, 3.62, 2.91, 4.33, ["8", "3.6", "5", "95", "2.9", "4.3"], "95 % interval"),
        (2, 3.5, None, None, ["2", "3.5", "5"], "no interval: fewer than three"),
        (3, 4.0, 4.0, 4.0, ["3", "4.0", "5"], "no interval"),
        (0, None, None, None, [], "not scored"),
    ],
)
def test_a_score_stands_with_its_count_and_without_an_interval_below_three(
    scored: int, mean: float | None, low: float | None, high: float | None, figures: list[str], words: str
) -> None:
    sentence = wording.score_sentence(scored, mean, low, high)
    assert re.findall(r"\d+\.\d|\d+", sentence) == figures
    assert words in sentence


def test_six_of_six_does_not_read_as_certain() -> None:
    # six of six: 61.0-100 % (Wilson, statsmodels)
    low, high = wilson(6, 6)
    sentence = wording.success_sentence(6, 6, low, high)
    assert "6 of 6" in sentence and "95 % interval 61–100 %" in sentence
    assert numbers(wording.success_sentence(0, 0, None, None)) == []


# ---- comparison


class Beside(NamedTuple):
    """A row of cohort_comparison: 10 of 108 known cases beside 5 % expected."""

    measure: str = "rate:capsule_rupture:as_started"
    value: float | None = 10 / 108
    value_low: float | None = 0.0511
    value_high: float | None = 0.1622
    value_base: int | None = 108
    reference: float | None = 0.05
    reference_low: float | None = 0.038
    reference_high: float | None = 0.066
    reference_base: int | None = 900
    reference_n: int = 14
    difference: float | None = 0.0426
    difference_low: float | None = -0.0022
    difference_high: float | None = 0.1134
    differs: bool | None = False
    is_adjusted: bool | None = False


def beside(**changed: Any) -> str:
    return comparison.comparison_sentence(Beside()._replace(**changed))


def test_a_rate_stands_beside_what_is_expected_with_both_denominators_and_their_difference() -> None:
    assert beside() == (
        "9.3 % of 108 known cases (95 % interval 5.1–16.2 %); expected at the same case numbers, from the 14 other trainees: "
        "5.0 % of 900 known cases (95 % interval 3.8–6.6 %), not adjusted for case mix; the difference may be chance "
        f"(95 % interval of the difference {comparison.MINUS}0.2 to +11.3 percentage points)."
    )
    assert "the recorded risk factors taken into account" in beside(is_adjusted=True)
    differing = beside(differs=True, difference_low=0.0004)
    assert "they differ by more than chance usually makes" in differing
    # No end of an interval is rounded to 0, which would not say on which side it is.
    assert "+0.04 to +11.34 percentage points" in differing
    assert "+1 to +11 percentage points" in beside(differs=True, difference_low=0.01)


def test_of_too_few_nothing_is_said_of_the_difference() -> None:
    assert beside(differs=None).endswith("; too few, or all alike: nothing can be said of the difference.")


def test_a_count_and_a_score_are_compared_in_their_own_units() -> None:
    counts = dict.fromkeys(
        ("value_low", "value_high", "value_base", "reference_base", "difference", "differs")
    )
    cases = beside(
        measure="counted_cases:cataract",
        value=74,
        reference=61.5,
        reference_low=40,
        reference_high=88,
        **counts,
    )
    assert (
        cases
        == "74 cases; the 14 other trainees at the same active month: median 61.5 cases (middle half 40–88)."
    )
    score = beside(
        measure="score_mean:capsulorhexis", value=3.62, value_low=2.91, value_high=4.33, value_base=6, reference=3.4,
        reference_low=3.1, reference_high=3.7, reference_base=60, difference_low=-0.5, difference_high=0.94,
    )  # fmt: skip
    assert score.startswith("3.6 of 6 operations (95 % interval 2.9–4.3); the 14 other trainees")
    assert "together 3.4 of 60 operations" in score and score.endswith(
        f"of the difference {comparison.MINUS}0.5 to +0.9)."
    )


@pytest.mark.parametrize("others", [0, 4, 5, 14])
def test_without_a_reference_there_is_no_comparison(others: int) -> None:
    said = beside(
        reference=None, reference_low=None, reference_high=None, reference_n=others, difference=None
    )
    assert ("too few other trainees" in said) == (others < 5)
    assert ("nothing is expected" in said) == (others >= 5)
    nothing = beside(value=None, reference=None, difference=None)
    assert nothing == "nothing known of this trainee, so no comparison."


@pytest.mark.parametrize("differs", [True, False, None])
def test_a_comparison_never_judges(differs: bool | None) -> None:
    assert not JUDGEMENTS.search(beside(differs=differs))


def test_the_page_says_how_many_comparisons_would_differ_by_chance() -> None:
    assert comparison.chance_sentence(34, 3) == (
        "34 of these comparisons rest on enough cases to say whether the two differ; 3 do. By chance alone about 1.7 would."
    )
    assert "about 2 would" in comparison.chance_sentence(40, 0)
    assert comparison.chance_sentence(0, 0).startswith("No comparison here")


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
    assert any("good standing" in caution for caution in wording.cautions())
    assert "logged themselves" in wording.caution()


def test_small_words() -> None:
    assert wording.any_of(["surgeon"]) == "surgeon"
    assert wording.any_of(["a", "b", "c"]) == "a, b or c"
    assert [wording.cases_text(count) for count in (0, 1, 2)] == ["0 cases", "1 case", "2 cases"]
    assert [wording.reviews_text(count) for count in (1, 2)] == ["1 review", "2 reviews"]
    assert [wording.months_text(count) for count in (1, 2)] == ["1 month", "2 months"]


def test_sentences_of_one_kind_that_differ_in_their_subject_alone_are_one() -> None:
    late = "no outcome is recorded for 21 of the 40 operations."
    reasons = [
        SimpleNamespace(reason="outcomes_unknown", sentence=f"Macular oedema: {late}"),
        SimpleNamespace(reason="outcomes_unknown", sentence=f"Retinal detachment: {late}"),
        SimpleNamespace(reason="outcomes_unknown", sentence=f"YAG damage: {late}"),
        SimpleNamespace(reason="outcomes_unknown", sentence="Oedema: no outcome is recorded for 3 of the 5."),
        SimpleNamespace(reason="other_kind", sentence=f"Macular oedema: {late}"),
        SimpleNamespace(reason="log_late", sentence="The log ends in July 2026."),
    ]
    assert wording.said_once(reasons) == [
        ("outcomes_unknown", f"Macular oedema, retinal detachment, YAG damage: {late}"),
        ("outcomes_unknown", "Oedema: no outcome is recorded for 3 of the 5."),
        ("other_kind", f"Macular oedema: {late}"),
        ("log_late", "The log ends in July 2026."),
    ]
