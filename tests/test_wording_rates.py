"""wording of rates: a sentence says what is known, what is not, and which rates the cases cannot tell apart.

Intervals come from statsmodels (Wilson), a reference library outside the project.
"""

from __future__ import annotations

import math
import re
from typing import NamedTuple

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard import labels, wording
from tests.printed import FIGURE, JUDGEMENTS, span, wilson

APART = re.compile(r"Neither (\d+) % nor (\d+) % is ruled out\.$")
PRINTED = re.compile(rf"\(({FIGURE}) %; 95 % interval ({FIGURE})(?: % to |–|)({FIGURE})? ?%?\)")


class Rate(NamedTuple):
    """A row of complication_rate, without rate and interval."""

    events: int = 0
    known_outcomes: int = 0
    unknown_outcomes: int = 0
    not_yet_due: int = 0
    events_unclear: int = 0
    early_events: int = 0
    events_unfollowed: int = 0
    rate: float | None = None
    rate_low: float | None = None
    rate_high: float | None = None
    possible_low: float | None = None
    possible_high: float | None = None

    @property
    def eligible_cases(self) -> int:
        return self.known_outcomes + self.unknown_outcomes + self.not_yet_due


def with_possible(of: Rate) -> Rate:
    due = of.known_outcomes + of.unknown_outcomes
    low, high = of.events + of.events_unfollowed, of.events + of.unknown_outcomes + of.events_unclear
    return of._replace(possible_low=low / due, possible_high=high / due)


def with_rate(of: Rate) -> Rate:
    low, high = wilson(of.events, of.known_outcomes)
    return with_possible(of)._replace(rate=of.events / of.known_outcomes, rate_low=low, rate_high=high)


def rate_sentence(events: int, known: int, unknown: int = 0, not_yet_due: int = 0) -> str:
    return wording.rate_sentence(with_rate(Rate(events, known, unknown, not_yet_due)))


def of_known(events: int, known: int) -> str:
    """What stands before the bracket with the rate."""
    return f"{events} of {known} {'case' if known == 1 else 'cases'} with a known outcome ("


def possible(sentence: str) -> list[str]:
    """The two rates between which it would lie if all were known; none where the sentence does not say."""
    words = re.search(r"If all were known: [^.]*(?:\.\d[^.]*)*\.", sentence)
    return re.findall(r"[\d.]+ %", words[0]) if words else []


counts = st.integers(1, 5000).flatmap(lambda known: st.tuples(st.integers(0, known), st.just(known)))
few = st.integers(0, 200)


def test_a_rate_stands_with_its_denominator_interval_and_what_is_missing() -> None:
    # 3/41: 2.52-19.43 % (Wilson, statsmodels); of 47 due 3 to 9 events: 6.4-19.1 %.
    sentence = rate_sentence(3, 41, 6, 4)
    assert sentence.startswith(of_known(3, 41))
    assert "(7 %; 95 % interval 3–19 %)" in sentence
    assert "6 not known" in sentence and "4 not yet due" in sentence
    assert possible(sentence) == ["6 %", "19 %"]
    assert APART.findall(sentence) == [("4", "18")]


def test_the_title_of_the_outcome_begins_the_sentence_where_it_stands_alone() -> None:
    for rate, begins in (
        (with_rate(Rate(10, 108)), "Capsule rupture in 10 of 108 cases with a known outcome ("),
        (with_rate(Rate(1, 1)), "Capsule rupture in 1 of 1 case with a known outcome ("),
        (Rate(not_yet_due=4), "Capsule rupture: nothing known"),
        (Rate(), "Capsule rupture: no case yet"),
    ):
        assert wording.rate_sentence(rate, "Capsule rupture").startswith(begins)


@pytest.mark.parametrize(
    ("events", "known", "figures", "apart"),
    [
        # Wilson of small numbers: 0/20 -> 0-16.11; 0/50 -> 0-7.13; 2/86 -> 0.64-8.09 (statsmodels, above)
        (0, 20, "0 %; 95 % interval 0–16 %", (1, 15)),
        (0, 50, "0 %; 95 % interval 0–7 %", (1, 6)),
        (2, 86, "2 %; 95 % interval 1–8 %", (2, 7)),
        (3, 100, "3.0 %; 95 % interval 1.0–8.5 %", (2, 8)),
        (1, 90, "1 %; 95 % interval under 1 % to 6 %", (1, 5)),
        (0, 3, "0 %; 95 % interval 0–56 %", (1, 55)),
        (3, 3, "100 %; 95 % interval 44–100 %", (45, 99)),
        # 82 of 4303 -> 1.54-2.36 (Grinton 2020, Eye 35:1213, recomputed): narrow enough to say no more
        (82, 4303, "1.91 %; 95 % interval 1.54–2.36 %", None),
        # 99 of 4322 -> 1.89-2.78 (Eye 2008;22:1425, recomputed)
        (99, 4322, "2.29 %; 95 % interval 1.89–2.78 %", None),
    ],
)
def test_a_rate_names_two_rates_that_are_not_ruled_out_unless_it_is_sure(
    events: int, known: int, figures: str, apart: tuple[int, int] | None
) -> None:
    sentence = rate_sentence(events, known)
    assert f"{of_known(events, known)}{figures})" in sentence
    assert [tuple(map(int, pair)) for pair in APART.findall(sentence)] == ([apart] if apart else [])


