"""What stands under an axis of time: rotations, leave, months elsewhere, a transfer, the end of the data."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd

from dashboard.charts.look import SMALL, channels, chart_of, palette
from dashboard.charts.words import mark_label, spoken_mark
from dashboard.queries.live import rows

POINTS = ("leave", "transfer", "data_end")
SHAPES = {"leave": "triangle-up", "transfer": "diamond", "data_end": "circle"}
# In pixels. A letter is as wide as the widest of most words, so that no two labels meet.
BAR, MIDDLE, LANE, LETTER, APART = 9, 5.5, 18, 7.2, 10


def marks_below(marks: pd.DataFrame, ends: tuple[float, float], width: int, dark: bool) -> list[Any]:
    """A strip to be set below a chart whose axis runs from one end to the other, in active months; none without a mark.

    Columns: kind, rotation, active_from, active_to, months, is_ahead, first_month. A planned rotation is an empty bar.
    """
    if marks.empty:
        return []
    colours, placed = palette(dark), _placed(marks, ends, width)
    words = {"description": "spoken:N", "tooltip": "spoken:N"}

    def of(rows_of_a_layer: pd.DataFrame) -> Any:
        # In pixels of the chart above: its axis may count quarters. A layer of nothing would be an unnamed part.
        return chart_of(rows_of_a_layer).encode(**channels(x=alt.X("left:Q", scale=None, axis=None)))

    layers = []
    stretches, points = placed[~placed["is_point"]], placed[placed["is_point"]]
    for planned, bars in stretches.groupby("is_ahead"):
        fill = colours.paper if planned else colours.interval
        bar = of(bars).mark_bar(height=BAR, stroke=colours.interval_edge, strokeWidth=1, fill=fill)
        layers.append(bar.encode(**channels(x2="right:Q", y=alt.value(MIDDLE), **words)))
    for kind, alike in points.groupby("kind"):
        look = {"size": 60, "filled": True, "fill": colours.paper, "stroke": colours.ink, "opacity": 1}
        point = of(alike).mark_point(shape=SHAPES[str(kind)], aria=False, **look)
        layers.append(point.encode(**channels(y=alt.value(MIDDLE), tooltip="spoken:N")))
    for lane, below in placed.groupby("lane"):
        label = of(below).mark_text(align="left", baseline="top", dx=-3, fontSize=SMALL, aria=False)
        down = alt.value(BAR + 5 + LANE * int(str(lane)))
        layers.append(label.encode(**channels(y=down, text="label:N", color=alt.value(colours.secondary))))
    height = BAR + 5 + LANE * placed["lane"].nunique()
    return [alt.layer(*layers, width=width, height=height)]


def marks_within(marks: pd.DataFrame, last: float) -> pd.DataFrame:
    """Those that begin on an axis which runs to the active month `last`; what goes on beyond it ends with it."""
    is_point = marks["kind"].isin(POINTS)
    within = marks[(marks["active_from"] < last) | (is_point & (marks["active_from"] <= last))]
    return within.assign(active_to=within["active_to"].clip(upper=last))


def _placed(marks: pd.DataFrame, ends: tuple[float, float], width: int) -> pd.DataFrame:
    """With the words of each mark, where it stands in pixels, and in which line its words: none lie on others."""
    first, last = ends
    in_time = marks.sort_values(["active_from", "first_month"], kind="stable")
    in_time = in_time.assign(
        label=[mark_label(row) for row in rows(in_time)],
        spoken=[spoken_mark(row) for row in rows(in_time)],
        is_point=in_time["kind"].isin(POINTS),
        left=(in_time["active_from"] - first) / (last - first) * width,
        right=(in_time["active_to"] - first) / (last - first) * width,
    )
    filled: list[float] = []
    lanes = []
    for row in rows(in_time):
        lane = next((place for place, until in enumerate(filled) if until <= row["left"]), len(filled))
        filled[lane : lane + 1] = [row["left"] + LETTER * len(row["label"]) + APART]
        lanes.append(lane)
    return in_time.assign(lane=lanes)
