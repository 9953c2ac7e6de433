"""Supervision as surgeon: shares of an ordinal ladder, in its order, one hue; never a mean."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd

from dashboard.chart_axes import quarters
from dashboard.chart_theme import SMALL, TEXT, Heading, chart_of, chosen, finished, in_order, spoken
from dashboard.chart_words import (
    band_figures,
    bands_ends,
    spoken_bands,
    supervision_bands_alt,
    supervision_over_time_alt,
)
from dashboard.palette import band_colours, band_steps, palette

ROW, COLUMN = 34, 62
PERCENT = "format(datum.value * 100, '.0f') + ' %'"
FITS_ACROSS, FITS_UP = 0.07, 0.08  # a share below these has no room for its figure
BANDS_HEADING = Heading(
    "Supervision as surgeon",
    (
        "Percent of the cases in which a level is recorded,",
        "lowest step of the ladder first. What happened, not what is permitted.",
    ),
)

QUARTERS_HEADING = Heading(
    "Supervision as surgeon, by quarter of training",
    (*BANDS_HEADING.lines, "Over each bar the number of cases."),
)


def supervision_bands(  # noqa: PLR0913 - a ladder, a heading, a width and two themes
    frame: pd.DataFrame,
    *,
    ladder: list[str],
    of_latest: bool = False,
    heading: Heading = BANDS_HEADING,
    width: int = 640,
    dark: bool = False,
    select: bool = False,
) -> Any:
    """One bar a trainee, in roster order, its steps in the ladder's order, the cases at the end of the line.

    Columns: trainee, trainee_order, band, band_order, share, cases, known_cases, training_quarter, so_far
    (the data end within the quarter), why_none. A trainee with nothing to draw has one row with a blank band and why.
    `ladder` holds every band, lowest first, so that a colour means the same in every chart; `of_latest` tells the
    quarter of each line.
    """
    names = in_order(frame, "trainee", "trainee_order")
    shown = _with_words(frame, "trainee")
    y_axis = alt.Axis(title=None, labelPadding=10)
    y = alt.Y("trainee:N", sort=names, scale=alt.Scale(domain=names, padding=0.14), axis=y_axis)
    x = alt.X(
        "share:Q",
        stack="zero",
        scale=alt.Scale(domain=[0, 1]),
        axis=alt.Axis(title=None, labelExpr=PERCENT, tickCount=5),
    )
    base = chart_of(shown).encode(y=y, order=alt.Order("band_order:Q"))
    bars = _bars(base, ladder, dark).encode(x=x)
    figures = _figures(base, ladder, dark, FITS_ACROSS, x=alt.X("share:Q", stack="zero", bandPosition=0.5))
    ends = _line_ends(frame, of_latest, names, width, dark)
    layers = [bars.add_params(chosen("trainee")) if select else bars, *figures, ends]
    chart = alt.layer(*layers).properties(width=width, height=alt.Step(ROW))
    return finished(chart, heading, supervision_bands_alt(frame, ladder), dark)


def supervision_over_time(
    frame: pd.DataFrame,
    *,
    ladder: list[str],
    heading: Heading = QUARTERS_HEADING,
    height: int = 300,
    dark: bool = False,
) -> Any:
    """One bar a quarter of training of one trainee; a quarter without a case keeps its place.

    Columns: training_quarter, band, band_order, share, cases, and known_cases, which stands over the bar
    where the frame has it. `ladder` holds every band, lowest first.
    """
    known = frame.dropna(subset=["band"])
    axis = alt.Axis(title="quarter of training", labelAngle=0)
    quarter = alt.X("training_quarter:O", scale=alt.Scale(domain=quarters(known), padding=0.12), axis=axis)
    y = alt.Y(
        "share:Q",
        stack="zero",
        scale=alt.Scale(domain=[0, 1]),
        axis=alt.Axis(title=None, labelExpr=PERCENT, tickCount=5),
    )
    base = chart_of(_with_words(known, "training_quarter")).encode(x=quarter, order=alt.Order("band_order:Q"))
    bars = _bars(base, ladder, dark, legend_offset=28).encode(y=y)
    figures = _figures(base, ladder, dark, FITS_UP, y=alt.Y("share:Q", stack="zero", bandPosition=0.5))
    layers = [bars, *figures, *_over_the_bars(known, quarter, dark)]
    chart = alt.layer(*layers).properties(width=alt.Step(COLUMN), height=height)
    return finished(chart, heading, supervision_over_time_alt(frame), dark)


def _with_words(frame: pd.DataFrame, of: str) -> pd.DataFrame:
    """With the figure for inside the bar and the words for a reader who hears the chart."""
    figures: list[Any] = list(band_figures(frame))
    shown = frame[[of, "band", "band_order", "share", "cases"]]
    return shown.assign(figure=figures, spoken=spoken_bands(frame, of))


def _bars(base: Any, ladder: list[str], dark: bool, legend_offset: int = 8) -> Any:
    scale = alt.Scale(domain=ladder, range=band_colours(len(ladder), dark))
    colour = alt.Color("band:N", sort=ladder, scale=scale, legend=alt.Legend(offset=legend_offset))
    bars = base.mark_bar(stroke=palette(dark).interval_edge, strokeWidth=0.75)
    return spoken(bars).encode(color=colour)


def _figures(base: Any, ladder: list[str], dark: bool, fits: float, **place: Any) -> list[Any]:
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
        layers.append(text.encode(text="figure:N", color=inside, opacity=seen, detail="band:N", **place))
    return layers


def _line_ends(frame: pd.DataFrame, of_latest: bool, names: list[str], width: int, dark: bool) -> Any:
    first = frame.drop_duplicates("trainee")
    shown = pd.DataFrame({"trainee": list(first["trainee"]), "end": bands_ends(first, of_latest)})
    text = chart_of(shown).mark_text(align="left", fontSize=TEXT, aria=False)
    y = alt.Y("trainee:N", sort=names)
    return text.encode(y=y, x=alt.value(width + 12), text="end:N", color=alt.value(palette(dark).secondary))


def _over_the_bars(known: pd.DataFrame, quarter: alt.X, dark: bool) -> list[Any]:
    if "known_cases" not in known:
        return []
    shown = known.drop_duplicates("training_quarter")[["training_quarter", "known_cases"]]
    text = chart_of(shown).mark_text(baseline="bottom", dy=-4, fontSize=SMALL, aria=False)
    colour = alt.value(palette(dark).secondary)
    return [text.encode(x=quarter, y=alt.value(0), text="known_cases:Q", color=colour)]