@given(counts, few, few)
def test_whatever_two_rates_are_named_lie_inside_the_interval_as_printed_and_as_it_is(
    drawn: tuple[int, int], unknown: int, not_yet_due: int
) -> None:
    events, known = drawn
    sentence = rate_sentence(events, known, unknown, not_yet_due)
    printed, apart = PRINTED.search(sentence), APART.search(sentence)
    assert printed, sentence
    if apart:
        low, high = span(printed[2])[0], span(printed[3] or printed[2])[1]
        lower, higher = int(apart[1]), int(apart[2])
        assert low < lower < higher < high
        exact_low, exact_high = wilson(events, known)
        assert exact_low < lower / 100 < higher / 100 < exact_high
        assert higher - lower >= 2
        assert higher >= 2 * lower or higher - lower >= 10


@given(st.integers(1, 200).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
def test_a_wide_interval_always_names_two_rates(drawn: tuple[int, int]) -> None:
    low, high = wilson(*drawn)
    if high - low > 0.15:
        assert APART.search(rate_sentence(*drawn))


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
    assert sentence.startswith(of_known(events, known))
    assert re.findall(r"(\d+) not known", sentence) == [str(unknown)]
    assert re.findall(r"(\d+) not yet due", sentence) == [str(not_yet_due)]
    assert not JUDGEMENTS.search(sentence)


def test_with_nothing_known_the_counts_stay() -> None:
    sentence = wording.rate_sentence(with_possible(Rate(unknown_outcomes=6, not_yet_due=4)))
    assert sentence.startswith("nothing known")
    assert "6 not known" in sentence and "4 not yet due" in sentence
    assert possible(sentence) == ["0 %", "100 %"]
    waiting = wording.rate_sentence(Rate(not_yet_due=4))
    assert waiting.startswith("nothing known") and "4 not yet due" in waiting and "%" not in waiting


def test_without_a_case_there_is_nothing_to_know() -> None:
    assert wording.rate_sentence(Rate()) == "no case yet"
    assert wording.rate_label(Rate()) == "no case yet"


def test_a_blank_rate_with_some_known_says_why_there_is_none() -> None:
    sentence = wording.rate_sentence(with_possible(Rate(1, 10, 20, 4)))
    assert sentence.startswith(of_known(1, 10)) and "no rate: fewer than half" in sentence
    assert "20 not known" in sentence and "4 not yet due" in sentence
    assert possible(sentence) == ["3 %", "70 %"]
    assert not APART.search(sentence)


def test_in_the_trainees_hands_an_outcome_after_the_operation_has_no_rate_and_no_range() -> None:
    sentence = wording.rate_sentence(Rate(1, 30, 20, 4, events_unclear=2))
    assert sentence.startswith(of_known(1, 30)) and "no rate: nobody knows in whose hands" in sentence
    assert "2 more events" in sentence and "20 not known" in sentence and "4 not yet due" in sentence
    assert "%" not in sentence


@pytest.mark.parametrize(
    ("unknown", "unfollowed", "range_"),
    [
        # 5 events in 90 known. A tenth of 100 due says no more than the interval does; 11 of 101 do:
        # 5/101 = 5.0 %, 16/101 = 15.8 %, 6/101 = 5.9 %.
        (10, 0, []),
        (11, 0, ["5.0 %", "15.8 %"]),
        (11, 1, ["5.9 %", "15.8 %"]),
        (10, 2, []),
    ],
)
def test_what_is_possible_stands_in_the_sentence_where_more_than_a_tenth_is_not_known(
    unknown: int, unfollowed: int, range_: list[str]
) -> None:
    sentence = wording.rate_sentence(with_rate(Rate(5, 90, unknown, events_unfollowed=unfollowed)))
    assert possible(sentence) == range_
    assert f"{unknown} not known" in sentence
    without = re.findall(r"(\d+) of them ha(?:s|ve) an event without the follow-up", sentence)
    assert without == [str(unfollowed)] * (unfollowed > 0)


@pytest.mark.parametrize(
    ("unclear", "high", "most"),
    [
        # Wilson of 1/87: to 6.23 %, of 5/87: to 12.75 % (statsmodels). Of 99 due 12 unknown and 1 or 5 unclear:
        # 13/99 = 13 %, 17/99 = 17 %.
        (1, "6", "13 %"),
        (5, "13", "17 %"),
    ],
)
def test_with_events_in_unclear_hands_no_two_rates_are_named(unclear: int, high: str, most: str) -> None:
    rate = with_rate(Rate(0, 87, 12, 16, events_unclear=unclear))
    rate = rate._replace(rate_high=wilson(unclear, 87)[1])
    sentence = wording.rate_sentence(rate)
    assert f"{of_known(0, 87)}0 %; 95 % interval 0–{high} %)" in sentence
    assert f"{unclear} more event" in sentence and "not clear who was operating" in sentence
    assert "12 not known" in sentence and "16 not yet due" in sentence
    assert possible(sentence) == ["0 %", most]
    assert "leaves" in sentence and "upper end of the interval counts" in sentence
    assert not APART.search(sentence)
    assert wording.rate_label(rate) == f"0 in 87 cases, {unclear} unclear"


def test_events_in_unclear_hands_stand_also_where_there_is_no_rate() -> None:
    sentence = wording.rate_sentence(with_possible(Rate(1, 10, 20, 4, events_unclear=2)))
    assert sentence.startswith(of_known(1, 10)) and "no rate: fewer than half" in sentence
    assert "2 more events" in sentence and possible(sentence) == ["3 %", "77 %"]


@pytest.mark.parametrize("early", [0, 1, 2])
def test_what_has_happened_before_it_is_due_is_not_hidden(early: int) -> None:
    for rate in (
        with_rate(Rate(3, 41, 6, 16, early_events=early)),
        with_possible(Rate(unknown_outcomes=6, not_yet_due=16, early_events=early)),
    ):
        sentence = wording.rate_sentence(rate)
        assert "6 not known" in sentence and "16 not yet due" in sentence
        happened = re.findall(r"(\d+) of them ha(?:s|ve) already happened", sentence)
        assert happened == [str(early)] * (early > 0)


@given(counts, few, few, st.data())
def test_no_event_is_left_out_of_the_sentence(
    drawn: tuple[int, int], unknown: int, not_yet_due: int, data: st.DataObject
) -> None:
    unclear = data.draw(st.integers(0, drawn[1] - drawn[0]))
    early = data.draw(st.integers(0, not_yet_due))
    unfollowed = data.draw(st.integers(0, unknown))
    rate = Rate(*drawn, unknown, not_yet_due, unclear, early, unfollowed)
    rate = with_rate(rate)
    sentence = wording.rate_sentence(rate)
    assert re.findall(r"and (\d+) more event", sentence) == [str(unclear)] * (unclear > 0)
    assert re.findall(r"\((\d+) of them ha\w+ already", sentence) == [str(early)] * (early > 0)
    assert re.findall(r"\((\d+) of them ha\w+ an event", sentence) == [str(unfollowed)] * (unfollowed > 0)
    if unclear:
        assert not APART.search(sentence)
    else:
        assert bool(APART.search(sentence)) == bool(APART.search(rate_sentence(*drawn)))


@pytest.mark.parametrize(
    ("rate", "label"),
    [
        (with_rate(Rate(2, 117)), "2 in 117 cases"),
        (with_rate(Rate(0, 3)), "0 in 3 cases"),
        (with_rate(Rate(1, 1)), "1 in 1 case"),
        (Rate(1, 3, 9), "1 in 3 cases, no rate"),
        (Rate(1, 3, 9, events_unclear=1), "1 in 3 cases, no rate, 1 unclear"),
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
        ("unfollowed event", "", 1, "Unfollowed event: 1 case"),
    ],
)
def test_the_cases_of_a_rate_stand_under_what_became_of_them(
    status: str, hands: str, cases: int, heading: str
) -> None:
    assert labels.outcome_heading(status, hands, cases) == heading


# The three of the contract of the views, the default first.
ATTRIBUTIONS = ["as_started", "as_logged", "in_trainee_hands"]


def test_each_attribution_has_its_words() -> None:
    assert list(wording.attributions(["Surgeon"])) == ATTRIBUTIONS == list(wording.ATTRIBUTION_MEANS)
    began, logged, hands = wording.attributions(["Surgeon"]).values()
    assert "they began" in began and "logged as surgeon" in logged and "their hands" in hands


@pytest.mark.parametrize(
    ("operating", "words"),
    [
        (["Surgeon"], "as surgeon"),
        (["First operator"], "as first operator"),
        (["Surgeon", "Chief surgeon"], "in an operating role"),
        (["First operator", "Team leader"], "in an operating role"),
    ],
)
def test_an_operating_role_is_called_surgeon_only_where_the_specialty_does(
    operating: list[str], words: str
) -> None:
    assert wording.attributions(operating)["as_logged"] == f"logged {words}"


def test_a_rate_as_logged_stands_beside_its_caution_and_no_other_does() -> None:
    caution = wording.ATTRIBUTION_MEANS["as_logged"]
    # 82 of 4303 with four of five (80.5 %) taken over (Grinton 2020, Eye 35:1213): what is left is 0.37 %.
    assert "1.9 %" in caution and "0.4 %" in caution and "Compare nobody" in caution
    assert (round(100 * 82 / 4303, 1), round(100 * 82 / 4303 * (1 - 0.805), 1)) == (1.9, 0.4)
    assert [means for means in wording.ATTRIBUTION_MEANS.values() if "%" in means] == [caution]


def test_the_interval_of_these_tests_is_the_published_one() -> None:
    # Newcombe 1998, Stat Med 17:857-872, table I, method 3: 81 of 263 -> 0.2553-0.3662
    low, high = wilson(81, 263)
    assert math.isclose(low, 0.2553, abs_tol=5.1e-5)
    assert math.isclose(high, 0.3662, abs_tol=5.1e-5)
