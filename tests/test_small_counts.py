"""What a trainee can see of others are quantiles of completed classes; nobody is to be found by solving for them.

Everything that is shown is written down as a linear programme (scipy's linprog): one unknown a person, the quantiles as
rounded, month after month, and of several snapshots as classes complete. A person is found where only one whole number
of cases lies between the least and the most that theirs may be. Nobody outside knows the order of the people, so that each order
that the numbers allow is tried for whoever joined.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pytest
from scipy.optimize import linprog

from dashboard import queries
from dashboard.access import Viewer
from pipelines.store.store import Store
from tests.browser import demo_store

TRAINEE = Viewer("trainee", "saltmarsh-eye", "T22").scope
# Which quantiles are shown of how many people; source: the project's own rule for what trainees see.
SHOWN = {"p10": (0.1, 20), "p25": (0.25, 10), "p50": (0.5, 10), "p75": (0.75, 10), "p90": (0.9, 20)}
MOST = 1000.0


@dataclass(frozen=True)
class Released:
    """What one snapshot shows of one month: how many people (as somebody may know), and the quantiles, rounded."""

    people: int
    quantiles: dict[float, int]


def released(numbers: Sequence[int], shown: dict[str, tuple[float, int]] = SHOWN) -> Released:
    """The quantiles by linear interpolation between order statistics (Hyndman and Fan's type 7), as numpy has them."""
    people = len(numbers)
    told = {
        share: int(np.floor(np.quantile(numbers, share) + 0.5))
        for share, least in shown.values()
        if people >= least
    }
    return Released(people, told)


def _weights(people: int, share: float) -> np.ndarray:
    """The weight of each person, lowest first, in a quantile."""
    at = share * (people - 1)
    weights = np.zeros(people)
    weights[int(at)] += 1 - (at - int(at))
    if at > int(at):
        weights[int(at) + 1] += at - int(at)
    return weights


def _rows(told: Released, order: Sequence[int], unknowns: int) -> tuple[list[np.ndarray], list[float]]:
    """What a release says of the unknowns, if its people stand in this order: rows of A x <= b."""
    rows, limits = [], []
    for lower, higher in itertools.pairwise(order):
        row = np.zeros(unknowns)
        row[lower], row[higher] = 1, -1
        rows.append(row)
        limits.append(0.0)
    for share, value in told.quantiles.items():
        row = np.zeros(unknowns)
        row[list(order)] = _weights(told.people, share)
        rows += [row, -row]
        limits += [value + 0.5, 0.5 - value]
    return rows, limits


def range_of(
    person: int, releases: Sequence[tuple[Released, Sequence[int]]], unknowns: int
) -> tuple[float, float] | None:
    """The least and the most that a person's number may be; None where the orders cannot be."""
    rows, limits = [], []
    for told, order in releases:
        more, beyond = _rows(told, order, unknowns)
        rows, limits = rows + more, limits + beyond
    ends = []
    for sign in (1, -1):
        aim = np.zeros(unknowns)
        aim[person] = sign
        found = linprog(aim, A_ub=np.array(rows), b_ub=limits, bounds=[(0, MOST)] * unknowns)
        if not found.success:
            return None
        ends.append(sign * found.fun)
    return ends[0], ends[1]


def _whole_numbers(least: float, most: float) -> int:
    """How many whole numbers lie between the ends, which are none themselves: a half is rounded upward."""
    return int(np.floor(most - 1e-6) - np.ceil(least + 1e-6)) + 1


def fewest_possible(before: Released, after: Released | None = None) -> int:
    """How many numbers are possible for the person of whom most is known: anybody of the first release, whose order nobody
    knows, and, where a second has one person more, whoever joined.
    """
    people = before.people
    order = list(range(people))
    lowest = range_of(0, [(before, order)], people)
    highest = range_of(people - 1, [(before, order)], people)
    assert lowest and highest
    # Anybody may be the lowest, or the highest: what one may be is all between.
    possible = [_whole_numbers(lowest[0], highest[1])]
    if after is not None:
        joined, ends = people, list[tuple[float, float]]()
        for place in range(people + 1):
            with_them = [*order[:place], joined, *order[place:]]
            if found := range_of(joined, [(before, order), (after, with_them)], people + 1):
                ends.append(found)
        possible.append(_whole_numbers(min(least for least, _ in ends), max(most for _, most in ends)))
    return min(possible)


def test_from_all_that_a_trainee_is_shown_nobodys_number_can_be_worked_out() -> None:
    snapshot = queries.live_snapshot(Store(demo_store()))
    requirements = queries.listed(snapshot, TRAINEE, "requirement")["requirement_ref"]
    solved = 0
    for requirement in requirements[:4]:
        bands = queries.course_bands(snapshot, TRAINEE, requirement)
        assert set(bands.columns) == {"training_month", *SHOWN}  # no count of people
        # Once a year of training: a month's numbers bound the next only from below, which narrows nothing upward.
        for row in queries.records(bands[bands["training_month"] % 12 == 0]):
            told = {
                share: int(getattr(row, name))
                for name, (share, _) in SHOWN.items()
                if getattr(row, name) is not None
            }
            if told:
                people = 20 if 0.1 in told else 10
                assert fewest_possible(Released(people, told)) >= 2, (requirement, row)
                solved += 1
    assert solved >= 4


@pytest.mark.parametrize("seed", range(6))
def test_over_successive_snapshots_whoever_joins_is_not_found(seed: int) -> None:
    drawn = np.random.default_rng(seed)
    for people in (10, 13, 20):
        numbers = sorted(int(each) for each in drawn.integers(0, 60, people))
        newcomer = int(drawn.integers(0, 60))
        assert fewest_possible(released(numbers), released([*numbers, newcomer])) >= 2, (numbers, newcomer)


def test_the_same_solving_finds_somebody_where_too_few_are_shown() -> None:
    everything = {"p0": (0.0, 1), "p50": (0.5, 1), "p100": (1.0, 1)}
    assert fewest_possible(released([7, 7, 7], everything)) == 1
    assert fewest_possible(released([7, 7, 9], everything)) == 3  # 7, 8 or 9: each of them may be each
    # One who joins two others, and whose number is the new middle, is found by the difference.
    assert fewest_possible(released([10, 40], everything), released([10, 30, 40], everything)) == 1
