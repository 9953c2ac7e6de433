"""The oracle's answers about technique reviews and bands of supervision; intervals from scipy."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from typing import Any, NamedTuple

from scipy import stats

from tests.oracle import Oracle, wilson
from tests.oracle_rows import Row, cell, code, month_of, yes_no

Answer = dict[str, Any]
FEWEST_SCORES = 3
LOWEST_SCORE, HIGHEST_SCORE = 1.0, 5.0


class Reviewed(NamedTuple):
    """One step that somebody else than the trainee reviewed, and where in the training its operation fell."""

    trainee: str
    group: str
    quarter: int
    row: Row

    @property
    def step(self) -> str:
        return code(self.row, "step") or ""

    @property
    def is_supervisors(self) -> bool:
        return code(self.row, "done_by_supervisor") in ("planned", "rescue")

    @property
    def score(self) -> int | None:
        text = cell(self.row, "score")
        return int(text) if text else None


def in_log_order(it: Oracle, trainee: str) -> list[Row]:
    return sorted(it.cases(trainee), key=lambda case: it.place_in_log(trainee, case))


def reviewed_steps(it: Oracle, reviews: list[Row]) -> list[Reviewed]:
    found = []
    for row in reviews:
        trainee = row["trainee_ref"].strip()
        case = main_procedure(it, trainee, row["case_ref"].strip())
        if case is not None and not yes_no(row, "self_review"):
            quarter = it.training_quarter(trainee, month_of(case, "operated_on"))
            found.append(Reviewed(trainee, it._group(case) or "", quarter, row))
    return found


def main_procedure(it: Oracle, trainee: str, case_ref: str) -> Row | None:
    """Of an operation performed here: the case marked as the main one, or else the first logged."""
    cases = [
        case
        for case in in_log_order(it, trainee)
        if case["case_ref"].strip() == case_ref
        and it._group(case) is not None
        and not it.is_elsewhere(trainee, month_of(case, "operated_on"))
    ]
    for case in cases:
        if yes_no(case, "principal"):
            return case
    return cases[0] if cases else None


class Operation(NamedTuple):
    """One step of one operation, scored by all its reviewers together."""

    trainee: str
    step: str
    place: int  # in the order of the log
    month: int
    quarter: int
    score: float


def operations(it: Oracle, steps: list[Reviewed]) -> list[Operation]:
    """In the order of the log; steps that a supervisor did, and those without a score, stay out."""
    scores: dict[tuple[str, str, str], list[int]] = {}
    for each in steps:
        if each.score is not None and not each.is_supervisors:
            key = (each.trainee, each.step, each.row["case_ref"].strip())
            scores.setdefault(key, []).append(each.score)
    found = []
    for (trainee, step, case_ref), here in scores.items():
        case = main_procedure(it, trainee, case_ref)
        assert case is not None
        month = month_of(case, "operated_on")
        clock = it.training_month(trainee, month), it.training_quarter(trainee, month)
        place = in_log_order(it, trainee).index(case)
        found.append(Operation(trainee, step, place, *clock, statistics.fmean(here)))
    return sorted(found, key=lambda each: each.place)


def mean_interval(scores: Sequence[float]) -> tuple[float | None, float | None]:
    """Student 1908; from three scores on, and within what a score can be."""
    if len(scores) < FEWEST_SCORES:
        return None, None
    half = stats.t.ppf(0.975, len(scores) - 1) * statistics.stdev(scores) / math.sqrt(len(scores))
    mean = statistics.fmean(scores)
    return max(mean - half, LOWEST_SCORE), min(mean + half, HIGHEST_SCORE)


def technique_step(it: Oracle, steps: list[Reviewed]) -> list[Answer]:
    places: dict[tuple[str, str, str, int], list[Reviewed]] = {}
    for each in steps:
        places.setdefault((each.trainee, each.group, each.step, each.quarter), []).append(each)
    rows = []
    for (trainee, group, step, quarter), here in places.items():
        own = [each for each in here if not each.is_supervisors]
        where = {"procedure_group": group, "step": step, "training_quarter": quarter}
        supervisors = {"done_by_supervisor": len(here) - len(own)}
        rows.append(it._head(trainee) | where | supervisors | _scored(own) | _tried(own) | _timed(own))
    return rows


def _scored(own: list[Reviewed]) -> Answer:
    scores = [each.score for each in own if each.score is not None]
    low, high = mean_interval(scores)
    mean = statistics.fmean(scores) if scores else None
    return {"scored": len(scores), "score_mean": mean, "score_low": low, "score_high": high}


def _tried(own: list[Reviewed]) -> Answer:
    """Attempts of which somebody said how many succeeded."""
    told = [each.row for each in own if cell(each.row, "successes") is not None]
    attempts = sum(int(cell(row, "attempts") or 0) for row in told)
    successes = sum(int(row["successes"]) for row in told)
    low, high = wilson(successes, attempts) if attempts else (None, None)
    return {"attempts": attempts, "successes": successes, "success_low": low, "success_high": high}


def _timed(own: list[Reviewed]) -> Answer:
    seconds = []
    for each in own:
        started, ended = (clock_seconds(each.row, name) for name in ("started_at", "ended_at"))
        if started is not None and ended is not None:
            seconds.append((ended - started) * float(cell(each.row, "recording_speed") or 1))
    return {"seconds_median": statistics.median(seconds) if seconds else None}


def clock_seconds(row: Row, name: str) -> int | None:
    """`mm:ss` or `h:mm:ss` on the recording."""
    text = cell(row, name)
    if text is None:
        return None
    seconds = 0
    for part in text.split(":"):
        seconds = 60 * seconds + int(part)
    return seconds


# Bands of supervision: the rows of supervision_mix, joined by the short words of the ladder.


def supervision_band(it: Oracle, mix: list[Answer]) -> list[Answer]:
    ladder = list(it.specialty["supervision"].items())
    order: dict[str, int] = {}
    for rank, (_, level) in enumerate(ladder, start=1):
        order.setdefault(level["band"], rank)
    counts: dict[tuple[str, str, int], dict[str, int]] = {}
    for row in mix:
        if row["level_ref"] is not None:
            for group in (row["procedure_group"], "all"):
                bands = counts.setdefault((row["trainee_ref"], group, row["training_quarter"]), {})
                band = it.specialty["supervision"][row["level_ref"]]["band"]
                bands[band] = bands.get(band, 0) + row["cases"]
    rows = []
    for (trainee, group, quarter), bands in counts.items():
        known = sum(bands.values())
        for band, cases in bands.items():
            rows.append(
                it._head(trainee)
                | {
                    "procedure_group": group,
                    "training_quarter": quarter,
                    "band": band,
                    "band_order": order[band],
                }
                | {"cases": cases, "known_cases": known, "share": cases / known}
            )
    return rows
