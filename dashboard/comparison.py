"""The sentence that sets a trainee's value beside the other trainees, and says whether the two differ."""

from __future__ import annotations

from typing import NamedTuple, Protocol

from dashboard.wording import INTERVAL, NOTHING_KNOWN, range_text, share_text

FEWEST_OTHERS = 5  # of the view cohort_comparison
TOO_FEW_OTHERS = "no comparison: too few other trainees of whom this is known"
NOT_ADJUSTED = "not adjusted for case mix"
ADJUSTED = "the recorded risk factors taken into account"
MINUS = "\u2212"
ONE_IN = 20  # a 95 % interval leaves the truth out


class Compared(Protocol):
    """A row of cohort_comparison, with is_adjusted of expected_rate."""

    measure: str
    value: float | None
    value_low: float | None
    value_high: float | None
    value_base: int | None
    reference: float | None
    reference_low: float | None
    reference_high: float | None
    reference_base: int | None
    reference_n: int
    difference: float | None
    difference_low: float | None
    difference_high: float | None
    differs: bool | None
    is_adjusted: bool | None


class Unit(NamedTuple):
    """How a measure of the comparison is printed; n, the number of cases, decides the digits of a share."""

    kind: str = "share"  # share | cases | score
    n: int = 0
    of: str = ""

    def one(self, value: float) -> str:
        if self.kind == "share":
            return f"{share_text(value, self.n)}{self._base()}"
        if self.kind == "score":
            return f"{value:.1f}{self._base()}"
        return "1 case" if value == 1 else f"{round(value, 1):g} cases"

    def _base(self) -> str:
        return f" of {self.n} {self.of}" if self.n and self.of else ""

    def between(self, low: float, high: float) -> str:
        if self.kind == "share":
            return range_text(low, high, self.n)
        return f"{low:.1f}–{high:.1f}" if self.kind == "score" else f"{round(low, 1):g}–{round(high, 1):g}"


KINDS = {
    "counted_cases": ("cases", ""),
    "score_mean": ("score", "operations"),
    "rate": ("share", "known cases"),
}


def unit_of(measure: str, n: int | None = None) -> Unit:
    """The unit of a measure of the comparison, such as `rate:capsule_rupture:as_started`."""
    kind, of = KINDS.get(measure.split(":", maxsplit=1)[0], ("share", "cases"))
    return Unit(kind, n or 0, of)


def comparison_sentence(of: Compared) -> str:
    """The value, what stands beside it, both denominators, and whether the two differ by more than chance.

    Of counts the others stand as median and quartiles, of rates as what is expected at the same case numbers, of all else
    by all their cases together. It never says better or worse: supervision, case mix and chance lie between two numbers.
    """
    if of.value is None and of.reference is None:
        return f"{NOTHING_KNOWN} of this trainee, so no comparison."
    own = NOTHING_KNOWN
    if of.value is not None:
        own = _with_range(of.value, of.value_low, of.value_high, unit_of(of.measure, of.value_base), INTERVAL)
    if of.reference is None:
        return f"{own}; {TOO_FEW_OTHERS if of.reference_n < FEWEST_OTHERS else 'nothing is expected'}."
    return f"{own}; {_others(of, of.reference)}{_difference(of)}."


def _others(of: Compared, reference: float) -> str:
    unit = unit_of(of.measure, of.reference_base)
    between = "middle half " if unit.kind == "cases" else INTERVAL
    value = _with_range(reference, of.reference_low, of.reference_high, unit, between)
    people = f"the {of.reference_n} other trainees"
    if of.measure.startswith("rate:"):
        mix = ADJUSTED if of.is_adjusted else NOT_ADJUSTED
        return f"expected at the same case numbers, from {people}: {value}, {mix}"
    middle = "median" if unit.kind == "cases" else "together"
    return f"{people} at the same active month: {middle} {value}"


def _difference(of: Compared) -> str:
    """Nothing for counts, of which only the middle of the others is known."""
    if of.difference is None:
        return ""
    if of.differs is None or of.difference_low is None or of.difference_high is None:
        return "; too few, or all alike: nothing can be said of the difference"
    words = "they differ by more than chance usually makes" if of.differs else "the difference may be chance"
    return f"; {words} ({INTERVAL}of the difference {_signed(of)})"


def _signed(of: Compared) -> str:
    low, high = of.difference_low or 0.0, of.difference_high or 0.0
    if of.measure.startswith("score_mean:"):
        return f"{low:+.1f} to {high:+.1f}".replace("-", MINUS)
    low, high = 100 * low, 100 * high
    # An end that is rounded to 0 would not say on which side of it the interval ends.
    digits = next((few for few in (0, 1) if round(low, few) and round(high, few)), 2)
    return f"{low:+.{digits}f} to {high:+.{digits}f} percentage points".replace("-", MINUS)


def chance_sentence(said: int, differing: int) -> str:
    """How many of so many comparisons would differ though nobody differed: one in twenty."""
    if said == 0:
        return "No comparison here rests on enough cases to say whether the two differ."
    by_chance = f"{said / ONE_IN:.1f}".removesuffix(".0")
    rest, do = "rests" if said == 1 else "rest", "does" if differing == 1 else "do"
    return (
        f"{said} of these comparisons {rest} on enough cases to say whether the two differ; {differing} {do}. "
        f"By chance alone about {by_chance} would."
    )


def _with_range(value: float, low: float | None, high: float | None, unit: Unit, what: str) -> str:
    if low is None or high is None or low == high:
        return unit.one(value)
    return f"{unit.one(value)} ({what}{unit.between(low, high)})"
