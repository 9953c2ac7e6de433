"""What others say about the made-up trainees: reviews of single operations, and the committee's levels."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pyarrow as pa
from pyarrow import compute

from seed_data.programme import Trainee, last_month_of_the_data, month_number, plan

MILESTONES = (
    "cataract_operating",
    "laser_operating",
    "oculoplastic_operating",
    "emergency_care",
    "complication_management",
    "honest_log",
)
LEVELS = ("A", "B", "C", "D", "E")
REVIEW_COLUMNS = (
    "review_ref", "case_ref", "trainee_ref", "reviewer_ref", "setting", "self_review", "step", "score",
    "done_by_supervisor", "attempts", "successes", "started_at", "ended_at", "recording_speed", "comment",
)  # fmt: skip
MILESTONE_COLUMNS = ("trainee_ref", "period", "milestone", "level", "rationale")
COMMENTS = (
    "calm hands",
    "keep the eye centred",
    "slow down before the last segment",
    "good use of both hands",
)
# Minutes that an experienced surgeon needs for a timed step, and how hard it is on a scale of 1 to 5.
MINUTES = (2.0, 0.8, 1.6, 0.8, 3.2, 2.2, 2.4, 1.2, 1.0, 0.9)
HARDNESS = (0.0, 0.2, 1.0, 0.4, 1.2, 0.9, 0.7, 0.5, 0.4, 0.4, 0.5, 0.6, 0.8)
CLASSES_REVIEWED_SINCE = 2025


@dataclass(frozen=True)
class Operation:
    """One cataract operation of a trainee, with its place among them."""

    case_ref: str
    trainee_ref: str
    case_number: int
    supervisor_ref: str
    rescued: bool
    chopped: bool


def review_rows(people: list[Trainee], cases: pa.Table, rng: np.random.Generator) -> list[tuple[object, ...]]:
    """Some operations of the current and the latest completed classes, each with its 13 steps."""
    rows: list[tuple[object, ...]] = []
    number = 0
    for trainee in people:
        if trainee.graduates < CLASSES_REVIEWED_SINCE:
            continue
        for operation in _reviewed(_operations(trainee, cases), rng):
            by_self = rng.random() < 0.2
            for self_review in (False, True) if by_self else (False,):
                number += 1
                rows += _one_review(f"V{number:04d}", operation, self_review, rng)
    return rows


def _operations(trainee: Trainee, cases: pa.Table) -> list[Operation]:
    names = ["case_ref", "trainee_ref", "procedure", "role", "attributes", "supervisor_ref",
             "takeover_reason", "technique"]  # fmt: skip
    own = cases.select(names).filter(compute.field("trainee_ref") == trainee.ref).to_pylist()
    kept = [
        row for row in own
        if (row["procedure"], row["role"]) == ("phaco_iol", "surgeon") and row["attributes"] != "simulated"
    ]  # fmt: skip
    return [
        Operation(
            row["case_ref"], trainee.ref, number, row["supervisor_ref"] or plan()["supervisors"][0],
            row["takeover_reason"] == "rescue", row["technique"] in ("chop", "stop_and_chop"),
        )
        for number, row in enumerate(kept, start=1)
    ]  # fmt: skip


def _reviewed(operations: list[Operation], rng: np.random.Generator) -> list[Operation]:
    """Up to eight of them, spread over the whole time."""
    count = min(len(operations) // 4, 4 + int(rng.random() * 5))
    places = np.sort(np.argsort(rng.random(len(operations)), kind="stable")[:count])
    return [operations[place] for place in places]


def _one_review(
    ref: str, operation: Operation, by_self: bool, rng: np.random.Generator
) -> list[tuple[object, ...]]:
    recorded = by_self or rng.random() < 0.55
    speed = 2 if recorded and rng.random() < 0.4 else 1
    reviewer = operation.trainee_ref if by_self else operation.supervisor_ref
    head = (ref, operation.case_ref, operation.trainee_ref, reviewer, "recorded" if recorded else "live")
    clock = _clocks(operation, speed, rng) if recorded else [("", "")] * 13
    steps = [*plan()["steps"]["timed"], *plan()["steps"]["throughout"]]
    comment_at = int(rng.random() * 40)
    return [
        (
            *head,
            "yes" if by_self else "no",
            step,
            *_marks(step, place, operation, by_self, rng),
            *clock[place],
            speed if recorded else "",
            COMMENTS[place % len(COMMENTS)] if place == comment_at and not by_self else "",
        )
        for place, step in enumerate(steps)
    ]


def _marks(
    step: str, place: int, operation: Operation, by_self: bool, rng: np.random.Generator
) -> tuple[object, object, object, object]:
    """Score, who did the step, attempts and successes."""
    done = _done_by_supervisor(place, operation, rng)
    attempts, successes = _attempts(step, operation, rng)
    if done != "no":
        return "", done, "", ""
    if rng.random() < 0.05:
        return "", "", "", ""
    return _score(place, operation.case_number, by_self, rng), done, attempts, successes


def _score(place: int, case_number: int, by_self: bool, rng: np.random.Generator) -> int:
    """From 1 to 5: rising with experience, lower in hard steps; people see themselves kindly."""
    skill = 2.2 + 2.6 * (1 - np.exp(-case_number / 70)) - 0.6 * HARDNESS[place] + (0.7 if by_self else 0)
    return int(np.clip(np.rint(skill + 0.6 * rng.standard_normal()), 1, 5))


def _done_by_supervisor(place: int, operation: Operation, rng: np.random.Generator) -> str:
    if operation.rescued and 5 <= place <= 7:
        return "rescue"
    if operation.case_number < 25 and HARDNESS[place] >= 0.9 and rng.random() < 0.35:
        return "planned"
    return "no"


def _attempts(step: str, operation: Operation, rng: np.random.Generator) -> tuple[object, object]:
    if step != "nucleus_disassembly" or not operation.chopped:
        return "", ""
    attempts = 3 + int(rng.random() * 5)
    chance = 0.55 + 0.42 * (1 - np.exp(-operation.case_number / 60))
    return attempts, int((rng.random(attempts) < chance).sum())


def _clocks(operation: Operation, speed: int, rng: np.random.Generator) -> list[tuple[str, str]]:
    """Start and end on the recording's own clock; steps that go on throughout have none."""
    slower = 1 + 1.6 * np.exp(-operation.case_number / 60)
    lengths = np.array(MINUTES) * 60 * slower * np.exp(0.2 * rng.standard_normal(len(MINUTES)))
    ends = np.cumsum(lengths + 8)
    shown = [
        (_clock((end - length) / speed), _clock(end / speed))
        for end, length in zip(ends, lengths, strict=True)
    ]
    return shown + [("", "")] * len(plan()["steps"]["throughout"])


