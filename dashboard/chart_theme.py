"""The look of every chart: one config, the order of people, the words on top.

A chart sets its whole config here, so it looks the same on a screen (drawn with `theme=None`) and in a file.
"""

from __future__ import annotations

from textwrap import wrap
from typing import Any, NamedTuple

import altair as alt
import pandas as pd

from dashboard.palette import Palette, palette

# All of these set figures in equal widths; the first that the machine has is taken.
FONT = '"Helvetica Neue", Arial, "Liberation Sans", sans-serif'
SMALL, TEXT, TITLE = 13, 14, 18
# Every font and every side is named: the page fills in its own where a chart is silent.
PADDING = {"left": 12, "top": 12, "right": 16, "bottom": 12}
CHOSEN = "chosen"
# As many letters as half of a page of 1280 pixels holds: the picture of one person is narrower than its heading.
TITLE_LETTERS, LINE_LETTERS = 48, 75
NO_LIMIT = 10_000  # else words that are wider than a picture end in dots


class Heading(NamedTuple):
    """The question, and under it what the number is, of what, and what it cannot say."""

    title: str
    lines: tuple[str, ...] = ()


def in_order(frame: pd.DataFrame, label: str, order: str) -> list[str]:
    """The labels, each once, in the order that SQL gave; a blank label is none."""
    ordered = frame.dropna(subset=[label]).sort_values(order, kind="stable")
    return [str(each) for each in ordered[label].drop_duplicates()]


def rows(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """The rows as plain values, a missing one as None."""
    plain = frame.astype(object).where(frame.notna(), None)
    return [{str(name): value for name, value in row.items()} for row in plain.to_dict("records")]


def chart_of(frame: pd.DataFrame) -> alt.Chart:
    """Of plain values: a column of categories would name people who were filtered out."""
    return alt.Chart(pd.DataFrame(rows(frame), columns=frame.columns))


def chosen(*fields: str) -> Any:
    """The choice that a click makes; a screen reads it and offers the same by keyboard."""
    return alt.selection_point(fields=list(fields), name=CHOSEN, empty=False)


def spoken(base: Any) -> Any:
    """The words of a mark, for a reader who hears the chart and for one who points at it."""
    return base.encode(description="spoken:N", tooltip=alt.Tooltip("spoken:N"))


def spoken_rows(base: Any, width: int, dark: bool, select: bool = False) -> Any:
    """The whole row carries the words, also where nothing is known; a click chooses it and tints it."""
    row = spoken(base.mark_rect(color=palette(dark).chosen)).encode(x=alt.value(0), x2=alt.value(width))
    if not select:
        return row.encode(opacity=alt.value(0))
    choice = chosen("trainee")
    return row.encode(opacity=alt.condition(choice, alt.value(1), alt.value(0))).add_params(choice)


def finished(chart: Any, heading: Heading, alt_text: str, dark: bool) -> Any:
    """The chart with its heading, its alt text and the whole config: nothing is left to the page."""
    if heading.title:
        lines = [part for line in heading.lines for part in wrap(line, LINE_LETTERS)]
        chart = chart.properties(
            title=alt.TitleParams(wrap(heading.title, TITLE_LETTERS), subtitle=lines, limit=NO_LIMIT)
        )
    return chart.properties(
        description=alt_text,
        padding=PADDING,
        autosize=alt.AutoSizeParams(type="pad", contains="padding"),
        usermeta={"embedOptions": {"renderer": "svg", "actions": False}},
    ).configure(**config(palette(dark)))


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
