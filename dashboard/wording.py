"""Numbers made into sentences: where a screen, a chart or a file gets its words about a number.

Every function takes plain values, or a row of a view (a missing value is None), and gives text. Shares and rates are proportions
from 0 to 1, printed in percent. Nothing is computed here that a view could say: a sentence arranges numbers.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from collections.abc import Sequence as Texts
from typing import Protocol

from pipelines.contract.attributions import ATTRIBUTIONS
from pipelines.contract.cautions import CAUTION, CAUTIONS, NOT_YET_CHECKED, source_in_words

MONTHS = (
    "January February March April May June July August September October November December".split()  # noqa: SIM905 - twelve quoted words say no more
)
NOTHING_KNOWN = "nothing known"
NO_CASE = "no case yet"
INTERVAL = "95 % interval "

# Two rates are worth naming when telling them apart would change what a committee says. By eye, no source.
WORTH_NAMING_POINTS = 2
WORTH_NAMING_TIMES = 2
WORTH_NAMING_ANYWAY_POINTS = 10

# What each attribution counts. No trainee is compared by cases as logged; 1.9 %, and four of five taken over: Grinton 2020,
# Eye 35:1213.
ATTRIBUTION_MEANS = {
    "as_started": "Every case that the trainee began in an operating role counts, taken over or not.",
    "as_logged": "Cases that a supervisor took over are left out, and a supervisor takes over because of the complication: "
    "in one series 1.9 % became 0.4 %. Compare nobody by this rate.",
    "in_trainee_hands": "Every case that the trainee began counts; of the events, those that happened while the trainee was "
    "operating.",
}
NO_SOURCE = ", no source"
CAUTION_IN_SHORT = "This supports judgement and does not make it: read what it cannot say."
# Of fewer known cases a rate is drawn as a hairline.
FEW_CASES = 20


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


def rate_sentence(of: Rate, title: str = "") -> str:
    """One outcome of one trainee, for example `Capsule rupture in 3 of 41 cases with a known outcome (7 %; 95 %
    interval 3–19 %), 6 not known, 4 not yet due. If all were known: between 6 % and 19 %. Neither 4 % nor 18 % is
    ruled out.` Without a title, where it stands beside the sentence, `3 of 41 cases with …`.

    A blank rate with some outcomes known is one whose due cases are mostly unknown, or of events of which nobody
    knows in whose hands they happened. With events in unclear hands no two rates are named: the interval is not of
    one count.
    """
    known, rest = of.known_outcomes, f"{_not_known(of)}, {_not_yet_due(of)}"
    if known == 0:
        counts = f"{title}: " if title else ""
        if of.eligible_cases == 0:
            return f"{counts}{NO_CASE}"
        return f"{counts}{NOTHING_KNOWN}; {rest}.{_if_all_were_known(of)}"
    counts = f"{title} in " if title else ""
    counts += f"{of.events} of {cases_text(known)} with a known outcome"
    if of.rate is None or of.rate_low is None or of.rate_high is None:
        return f"{counts} (no rate: {_why_no_rate(of)}){_unclear(of)[0]}, {rest}.{_if_all_were_known(of)}"
    rate = f"{share_text(of.rate, known)}; {interval_text(of.rate_low, of.rate_high, known)}"
    sentence = f"{counts} ({rate}){_unclear(of)[0]}, {rest}.{_if_all_were_known(of)}"
    if of.events_unclear:
        return f"{sentence} {_unclear(of)[1]}"
    apart = rates_not_ruled_out(of.rate_low, of.rate_high, known)
    return f"{sentence} Neither {apart[0]} % nor {apart[1]} % is ruled out." if apart else sentence


def _not_known(of: Rate) -> str:
    """The unknown, and how many of them have an event that no follow-up lets count."""
    count = f"{of.unknown_outcomes} not known"
    if of.events_unfollowed == 0:
        return count
    has = "has" if of.events_unfollowed == 1 else "have"
    return f"{count} ({of.events_unfollowed} of them {has} an event without the follow-up that would let it count)"


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
    count = f"{of.not_yet_due} not yet due"
    if of.early_events == 0:
        return count
    has, is_ = ("has", "is") if of.early_events == 1 else ("have", "are")
    return f"{count} ({of.early_events} of them {has} already happened and {is_} not in the rate yet)"


def rates_not_ruled_out(low: float, high: float, n: int) -> tuple[int, int] | None:
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
    """The end of a line of a chart, whose heading says that the outcome of these cases is known: `2 in 117 cases`,
    `2 in 3 cases, no rate`.
    """
    if of.eligible_cases == 0:
        return NO_CASE
    if of.known_outcomes == 0:
        return NOTHING_KNOWN
    counts = f"{of.events} in {cases_text(of.known_outcomes)}{'' if of.rate is not None else ', no rate'}"
    return f"{counts}, {of.events_unclear} unclear" if of.events_unclear else counts


def rate_line(of: Rate, expected: float | None) -> str:
    """The end of a line of the cohort's chart: `2 in 117 cases; 4 % expected`; `too few` below 20 known cases."""
    said = [rate_label(of)]
    if 0 < of.known_outcomes < FEW_CASES:
        said.append("too few")
    if expected is not None:
        said.append(f"{share_text(expected, 1)} expected")
    return ", ".join(said[:1]) + "".join(f"; {words}" for words in said[1:])


