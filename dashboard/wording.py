"""Numbers made into sentences: where a screen, a chart or a file gets its words about a number.

Every function takes plain values, or a row of a view (a missing value is None), and gives text. Shares and rates are proportions
from 0 to 1, printed in percent. Nothing is computed here that a view could say: a sentence arranges numbers.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple, Protocol

from pipelines.contract.cautions import CAUTION, CAUTIONS, TO_BE_CONFIRMED

MONTHS = (
    "January February March April May June July August September October November December".split()  # noqa: SIM905 - twelve quoted words say no more
)
MISSING_LOGS = "late logs are not missing operations"
TOO_FEW_OTHERS = (
    "no comparison: fewer than five other trainees at this training quarter of whom this is known"
)
NOTHING_KNOWN = "nothing known"
NO_CASE = "no case yet"
INTERVAL = "95 % interval "
FEWEST_OTHERS = 5  # of the view cohort_comparison

# Two rates are worth naming when telling them apart would change what a committee says. By eye, no source.
WORTH_NAMING_POINTS = 2
WORTH_NAMING_TIMES = 2
WORTH_NAMING_ANYWAY_POINTS = 10

REASONS = {
    "credited": "counts",
    "before_credit_from": "does not count: the roster says that the trainee's cases count only from a later month on",
    "role": "does not count: the requirement asks for another role",
    "stage": "does not count: the requirement asks for another stage of training",
    "attribute": "does not count: the requirement includes or excludes cases of this kind",
    "duplicate_in_operation": "does not count again: another row of the same operation counts",
    "supervisor_disagreed": "does not count: the supervisor did not confirm the role",
    "takeover_to_confirm": "does not count yet: a supervisor took over and has not confirmed the role",
    "performed_elsewhere": "does not count: performed elsewhere, which the requirement does not take",
    "outside_edition": "does not count: this edition of the requirement is not for this class",
    "no_requirement": "counts toward nothing: no requirement lists this procedure",
    "unmapped_code": "counts toward nothing: the specialty does not know this procedure",
}

ATTRIBUTIONS = {
    "as_started": "as started",
    "as_logged": "as logged",
    "in_trainee_hands": "in the trainee's hands",
}
# Why the rate of cases as logged stands for no comparison. 1.9 %, and four of five taken over: Grinton 2020, Eye 35:1213.
AS_LOGGED_CAUTION = (
    "Cases that a supervisor took over are left out, and a supervisor takes over because of the complication: in one "
    "series 1.9 % became 0.4 %. Compare nobody by this rate."
)
HANDS = {
    "trainee": "in the trainee's hands",
    "supervisor": "in a supervisor's hands",
    "unclear": "of which it is not clear who was operating",
}
NO_SOURCE = ", no source"

SEVERITIES = {"refused": "refused", "left_out": "left out", "warning": "kept, please check"}
RULES = {
    "not_a_table": "the file is not a table",
    "header_twice": "a column stands twice",
    "column_missing": "a column is missing",
    "kind_unknown": "the kind of file is not known",
    "cell_too_long": "a cell is too long",
    "identifier_in_header": "an identifier among the columns",
    "identifier_in_cell": "an identifier in a cell",
    "identifier_in_file_name": "an identifier in the name of the file",
    "required_blank": "a required cell is blank",
    "case_ref_malformed": "not a valid case reference",
    "ref_malformed": "not a valid reference",
    "key_repeated": "the same record stands twice",
    "trainee_unknown": "the trainee is not in the roster",
    "date_unreadable": "a date cannot be read",
    "date_ambiguous": "a date can be read in two ways",
    "date_impossible": "an impossible date",
    "date_in_future": "a date lies in the future",
    "before_credit_from": "operated before the trainee's cases count",
    "code_unknown": "a code that the specialty does not know",
    "none_beside_code": "none stands beside a code",
    "number_unreadable": "a number cannot be read",
    "number_out_of_range": "a number is out of range",
    "yes_no_unreadable": "neither yes nor no",
    "too_many_cells": "more cells than columns",
    "procedure_unmapped": "a procedure that the specialty does not know",
    "column_unknown": "a column that is not of the format",
    "after_expected_completion": "operated after the expected completion",
    "complication_not_eligible": "a complication that does not go with the procedure",
    "event_day_missing": "a complication without its day",
    "supervision_contradicts_role": "supervision and role contradict each other",
    "takeover_not_recorded": "a complication in a role that does not operate, and no word of a takeover",
    "logged_before_operated": "logged before it was operated",
    "roster_redates_cases": "the roster moves the months of training",
    "case_ref_reused": "one reference for operations on different days",
    "case_unknown": "no live case has this reference",
    "in_two_sources": "the same case from two sources",
    "older_version_kept": "an earlier version of the row stays live",
}


# ---- shares


def decimals(n: int) -> int:
    """Digits after the point that n cases deserve: 0 below 100, 1 below 1000, else 2.

    One case more moves a share by 1/n, so a finer digit would tell of chance alone.
    """
    return 0 if n < 100 else 1 if n < 1000 else 2


def share_number(rate: float, n: int) -> str:
    """The share in percent without its sign; `under 1` and `over 99` where rounding would say none or all."""
    digits = decimals(n)
    text, unit = f"{100 * rate:.{digits}f}", 10.0**-digits
    if rate > 0 and float(text) == 0:
        return f"under {unit:.{digits}f}"
    if rate < 1 and float(text) == 100:
        return f"over {100 - unit:.{digits}f}"
    return text


def share_text(rate: float, n: int) -> str:
    """`7 %` of 41 cases, `1.7 %` of 117, `1.01 %` of 961208: digits by `decimals`, never 0 % for some."""
    return f"{share_number(rate, n)} %"


def range_text(low: float, high: float, n: int) -> str:
    """`3–19 %`; `under 1 % to 8 %` where an end has no figure; one figure where both ends print alike."""
    first, last = share_number(low, n), share_number(high, n)
    if first == last:
        return f"{last} %"
    if " " not in first + last:
        return f"{first}–{last} %"
    return f"{first} % to {last} %"


def interval_text(low: float, high: float, n: int) -> str:
    """`95 % interval 3–19 %`."""
    return f"{INTERVAL}{range_text(low, high, n)}"


# ---- outcomes


class Rate(Protocol):
    """A row of complication_rate."""

    events: int
    known_outcomes: int
    unknown_outcomes: int
    not_yet_due: int
    eligible_cases: int
    events_unclear: int
    early_events: int
    events_unfollowed: int
    rate: float | None
    rate_low: float | None
    rate_high: float | None
    possible_low: float | None
    possible_high: float | None


def rate_sentence(of: Rate) -> str:
    """One outcome of one trainee, for example `3 of 41 known (7 %; 95 % interval 3–19 %), 6 not known, 4 not yet
    due. If all were known: between 6 % and 19 %. Too few to tell 4 % from 18 %.`

    A blank rate with some outcomes known is one whose due cases are mostly unknown, or of events of which nobody
    knows in whose hands they happened. With events in unclear hands no two rates are named: the interval is not of
    one count.
    """
    if of.eligible_cases == 0:
        return NO_CASE
    known, rest = of.known_outcomes, f"{_not_known(of)}, {_not_yet_due(of)}"
    if known == 0:
        return f"{NOTHING_KNOWN}: {rest}.{_if_all_were_known(of)}"
    counts = f"{of.events} of {known} known"
    if of.rate is None or of.rate_low is None or of.rate_high is None:
        return f"{counts} (no rate: {_why_no_rate(of)}){_unclear(of)[0]}, {rest}.{_if_all_were_known(of)}"
    told = f"{share_text(of.rate, known)}; {interval_text(of.rate_low, of.rate_high, known)}"
    sentence = f"{counts} ({told}){_unclear(of)[0]}, {rest}.{_if_all_were_known(of)}"
    if of.events_unclear:
        return f"{sentence} {_unclear(of)[1]}"
    alike = rates_alike(of.rate_low, of.rate_high, known)
    return f"{sentence} Too few to tell {alike[0]} % from {alike[1]} %." if alike else sentence


def _not_known(of: Rate) -> str:
    """The unknown, and how many of them have an event that no follow-up lets count."""
    told = f"{of.unknown_outcomes} not known"
    if of.events_unfollowed == 0:
        return told
    has = "has" if of.events_unfollowed == 1 else "have"
    return f"{told} ({of.events_unfollowed} of them {has} an event without the follow-up that would let it count)"


def _if_all_were_known(of: Rate) -> str:
    """Between which two the rate would lie, where more than a tenth of the due cases are not known."""
    due = of.known_outcomes + of.unknown_outcomes
    if of.possible_low is None or of.possible_high is None or 10 * of.unknown_outcomes <= due:
        return ""
    low, high = share_text(of.possible_low, due), share_text(of.possible_high, due)
    return f" If all were known: between {low} and {high}."


def _why_no_rate(of: Rate) -> str:
    if of.possible_low is None:
        return "nobody knows in whose hands an event after the operation happened"
    return "fewer than half of the due outcomes are known"


def _unclear(of: Rate) -> tuple[str, str]:
    """The events that may have been in other hands, and what the rate takes them for."""
    if of.events_unclear == 0:
        return "", ""
    events, them = ("event", "it") if of.events_unclear == 1 else ("events", "them")
    return (
        f", and {of.events_unclear} more {events} of which it is not clear who was operating",
        f"The rate leaves {them} out; the upper end of the interval counts {them} as the trainee's.",
    )


def _not_yet_due(of: Rate) -> str:
    told = f"{of.not_yet_due} not yet due"
    if of.early_events == 0:
        return told
    has, is_ = ("has", "is") if of.early_events == 1 else ("have", "are")
    return f"{told} ({of.early_events} of them {has} already happened and {is_} not in the rate yet)"


def rates_alike(low: float, high: float, n: int) -> tuple[int, int] | None:
    """Two whole percents strictly inside the printed interval, as far apart as they can be.

    None where the interval is narrow enough: the two are less than two points apart, or the higher is not
    twice the lower and the two are less than ten points apart.
    """
    digits = decimals(n)
    lower = math.floor(round(100 * low, digits)) + 1
    higher = math.ceil(round(100 * high, digits)) - 1
    apart = higher - lower
    if apart < WORTH_NAMING_POINTS:
        return None
    worth = higher >= WORTH_NAMING_TIMES * lower or apart >= WORTH_NAMING_ANYWAY_POINTS
    return (lower, higher) if worth else None


def rate_label(of: Rate) -> str:
    """The denominator at the end of a line of a chart: `2 of 117 known`, `2 of 3 known, no rate`."""
    if of.eligible_cases == 0:
        return NO_CASE
    if of.known_outcomes == 0:
        return NOTHING_KNOWN
    counts = f"{of.events} of {of.known_outcomes} known{'' if of.rate is not None else ', no rate'}"
    return f"{counts}, {of.events_unclear} unclear" if of.events_unclear else counts


def attribution_text(attribution: str) -> str:
    """`as started`, `as logged`, `in the trainee's hands`; KeyError for another."""
    return ATTRIBUTIONS[attribution]


def attribution_caution(attribution: str) -> str:
    """What must stand beside a rate of this attribution; nothing for most."""
    return AS_LOGGED_CAUTION if attribution == "as_logged" else ""


def outcome_heading(status: str, hands: str, cases: int) -> str:
    """`Event in the trainee's hands: 3 cases`; hands is blank where it is not asked who was operating."""
    whose = f" {HANDS[hands]}" if hands else ""
    return f"{status.capitalize()}{whose}: {cases_text(cases)}"


def source_sentence(source: str) -> str:
    """`Source: ….`, or `No source (common practice).` where the specialty file says that there is none."""
    if source.endswith(NO_SOURCE):
        return f"No source ({source.removesuffix(NO_SOURCE)})."
    return f"Source: {source.rstrip('.')}."


# ---- volume


class Volume(Protocol):
    """A row of case_volume."""

    requirement_title: str
    part_depth: int
    counted_cases: int
    minimum: int
    remaining_cases: int
    parts_short: int
    parts_total: int
    reached: bool


def volume_text(row: Volume) -> str:
    """`117 of 86, reached`; `46 of 28, 1 of 3 parts short`; `74 of 86, 12 still to come`."""
    said = [f"{row.counted_cases} of {row.minimum}"]
    if row.reached:
        said.append("reached")
    if row.remaining_cases:
        said.append(f"{row.remaining_cases} still to come")
    if row.parts_short:
        said.append(f"{row.parts_short} of {row.parts_total} parts short")
    return ", ".join(said)


def requirement_text(row: Volume) -> str:
    """`Cataract`, `– Chalazion` for a part of another, `– – …` for a part of a part."""
    return "– " * row.part_depth + row.requirement_title


def volume_sentence(row: Volume) -> str:
    """`Cataract: 117 of 86, reached.` Reached is said of the number, never of the person."""
    return f"{row.requirement_title}: {volume_text(row)}."


def volume_mark(row: Volume) -> str:
    """The same for a cell of the grid: `✓ 117`, `74`, `46, 1 of 3 short`; ✓ where it is reached."""
    if row.parts_short:
        return f"{row.counted_cases}, {row.parts_short} of {row.parts_total} short"
    return f"✓ {row.counted_cases}" if row.reached else f"{row.counted_cases}"


def rule_sentence(
    title: str,
    minimum: int | None,
    roles: Sequence[str],
    edition: str | None,
    source: str,
    verified: bool,
) -> str:
    """`Cataract: at least 86 as surgeon. Edition March 2021. Source: …. Checked against the document.`"""
    demand = "without a count" if minimum is None else f"at least {minimum}"
    whose = f" as {any_of([role.lower() for role in roles])}" if roles else ""
    checked = "Checked against the document" if verified else TO_BE_CONFIRMED.capitalize()
    parts = [
        f"{title}: {demand}{whose}.",
        f"Edition {edition}." if edition else "",
        source_sentence(source),
        f"{checked}.",
    ]
    return " ".join(part for part in parts if part)


def reason_text(reason: str, excluded: str | None = None) -> str:
    """Why a case counts toward a requirement or not, in plain words; KeyError for an unknown reason.

    `excluded` names what the requirement excludes and the case is, such as `simulated`.
    """
    if excluded:
        return f"does not count: the requirement excludes cases of this kind ({excluded})"
    return REASONS[reason]


def rule_text(rule: str) -> str:
    """The rule of a finding in plain words; KeyError for an unknown one."""
    return RULES[rule]


def severity_text(severity: str) -> str:
    """What became of the row of a finding; KeyError for an unknown severity."""
    return SEVERITIES[severity]


# ---- time


def through_sentence(
    trainee: str, data_through: str | None, *, is_current: bool, in_training: bool, within_days: int
) -> str:
    """`T27: data through July 2026, more than 45 days before the day of this snapshot: late logs are …`

    Who has completed or left has no later log to wait for.
    """
    if data_through is None:
        return f"{trainee}: no data yet."
    through = f"{trainee}: data through {month_text(data_through)}"
    if is_current or not in_training:
        return f"{through}."
    return f"{through}, more than {within_days} days before the day of this snapshot: {MISSING_LOGS}."


def end_text(completed: str | None, left: str | None, expected_completion: str) -> str:
    """`completed June 2026`, `left February 2026`, or `expected to complete June 2027`."""
    if completed:
        return f"completed {month_text(completed)}"
    return f"left {month_text(left)}" if left else f"expected to complete {month_text(expected_completion)}"


def month_text(month: str) -> str:
    """`2026-07` is July 2026."""
    year, number = month.split("-")
    return f"{MONTHS[int(number) - 1]} {year}"


def cohort_text(cohort: str) -> str:
    """`2026-27` is the class of 2026–27."""
    return f"class of {cohort.replace('-', '–')}"


# ---- supervision and technique


def score_sentence(scored: int, mean: float | None, low: float | None, high: float | None) -> str:
    """`8 scored: mean 3.6 of 5 (95 % interval 2.9–4.3)`; a score has no interval below three."""
    if scored == 0 or mean is None:
        return "not scored yet"
    told = f"{scored} scored: mean {mean:.1f} of 5"
    if low is None or high is None:
        return f"{told} (no interval: fewer than three scores)" if scored < 3 else f"{told} (no interval)"
    if low == high:
        return f"{told} (all alike: no interval can be told from them)"
    return f"{told} (95 % interval {low:.1f}–{high:.1f})"


def success_sentence(successes: int, attempts: int, low: float | None, high: float | None) -> str:
    """`6 of 6 attempts succeeded (95 % interval 61–100 %)`."""
    if attempts == 0 or low is None or high is None:
        return "no attempts recorded"
    return f"{successes} of {attempts} attempts succeeded ({interval_text(low, high, attempts)})"


# ---- comparison


class Unit(NamedTuple):
    """How a measure of the comparison is printed; n, the number of cases, decides the digits of a share."""

    kind: str = "share"  # share | cases | score
    n: int = 0

    def one(self, value: float) -> str:
        if self.kind == "share":
            return share_text(value, self.n)
        if self.kind == "score":
            return f"{value:.1f}"
        return "1 case" if value == 1 else f"{round(value, 1):g} cases"

    def between(self, low: float, high: float) -> str:
        if self.kind == "share":
            return range_text(low, high, self.n)
        return f"{low:.1f}–{high:.1f}" if self.kind == "score" else f"{round(low, 1):g}–{round(high, 1):g}"


def unit_of(measure: str, n: int = 0) -> Unit:
    """The unit of a measure of the comparison, such as `rate:capsule_rupture:as_started`."""
    kinds = {"counted_cases": "cases", "score_mean": "score"}
    return Unit(kinds.get(measure.split(":", maxsplit=1)[0], "share"), n)


def comparison_sentence(  # noqa: PLR0913 - a value is never compared without both intervals and the number behind
    value: float | None,
    low: float | None,
    high: float | None,
    reference: float | None,
    reference_low: float | None,
    reference_high: float | None,
    reference_n: int,
    unit: Unit = Unit(),  # noqa: B008 - a tuple, never changed
) -> str:
    """The value, the other trainees at the same training quarter, and whether the interval includes them.

    Of counts the others are told by median and quartiles, of all else by all their cases together. It never says
    better or worse: case mix, supervision and chance lie between two numbers.
    """
    if value is None and reference is None:
        return f"{NOTHING_KNOWN} of this trainee, so no comparison."
    own = NOTHING_KNOWN if value is None else _with_range(value, low, high, unit, INTERVAL)
    if reference is None:
        return f"{own}; {_no_comparison(reference_n)}."
    middle, between = ("median", "middle half ") if unit.kind == "cases" else ("together", INTERVAL)
    others = _with_range(reference, reference_low, reference_high, unit, between)
    told = f"{own}; the {reference_n} other trainees at this training quarter: {middle} {others}"
    if value is None or low is None or high is None:
        return f"{told}."
    includes = "includes" if low <= reference <= high else "does not include"
    return f"{told}; the interval {includes} the reference."


def _no_comparison(reference_n: int) -> str:
    if reference_n < FEWEST_OTHERS:
        return TOO_FEW_OTHERS
    others = f"the {reference_n} other trainees at this training quarter"
    return f"no comparison: fewer than half of the due outcomes of {others} are known"


def _with_range(value: float, low: float | None, high: float | None, unit: Unit, what: str) -> str:
    if low is None or high is None:
        return unit.one(value)
    return f"{unit.one(value)} ({what}{unit.between(low, high)})"


# ---- small words


def any_of(names: Sequence[str]) -> str:
    """`surgeon, assistant or observer`."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} or {names[-1]}"


def cases_text(count: int) -> str:
    return "1 case" if count == 1 else f"{count} cases"


def reviews_text(count: int) -> str:
    return "1 review" if count == 1 else f"{count} reviews"


def caution() -> str:
    """The one line for every screen that compares people and every file that leaves the programme."""
    return CAUTION


def cautions() -> list[str]:
    """All cautions, for Methods and for files."""
    return list(CAUTIONS)
