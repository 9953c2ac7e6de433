"""The people of the made-up programme: when each one trains, on which service, and what is special."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from functools import cache
from math import ceil
from pathlib import Path
from typing import Any

import numpy as np
import yaml

MONTHS_OF_TRAINING = 36
BLOCK = 3  # months of one rotation


@cache
def plan() -> dict[str, Any]:
    """The invented volumes, rates and people of saltmarsh.yaml."""
    text = (Path(__file__).parent / "saltmarsh.yaml").read_text(encoding="utf-8")
    return dict(yaml.safe_load(text))


def month_number(year: int, month: int) -> int:
    """Months since January of year 1970, as numpy counts them."""
    return (year - 1970) * 12 + month - 1


def month_text(number: int) -> str:
    """A month as YYYY-MM."""
    return f"{1970 + number // 12}-{number % 12 + 1:02d}"


@dataclass(frozen=True)
class Trainee:
    """One made-up trainee; months are counted as `month_number` does, training months from 0."""

    ref: str
    graduates: int
    place: int  # in the class, from 0
    first_month: int  # of training, here or elsewhere
    elsewhere_months: int = 0
    leave_at: int | None = None  # the training month before which the leave lies
    leave_months: int = 0
    without: tuple[str, ...] = ()
    late_ruptures: tuple[int, ...] = ()
    assisted: tuple[str, ...] = ()  # procedures of which the first as surgeon was one as assistant
    log_ends: date = field(default_factory=lambda: plan()["as_of"])

    @property
    def cohort(self) -> str:
        return f"{self.graduates - 1}-{self.graduates % 100:02d}"

    @property
    def started(self) -> int:
        return self.first_month + self.elsewhere_months

    @property
    def last_month(self) -> int:
        return self.first_month + MONTHS_OF_TRAINING + self.leave_months - 1

    @property
    def has_completed(self) -> bool:
        return self.last_month < last_month_of_the_data()

    def calendar(self) -> np.ndarray:
        """The calendar month of each of the 36 months of training; a leave stands between two of them."""
        months = self.first_month + np.arange(MONTHS_OF_TRAINING)
        if self.leave_at is not None:
            months[self.leave_at :] += self.leave_months
        return months

    def service(self, training_month: int) -> str:
        """The rotation in a month of training; those of one class follow each other round."""
        year, block = training_month // 12, training_month % 12 // BLOCK
        return str(plan()["rotations"][year][(block + self.place) % 4])


def last_month_of_the_data() -> int:
    """The month of `as_of`."""
    as_of = plan()["as_of"]
    return month_number(as_of.year, as_of.month)


def made_up_trainees(count: int | None) -> list[Trainee]:
    """The 32 people of the programme, or `count` ordinary ones in up to eight classes of equal size."""
    classes = plan()["classes"]
    size = plan()["class_size"] if count is None else ceil(count / len(classes))
    total = size * len(classes) if count is None else count
    digits = max(2, len(str(total)))
    special = plan()["special"] if count is None else {}
    return [
        _trainee(f"T{place + 1:0{digits}d}", classes[place // size], place % size, special)
        for place in range(total)
    ]


def _trainee(ref: str, graduates: int, place: int, special: dict[str, Any]) -> Trainee:
    own = dict(special.get(ref, {}))
    earlier = own.pop("began_earlier", 0)
    lists = {name: tuple(value) for name, value in own.items() if isinstance(value, list)}
    first = month_number(graduates - 3, plan()["starts_in_month"]) - earlier
    return Trainee(ref, graduates, place, first, **{**own, **lists})


ROSTER_COLUMNS = (
    "trainee_ref", "cohort", "started", "expected_completion", "stage",
    "programme_ref", "level", "credit_from", "completed", "left",
)  # fmt: skip
TRAINING_COLUMNS = ("trainee_ref", "from", "to", "kind", "value")


def roster_row(trainee: Trainee) -> tuple[str, ...]:
    """One line of roster.csv, in the order of ROSTER_COLUMNS."""
    ends = month_text(trainee.last_month)
    return (
        trainee.ref,
        trainee.cohort,
        month_text(trainee.started),
        ends,
        "" if trainee.has_completed else _stage_today(trainee),
        plan()["programme_ref"],
        "resident",
        month_text(trainee.first_month) if trainee.elsewhere_months else "",
        ends if trainee.has_completed else "",
        "",
    )


def _stage_today(trainee: Trainee) -> str:
    begun = np.flatnonzero(trainee.calendar() <= last_month_of_the_data())
    return str(plan()["stages"][begun[-1] // 12])


def training_rows(trainee: Trainee) -> list[tuple[str, ...]]:
    """Stages, leave and time elsewhere as far as they have begun; rotations as far as they are entered ahead."""
    begun = [
        each for each in (*_stages(trainee), *_interruptions(trainee)) if each[0] <= last_month_of_the_data()
    ]
    entered = [each for each in _rotations(trainee) if each[0] <= rotations_entered_through()]
    return [
        (trainee.ref, month_text(start), "" if end is None else month_text(end), kind, value)
        for start, end, kind, value in (*begun, *entered)
    ]


def rotations_entered_through() -> int:
    """The last month of the running academic year."""
    ends = plan()["rotations_entered_through"]
    return month_number(ends.year, ends.month)


def _stages(trainee: Trainee) -> list[tuple[int, int | None, str, str]]:
    starts = trainee.calendar()[::12]
    return [(int(start), None, "stage", name) for start, name in zip(starts, plan()["stages"], strict=True)]


def _interruptions(trainee: Trainee) -> list[tuple[int, int | None, str, str]]:
    found: list[tuple[int, int | None, str, str]] = []
    if trainee.elsewhere_months:
        found.append((trainee.first_month, trainee.started - 1, "elsewhere", ""))
    if trainee.leave_at is not None:
        begins = trainee.first_month + trainee.leave_at
        found.append((begins, begins + trainee.leave_months - 1, "leave", ""))
    return found


def _rotations(trainee: Trainee) -> list[tuple[int, int | None, str, str]]:
    months = trainee.calendar()
    return [
        (int(months[block]), int(months[block + BLOCK - 1]), "rotation", trainee.service(block))
        for block in range(0, MONTHS_OF_TRAINING, BLOCK)
        if block >= trainee.elsewhere_months
    ]
