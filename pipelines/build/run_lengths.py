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
# A share of the charts so small is not followed further.
FORGOTTEN = 1e-14


@lru_cache(maxsize=4096)
def signal_chance(
    chances: tuple[float, ...], limit: float, odds_ratio: float, true_odds: float = 1.0
) -> float:
    """The chance that the CUSUM goes above `limit` within the cases whose expected chances are `chances`.

    `true_odds`: by what the real odds of each case differ from the expected ones; 1 = an average trainee.
    Row r of `share` holds the charts that stood at 0 last after r cases; its column j those now at `base[r]` + j ln R.
    Column 0 of the newest row holds those that stand at 0 now.
    """
    step = math.log(odds_ratio)
    expected = np.array(chances, dtype=float)
    fall = np.log1p((odds_ratio - 1) * expected)
    true = true_odds * expected / (1 - expected + true_odds * expected)
    places = max(math.ceil((limit + ROUNDING) / step), 1) + 1
    share, base = np.zeros((len(expected) + 1, places)), np.zeros(len(expected) + 1)
    levels = step * np.arange(places)
    share[0, 0] = 1
    first, signalled = 0, 0.0
    for number, (event, lower) in enumerate(zip(true, fall, strict=True)):
        rows = slice(first, number + 1)
        now = share[rows] * (1 - event)
        now[:, 1:] += share[rows, :-1] * event
        height = base[rows] - lower
        under = np.flatnonzero(height <= ROUNDING)
        back = now[under, 0].sum()
        now[under, :-1], now[under, -1] = now[under, 1:], 0
        height[under] += step
        silent = np.where(height[:, None] + levels > limit + ROUNDING, 0, now)
        signalled += now.sum() - silent.sum()
        base[rows], share[rows] = height, silent
        share[number + 1, 0] = back
        while first < number and share[first].sum() < FORGOTTEN:
            first += 1
    return min(float(signalled), 1.0)


@lru_cache(maxsize=256)
def mean_run_length(chance: float, limit: float, odds_ratio: float, true_odds: float = 1.0) -> float | None:
    """How many cases of one constant chance pass, on average, until the CUSUM is above its limit; None: it never is.

    Between two stands at 0 the charts are alike, so it is the mean length of such a stretch by the chance that it ends in
    a signal.
    """
    step, lower = math.log(odds_ratio), math.log1p((odds_ratio - 1) * chance)
    event = true_odds * chance / (1 - chance + true_odds * chance)
    heights: dict[int, float] = {0: 1.0}
    length = signalled = 0.0
    cases = 0
    while (silent := sum(heights.values())) > 1e-15:
        length += silent
        cases += 1
        after: dict[int, float] = {}
        for events, share in heights.items():
            for more, part in ((1, share * event), (0, share * (1 - event))):
                height = (events + more) * step - cases * lower
                if height > limit + ROUNDING:
                    signalled += part
                elif height > ROUNDING:
                    after[events + more] = after.get(events + more, 0.0) + part
        heights = after
    return length / signalled if signalled > 0 else None


@lru_cache(maxsize=256)
def limit_for(chances: tuple[float, ...], odds_ratio: float, chance: float, above: float = 0.0) -> float:
    """The lowest limit that the CUSUM of an average trainee crosses within these cases with at most this chance.

    Its highest point takes separate values, and the limit is one of them: few cases may leave less than the chance
    asked for. `above`: a limit that is crossed more often, where one is known.
    """
    step = math.log(odds_ratio)
    low, high = above, above + step
    found_low, found_high = signal_chance(chances, low, odds_ratio), signal_chance(chances, high, odds_ratio)
    if found_low <= chance:
        return low
    while found_high > chance:
        low, found_low, high = high, found_high, high + step
        found_high = signal_chance(chances, high, odds_ratio)
    values = _values(np.array(chances), odds_ratio, low, high)
    while len(values):
        guess = _between(low, high, found_low, found_high, chance)
        value = float(values[max(int(np.searchsorted(values, guess, "right")) - 1, 0)])
        found = signal_chance(chances, value, odds_ratio)
        if found > chance:
            low, found_low = value, found
            values = values[values > value]
        else:
            high, found_high = value, found
            values = values[values < value]
    return high


def _values(chances: Floats, odds_ratio: float, low: float, high: float) -> Floats:
    """What the CUSUM can stand at between two limits: some steps up, less what a run of cases takes off."""
    step = math.log(odds_ratio)
    fallen = np.concatenate([[0], np.cumsum(np.log1p((odds_ratio - 1) * chances))])
    drops = np.unique(np.round((fallen[:, None] - fallen)[np.tril_indices(len(fallen), -1)], 9))
    first = np.ceil((low + drops) / step) * step - drops
    values = np.concatenate([first, first + step])
    return np.unique(np.round(values[(values > low) & (values < high)], 9))


def _between(low: float, high: float, found_low: float, found_high: float, chance: float) -> float:
    """Where a chance that falls by the same factor over the same length would be the one asked for.

    It falls in steps, so the guess is drawn half way to the middle.
    """
    middle = (low + high) / 2
    if found_high <= 0 or found_low <= found_high:
        return middle
    share = math.log(found_low / chance) / math.log(found_low / found_high)
    return (low + share * (high - low) + middle) / 2
