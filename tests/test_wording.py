"""wording: the sentences say what the numbers say, and nothing that the numbers cannot.

Intervals come from statsmodels (Wilson), a reference library outside the project.
"""

from __future__ import annotations

import math
import re
from typing import NamedTuple

import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.proportion import proportion_confint

from dashboard import wording
from pipelines.findings import LEFT_OUT, REFUSALS, WARNINGS

JUDGEMENTS = re.compile(
    r"\b(better|worse|best|worst|good|bad|competent|qualified|passed|safe|ready)\b", re.IGNORECASE
)
ALIKE = re.compile(r"Too few to tell (\d+) % from (\d+) %\.$")
# Two figures: `3–19 %`, `under 1 % to 8 %`, or one that stands for both ends.
FIGURE = r"(?:under |over )?\d+(?:\.\d+)?"
PRINTED = re.compile(rf"\(({FIGURE}) %; 95 % interval ({FIGURE})(?: % to |–|)({FIGURE})? ?%?\)")


def wilson(events: int, known: int) -> tuple[float, float]:
    low, high = proportion_confint(events, known, method="wilson")
    return (0.0 if events == 0 else max(low, 0.0)), (1.0 if events == known else min(high, 1.0))


class Rate(NamedTuple):
    """A row of complication_rate, without rate and interval."""

    events: int = 0
    known_outcomes: int = 0
    unknown_outcomes: int = 0
    not_yet_due: int = 0
    events_unclear: int = 0
    early_events: int = 0
    rate: float | None = None
    rate_low: float | None = None
    rate_high: float | None = None

    @property
    def eligible_cases(self) -> int:
        return self.known_outcomes + self.unknown_outcomes + self.not_yet_due


def with_rate(of: Rate) -> Rate:
    low, high = wilson(of.events, of.known_outcomes)
    return of._replace(rate=of.events / of.known_outcomes, rate_low=low, rate_high=high)


def rate_sentence(events: int, known: int, unknown: int = 0, not_yet_due: int = 0) -> str:
    return wording.rate_sentence(with_rate(Rate(events, known, unknown, not_yet_due)))


def span(figure: str) -> tuple[float, float]:
    """The percents that a printed figure stands for: `under 1` is anything from 0 to 1."""
    number = float(re.sub(r"[a-z ]", "", figure))
    if figure.startswith("under"):
        return 0.0, number
    return (number, 100.0) if figure.startswith("over") else (number, number)


counts = st.integers(1, 5000).flatmap(lambda known: st.tuples(st.integers(0, known), st.just(known)))
few = st.integers(0, 200)


# ---- rates


def test_a_rate_is_told_with_its_denominator_interval_and_what_is_missing() -> None:
    # 3/41: the sentence of the project's description of its own wording
    assert rate_sentence(3, 41, 6, 4) == (
        "3 of 41 known (7 %; 95 % interval 3–19 %), 6 not recorded, 4 not yet due."
        " Too few to tell 4 % from 18 %."
    )


@pytest.mark.parametrize(
    ("events", "known", "told"),
    [
        # Wilson of small numbers: 0/20 -> 0-16.11; 0/50 -> 0-7.13; 2/86 -> 0.64-8.09 (statsmodels, above)
        (0, 20, "0 of 20 known (0 %; 95 % interval 0–16 %), … Too few to tell 1 % from 15 %."),
        (0, 50, "0 of 50 known (0 %; 95 % interval 0–7 %), … Too few to tell 1 % from 6 %."),
        (2, 86, "2 of 86 known (2 %; 95 % interval 1–8 %), … Too few to tell 2 % from 7 %."),
        (3, 100, "3 of 100 known (3.0 %; 95 % interval 1.0–8.5 %), … Too few to tell 2 % from 8 %."),
        (1, 90, "1 of 90 known (1 %; 95 % interval under 1 % to 6 %), … Too few to tell 1 % from 5 %."),
        (0, 3, "0 of 3 known (0 %; 95 % interval 0–56 %), … Too few to tell 1 % from 55 %."),
        (3, 3, "3 of 3 known (100 %; 95 % interval 44–100 %), … Too few to tell 45 % from 99 %."),
        # 82 of 4303 -> 1.54-2.36 (Grinton 2020, Eye 35:1213, recomputed): narrow enough to say no more
        (82, 4303, "82 of 4303 known (1.91 %; 95 % interval 1.54–2.36 %), …"),
        # 99 of 4322 -> 1.89-2.78 (Eye 2008;22:1425, recomputed)
        (99, 4322, "99 of 4322 known (2.29 %; 95 % interval 1.89–2.78 %), …"),
    ],
)
def test_a_rate_names_two_rates_that_it_cannot_tell_apart_unless_it_is_sure(
    events: int, known: int, told: str
) -> None:
    assert rate_sentence(events, known).replace("0 not recorded, 0 not yet due.", "…") == told


