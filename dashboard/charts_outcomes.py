"""Outcomes: how often, and how sure is that? The interval is the mark, the point the detail."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd

from dashboard.chart_axes import axis_top, numbers
from dashboard.chart_theme import TEXT, Heading, chart_of, finished, in_order, spoken_rows
from dashboard.chart_words import complication_intervals_alt, line_ends, spoken_rates
from dashboard.palette import palette

ROW = 34
COLUMNS = ("trainee", "rate", "rate_low", "rate_high", "expected", "label")
PERCENT = "format(datum.value * 100, '.0f') + ' %'"
NO_EXPECTED = "No expected value for anybody."
EXPECTED = "Upright line: expected at the same case numbers, without this trainee."


def complication_intervals(  # noqa: PLR0913 - a title, an axis, a width and two themes
    frame: pd.DataFrame,
    *,
    title: str,
    lines: tuple[str, ...] = (),
    top: float | None = None,
    width: int = 640,
    dark: bool = False,
    select: bool = False,
) -> Any:
    """One line a trainee, in roster order, one axis for everyone; the denominator stands at its end.

    Columns: trainee, trainee_order, rate, rate_low, rate_high, expected, label (`2 of 117 known`). `top`
    fixes the end of the axis, for several charts that are read together; by default `axis_top` says it.
    """
    end = axis_top(frame) if top is None else top
    colours, names = palette(dark), in_order(frame, "trainee", "trainee_order")
    shown = frame[list(COLUMNS)].assign(label=line_ends(frame, end), spoken=spoken_rates(frame))
    axis = alt.Axis(title=None, grid=True, labelExpr=PERCENT, tickCount=6)
    scale = alt.Scale(domain=[0, end], nice=False, zero=True)
    y = alt.Y(
        "trainee:N",
        sort=names,
        scale=alt.Scale(domain=names, padding=0),
        axis=alt.Axis(title=None, labelPadding=14),
    )
    base = chart_of(shown).encode(y=y)

    def x(name: str) -> alt.X:
        return alt.X(f"{name}:Q", scale=scale, axis=axis)

    ranges = base.mark_bar(
        height=12, clip=True, color=colours.interval, stroke=colours.interval_edge, strokeWidth=1, aria=False
    ).encode(x=x("rate_low"), x2="rate_high:Q")
    ticks = base.mark_tick(height=24, thickness=2, color=colours.ink, aria=False, clip=True)
    # Not clipped, or a dot at 0 % would be half a dot; a rate beyond the axis is told in words.
    on_axis = base.transform_filter(f"isValid(datum.rate) && datum.rate <= {end}")
    points = on_axis.mark_point(filled=True, size=90, opacity=1, color=colours.blue, aria=False)
    layers = [
        spoken_rows(base, width, dark, select),
        ranges,
        *_cut_ends(base, end, width, dark),
        ticks.encode(x=x("expected")),
        points.encode(x=x("rate")),
        _denominators(base, width, dark),
    ]
    chart = alt.layer(*layers).properties(width=width, height=alt.Step(ROW))
    heading = Heading(title, (*_how_to_read(frame, end), *lines))
    return finished(chart, heading, complication_intervals_alt(frame, title, end), dark)


def _cut_ends(base: Any, end: float, width: int, dark: bool) -> list[Any]:
    """A small arrow at the edge: this interval goes on past the axis."""
    cut = base.transform_filter(f"datum.rate_high > {end}")
    shape = cut.mark_point(
        shape="triangle-right", filled=True, size=110, opacity=1, color=palette(dark).blue, aria=False
    )
    return [shape.encode(x=alt.value(width - 2))]


def _denominators(base: Any, width: int, dark: bool) -> Any:
    text = base.mark_text(align="left", fontSize=TEXT, aria=False)
    return text.encode(x=alt.value(width + 14), text="label:N", color=alt.value(palette(dark).secondary))


def _how_to_read(frame: pd.DataFrame, end: float) -> tuple[str, ...]:
    told = ["Bar: 95 % interval", "dot: observed"]
    if any(high > end for high in numbers(frame, "rate_high")):
        told.append("arrow: the interval goes on")
    lines = [" · ".join(told), EXPECTED if numbers(frame, "expected") else NO_EXPECTED]
    if any(rate > end for rate in numbers(frame, "rate")):
        lines.append("In brackets: a rate beyond the axis.")
    return tuple(lines)
