"""The look of every chart: two palettes of equal care, one config, the order of people, the words on top.

A chart sets its whole config here, so it looks the same on a screen (drawn with `theme=None`) and in a file.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import altair as alt
import pandas as pd

# All of these set figures in equal widths; the first that the machine has is taken.
FONT = '"Helvetica Neue", Arial, "Liberation Sans", sans-serif'
SMALL, TEXT, TITLE = 13, 14, 18
# Every font and every side is named: the page fills in its own where a chart is silent.
PADDING = {"left": 12, "top": 12, "right": 16, "bottom": 12}
CHOSEN = "chosen"


@dataclass(frozen=True)
class Palette:
    """Colours by what they are for. `bands` is one hue, lowest step of a ladder first, seven steps."""

    paper: str
    ink: str
    secondary: str
    rule: str
    cell: str
    blue: str
    interval: str
    interval_edge: str
    chosen: str
    band_wide: str
    band_half: str
    bands: tuple[str, ...]
    dark_band_from: int  # the index in `bands` from which text on a band is `on_far_band`
    on_far_band: str


LIGHT = Palette(
    paper="#fbfaf7",
    ink="#1d2733",
    secondary="#5d6b7a",
    rule="#d9dee3",
    cell="#f1f1ee",
    blue="#1f5f8b",
    interval="#c3d5e2",
    interval_edge="#5f91b5",
    chosen="#e6eff5",
    band_wide="#e3eaef",
    band_half="#c9d8e2",
    bands=("#e4edf3", "#c3d5e2", "#9dbdd3", "#7aa6c4", "#3b769f", "#1f5f8b", "#123f5e"),
    dark_band_from=4,
    on_far_band="#fbfaf7",
)
# On dark paper the ladder runs from dim to bright: the highest step stands out on both.
DARK = Palette(
    paper="#14191f",
    ink="#e8ebee",
    secondary="#a9b4bf",
    rule="#38424c",
    cell="#1c232b",
    blue="#8cc4ea",
    interval="#2b4d68",
    interval_edge="#5d92b8",
    chosen="#22405a",
    band_wide="#1d2a35",
    band_half="#2a4154",
    bands=("#1f3a4f", "#2a4f6b", "#356587", "#67a0c9", "#8cbcdf", "#b4d6ee", "#dcedf8"),
    dark_band_from=3,
    on_far_band="#14191f",
)


class Heading(NamedTuple):
    """The question, and under it what the number is, of what, and what it cannot say."""

    title: str
    lines: tuple[str, ...] = ()


def palette(dark: bool) -> Palette:
    return DARK if dark else LIGHT


def band_colours(count: int, dark: bool) -> list[str]:
    """As many steps of the one hue as the ladder has, spread over its whole length, lowest first."""
    return [palette(dark).bands[at] for at in band_steps(count)]


def band_steps(count: int) -> list[int]:
    last = len(LIGHT.bands) - 1
    return [round(step * last / (count - 1)) for step in range(count)] if count > 1 else [last] * count


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
        chart = chart.properties(title=alt.TitleParams(heading.title, subtitle=list(heading.lines)))
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
            "columnPadding": 18,
            "offset": 8,
        },
        "text": {"font": FONT, "fontSize": TEXT, "color": colours.ink},
    }