class Known(Protocol):
    """A row of complication_rate."""

    known_outcomes: int
    known_from_others: int


def is_self_reported(of: Known) -> bool:
    """Whether fewer than half of the known outcomes come from somebody other than the trainee."""
    return of.known_outcomes > 0 and 2 * of.known_from_others < of.known_outcomes


def titled(title: str, of: Known) -> str:
    """`Capsule rupture (self-reported)`."""
    return f"{title} (self-reported)" if is_self_reported(of) else title


def from_others_sentence(of: Known) -> str:
    """`60 of 110 known outcomes come from somebody other than the trainee.`; blank with none known."""
    if of.known_outcomes == 0:
        return ""
    if of.known_from_others == 0:
        return "All rests on the trainee's word."
    return f"{of.known_from_others} of {of.known_outcomes} known outcomes come from somebody other than the trainee."


class Sequence(Protocol):
    """What came of the chart of an outcome by case number, and how often it signals for nobody's fault."""

    known_outcomes: int
    events: int
    expected_events: float | None
    signal_case_person: int | None
    signal_case_class: int | None
    why_none: str | None
    cases: int | None
    people: int | None
    signal_chance: float | None
    signal_chance_raised: float | None
    signal_chance_in_class: float | None


def sequence_sentence(of: Sequence, title: str) -> str:
    """`Capsule rupture: 10 in 108 operations with a recorded outcome, 5.3 expected. The chart crossed its limit …`."""
    counts = f"{title}: {of.events} in {cases_text(of.known_outcomes)} with a known outcome"
    if of.expected_events is None:
        return f"{counts}. Nothing is expected: {of.why_none}."
    counts += f", {of.expected_events:.1f} expected"
    if of.signal_chance is None or of.signal_chance_raised is None or of.signal_chance_in_class is None:
        return f"{counts}. There is no limit: {(of.why_none or '').removeprefix('no limit: ')}."
    crossed = "The chart has not crossed its limit."
    if of.signal_case_person is not None:
        of_class = of.signal_case_class
        also = (
            f", and that for a class with case {of_class}"
            if of_class is not None
            else ", not that for a class"
        )
        crossed = f"The chart crossed the limit for one person with case {of.signal_case_person}{also}."
    alarm, power = share_text(of.signal_chance, 1), share_text(of.signal_chance_raised, 1)
    return (
        f"{counts}. {crossed} How often it would be crossed in a whole training of {of.cases} cases: by an average trainee "
        f"{alarm}, by anybody of a class of {of.people} average trainees {share_text(of.signal_chance_in_class, 1)}, by somebody "
        f"whose odds are raised from the first case on, as the settings say, {power}."
    )


def attributions(operating_roles: Texts[str]) -> dict[str, str]:
    """Whose cases a rate is of, in words, the default first; the roles are the titles of those that operate."""
    if len(operating_roles) != 1:
        return ATTRIBUTIONS
    return ATTRIBUTIONS | {"as_logged": f"logged as {operating_roles[0].lower()}"}


