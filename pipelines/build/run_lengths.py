"""How soon a risk-adjusted CUSUM crosses its limit, worked out exactly, and the limit that it crosses so often.

A case with chance p of an event adds y ln R - ln(1 - p + R p) to the CUSUM (y = 1 for an event, R the raised odds ratio),
which never falls below 0: Steiner, Cook, Farewell and Treasure 2000, Biostatistics 1:441. It signals above the limit.

An event always adds ln R, whatever the case's risk. So the CUSUM is a whole number of ln R above what the cases since it
last stood at 0 have taken off, and the chance of each of these values follows case by case, without a grid. For one
constant chance this is the recursion of Brook and Evans 1972, Biometrika 59:539.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# What lies on the limit is not above it, and 0 is 0, whatever the last digit says.
ROUNDING = 1e-9
# What is left of a stretch of charts is not followed below this share.
FORGOTTEN = 1e-15


@lru_cache(maxsize=4096)
def signal_chance(
    chances: tuple[float, ...], limit: float, odds_ratio: float, true_odds: float = 1.0
) -> float:
    """The chance that the CUSUM goes above `limit` within the cases whose expected chances are `chances`.

    `true_odds`: by what the real odds of each case differ from the expected ones; 1 = an average trainee.
    """
    return _charts(chances, odds_ratio, true_odds).signal_chance(limit)


@lru_cache(maxsize=8)
def _charts(chances: tuple[float, ...], odds_ratio: float, true_odds: float) -> _Charts:
    return _Charts(chances, odds_ratio, true_odds)


class _Charts:
    """All charts of the same cases at once, by the case with which each left 0 last and its events since.

    `lost[n, r]`: what the cases r to n take off together, counted from 0.
    """

    def __init__(self, chances: tuple[float, ...], odds_ratio: float, true_odds: float) -> None:
        expected = np.array(chances, dtype=float)
        self.step = math.log(odds_ratio)
        self.true = (true_odds * expected / (1 - expected + true_odds * expected)).tolist()
        fallen = _fallen(expected, odds_ratio)
        self.lost = fallen[1:, None] - fallen[:-1]
        self.back = self._back()

    def _back(self) -> list[NDArray[np.int64]]:
        """Case by case, where in the flat shares the charts lie that come back to 0 with it.

        With as many events as the cases took off whole a chart stands at 0; that number grows by 1 at most with a case.
        """
        undone = np.floor((self.lost + ROUNDING) / self.step).astype(np.int64)
        grown = np.diff(undone, axis=0, prepend=-1) > 0
        columns = [np.flatnonzero(here & (now > 0)) for here, now in zip(grown, undone, strict=True)]
        return [now[some] * len(now) + some for some, now in zip(columns, undone, strict=True)]

    def signal_chance(self, limit: float) -> float:
        """Case by case; row j, column r of `share` holds the charts that left 0 with case r and had j events since."""
        cases = len(self.true)
        most = np.floor((limit + ROUNDING + self.lost) / self.step).astype(np.int64)
        share = np.zeros((int(most.max(initial=0)) + 2, cases))
        moved = np.empty_like(share)
        flat = share.reshape(-1)
        above = (most + 1) * cases + np.arange(cases)
        at_zero, signalled = 1.0, 0.0
        for case, event in enumerate(self.true):
            rows = most[case, 0] + 2
            now, up = share[:rows, :case], moved[1:rows, :case]
            np.multiply(now[:-1], event, out=up)
            now *= 1 - event
            now[1:] += up
            share[1, case] = at_zero * event
            over, back = above[case, : case + 1], self.back[case]
            signalled += float(flat[over].sum())
            flat[over] = 0
            at_zero = at_zero * (1 - event) + float(flat[back].sum())
            flat[back] = 0
        return min(signalled, 1.0)


def _fallen(expected: Floats, odds_ratio: float) -> Floats:
    """What the first n cases take off together; n from 0."""
    return np.concatenate([[0], np.cumsum(np.log1p((odds_ratio - 1) * expected))])


@lru_cache(maxsize=256)
def mean_run_length(chance: float, limit: float, odds_ratio: float, true_odds: float = 1.0) -> float | None:
    """How many cases of one constant chance pass, on average, until the CUSUM is above its limit; None: it never is.

    Between two stands at 0 the charts are alike, so it is the mean length of such a stretch by the chance that it ends in
    a signal. While neither the fewest nor the most events change at which a chart goes on, the events of some cases
    together are binomial.
    """
    step, lower = math.log(odds_ratio), math.log1p((odds_ratio - 1) * chance)
    event = true_odds * chance / (1 - chance + true_odds * chance)
    if not event:
        return None
    length = signalled = 0.0
    cases = fewest = 0
    most = math.floor((limit + ROUNDING) / step)
    shares = np.zeros(most + 1)  # of the charts that go on, by their events, from the fewest
    shares[0] = 1
    while (silent := float(shares.sum())) > FORGOTTEN:
        one_more = math.ceil(((most + 1) * step - limit - ROUNDING) / lower)
        back = max(math.ceil((fewest * step - ROUNDING) / lower), 1)
        if one_more == cases + 1:
            most, shares = most + 1, np.append(shares, 0)
            continue
        alike = min(one_more - 1, back) - cases
        after = np.convolve(shares, _binomial(alike, event, len(shares)))[: len(shares)]
        # The sum over these cases of what still goes on: a geometric series of the change of one case.
        length += float(np.cumsum(shares - after).sum()) / event
        signalled += silent - float(after.sum())
        cases, shares = cases + alike, after
        if cases == back:
            fewest, shares = fewest + 1, shares[1:]
    return length / signalled if signalled > 0 else None


def _binomial(trials: int, chance: float, counts: int) -> Floats:
    """The chances of no success, one, and so on: so many counts."""
    ratios = [(trials - count) / (count + 1) * chance / (1 - chance) for count in range(counts - 1)]
    return np.asarray((1 - chance) ** trials * np.cumprod([1.0, *ratios]))


@lru_cache(maxsize=256)
def limit_for(chances: tuple[float, ...], odds_ratio: float, chance: float, above: float = 0.0) -> float:
    """The lowest limit that the CUSUM of an average trainee crosses within these cases with at most this chance.

    Its highest point takes separate values, and the limit is one of them: few cases may leave less than the chance
    asked for. `above`: a limit that is crossed more often, where one is known.
    """
    step = math.log(odds_ratio)
    low, high = above, above + step
    found_low = signal_chance(chances, low, odds_ratio)
    if found_low <= chance:
        return low
    found_high = signal_chance(chances, high, odds_ratio)
    while found_high > chance:
        # Far up, the chance falls e-fold over a length of 1.
        further = max(step, math.log(found_high / chance))
        low, found_low, high = high, found_high, high + further
        found_high = signal_chance(chances, high, odds_ratio)
    values = _values(chances, odds_ratio, low, high)
    same_side = 0
    while len(values):
        guess = _between(low, high, found_low, found_high, chance, same_side)
        value = float(values[max(int(np.searchsorted(values, guess, "right")) - 1, 0)])
        found = signal_chance(chances, value, odds_ratio)
        if found > chance:
            low, found_low, same_side = value, found, max(same_side, 0) + 1
        else:
            high, found_high, same_side = value, found, min(same_side, 0) - 1
        values = values[(values > low) & (values < high)]
    return high


def _values(chances: tuple[float, ...], odds_ratio: float, low: float, high: float) -> Floats:
    """What the CUSUM can stand at between two limits: some steps up, less what a run of cases takes off."""
    step = math.log(odds_ratio)
    fallen = _fallen(np.array(chances), odds_ratio)
    drops = np.unique(np.round((fallen[:, None] - fallen)[np.tril_indices(len(fallen), -1)], 9))
    first = np.ceil((low + drops) / step) * step - drops
    values = np.concatenate([first + more * step for more in range(math.ceil((high - low) / step) + 1)])
    return np.unique(np.round(values[(values > low) & (values < high)], 9))


def _between(
    low: float, high: float, found_low: float, found_high: float, chance: float, same_side: int
) -> float:
    """Where a chance that falls by the same factor over the same length would be the one asked for.

    It falls in steps: when one end has stayed for two guesses (`same_side`), the next is drawn half way to the middle.
    """
    middle = (low + high) / 2
    if found_high <= 0 or found_low <= found_high:
        return middle
    share = math.log(found_low / chance) / math.log(found_low / found_high)
    guess = low + share * (high - low)
    return guess if abs(same_side) < 2 else (guess + middle) / 2
