"""Outcomes: how often, and how sure is that? The interval is the mark, the point the detail."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd

from dashboard.chart_theme import TEXT, Heading, chosen_trainee, finished, in_order, palette, rows
from dashboard.wording import range_text

ROW = 34
PERCENT = "format(datum.value * 100, '.0f') + ' %'"
TOPS = (0.1, 0.15, 0.2, 0.25, 0.3, 0.4, 0.5, 0.6, 0.8, 1.0)
# An axis that shows every interval whole is drawn for the person of whom least is known.
ROOM_ABOVE_A_POINT, QUARTER_OF_ALL = 2.0, 0.25
WHOLE_PERCENTS = 1


def axis_top(frame: pd.DataFrame) -> float:
    """Where the axis ends, a round share: every point and expected value is on it, not every interval.

    The axis reaches twice the highest point where that is within a quarter of the whole, else just past it;
    never further than the longest interval, never less than 10 %. Longer intervals are cut, and marked so.
    """
    points = max([0.0, *_known(frame, "rate"), *_known(frame, "expected")])
    wished = max([0.0, *_known(frame, "rate_high"), points])
    room = max(min(ROOM_ABOVE_A_POINT * points, QUARTER_OF_ALL), 1.1 * points)
    return next(top for top in TOPS if top >= min(wished, room, 1.0))


def _known(frame: pd.DataFrame, column: str) -> list[float]:
    return [float(each) for each in frame[column].dropna()]


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
    shown = frame.drop(columns=["trainee_order"]).assign(spoken=frame["trainee"] + ": " + frame["label"])
    axis = alt.Axis(title=None, grid=True, labelExpr=PERCENT, tickCount=6)
    scale = alt.Scale(domain=[0, end], nice=False, zero=True)
    y = alt.Y(
        "trainee:N",
        sort=names,
        scale=alt.Scale(domain=names, padding=0),
        axis=alt.Axis(title=None, labelPadding=14),
    )
    base = alt.Chart(shown).encode(y=y)

    def x(name: str) -> alt.X:
        return alt.X(f"{name}:Q", scale=scale, axis=axis)

    ranges = base.mark_bar(
        height=12, clip=True, color=colours.interval, stroke=colours.interval_edge, strokeWidth=1
    ).encode(x=x("rate_low"), x2="rate_high", description="spoken:N")
    ticks = base.mark_tick(height=24, thickness=2, color=colours.ink, aria=False, clip=True)
    points = base.mark_point(filled=True, size=90, opacity=1, color=colours.blue, aria=False)
    layers = [
        *(_rows_to_click(base, width, dark) if select else []),
        ranges,
        *_cut_ends(base, end, width, dark),
        ticks.encode(x=x("expected")),
        points.encode(x=x("rate")),
        _denominators(base, width, dark),
    ]
    chart = alt.layer(*layers).properties(width=width, height=alt.Step(ROW))
    heading = Heading(title, (*lines, *_how_to_read(frame, end)))
    return finished(chart, heading, complication_intervals_alt(frame, title, end), dark)


def _rows_to_click(base: Any, width: int, dark: bool) -> list[Any]:
    """The whole row is the target of a click, and is tinted when it is the chosen one."""
    chosen = chosen_trainee()
    row = base.mark_rect(aria=False, color=palette(dark).chosen)
    seen = alt.condition(chosen, alt.value(1), alt.value(0))
    return [row.encode(x=alt.value(0), x2=alt.value(width), opacity=seen).add_params(chosen)]


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


def _how_to_read(frame: pd.DataFrame, end: float) -> tuple[str, str]:
    told = ["Bar: 95 % interval", "dot: observed"]
    if any(high > end for high in _known(frame, "rate_high")):
        told.append("arrow: the interval goes on")
    if not _known(frame, "expected"):
        return " · ".join(
            told
        ), "No expected value: the programme has too few cases at the same case numbers."
    return " · ".join(told), "Upright line: expected at the same case numbers, without this trainee."


def complication_intervals_alt(frame: pd.DataFrame, title: str, end: float | None = None) -> str:
    """Each trainee's counts and interval, the widest interval, and of whom nothing can be said."""
    if frame.empty:
        return f"{title}: no trainee to show."
    people = rows(frame.sort_values("trainee_order", kind="stable"))
    told = [row for row in people if row["rate"] is not None and row["rate_high"] is not None]
    silent = [f"{row['trainee']} ({row['label']})" for row in people if row not in told]
    each = "; ".join(f"{row['trainee']} {row['label']}, {_interval(row)}" for row in told)
    sentences = [
        f"{title}, 95 % intervals in roster order, axis to {(end or axis_top(frame)):.0%}.".replace(
            "%.", " %."
        )
    ]
    if told:
        widest = max(told, key=lambda row: float(row["rate_high"] - row["rate_low"]))
        sentences += [f"{each}.", f"Widest interval: {widest['trainee']}, {_interval(widest)}."]
    if silent:
        sentences.append(f"No rate: {', '.join(silent)}.")
    return " ".join(sentences)


def _interval(row: dict[str, Any]) -> str:
    return range_text(row["rate_low"], row["rate_high"], WHOLE_PERCENTS)
