"""Simulated programmes in which everybody is alike: drawn from what the trainees of completed classes did.

See calibration.py for what is drawn from what. One programme is one training at one meeting: `training-meeting`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pyarrow as pa

from pipelines.build.donors import BANDS, UNKNOWN, Donors

Numbers = np.ndarray
# Each has a simulated person of the own, in the class that is in its first year at the first meeting.
AFFECTED = ("volume", "outcome", "supervision", "step")
LAST_OF_BAND = (50, 100, 200)
LEVEL_BELOW, LEVEL_ABOVE = "below", "above"


@dataclass
class Simulation:
    """Tables to be judged; the people in training of each programme, those affected left out; programmes by training."""

    trainings: int
    tables: dict[str, pa.Table] = field(default_factory=dict)
    in_training: dict[str, list[str]] = field(default_factory=dict)
    by_training: list[list[str]] = field(default_factory=list)


# ---- programmes like it


@dataclass(frozen=True)
class _Person:
    """One simulated person of one training: cases, supervision, outcomes and reviews over the whole length of it."""

    name: str
    of_class: int
    cases: Numbers  # (month, requirement)
    known: Numbers  # (quarter, group)
    at_level: Numbers
    outcomes: Numbers  # (operation, complication)
    quarter_of: Numbers  # of each operation
    reviews: list[tuple[int, tuple[tuple[str, float], ...]]]  # quarter, scores


def simulate(donors: Donors, trainings: int, rng: np.random.Generator) -> Simulation:
    """So many trainings of a programme like it, each as it stands at every meeting over the length of one."""
    made = Simulation(trainings)
    rows: dict[str, list[tuple[Any, ...]]] = {name: [] for name in COLUMNS}
    years = -(-donors.length // 12)
    for training in range(trainings):
        people = [
            _person(donors, f"{of_class:02d}{place:02d}", of_class, rng)
            for of_class in range(donors.classes + 2 * years)
            for place in range(donors.class_size)
        ]
        affected = [
            _affected(donors, _person(donors, name, donors.classes + years - 1, rng), rng)
            for name in AFFECTED
        ]
        states = [f"{training:03d}-{meeting:02d}" for meeting in range(donors.meetings)]
        made.by_training.append(states)
        for meeting, state in enumerate(states):
            _put_state(donors, made, rows, state, meeting, [*people, *affected])
    made.tables = {name: _table(name, found) for name, found in rows.items()}
    return made


def _person(donors: Donors, name: str, of_class: int, rng: np.random.Generator) -> _Person:
    months, quarters = donors.length, donors.known.shape[1]
    drawn = np.repeat(rng.integers(donors.people, size=-(-months // 12)), 12)[:months]
    of_quarter, each = drawn[::3], np.arange(quarters)
    quarter_of = np.repeat(each + 1, donors.started[of_quarter, each])
    bands = np.searchsorted(LAST_OF_BAND, np.arange(1, len(quarter_of) + 1))
    outcomes = np.full((len(quarter_of), len(donors.complications)), UNKNOWN, dtype=np.int64)
    for band, (patterns, upto) in enumerate(donors.outcomes):
        here = np.flatnonzero(bands == band)
        if len(patterns):
            outcomes[here] = patterns[
                np.searchsorted(upto, rng.random(len(here)), side="right").clip(0, len(upto) - 1)
            ]
    return _Person(
        name,
        of_class,
        donors.cases[drawn, np.arange(months)],
        donors.known[of_quarter, each],
        donors.at_level[of_quarter, each],
        outcomes,
        quarter_of,
        _drawn_reviews(donors, rng, range(quarters)),
    )


def _drawn_reviews(
    donors: Donors, rng: np.random.Generator, pool_of: Any
) -> list[tuple[int, tuple[tuple[str, float], ...]]]:
    """Reviewed operations by quarter; their scores are those of the quarter that `pool_of` names."""
    found = []
    for quarter, numbers in enumerate(donors.reviewed):
        pool = donors.reviews[pool_of[quarter]]
        if numbers and pool:
            found += [
                (quarter + 1, pool[rng.integers(len(pool))])
                for _ in range(numbers[rng.integers(len(numbers))])
            ]
    return found


def _affected(donors: Donors, person: _Person, rng: np.random.Generator) -> _Person:
    """The same person, to whom what the name says has happened."""
    changed = dict(vars(person))
    if person.name == "volume":
        changed["cases"] = rng.binomial(person.cases, 0.5)
    if person.name == "outcome":
        changed["outcomes"] = _doubled(donors, person.outcomes, rng)
    if person.name == "supervision":
        changed["at_level"] = np.zeros_like(person.at_level)
    if person.name == "step":
        first = next((place for place, pool in enumerate(donors.reviews) if pool), 0)
        changed["reviews"] = _drawn_reviews(donors, rng, [first] * len(donors.reviewed))
    return _Person(**changed)


def _doubled(donors: Donors, outcomes: Numbers, rng: np.random.Generator) -> Numbers:
    """As many events again come to cases that had none."""
    bands = np.searchsorted(LAST_OF_BAND, np.arange(1, len(outcomes) + 1))
    rates = np.zeros((BANDS, outcomes.shape[1]))
    for band, (patterns, upto) in enumerate(donors.outcomes):
        weights = np.diff(upto, prepend=0)[:, None]
        known = (weights * (patterns != UNKNOWN)).sum(axis=0)
        rates[band] = np.divide(
            (weights * (patterns == 1)).sum(axis=0), known, out=rates[band], where=known > 0
        )
    more = rates / np.maximum(1 - rates, 1e-9)
    return np.where((outcomes == 0) & (rng.random(outcomes.shape) < more[bands]), 1, outcomes)


# ---- as it stands at a meeting

COLUMNS: dict[str, dict[str, pa.DataType]] = {
    "trainee": {
        **dict.fromkeys(
            ("programme_ref", "cohort", "trainee_ref", "started", "expected_completion"), pa.string()
        ),
        **dict.fromkeys(("credit_from", "completed", "data_through"), pa.string()),
        **dict.fromkeys(("training_is_over", "is_current"), pa.bool_()),
        "months_not_entered": pa.int64(),
    },
    "trainee_clock": {
        **dict.fromkeys(
            ("programme_ref", "cohort", "trainee_ref", "last_month", "data_through"), pa.string()
        ),
        **dict.fromkeys(
            ("active_month", "months_left", "last_training_month", "last_training_quarter"), pa.int64()
        ),
        **dict.fromkeys(("has_completed", "of_completed_class"), pa.bool_()),
    },
    "case_volume": {
        **dict.fromkeys(
            ("programme_ref", "cohort", "trainee_ref", "requirement_ref", "requirement_title"), pa.string()
        ),
        **dict.fromkeys(("minimum", "counted_cases", "confirmed_cases"), pa.int64()),
        "met": pa.bool_(),
        "data_through": pa.string(),
    },
    "credited_month": {
        **dict.fromkeys(
            ("programme_ref", "cohort", "trainee_ref", "requirement_ref", "operated_month"), pa.string()
        ),
        "counted_cases": pa.int64(),
    },
    "supervision_mix": {
        **dict.fromkeys(
            ("programme_ref", "cohort", "trainee_ref", "procedure_group", "level_ref"), pa.string()
        ),
        **dict.fromkeys(("training_quarter", "level_rank", "cases"), pa.int64()),
    },
    "operation_score": {
        **dict.fromkeys(("trainee_ref", "step"), pa.string()),
        "case_sequence": pa.int64(),
        "score": pa.float64(),
    },
    "eligible_case": {
        **dict.fromkeys(("trainee_ref", "complication_ref"), pa.string()),
        **dict.fromkeys(("case_sequence", "number_started", "events_so_far"), pa.int64()),
        **dict.fromkeys(("is_known", "is_event"), pa.bool_()),
        "log_odds": pa.float64(),
    },
}


def _table(name: str, rows: list[tuple[Any, ...]]) -> pa.Table:
    columns = list(zip(*rows, strict=True)) or [()] * len(COLUMNS[name])
    arrays = [pa.array(column, kind) for column, kind in zip(columns, COLUMNS[name].values(), strict=True)]
    return pa.table(arrays, names=list(COLUMNS[name]))


def _put_state(
    donors: Donors, made: Simulation, rows: dict[str, list[tuple[Any, ...]]], state: str, meeting: int, people: list[_Person]
) -> None:  # fmt: skip
    """Class 0 began first; at the first meeting the last of the completed classes has been over for `phase` months."""
    time = 12 * (donors.classes - 1) + donors.length + donors.phase + donors.spacing * meeting
    oldest = donors.spacing * meeting // 12
    made.in_training[state] = []
    for person in people:
        active = time - 12 * person.of_class
        if person.of_class < oldest or active < 1:
            continue
        ref = f"{state}-{person.name}"
        is_over = active >= donors.length
        if not is_over and person.name not in AFFECTED:
            made.in_training[state].append(ref)
        _put_person(donors, rows, (state, ref), person, active)


def _put_person(
    donors: Donors,
    rows: dict[str, list[tuple[Any, ...]]],
    names: tuple[str, str],
    person: _Person,
    since: int,
) -> None:
    state, ref = names
    is_over, active = since >= donors.length, min(since, donors.length)
    started, quarter = donors.as_of - since + 1, -(-active // 3)
    head = (state, f"class-{person.of_class:02d}", ref)
    ends, last = _month(started + donors.length - 1), _month(started + active - 1)
    completed = ends if is_over else None
    rows["trainee"].append((*head, _month(started), ends, _month(started), completed, last, is_over, True, 0))
    left = donors.length - active
    rows["trainee_clock"].append((*head, last, last, active, left, active, quarter, is_over, is_over))
    counted = person.cases[:active].sum(axis=0)
    for place, (requirement, title, minimum) in enumerate(donors.requirements):
        number = int(counted[place])
        rows["case_volume"].append(
            (*head, requirement, title, minimum, number, number, number >= minimum, last)
        )
    for month, place in np.argwhere(person.cases[:active] > 0):
        number = int(person.cases[month, place])
        rows["credited_month"].append(
            (*head, donors.requirements[place][0], _month(started + int(month)), number)
        )
    for here, group in np.argwhere(person.known[:quarter] > 0):
        above = int(person.at_level[here, group])
        below = int(person.known[here, group]) - above
        for level, rank, number in ((LEVEL_ABOVE, donors.level_rank, above), (LEVEL_BELOW, 0, below)):
            if number:
                place_of = (*head, donors.groups[group], level, int(here) + 1, rank, number)
                rows["supervision_mix"].append(place_of)
    if is_over:
        return
    for number, (of_quarter, scores) in enumerate(person.reviews, start=1):
        if of_quarter <= quarter:
            rows["operation_score"] += [(ref, step, number, score) for step, score in scores]
    _put_outcomes(donors, rows, ref, person, quarter)


def _put_outcomes(
    donors: Donors, rows: dict[str, list[tuple[Any, ...]]], ref: str, person: _Person, quarter: int
) -> None:
    until = int(np.searchsorted(person.quarter_of, quarter, side="right"))
    for place, complication in enumerate(donors.complications):
        outcomes = person.outcomes[:until, place]
        cases = np.flatnonzero(outcomes != UNKNOWN)
        events = np.cumsum(outcomes[cases] != 0)
        rows["eligible_case"] += [
            (ref, complication, int(case) + 1, number, int(so_far), True, bool(outcomes[case]), 0.0)
            for number, (case, so_far) in enumerate(zip(cases, events, strict=True), start=1)
        ]


def _month(number: int) -> str:
    """YYYY-MM of a number of months as the macro month_number counts them."""
    return f"{(number - 1) // 12:04d}-{(number - 1) % 12 + 1:02d}"