def _clock(seconds: float) -> str:
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes // 60}:{minutes % 60:02d}:{rest:02d}" if minutes >= 60 else f"{minutes:02d}:{rest:02d}"


def rating_periods() -> list[tuple[str, int]]:
    """The periods rated so far, each with the month in which the committee met."""
    periods = []
    for year in (2024, 2025):
        periods.append((f"{year}-{(year + 1) % 100:02d} mid", month_number(year, 12)))
        periods.append((f"{year}-{(year + 1) % 100:02d} end", month_number(year + 1, 6)))
    return [each for each in periods if each[1] <= last_month_of_the_data()]


def milestone_rows(people: list[Trainee], rng: np.random.Generator) -> list[tuple[str, ...]]:
    """A level for everyone in training here at each meeting."""
    rows = []
    for period, met_in in rating_periods():
        for trainee in people:
            if trainee.started <= met_in <= trainee.last_month:
                rows += _levels(trainee, period, met_in, rng)
    return rows


def _levels(trainee: Trainee, period: str, met_in: int, rng: np.random.Generator) -> list[tuple[str, ...]]:
    trained = int((trainee.calendar() <= met_in).sum())
    on_leave = met_in not in trainee.calendar()
    rows: list[tuple[str, ...]] = []
    for milestone in MILESTONES:
        place = int(np.clip(np.rint(trained / 9.5 - 0.5 + 0.5 * rng.standard_normal()), 0, 4))
        seen = not on_leave and rng.random() >= 0.06
        rationale = "" if seen else "on leave" if on_leave else "not seen often enough"
        rows.append((trainee.ref, period, milestone, LEVELS[place] if seen else "not assessable", rationale))
    return rows
