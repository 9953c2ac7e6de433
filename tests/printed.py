"""What a sentence printed, read back; and the interval that it should have printed."""

from __future__ import annotations

import re

from statsmodels.stats.proportion import proportion_confint

JUDGEMENTS = re.compile(
    r"\b(better|worse|best|worst|good|bad|competent|qualified|passed|safe|ready)\b", re.IGNORECASE
)
# Two figures: `3–19 %`, `under 1 % to 8 %`, or one that stands for both ends.
FIGURE = r"(?:under |over )?\d+(?:\.\d+)?"


def wilson(events: int, known: int) -> tuple[float, float]:
    low, high = proportion_confint(events, known, method="wilson")
    return (0.0 if events == 0 else max(low, 0.0)), (1.0 if events == known else min(high, 1.0))


def span(figure: str) -> tuple[float, float]:
    """The percents that a printed figure stands for: `under 1` is anything from 0 to 1."""
    number = float(re.sub(r"[a-z ]", "", figure))
    if figure.startswith("under"):
        return 0.0, number
    return (number, 100.0) if figure.startswith("over") else (number, number)