def source_sentence(source: str) -> str:
    """`Source: ….`, or `No source (common practice).` where the specialty file says that there is none."""
    if source.endswith(NO_SOURCE):
        return f"No source ({source.removesuffix(NO_SOURCE)})."
    return f"Source: {source_in_words(source).rstrip('.')}."


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
    # The title of the requirement that stands in for this one.
    reached_by: str | None
    confirmed_cases: int
    unit: str
    units: str


def volume_text(row: Volume) -> str:
    """`117 of 86, reached`; `46 of 28, 1 of 3 parts short`; `74 of 86, 12 still to come`; `41 of 40 patients, reached`.

    Reached with fewer confirmed cases than the minimum says so: `102 of 86, reached, but 81 of 102 confirmed`. Where
    another requirement stands in: `2 of 5, reached by Tube shunt`.
    """
    units = "" if row.unit == "procedure" else f" {row.units}"
    said = [f"{row.counted_cases} of {row.minimum}{units}"]
    if row.reached_by:
        return f"{said[0]}, reached by {row.reached_by}"
    if row.reached:
        said.append(f"reached, but {confirmed_text(row)}" if is_unconfirmed(row) else "reached")
    if row.remaining_cases:
        said.append(f"{row.remaining_cases} still to come")
    if row.parts_short:
        said.append(f"{row.parts_short} of {row.parts_total} parts short")
    return ", ".join(said)


def is_unconfirmed(row: Volume) -> bool:
    """Whether a minimum is reached only with cases that no supervisor has confirmed."""
    return row.reached and not row.reached_by and row.confirmed_cases < row.minimum


def confirmed_text(row: Volume) -> str:
    """`81 of 102 confirmed`."""
    return f"{row.confirmed_cases} of {row.counted_cases} confirmed"


def requirement_text(row: Volume) -> str:
    """`Cataract`, `– Chalazion` for a part of another, `– – …` for a part of a part; `Critical care (patients)`."""
    units = "" if row.unit in ("procedure", "operation") else f" ({row.units})"
    return "– " * row.part_depth + row.requirement_title + units


def volume_sentence(row: Volume) -> str:
    """`Cataract: 117 of 86, reached.` Reached is said of the number, never of the person."""
    return f"{row.requirement_title}: {volume_text(row)}."


def volume_mark(row: Volume) -> str:
    """The same for a cell of the grid: `✓ 117`, `74`, `46, 1 of 3 short`; ✓ where it is reached.

    `✓ 102, 81 confirmed` where fewer than the minimum are.
    """
    if row.parts_short and not row.reached_by:
        return f"{row.counted_cases}, {row.parts_short} of {row.parts_total} short"
    if is_unconfirmed(row):
        return f"✓ {row.counted_cases}, {row.confirmed_cases} confirmed"
    return f"✓ {row.counted_cases}" if row.reached else f"{row.counted_cases}"


def rule_sentence(
    title: str,
    demand: str | None,
    roles: Texts[str],
    edition: str | None,
    source: str,
    verified: bool,
) -> str:
    """`Cataract: at least 86 procedures as surgeon. Edition March 2021. Source: …. Checked against the document.`"""
    asked = f"at least {demand}" if demand else "without a count"
    whose = f" as {any_of([role.lower() for role in roles])}" if roles else ""
    checked = "Checked against the document" if verified else NOT_YET_CHECKED.capitalize()
    parts = [
        f"{title}: {asked}{whose}.",
        f"Edition {edition}." if edition else "",
        source_sentence(source),
        f"{checked}.",
    ]
    return " ".join(part for part in parts if part)


def own_rule_text(published: str | None, deadline: str | None) -> str:
    """What a rule is besides: the programme's own number, and the month through which cases count; or nothing."""
    said = f" The number is the programme's own; the document has {published}." if published else ""
    return f"{said} Cases count through {month_text(deadline)}." if deadline else said


# ---- time


class Log(Protocol):
    """How far the log of a trainee of the roster reaches."""

    trainee_ref: str
    data_through: str | None
    is_current: bool
    in_training: bool
    months_not_entered: int | None


def log_sentence(of: Log) -> str:
    """`T27: log ends July 2026, 3 months not entered.` Who has completed or left has no later log to wait for."""
    return f"{of.trainee_ref}: {log_text(of)}."


