"""The oracle's answers about what would be expected at a trainee's own case numbers, and case by case beside it.

Plain loops like tests/oracle.py; the root by scipy's brentq.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from scipy.optimize import brentq

from tests.oracle import ATTRIBUTIONS, Oracle, wilson
from tests.oracle_comparison import outcomes_of
from tests.oracle_rows import Row, codes
from tests.oracle_technique import in_log_order
from tests.oracle_volume import programme_of

Answer = dict[str, Any]
FEWEST_OTHERS, FEWEST_KNOWN = 5, 30
# The last case number of each band.
BANDS = (50, 100, 200, math.inf)
Place = tuple[str, str]  # complication, attribution


@dataclass(frozen=True)
class Known:
    """A case whose outcome is known."""

    band: int
    risk: float
    is_event: bool
    is_unclear: bool
    place_in_log: int


class Outcomes:
    """Of every trainee and place: the known cases in their order, and how many are due."""

    def __init__(self, it: Oracle) -> None:
        self.it = it
        self.known: dict[str, dict[Place, list[Known]]] = {trainee: {} for trainee in it.roster}
        self.due: dict[str, dict[Place, int]] = {trainee: {} for trainee in it.roster}
        self.references: dict[tuple[str, Place, int], Reference] = {}
        for trainee in it.roster:
            for number, case in enumerate(in_log_order(it, trainee), start=1):
                for ref, attribution, columns in outcomes_of(it, trainee, case):
                    self._take(trainee, (ref, attribution), case, columns, number)

    def _take(self, trainee: str, place: Place, case: Row, columns: list[str], number: int) -> None:
        if "not_yet_due" not in columns:
            self.due[trainee][place] = self.due[trainee].get(place, 0) + 1
        if "known" in columns:
            own = self.known[trainee].setdefault(place, [])
            band = next(order for order, last in enumerate(BANDS) if len(own) + 1 <= last)
            risk = self._risk(case, place[0])
            own.append(Known(band, risk, "events" in columns, "unclear" in columns, number))

    def _risk(self, case: Row, ref: str) -> float:
        weights = self.it.specialty.get("risk_weights", {}).get(ref, {"log_odds": {}})["log_odds"]
        return sum(weights.get(factor, 0) for factor in set(codes(case, "risk_factors") or []))

    def of(self, trainee: str, place: Place) -> list[Known]:
        return self.known[trainee].get(place, [])

    def reference(self, trainee: str, place: Place, band: int) -> Reference:
        key = (trainee, place, band)
        if key not in self.references:
            self.references[key] = Reference(self, trainee, place, band)
        return self.references[key]

    def others(self, trainee: str) -> list[str]:
        mine = programme_of(self.it, trainee)
        return [each for each in self.it.roster if each != trainee and programme_of(self.it, each) == mine]


class Reference:
    """What all others had in one band."""

    def __init__(self, outcomes: Outcomes, trainee: str, place: Place, band: int) -> None:
        found = [
            [case for case in outcomes.of(other, place) if case.band == band]
            for other in outcomes.others(trainee)
        ]
        self.people = len([cases for cases in found if cases])
        self.cases = [case for cases in found for case in cases]
        self.events = len([case for case in self.cases if case.is_event])
        self.is_thin = len(self.cases) < FEWEST_KNOWN or self.people < FEWEST_OTHERS
        self.is_weighed = place[0] in outcomes.it.specialty.get("risk_weights", {})
        self.intercept = self._intercept() if self.is_weighed and 0 < self.events < len(self.cases) else None

    def _intercept(self) -> float:
        def surplus(log_odds: float) -> float:
            return sum(1 / (1 + math.exp(-log_odds - case.risk)) for case in self.cases) - self.events

        return float(brentq(surplus, -50, 50, xtol=1e-13))

    def chance(self, case: Known) -> float:
        if self.intercept is None:
            return self.events / len(self.cases)
        return 1 / (1 + math.exp(-self.intercept - case.risk))


def mostly_unknown(outcomes: Outcomes, trainee: str, place: Place) -> bool:
    """Whether fewer than half of the others' due cases of an outcome with a window are known."""
    if outcomes.it.specialty["complications"][place[0]]["window_days"] == 0:
        return False
    others = outcomes.others(trainee)
    known = sum(len(outcomes.of(other, place)) for other in others)
    return 2 * known < sum(outcomes.due[other].get(place, 0) for other in others)


def expected_rate(outcomes: Outcomes) -> list[Answer]:
    it = outcomes.it
    return [
        it._head(trainee)
        | {"complication_ref": ref, "attribution": attribution}
        | _expected(outcomes, trainee, (ref, attribution))
        for trainee in it.roster
        for ref in it.specialty["complications"]
        for attribution in ATTRIBUTIONS
    ]


