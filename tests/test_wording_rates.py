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

from dashboard import wording
from tests.printed import FIGURE, JUDGEMENTS, span, wilson

ALIKE = re.compile(r"Too few to tell (\d+) % from (\d+) %\.$")
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


counts = st.integers(1, 5000).flatmap(lambda known: st.tuples(st.integers(0, known), st.just(known)))
few = st.integers(0, 200)


def test_a_rate_is_told_with_its_denominator_interval_and_what_is_missing() -> None:
    # 3/41: the sentence of the project's description of its own wording
    assert rate_sentence(3, 41, 6, 4) == (
        "3 of 41 known (7 %; 95 % interval 3–19 %), 6 not known, 4 not yet due."
        " If all were known: between 6 % and 19 %. Too few to tell 4 % from 18 %."
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
    assert rate_sentence(events, known).replace("0 not known, 0 not yet due.", "…") == told


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
    assert f", {unknown} not known, {not_yet_due} not yet due." in sentence
    assert not JUDGEMENTS.search(sentence)


def test_with_nothing_known_the_counts_stay() -> None:
    told = wording.rate_sentence(with_possible(Rate(unknown_outcomes=6, not_yet_due=4)))
    assert told == "nothing known: 6 not known, 4 not yet due. If all were known: between 0 % and 100 %."
    assert wording.rate_sentence(Rate(not_yet_due=4)) == "nothing known: 0 not known, 4 not yet due."


def test_without_a_case_there_is_nothing_to_know() -> None:
    assert wording.rate_sentence(Rate()) == "no case yet"
    assert wording.rate_label(Rate()) == "no case yet"


def test_a_blank_rate_with_some_known_says_why_there_is_none() -> None:
    assert wording.rate_sentence(with_possible(Rate(1, 10, 20, 4))) == (
        "1 of 10 known (no rate: fewer than half of the due outcomes are known),"
        " 20 not known, 4 not yet due. If all were known: between 3 % and 70 %."
    )


def test_in_the_trainees_hands_an_outcome_after_the_operation_has_no_rate_and_no_range() -> None:
    assert wording.rate_sentence(Rate(1, 30, 20, 4, events_unclear=2)) == (
        "1 of 30 known (no rate: nobody knows in whose hands an event after the operation happened), and 2 more events"
        " of which it is not clear who was operating, 20 not known, 4 not yet due."
    )


@pytest.mark.parametrize(
    ("unknown", "unfollowed", "told"),
    [
        # 5 events in 90 known. A tenth of 100 due says no more than the interval does; 11 of 101 do.
        (10, 0, "10 not known, 0 not yet due. Too few"),
        (11, 0, "11 not known, 0 not yet due. If all were known: between 5.0 % and 15.8 %. Too few"),
        (
            11,
            1,
            "11 not known (1 of them has an event without the follow-up that would let it count), 0 not yet due."
            " If all were known: between 5.9 % and 15.8 %. Too few",
        ),
        (
            10,
            2,
            "10 not known (2 of them have an event without the follow-up that would let it count), 0 not yet",
        ),
    ],
)
def test_what_is_possible_stands_in_the_sentence_where_more_than_a_tenth_is_not_known(
    unknown: int, unfollowed: int, told: str
) -> None:
    rate = with_rate(Rate(5, 90, unknown, events_unfollowed=unfollowed))
    assert f"), {told}" in wording.rate_sentence(rate)


@pytest.mark.parametrize(
    ("unclear", "told", "taken"),
    [
        (1, "1 more event of which it is not clear who was operating", ("13", "it")),
        (5, "5 more events of which it is not clear who was operating", ("17", "them")),
    ],
)
def test_events_in_unclear_hands_stand_beside_the_rate_which_then_tells_no_two_rates_apart(
    unclear: int, told: str, taken: tuple[str, str]
) -> None:
    # Wilson of 1/87: to 6.23 %, of 5/87: to 12.75 % (statsmodels).
    rate = with_rate(Rate(0, 87, 12, 16, events_unclear=unclear))
    rate = rate._replace(rate_high=wilson(unclear, 87)[1])
    high, them = taken
    assert wording.rate_sentence(rate) == (
        f"0 of 87 known (0 %; 95 % interval 0–{'6' if unclear == 1 else '13'} %), and {told}, 12 not known, 16 not yet due."
        f" If all were known: between 0 % and {high} %."
        f" The rate leaves {them} out; the upper end of the interval counts {them} as the trainee's."
    )
    assert wording.rate_label(rate) == f"0 of 87 known, {unclear} unclear"


def test_events_in_unclear_hands_are_told_also_where_there_is_no_rate() -> None:
    assert wording.rate_sentence(with_possible(Rate(1, 10, 20, 4, events_unclear=2))) == (
        "1 of 10 known (no rate: fewer than half of the due outcomes are known), and 2 more events"
        " of which it is not clear who was operating, 20 not known, 4 not yet due."
        " If all were known: between 3 % and 77 %."
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
        f"3 of 41 known (7 %; 95 % interval 3–19 %), 6 not known, {told}. If all were known: between 6 % and 19 %."
        " Too few to tell 4 % from 18 %."
    )
    nothing_known = with_possible(Rate(unknown_outcomes=6, not_yet_due=16, early_events=early))
    assert wording.rate_sentence(nothing_known).startswith(f"nothing known: 6 not known, {told}.")


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
        assert not ALIKE.search(sentence)
    else:
        assert bool(ALIKE.search(sentence)) == bool(ALIKE.search(rate_sentence(*drawn)))


@pytest.mark.parametrize(
    ("rate", "label"),
    [
        (with_rate(Rate(2, 117)), "2 of 117 known"),
        (with_rate(Rate(0, 3)), "0 of 3 known"),
        (Rate(1, 3, 9), "1 of 3 known, no rate"),
        (Rate(1, 3, 9, events_unclear=1), "1 of 3 known, no rate, 1 unclear"),
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
    assert wording.outcome_heading(status, hands, cases) == heading


def test_each_attribution_has_its_words() -> None:
    # The three of the contract of the views.
    told = [wording.attribution_text(each) for each in ("as_logged", "as_started", "in_trainee_hands")]
    assert told == ["as logged", "as started", "in the trainee's hands"]


def test_a_rate_as_logged_stands_beside_its_caution_and_no_other_does() -> None:
    told = wording.attribution_caution("as_logged")
    # 82 of 4303 with four of five (80.5 %) taken over (Grinton 2020, Eye 35:1213): what is left is 0.37 %.
    assert "1.9 %" in told and "0.4 %" in told
    assert (round(100 * 82 / 4303, 1), round(100 * 82 / 4303 * (1 - 0.805), 1)) == (1.9, 0.4)
    assert [wording.attribution_caution(each) for each in ("as_started", "in_trainee_hands")] == ["", ""]


def test_the_interval_of_these_tests_is_the_published_one() -> None:
    # Newcombe 1998, Stat Med 17:857-872, table I, method 3: 81 of 263 -> 0.2553-0.3662
    low, high = wilson(81, 263)
    assert math.isclose(low, 0.2553, abs_tol=5.1e-5)
    assert math.isclose(high, 0.3662, abs_tol=5.1e-5)