@given(counts, few, few)
def test_whatever_two_rates_are_named_lie_inside_the_interval_as_printed_and_as_it_is(
    drawn: tuple[int, int], unknown: int, not_yet_due: int
) -> None:
    events, known = drawn
    sentence = rate_sentence(events, known, unknown, not_yet_due)
    printed, alike = PRINTED.search(sentence), ALIKE.search(sentence)
    assert printed, sentence
    if alike:
        low, high = span(printed[2])[0], span(printed[3] or printed[2])[1]
        lower, higher = int(alike[1]), int(alike[2])
        assert low < lower < higher < high
        exact_low, exact_high = wilson(events, known)
        assert exact_low < lower / 100 < higher / 100 < exact_high
        assert higher - lower >= 2
        assert higher >= 2 * lower or higher - lower >= 10


@given(st.integers(1, 200).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
def test_a_wide_interval_always_names_two_rates(drawn: tuple[int, int]) -> None:
    low, high = wilson(*drawn)
    if high - low > 0.15:
        assert ALIKE.search(rate_sentence(*drawn))


@given(counts)
def test_the_printed_point_lies_inside_the_printed_interval(drawn: tuple[int, int]) -> None:
    printed = PRINTED.search(rate_sentence(*drawn))
    assert printed
    point, low, high = span(printed[1]), span(printed[2]), span(printed[3] or printed[2])
    assert low[0] <= point[0] and point[1] <= high[1]


@given(counts, few, few)
def test_every_count_stands_in_the_sentence(drawn: tuple[int, int], unknown: int, not_yet_due: int) -> None:
    events, known = drawn
    sentence = rate_sentence(events, known, unknown, not_yet_due)
    assert sentence.startswith(f"{events} of {known} known (")
    assert f", {unknown} not recorded, {not_yet_due} not yet due." in sentence
    assert not JUDGEMENTS.search(sentence)


def test_with_nothing_known_the_counts_stay() -> None:
    told = wording.rate_sentence(Rate(unknown_outcomes=6, not_yet_due=4))
    assert told == "nothing known: 6 not recorded, 4 not yet due"


def test_without_a_case_there_is_nothing_to_know() -> None:
    assert wording.rate_sentence(Rate()) == "no case yet"
    assert wording.rate_label(Rate()) == "no case yet"


def test_a_blank_rate_with_some_known_says_why_there_is_none() -> None:
    assert wording.rate_sentence(Rate(1, 10, 20, 4)) == (
        "1 of 10 known (no rate: fewer than half of the due outcomes are known),"
        " 20 not recorded, 4 not yet due."
    )


@pytest.mark.parametrize(
    ("unclear", "told", "taken"),
    [
        (1, "1 more event of which it is not clear who was operating", "take it as not"),
        (5, "5 more events of which it is not clear who was operating", "take them as not"),
    ],
)
def test_events_in_unclear_hands_stand_beside_the_rate_which_then_tells_no_two_rates_apart(
    unclear: int, told: str, taken: str
) -> None:
    # Wilson of 0/87: 0-4.23 % (statsmodels); with 5 of 87 it would be 5.7 %, outside of the interval.
    rate = with_rate(Rate(0, 87, 12, 16, events_unclear=unclear))
    assert wording.rate_sentence(rate) == (
        f"0 of 87 known (0 %; 95 % interval 0–4 %), and {told}, 12 not recorded, 16 not yet due."
        f" Rate and interval {taken} in the trainee's hands."
    )
    assert wording.rate_label(rate) == f"0 of 87 known, {unclear} unclear"


def test_events_in_unclear_hands_are_told_also_where_there_is_no_rate() -> None:
    assert wording.rate_sentence(Rate(1, 10, 20, 4, events_unclear=2)) == (
        "1 of 10 known (no rate: fewer than half of the due outcomes are known), and 2 more events"
        " of which it is not clear who was operating, 20 not recorded, 4 not yet due."
    )


@pytest.mark.parametrize(
    ("early", "told"),
    [
        (0, "16 not yet due"),
        (1, "16 not yet due (1 of them has already happened and is not in the rate yet)"),
        (2, "16 not yet due (2 of them have already happened and are not in the rate yet)"),
    ],
)
def test_what_has_happened_before_it_is_due_is_not_hidden(early: int, told: str) -> None:
    rate = with_rate(Rate(3, 41, 6, 16, early_events=early))
    assert wording.rate_sentence(rate) == (
        f"3 of 41 known (7 %; 95 % interval 3–19 %), 6 not recorded, {told}. Too few to tell 4 % from 18 %."
    )
    nothing_known = Rate(unknown_outcomes=6, not_yet_due=16, early_events=early)
    assert wording.rate_sentence(nothing_known) == f"nothing known: 6 not recorded, {told}"


@given(counts, few, few, st.data())
def test_no_event_is_left_out_of_the_sentence(
    drawn: tuple[int, int], unknown: int, not_yet_due: int, data: st.DataObject
) -> None:
    unclear = data.draw(st.integers(0, drawn[1] - drawn[0]))
    early = data.draw(st.integers(0, not_yet_due))
    rate = with_rate(Rate(*drawn, unknown, not_yet_due, events_unclear=unclear, early_events=early))
    sentence = wording.rate_sentence(rate)
    assert re.findall(r"and (\d+) more event", sentence) == [str(unclear)] * (unclear > 0)
    assert re.findall(r"\((\d+) of them ha", sentence) == [str(early)] * (early > 0)
    if unclear:
        assert not ALIKE.search(sentence)
    else:
        assert bool(ALIKE.search(sentence)) == bool(ALIKE.search(rate_sentence(*drawn)))


@pytest.mark.parametrize(
    ("rate", "label"),
    [
        (with_rate(Rate(2, 117)), "2 of 117 known"),
        (with_rate(Rate(0, 3)), "0 of 3 known"),
        (Rate(1, 3, 9), "3 known, too few to say"),
        (Rate(1, 3, 9, events_unclear=1), "3 known, too few to say, 1 unclear"),
        (Rate(0, 0, 6, 4), "nothing known"),
    ],
)
def test_the_label_of_a_line_is_its_denominator(rate: Rate, label: str) -> None:
    assert wording.rate_label(rate) == label


@pytest.mark.parametrize(
    ("status", "hands", "cases", "heading"),
    [
        ("event", "", 3, "Event: 3 cases"),
        ("event", "trainee", 1, "Event in the trainee's hands: 1 case"),
        ("event", "supervisor", 2, "Event in a supervisor's hands: 2 cases"),
        ("event", "unclear", 5, "Event of which it is not clear who was operating: 5 cases"),
        ("not yet due", "", 16, "Not yet due: 16 cases"),
    ],
)
def test_the_cases_of_a_rate_stand_under_what_became_of_them(
    status: str, hands: str, cases: int, heading: str
) -> None:
    assert wording.outcome_heading(status, hands, cases) == heading


def test_each_attribution_has_its_words() -> None:
    # The three of the contract of the views.
    told = [wording.attribution_text(each) for each in ("as_logged", "as_started", "in_trainee_hands")]
    assert told == ["as logged", "as started", "in the trainee's hands"]


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
    ("counted", "minimum", "remaining", "met", "parts_short", "parts", "text", "mark"),
    [
        (117, 86, 0, True, 0, 0, "117 of 86, reached", "✓ 117"),
        (86, 86, 0, True, 0, 0, "86 of 86, reached", "✓ 86"),
        (46, 28, 0, True, 1, 3, "46 of 28, 1 of 3 parts short", "46, 1 of 3 short"),
        (46, 28, 0, True, 0, 3, "46 of 28, reached", "✓ 46"),
        (74, 86, 12, False, 0, 0, "74 of 86, 12 still to come", "74"),
        (0, 86, 86, False, 0, 0, "0 of 86, 86 still to come", "0"),
        (20, 28, 8, False, 2, 3, "20 of 28, 8 still to come, 2 of 3 parts short", "20, 2 of 3 short"),
    ],
)
def test_a_volume_says_what_is_counted_and_what_is_missing(
    counted: int,
    minimum: int,
    remaining: int,
    met: bool,
    parts_short: int,
    parts: int,
    text: str,
    mark: str,
) -> None:
    title = "Lens surgery"
    sentence = wording.volume_sentence(title, counted, minimum, remaining, met, parts_short, parts)
    assert sentence == f"Lens surgery: {text}."
    assert not JUDGEMENTS.search(sentence)
    assert wording.volume_mark(counted, met=met, parts_short=parts_short, parts=parts) == mark


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
    *("credited", "role", "stage", "attribute", "window", "duplicate_in_operation", "claimed_twice"),
    *("supervisor_disagreed", "takeover_to_confirm", "performed_elsewhere", "outside_edition"),
    *("decided_otherwise", "no_requirement", "unmapped_code"),
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
    assert wording.severity_text("warning") == "kept, with a remark"
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


def test_supervision_is_told_in_shares_with_their_counts_and_the_unrecorded() -> None:
    bands = [wording.BandShare("guided", 5, 5 / 41), wording.BandShare("supervisor present", 36, 36 / 41)]
    assert wording.supervision_sentence(bands, 41, 3) == (
        "41 cases as surgeon with a level recorded: guided 12 % (5), supervisor present 88 % (36);"
        " 3 without a level."
    )
    assert wording.supervision_sentence([], 0, 7) == "no level recorded: 7 cases as surgeon without one."


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
    told = wording.comparison_sentence(None, None, None, None, None, None, others)
    assert ("fewer than five other trainees" in told) == (others < 5)
    assert (f"fewer than half of the due outcomes of the {others} other trainees" in told) == (others >= 5)


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


def test_the_interval_of_these_tests_is_the_published_one() -> None:
    # Newcombe 1998, Stat Med 17:857-872, table I, method 3: 81 of 263 -> 0.2553-0.3662
    low, high = wilson(81, 263)
    assert math.isclose(low, 0.2553, abs_tol=5.1e-5)
    assert math.isclose(high, 0.3662, abs_tol=5.1e-5)
