"""Volume: who has reached which minimum, and one person's cases on the way there."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd

from dashboard.chart_axes import highest_count, last_month, numbers
from dashboard.chart_theme import SMALL, TEXT, Heading, chart_of, chosen, finished, in_order, spoken
from dashboard.chart_words import REACHED, spoken_marks, volume_grid_alt, volume_over_time_alt
from dashboard.palette import palette

# Drawn, not written: a font without the sign would set the number beside it in another face.
TICK_SHAPE = "M-0.9,0.05L-0.3,0.65L0.9,-0.7"
NARROW = 12  # so that `3 of 3 short` keeps clear of its neighbours
ROW, COLUMN = 32, 74
# No other column of the frame reaches the browser.
GRID_COLUMNS = ("trainee", "requirement", "counted_cases", "minimum", "reached", "mark", "group")
TITLE = "Volume against minimum"
COUNTS = (
    "Cases that count; the minimum stands after the name.",
    "A tick: reached, a floor, not a sign of competence.",
)
NOTHING_BEHIND = "Nothing of earlier classes behind it: fewer than ten people have completed."
SHORT = "Short: so many of its parts are still under a minimum of their own, whatever the total."


def volume_grid(
    frame: pd.DataFrame,
    *,
    title: str = TITLE,
    lines: tuple[str, ...] = (),
    step: int = COLUMN,
    dark: bool = False,
    select: bool = False,
) -> Any:
    """Trainee by requirement, one text a cell, in roster order.

    Columns: trainee, trainee_order, requirement (label with its minimum), requirement_order, counted_cases,
    minimum, reached, mark (`✓ 117`, `74`, `46, 1 of 3 short`; a comma starts a second line), group (the class).
    """
    colours, choice = palette(dark), chosen("trainee", "requirement")
    shown = frame[list(GRID_COLUMNS)].assign(spoken=spoken_marks(frame))
    base = chart_of(shown).encode(x=_trainees_across(frame), y=_requirements_down(frame))
    fill = alt.condition(choice, alt.value(colours.chosen), alt.value(colours.cell))
    cells = spoken(base.mark_rect(stroke=colours.paper, strokeWidth=2)).encode(
        color=fill if select else alt.value(colours.cell)
    )
    layers = [cells.add_params(choice) if select else cells, *_marks(base, dark), *_class_heads(frame, dark)]
    chart = alt.layer(*layers).properties(width=alt.Step(step), height=alt.Step(ROW))
    short = any("," in mark for mark in frame["mark"])
    heading = Heading(title, (*COUNTS, *((SHORT,) if short else ()), *lines))
    return finished(chart, heading, volume_grid_alt(frame), dark)


def _marks(base: Any, dark: bool) -> list[Any]:
    """A number, a tick before the reached ones, and a second line where parts are short."""
    colours, ticked = palette(dark), "datum.reached"
    ink = alt.condition("datum.reached", alt.value(colours.ink), alt.value(colours.secondary))
    number = base.transform_calculate(number=f"replace(datum.mark, '{REACHED}', '')")
    shape = base.transform_filter(ticked).mark_point(
        shape=TICK_SHAPE, size=80, filled=False, strokeWidth=1.6, opacity=1, xOffset=-17, aria=False
    )
    lines: list[tuple[str, dict[str, Any]]] = [
        (f"!({ticked}) && indexof(datum.mark, ',') < 0", {"fontSize": TEXT}),
        (ticked, {"fontSize": TEXT, "dx": 5}),
        (
            "indexof(datum.mark, ',') >= 0",
            {"fontSize": NARROW, "dy": -7, "lineBreak": ", ", "lineHeight": 14},
        ),
    ]
    texts = [
        number.transform_filter(which).mark_text(aria=False, **how).encode(text="number:N", color=ink)
        for which, how in lines
    ]
    return [shape.encode(color=alt.value(colours.ink)), *texts]


def _trainees_across(frame: pd.DataFrame) -> alt.X:
    names = in_order(frame, "trainee", "trainee_order")
    axis = alt.Axis(orient="top", labelAngle=0, title=None)
    return alt.X("trainee:N", sort=names, scale=alt.Scale(domain=names, padding=0), axis=axis)


def _requirements_down(frame: pd.DataFrame) -> alt.Y:
    names = in_order(frame, "requirement", "requirement_order")
    scale = alt.Scale(domain=names, padding=0)
    return alt.Y("requirement:N", sort=names, scale=scale, axis=alt.Axis(title=None))


def _class_heads(frame: pd.DataFrame, dark: bool) -> list[Any]:
    """The name of each class over its first trainee, and a line where the next class begins."""
    first = frame.sort_values("trainee_order", kind="stable").drop_duplicates("group")[["trainee", "group"]]
    at = alt.X("trainee:N", bandPosition=0)
    base = chart_of(first).encode(x=at)
    colour = alt.value(palette(dark).secondary)
    names = base.mark_text(align="left", baseline="bottom", dx=3, fontSize=SMALL, aria=False)
    lines = chart_of(first.iloc[1:]).mark_rule(aria=False)
    return [names.encode(y=alt.value(-28), text="group:N", color=colour), lines.encode(x=at, color=colour)]


# ---- one person on the way


def volume_over_time(  # noqa: PLR0913 - a line, what lies behind it, what it is measured against
    frame: pd.DataFrame,
    bands: pd.DataFrame,
    *,
    trainee: str,
    requirement: str,
    minimum: int | None,
    nothing_behind: str = NOTHING_BEHIND,
    width: int = 760,
    dark: bool = False,
) -> Any:
    """Counted cases so far, as a step line; behind it the completed classes at the same month of training.

    Columns of frame: training_month, counted_cases (so far). Of bands, which may be empty: training_month,
    p10, p25, p50, p75, p90, blank where there were too few people; `nothing_behind` says why there are none. A
    blank minimum draws no line.
    """
    last, top = last_month(frame, bands), highest_count(frame, bands, minimum)
    x = alt.X("training_month:Q", scale=alt.Scale(domain=[0, last], nice=False), axis=_months_axis(last))
    y_axis = alt.Axis(title="cases that count", grid=True, tickCount=6, format="d", tickMinStep=1)
    y_scale = alt.Scale(domain=[0, top], nice=True)

    def y(name: str) -> alt.Y:
        return alt.Y(f"{name}:Q", scale=y_scale, axis=y_axis)

    layers = [
        *_bands_behind(bands, x, y, dark),
        *_minimum_line(minimum, y, dark),
        *_own_line(frame, minimum, x, y, dark),
    ]
    heading = Heading(f"{trainee}, {requirement}", tuple(_behind_in_words(bands, nothing_behind)))
    chart = alt.layer(*layers).properties(width=width, height=340)
    return finished(chart, heading, volume_over_time_alt(frame, bands, trainee, requirement, minimum), dark)


def _months_axis(last: int) -> alt.Axis:
    years = list(range(0, last + 1, 6 if last > 12 else 3))
    return alt.Axis(title="month of training", grid=False, values=years, format="d", labelFlush=False)


def _bands_behind(bands: pd.DataFrame, x: alt.X, y: Any, dark: bool) -> list[Any]:
    colours, layers = palette(dark), []
    for low, high, fill in (("p10", "p90", colours.band_wide), ("p25", "p75", colours.band_half)):
        if numbers(bands, low):
            known = bands[["training_month", low, high]].dropna()
            layers.append(
                chart_of(known).mark_area(color=fill, aria=False).encode(x=x, y=y(low), y2=f"{high}:Q")
            )
    if numbers(bands, "p50"):
        known = bands[["training_month", "p50"]].dropna().sort_values("training_month")
        line = chart_of(known).mark_line(color=colours.secondary, strokeWidth=1.5, aria=False)
        layers.append(line.encode(x=x, y=y("p50")))
        named = chart_of(known.tail(1)).mark_text(align="left", dx=10, aria=False, fontSize=SMALL)
        layers.append(
            named.encode(x=x, y=y("p50"), text=alt.value("median"), color=alt.value(colours.secondary))
        )
    return layers


def _minimum_line(minimum: int | None, y: Any, dark: bool) -> list[Any]:
    if minimum is None:
        return []
    base = chart_of(pd.DataFrame({"minimum": [minimum]})).encode(y=y("minimum"))
    line = base.mark_rule(strokeDash=[6, 4], strokeWidth=1.5, color=palette(dark).ink, aria=False)
    text = base.mark_text(align="left", baseline="bottom", dx=6, dy=-4, fontSize=SMALL, aria=False)
    return [line, text.encode(x=alt.value(0), text=alt.value(f"minimum {minimum}"))]


def _own_line(frame: pd.DataFrame, minimum: int | None, x: alt.X, y: Any, dark: bool) -> list[Any]:
    colours = palette(dark)
    own = frame[["training_month", "counted_cases"]].sort_values("training_month", kind="stable")
    line = chart_of(own).mark_line(interpolate="step-after", strokeWidth=3, color=colours.blue)
    last = chart_of(own.tail(1)).encode(x=x, y=y("counted_cases"))
    number = last.mark_text(
        align="right", baseline="bottom", dx=-6, dy=-8, fontSize=TEXT, fontWeight="bold", aria=False
    )
    of = "" if minimum is None else f" + ' of {minimum}'"
    number = number.transform_calculate(told=f"datum.counted_cases{of}")
    return [
        line.encode(x=x, y=y("counted_cases")),
        last.mark_point(filled=True, size=70, color=colours.blue, opacity=1, aria=False),
        number.encode(text="told:N", color=alt.value(colours.ink)),
    ]


def _behind_in_words(bands: pd.DataFrame, nothing: str) -> list[str]:
    if not numbers(bands, "p50"):
        return [nothing]
    wide = ", the paler band eight in ten" if numbers(bands, "p10") else ""
    return [
        "Behind the line: completed classes at the same month of training.",
        f"The band holds the middle half{wide}.",
    ]
