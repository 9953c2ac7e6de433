"""The look of every chart: one config, the order of people, where an axis ends, the marks that charts share.

A chart sets its whole config here, so it looks the same on a screen (drawn with `theme=None`) and in a file.
"""

from __future__ import annotations

from textwrap import wrap
from typing import Any, NamedTuple

import altair as alt
import pandas as pd

from dashboard.palette import LIGHT, PALETTES, Palette
from dashboard.queries.live import rows

# All of these set figures in equal widths; the first that the machine has is taken.
FONT = '"Helvetica Neue", Arial, "Liberation Sans", sans-serif'
SMALL, TEXT, TITLE = 13, 14, 16
# Every font and every side is named: the page fills in its own where a chart is silent.
PADDING = {"left": 0, "top": 8, "right": 12, "bottom": 8}
CHOSEN = "chosen"
# As many letters as half of a page of 1280 pixels holds: the picture of one person is narrower than its heading.
TITLE_LETTERS, LINE_LETTERS = 48, 75
NO_LIMIT = 10_000  # else words that are wider than a picture end in dots
# Where an axis of shares may end.
TOPS = (0.1, 0.15, 0.2, 0.25, 0.3, 0.4, 0.5, 0.6, 0.8, 1.0)
# An axis that shows every interval whole is drawn for the person of whom least is known.
ROOM_ABOVE_A_POINT, QUARTER_OF_ALL, JUST_PAST = 2.0, 0.25, 1.1
PERCENT = "format(datum.value * 100, '.0f') + ' %'"


def palette(dark: bool) -> Palette:
    return PALETTES[dark]


def band_colours(count: int, dark: bool) -> list[str]:
    """As many steps of the one hue as the ladder has, spread over its whole length, lowest first."""
    return [palette(dark).bands[at] for at in band_steps(count)]


def band_steps(count: int) -> list[int]:
    last = len(LIGHT.bands) - 1
    return [round(step * last / (count - 1)) for step in range(count)] if count > 1 else [last] * count


class Heading(NamedTuple):
    """The question, and under it what the number is, of what, and what it cannot say."""

    title: str
    lines: tuple[str, ...] = ()


def in_order(frame: pd.DataFrame, label: str, order: str) -> list[str]:
    """The labels once, in the order that SQL gave; a blank label is none."""
    ordered = frame.dropna(subset=[label]).sort_values(order, kind="stable")
    return [str(name) for name in ordered[label].drop_duplicates()]


def chart_of(frame: pd.DataFrame) -> alt.Chart:
    """Of plain values: a column of categories would name people who were filtered out."""
    # The library copies every list of a chart again and again, but no tuple.
    return alt.Chart(alt.InlineData(tuple(rows(frame))))


def channels(**given: Any) -> dict[str, Any]:
    """What `encode` takes, each channel as the library's own object: to make one of a plain text or value it takes longer
    than everything else about a chart.
    """
    return {name: _channel(name.capitalize(), what) for name, what in given.items()}


def _channel(name: str, what: Any) -> Any:
    if isinstance(what, str):
        return getattr(alt, name)(what)
    return getattr(alt, f"{name}Value")(**what) if isinstance(what, dict) else what


def chosen(*fields: str) -> Any:
    """The choice that a click makes; a screen reads it and offers the same by keyboard."""
    return alt.selection_point(fields=list(fields), name=CHOSEN, empty=False)


def spoken(base: Any) -> Any:
    """The words of a mark, for a reader who hears the chart and for one who points at it."""
    return base.encode(**channels(description="spoken:N", tooltip=alt.Tooltip("spoken:N")))


def spoken_rows(base: Any, width: int, dark: bool, select: bool = False) -> Any:
    """The whole row carries the words, also where nothing is known; a click chooses it and tints it."""
    row = spoken(base.mark_rect(color=palette(dark).chosen)).encode(
        **channels(x=alt.value(0), x2=alt.value(width))
    )
    if not select:
        return row.encode(**channels(opacity=alt.value(0)))
    choice = chosen("trainee")
    return row.encode(**channels(opacity=alt.condition(choice, alt.value(1), alt.value(0)))).add_params(
        choice
    )


def finished(chart: Any, heading: Heading, alt_text: str, dark: bool) -> Any:
    """The chart with its heading, its alt text and the whole config: nothing is left to the page."""
    if heading.title:
        lines = [part for line in heading.lines for part in wrap(line, LINE_LETTERS)]
        chart.title = alt.TitleParams(wrap(heading.title, TITLE_LETTERS), subtitle=lines, limit=NO_LIMIT)
    # Set in place: each method of the library that adds to a chart copies the whole of it, several times where it has layers.
    chart.description, chart.padding = alt_text, PADDING
    chart.autosize = alt.AutoSizeParams(type="pad", contains="padding")
    chart.usermeta = {"embedOptions": {"renderer": "svg", "actions": False}}
    chart.config = alt.Config(**config(palette(dark)))
    return chart