def _expected(outcomes: Outcomes, trainee: str, place: Place) -> Answer:
    own = outcomes.of(trainee, place)
    bands = {band: outcomes.reference(trainee, place, band) for band in sorted({case.band for case in own})}
    unclear = any(case.is_unclear for reference in bands.values() for case in reference.cases)
    thin = any(reference.is_thin for reference in bands.values())
    found: Answer = dict.fromkeys(
        ["expected", "expected_low", "expected_high", "expected_events", "is_adjusted"]
    )
    if own and not thin and not unclear and not mostly_unknown(outcomes, trainee, place):
        found = _with_interval(own, bands)
    return found | {
        "expected_from_trainees": max((reference.people for reference in bands.values()), default=0),
        "expected_known": sum(len(reference.cases) for reference in bands.values()),
        "is_reason_given": found["expected"] is None,
    }


def _with_interval(own: list[Known], bands: dict[int, Reference]) -> Answer:
    """Zou and Donner 2008: the squared distances to the ends of independent parts add up."""
    total = below = above = 0.0
    for band, reference in bands.items():
        cases = [case for case in own if case.band == band]
        events = sum(reference.chance(case) for case in cases)
        low, high = wilson(reference.events, len(reference.cases))
        if reference.events:
            mix = events / (len(cases) * reference.events / len(reference.cases))
            low, high = low * mix, min(high * mix, 1)
        total += events
        below += (events - low * len(cases)) ** 2
        above += (high * len(cases) - events) ** 2
    return {
        "expected": total / len(own),
        "expected_low": max(total - math.sqrt(below), 0) / len(own),
        "expected_high": min((total + math.sqrt(above)) / len(own), 1),
        "expected_events": total,
        "is_adjusted": next(iter(bands.values())).is_weighed,
    }


# Case by case.


def case_sequence_chart(outcomes: Outcomes, odds_ratio: float = 2) -> list[Answer]:
    it = outcomes.it
    rows = []
    for trainee in it.roster:
        for ref in it.specialty["complications"]:
            place = (ref, "as_started")
            own = outcomes.of(trainee, place)
            bands = {band: outcomes.reference(trainee, place, band) for band in {case.band for case in own}}
            hidden = mostly_unknown(outcomes, trainee, place)
            head = it._head(trainee) | {"complication_ref": ref}
            rows += [head | row for row in _charted(own, bands, odds_ratio, hidden)]
    return rows


def _charted(own: list[Known], bands: dict[int, Reference], odds_ratio: float, hidden: bool) -> list[Answer]:
    rows: list[Answer] = []
    events, expected, cusum = 0, 0.0, 0.0
    for number, case in enumerate(own, start=1):
        hidden = hidden or bands[case.band].is_thin
        events += case.is_event
        row: Answer = {
            "case_number": number,
            "case_sequence": case.place_in_log,
            "is_event": case.is_event,
            "events": events,
        } | dict.fromkeys(["expected", "expected_events", "observed_minus_expected", "cusum_weight", "cusum"])
        if not hidden:
            chance = bands[case.band].chance(case)
            weight = case.is_event * math.log(odds_ratio) - math.log(1 - chance + odds_ratio * chance)
            expected, cusum = expected + chance, max(0.0, cusum + weight)
            row |= {"expected": chance, "expected_events": expected, "cusum_weight": weight, "cusum": cusum}
            row["observed_minus_expected"] = events - expected
        rows.append(row)
    return rows


def case_sequence_signal(it: Oracle, charted: list[Answer]) -> list[Answer]:
    rows = []
    for trainee in it.roster:
        for ref in it.specialty["complications"]:
            own = [row for row in charted if (row["trainee_ref"], row["complication_ref"]) == (trainee, ref)]
            last: Answer = (
                own[-1] if own else {"case_number": 0, "events": 0, "expected_events": None, "cusum": None}
            )
            heights = [row["cusum"] for row in own if row["cusum"] is not None]
            rows.append(
                it._head(trainee)
                | {
                    "complication_ref": ref,
                    "known_outcomes": last["case_number"],
                    "events": last["events"],
                    "expected_events": last["expected_events"],
                    "cusum": last["cusum"],
                    "cusum_highest": max(heights, default=None),
                }
            )
    return rows


def complication_rate_recent(outcomes: Outcomes, rates: list[Answer]) -> list[Answer]:
    """`rates`: the rows of complication_rate; a part has a rate only where the whole has one."""
    rows = []
    for rate in rates:
        if rate["attribution"] == "as_started":
            trainee, ref = rate["trainee_ref"], rate["complication_ref"]
            own = [case.is_event for case in outcomes.of(trainee, (ref, "as_started"))]
            for last in (25, 50, 100):
                row = {"complication_ref": ref, "last_cases": last}
                row |= _part("", own[-last:], rate["rate"]) | _part("_before", own[:-last], rate["rate"])
                rows.append(outcomes.it._head(trainee) | row)
    return rows


def _part(suffix: str, events: list[bool], whole: float | None) -> Answer:
    number, known = sum(events), len(events)
    low, high = wilson(number, known) if known and whole is not None else (None, None)
    name = f"rate{suffix}"
    return {
        f"events{suffix}": number,
        "known_before" if suffix else "known_outcomes": known,
        name: number / known if low is not None else None,
        f"{name}_low": low,
        f"{name}_high": high,
    }