def log_text(of: Log) -> str:
    """The same without whose log it is; `data through October 2026` where nothing is late."""
    if of.data_through is None:
        return "no data yet"
    month = month_text(of.data_through)
    if of.is_current or not of.in_training:
        return f"data through {month}"
    missing = of.months_not_entered or 0
    # Where less than a month makes a log late, no whole month need be missing.
    return f"log ends {month}" + (f", {months_text(missing)} not entered" if missing else "")


def unmapped_sentence(cases: dict[str, int]) -> str:
    """Of whom cases count toward nothing because nobody knows their procedure; blank where there are none."""
    if not cases:
        return ""
    people = ", ".join(f"{ref} {count:,}" for ref, count in cases.items())
    return (
        f"The procedure of {cases_text(sum(cases.values()))} ({people}) is not one of the specialty: they count toward"
        " nothing until it is corrected or mapped."
    )


def end_text(completed: str | None, left: str | None, expected_completion: str) -> str:
    """`completed June 2026`, `left February 2026`, or `expected to complete June 2027`."""
    if completed:
        return f"completed {month_text(completed)}"
    return f"left {month_text(left)}" if left else f"expected to complete {month_text(expected_completion)}"


def month_text(month: str) -> str:
    """`2026-07` is July 2026."""
    year, number = month.split("-")
    return f"{MONTHS[int(number) - 1]} {year}"


class Reason(Protocol):
    """A reason to discuss somebody: its kind, and its sentence."""

    reason: str
    sentence: str


def said_once(reasons: Iterable[Reason]) -> list[tuple[str, str]]:
    """Each reason as its kind and its sentence; sentences of one kind that differ in their subject alone are one.

    `Macular oedema, retinal detachment: no outcome is recorded for 21 of the 40 operations …`
    """
    subjects: dict[tuple[str, str], list[str]] = {}
    for row in reasons:
        subject, colon, rest = row.sentence.partition(": ")
        alone = (row.reason, rest) if colon else (row.reason, "")
        subjects.setdefault(alone, []).append(subject if colon else row.sentence)
    return [
        (reason, f"{', '.join([named[0], *map(_inside, named[1:])])}: {rest}" if rest else " ".join(named))
        for (reason, rest), named in subjects.items()
    ]


def _inside(subject: str) -> str:
    """A title inside a sentence: in small letters, unless it begins with an abbreviation."""
    return subject[0].lower() + subject[1:] if subject[1:2].islower() else subject


# Of those counted here, what the accreditor may not count; of those not counted here, what it may.
def cohort_text(cohort: str) -> str:
    """`2026-27` is the class of 2026–27."""
    return f"class of {cohort.replace('-', '–')}"


# ---- supervision and technique


def score_sentence(scored: int, mean: float | None, low: float | None, high: float | None) -> str:
    """`8 scored: mean 3.6 of 5 (95 % interval 2.9–4.3)`; a score has no interval below three."""
    if scored == 0 or mean is None:
        return "not scored yet"
    counts = f"{scored} scored: mean {mean:.1f} of 5"
    if low is None or high is None:
        return f"{counts} (no interval: fewer than three scores)" if scored < 3 else f"{counts} (no interval)"
    if low == high:
        return f"{counts} (all alike: they give no interval)"
    return f"{counts} (95 % interval {low:.1f}–{high:.1f})"


def success_sentence(successes: int, attempts: int, low: float | None, high: float | None) -> str:
    """`6 of 6 attempts succeeded (95 % interval 61–100 %)`."""
    if attempts == 0 or low is None or high is None:
        return "no attempts recorded"
    return f"{successes} of {attempts} attempts succeeded ({interval_text(low, high, attempts)})"


# ---- small words


def any_of(names: Texts[str]) -> str:
    """`surgeon, assistant or observer`."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} or {names[-1]}"


def cases_text(count: int) -> str:
    return "1 case" if count == 1 else f"{count} cases"


def months_text(count: int) -> str:
    return "1 month" if count == 1 else f"{count} months"


def reviews_text(count: int) -> str:
    return "1 review" if count == 1 else f"{count} reviews"


def steps_text(count: int) -> str:
    return "1 step" if count == 1 else f"{count} steps"


def caution() -> str:
    """The one line for every screen that compares people and every file that leaves the programme."""
    return CAUTION


def cautions() -> list[str]:
    """All cautions, for Methods and for files."""
    return list(CAUTIONS)
