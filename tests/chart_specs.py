"""The charts under test, each with the frame that it draws, and how to look into what was drawn."""

from __future__ import annotations

import functools
import re
from collections.abc import Callable, Iterator
from functools import partial
from typing import Any

import pandas as pd
import vl_convert

from dashboard import charts
from tests import chart_frames as frames

NO_BANDS, NO_MARKS = frames.completed().iloc[:0], frames.marks().iloc[:0]
OWN: dict[str, Any] = {"trainee": "T31", "requirement": "Cataract as surgeon", "minimum": 86}
RUPTURE = "Capsule rupture: all operations they began"

# name -> the chart, from one frame; the frame it is drawn from.
Draw = Callable[..., Any]
CHARTS: dict[str, tuple[Draw, pd.DataFrame]] = {
    "volume_grid": (charts.volume_grid, frames.volume()),
    "volume_grid of forty": (charts.volume_grid, frames.volume(40)),
    "complication_intervals": (
        lambda frame, **how: charts.complication_intervals(frame, title=RUPTURE, **how),
        frames.outcomes(),
    ),
    "complication_intervals of forty": (
        lambda frame, **how: charts.complication_intervals(frame, title=RUPTURE, **how),
        frames.many_outcomes(),
    ),
    "supervision_bands": (partial(charts.supervision_bands, ladder=frames.BANDS), frames.bands()),
    "supervision_over_time": (
        lambda frame, **how: charts.supervision_over_time(frame, frames.marks(), ladder=frames.BANDS, **how),
        frames.quarters(),
    ),
    "technique_steps": (charts.technique_steps, frames.steps()),
    "technique_cohort": (charts.technique_cohort, frames.everybody()),
    "volume_over_time": (
        lambda frame, **how: charts.volume_over_time(frame, frames.completed(), frames.marks(), **OWN, **how),
        frames.months(),
    ),
    "volume_over_time, no wide band": (
        lambda frame, **how: charts.volume_over_time(
            frame, frames.completed(wide=False), frames.marks(), **OWN, **how
        ),
        frames.months(36),
    ),
    "volume_over_time, no band": (
        lambda frame, **how: charts.volume_over_time(frame, NO_BANDS, NO_MARKS, **OWN, **how),
        frames.months(),
    ),
}
CHOOSING = ["volume_grid", "complication_intervals", "supervision_bands", "technique_cohort"]
OF_PEOPLE = [name for name in CHARTS if name.split(" ")[0] in CHOOSING]


@functools.cache
def spec(name: str, **how: Any) -> dict[str, Any]:
    """The checked schema of a chart, drawn once for all tests: they only read."""
    draw, frame = CHARTS[name]
    found: dict[str, Any] = draw(frame, **how).to_dict()
    return found


def walk(node: Any) -> Iterator[tuple[str, Any]]:
    """Every key of a spec with its value, at any depth; the data are left out."""
    if isinstance(node, dict):
        for key, value in node.items():
            if key != "datasets":
                yield key, value
                yield from walk(value)
    elif isinstance(node, list):
        for each in node:
            yield from walk(each)


@functools.cache
def svg(name: str, **how: Any) -> str:
    return str(vl_convert.vegalite_to_svg(spec(name, **how)))


BAR = re.compile(r'd="M(-?[\d.]+),(-?[\d.]+)h([\d.]+)v([\d.]+)')


def bars(picture: str, colour: str) -> list[tuple[float, float, float, float]]:
    """Left, top, width and height in pixels of each bar of this colour, in the order of drawing."""
    paths = [path for path in re.findall(r"<path [^>]+>", picture) if f'fill="{colour}"' in path]
    found = [BAR.search(path) for path in paths if 'opacity="0"' not in path]
    return [tuple(float(part) for part in each.groups()) for each in found if each]  # type: ignore[misc]  # four
