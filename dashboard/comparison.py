"""The sentence that sets a trainee's value beside the other trainees at the same training quarter."""

from __future__ import annotations

from typing import NamedTuple

from dashboard.wording import INTERVAL, NOTHING_KNOWN, range_text, share_text

FEWEST_OTHERS = 5  # of the view cohort_comparison
TOO_FEW_OTHERS = (
    "no comparison: fewer than five other trainees at this training quarter of whom this is known"
)


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

    Of counts the others stand as median and quartiles, of all else by all their cases together. It never says
    better or worse: case mix, supervision and chance lie between two numbers.
    """
    if value is None and reference is None:
        return f"{NOTHING_KNOWN} of this trainee, so no comparison."
    own = NOTHING_KNOWN if value is None else _with_range(value, low, high, unit, INTERVAL)
    if reference is None:
        return f"{own}; {_no_comparison(reference_n)}."
    middle, between = ("median", "middle half ") if unit.kind == "cases" else ("together", INTERVAL)
    others = _with_range(reference, reference_low, reference_high, unit, between)
    both = f"{own}; the {reference_n} other trainees at this training quarter: {middle} {others}"
    if value is None or low is None or high is None:
        return f"{both}."
    includes = "includes" if low <= reference <= high else "does not include"
    return f"{both}; the interval {includes} the reference."


def _no_comparison(reference_n: int) -> str:
    if reference_n < FEWEST_OTHERS:
        return TOO_FEW_OTHERS
    others = f"the {reference_n} other trainees at this training quarter"
    return f"no comparison: fewer than half of the due outcomes of {others} are known"


def _with_range(value: float, low: float | None, high: float | None, unit: Unit, what: str) -> str:
    if low is None or high is None:
        return unit.one(value)
    return f"{unit.one(value)} ({what}{unit.between(low, high)})"
