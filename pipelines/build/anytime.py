"""An interval for a constant rate that may be looked at after every case: a confidence sequence.

{p : B(a + x, b + n - x) / (B(a, b) p^x (1 - p)^(n - x)) < 1 / alpha}, with the weights a = c p and b = c (1 - p): for each p
the ratio is that of a beta-binomial mixture around p to p itself, a martingale while p is true, so that it ever reaches
1 / alpha with a chance of alpha at most (Ville 1939; Howard, Ramdas, McAuliffe and Sekhon 2021, Ann Stat 49:1055). c makes
it narrowest near 50 cases.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
ALPHA, NARROWEST_AT = 0.05, 50
HALVINGS = 60


def anytime_interval(
    events: NDArray[Any], cases: NDArray[Any], alpha: float = ALPHA, narrowest_at: float = NARROWEST_AT
) -> tuple[Floats, Floats]:
    """Lower and upper end for each pair of events and cases (at least one), between 0 and 1."""
    # Imported here: it costs half a second, and who only reads a snapshot need not wait for it.
    from scipy.special import betaln

    x, n = events.astype(float), cases.astype(float)
    doubled = 2 * math.log(1 / alpha)
    weight = narrowest_at / (doubled + math.log1p(doubled)) - 1

    def excludes(p: Floats) -> NDArray[np.bool_]:
        a, b = weight * p, weight * (1 - p)
        against = betaln(a + x, b + n - x) - betaln(a, b) - x * np.log(p) - (n - x) * np.log1p(-p)
        told: NDArray[np.bool_] = against >= math.log(1 / alpha)
        return told

    least = np.full(len(x), 1e-12)
    low = _edge(excludes, least, np.clip(x / n, least, 1 - least))
    high = _edge(excludes, 1 - least, np.clip(x / n, least, 1 - least))
    return np.where(excludes(least), low, 0.0), np.where(excludes(1 - least), high, 1.0)


def _edge(excludes: Any, outside: Floats, inside: Floats) -> Floats:
    """Where exclusion ends on the way from outside to inside."""
    for _ in range(HALVINGS):
        middle = (outside + inside) / 2
        out = excludes(middle)
        outside, inside = np.where(out, middle, outside), np.where(out, inside, middle)
    return inside