def config(colours: Palette) -> dict[str, Any]:
    return {
        "background": colours.paper,
        "font": FONT,
        "view": {"stroke": None},
        "mark": {"tooltip": None},
        "title": {
            "font": FONT,
            "subtitleFont": FONT,
            "anchor": "start",
            "frame": "bounds",
            "color": colours.ink,
            "fontSize": TITLE,
            "fontWeight": "bold",
            "subtitleColor": colours.secondary,
            "subtitleFontSize": TEXT,
            "subtitleLineHeight": 19,
            "subtitlePadding": 6,
            "offset": 14,
        },
        "axis": {
            "labelFont": FONT,
            "titleFont": FONT,
            "domain": False,
            "ticks": False,
            "grid": False,
            "gridColor": colours.rule,
            "labelColor": colours.ink,
            "labelFlush": False,
            "labelFontSize": TEXT,
            "labelLimit": 400,
            "labelPadding": 8,
            "titleColor": colours.secondary,
            "titleFontSize": SMALL,
            "titleFontWeight": "normal",
            "titlePadding": 8,
        },
        "legend": {
            "labelFont": FONT,
            "orient": "top",
            "direction": "horizontal",
            "title": None,
            "labelColor": colours.ink,
            "labelFontSize": TEXT,
            "labelLimit": 300,
            "symbolType": "square",
            "symbolSize": 220,
            "columnPadding": 10,
            "offset": 8,
        },
        "text": {"font": FONT, "fontSize": TEXT, "color": colours.ink},
    }


# ---- axes: the same for everyone, a round figure past what must be seen


def numbers(frame: pd.DataFrame, *columns: str) -> list[float]:
    """What is known in these columns, those of them that the frame has."""
    return [float(number) for column in columns if column in frame for number in frame[column].dropna()]


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


def last_case(frame: pd.DataFrame) -> int:
    """The number of the last case, at least one."""
    return int(max([1.0, *numbers(frame, "case_number")]))


def highest_count(frame: pd.DataFrame, bands: pd.DataFrame, minimum: int | None) -> float:
    """A little more than the highest of the line, its bands and the minimum."""
    counts = [*numbers(frame, "counted_cases"), *numbers(bands, "p50", "p75", "p90")]
    return 1.05 * max([1.0, float(minimum or 0), *counts])


def quarters(frame: pd.DataFrame) -> list[int]:
    """Every quarter of training from the first to the last with a case: one without keeps its place."""
    return list(range(1, int(max([1.0, *numbers(frame, "training_quarter")])) + 1))


# ---- marks that several charts have


def band_bars(base: Any, ladder: list[str], dark: bool, legend_offset: int = 8) -> Any:
    scale = alt.Scale(domain=ladder, range=band_colours(len(ladder), dark))
    colour = alt.Color("band:N", sort=ladder, scale=scale, legend=alt.Legend(offset=legend_offset))
    bars = base.mark_bar(stroke=palette(dark).interval_edge, strokeWidth=0.75)
    return spoken(bars).encode(**channels(color=colour))


def figures_inside(base: Any, ladder: list[str], dark: bool, fits: float, **place: Any) -> list[Any]:
    """The share inside each step that has room for it, in the colour that is legible there."""
    colours = palette(dark)
    far = [
        band for band, at in zip(ladder, band_steps(len(ladder)), strict=True) if at >= colours.dark_band_from
    ]
    near = [band for band in ladder if band not in far]
    seen = alt.condition(f"datum.share >= {fits}", alt.value(1), alt.value(0))
    layers = []
    for bands, colour in ((near, colours.ink), (far, colours.on_far_band)):
        inside = alt.condition(
            alt.FieldOneOfPredicate("band", bands), alt.value(colour), alt.value("transparent")
        )
        text = base.mark_text(fontSize=SMALL, aria=False)
        layers.append(
            text.encode(**channels(text="figure:N", color=inside, opacity=seen, detail="band:N", **place))
        )
    return layers


def hollow_end(end: Any, dark: bool) -> Any:
    """The end of a line, hollow: it ends where the data end, and goes on beyond them unseen."""
    colours = palette(dark)
    return end.mark_point(
        size=70, filled=True, fill=colours.paper, stroke=colours.blue, strokeWidth=2, opacity=1, aria=False
    )


def phase_heads(frame: pd.DataFrame, end: int, dark: bool) -> list[Any]:
    """The name of each phase at its first step, where the lines end, and a line above it."""
    names = in_order(frame, "step", "step_order")
    first = frame.sort_values("step_order", kind="stable").drop_duplicates("phase")[["step", "phase"]]
    base, colour = chart_of(first), alt.value(palette(dark).secondary)
    y, edge = alt.Y("step:N", sort=names), alt.Y("step:N", sort=names, bandPosition=0)
    line = base.mark_rule(aria=False, strokeWidth=1).encode(
        **channels(y=edge, x=alt.value(0), x2=alt.value(end))
    )
    name = base.mark_text(align="right", fontSize=SMALL, fontStyle="italic", aria=False)
    return [
        line.encode(**channels(color=alt.value(palette(dark).rule))),
        name.encode(**channels(y=y, x=alt.value(end), text="phase:N", color=colour)),
    ]
