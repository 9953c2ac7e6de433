"""Where an axis ends: the same for everyone, a round figure past what must be seen."""

from __future__ import annotations

import pandas as pd

TOPS = (0.1, 0.15, 0.2, 0.25, 0.3, 0.4, 0.5, 0.6, 0.8, 1.0)
# An axis that shows every interval whole is drawn for the person of whom least is known.
ROOM_ABOVE_A_POINT, QUARTER_OF_ALL, JUST_PAST = 2.0, 0.25, 1.1


def numbers(frame: pd.DataFrame, *columns: str) -> list[float]:
    """What is known in these columns, those of them that the frame has."""
    return [float(each) for column in columns if column in frame for each in frame[column].dropna()]


def axis_top(frame: pd.DataFrame) -> float:
    """The end of the axis of shares: every point and expected value is on it, not every interval.

    The axis reaches twice the highest point where that is within a quarter of the whole, else just past it;
    never further than the longest interval, never less than 10 %. Longer intervals are cut, and marked so.
    """
    point = max([0.0, *numbers(frame, "rate", "expected")])
    longest = max([point, *numbers(frame, "rate_high")])
    room = max(min(ROOM_ABOVE_A_POINT * point, QUARTER_OF_ALL), JUST_PAST * point)
    return next(top for top in TOPS if top >= min(longest, room, 1.0))


def last_month(*frames: pd.DataFrame) -> int:
    """The last month of training that any of the frames has, at least the first."""
    return int(max([1.0, *(month for frame in frames for month in numbers(frame, "training_month"))]))


def highest_count(frame: pd.DataFrame, bands: pd.DataFrame, minimum: int | None) -> float:
    """A little more than the highest of the line, its bands and the minimum."""
    counts = [*numbers(frame, "counted_cases"), *numbers(bands, "p50", "p75", "p90")]
    return 1.05 * max([1.0, float(minimum or 0), *counts])


def quarters(frame: pd.DataFrame) -> list[int]:
    """Every quarter of training from the first to the last with a case: one without keeps its place."""
    return list(range(1, int(max([1.0, *numbers(frame, "training_quarter")])) + 1))
