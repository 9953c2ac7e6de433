"""Charts of one trainee: on the way to a minimum, from quarter to quarter, step by step."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd

from dashboard.charts.cohort import BANDS_HEADING, HIGHEST, LOWEST, SCORE_COLUMNS
from dashboard.charts.look import (
    PERCENT,
    SMALL,
    TEXT,
    Heading,
    band_bars,
    channels,
    chart_of,
    figures_inside,
    finished,
    highest_count,
    hollow_end,
    in_order,
    last_case,
    last_month,
    numbers,
    palette,
    phase_heads,
    quarters,
    spoken_rows,
)
from dashboard.charts.marks import marks_below, marks_within
from dashboard.charts.words import (
    banded,
    case_sequence_alt,
    marks_alt,
    scored_label,
    spoken_scores,
    supervision_over_time_alt,
    technique_steps_alt,
    volume_over_time_alt,
)

# ---- volume
from dashboard.queries.live import rows

NOTHING_BEHIND = "Nothing of earlier classes behind it: fewer than ten people have completed."


def volume_over_time(  # noqa: PLR0913 - a line, what lies behind and under it, what it is measured against
    frame: pd.DataFrame,
    bands: pd.DataFrame,
    marks: pd.DataFrame,
    *,
    trainee: str,
    requirement: str,
    minimum: int | None,
    nothing_behind: str = NOTHING_BEHIND,
    width: int = 600,
    dark: bool = False,
) -> Any:
    """Counted cases so far, as a step line that ends, hollow, where the data end; behind it the completed classes at the
    same month of training, under the axis the marks of `marks_below`.

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
    chart = alt.layer(*layers, width=width, height=340)
    reached = marks_within(marks, last)
    told = volume_over_time_alt(frame, bands, trainee, requirement, minimum) + marks_alt(reached)
    return finished(_over(chart, marks_below(reached, (0, last), width, dark)), heading, told, dark)


def _over(chart: Any, below: list[Any]) -> Any:
    return alt.vconcat(chart, *below, spacing=2) if below else chart


def _months_axis(last: int) -> alt.Axis:
    years = list(range(0, last + 1, 6 if last > 12 else 3))
    return alt.Axis(title="month of training", grid=False, values=years, format="d", labelFlush=False)


def _bands_behind(bands: pd.DataFrame, x: alt.X, y: Any, dark: bool) -> list[Any]:
    colours, layers = palette(dark), []
    for low, high, fill in (("p10", "p90", colours.band_wide), ("p25", "p75", colours.band_half)):
        if numbers(bands, low):
            known = bands[["training_month", low, high]].dropna()
            layers.append(
                chart_of(known)
                .mark_area(color=fill, aria=False)
                .encode(**channels(x=x, y=y(low), y2=f"{high}:Q"))
            )
    if numbers(bands, "p50"):
        known = bands[["training_month", "p50"]].dropna().sort_values("training_month")
        line = chart_of(known).mark_line(color=colours.secondary, strokeWidth=1.5, aria=False)
        layers.append(line.encode(**channels(x=x, y=y("p50"))))
        named = chart_of(known.tail(1)).mark_text(align="left", dx=10, aria=False, fontSize=SMALL)
        layers.append(
            named.encode(
                **channels(x=x, y=y("p50"), text=alt.value("median"), color=alt.value(colours.secondary))
            )
        )
    return layers


def _minimum_line(minimum: int | None, y: Any, dark: bool) -> list[Any]:
    if minimum is None:
        return []
    base = chart_of(pd.DataFrame({"minimum": [minimum]})).encode(**channels(y=y("minimum")))
    line = base.mark_rule(strokeDash=[6, 4], strokeWidth=1.5, color=palette(dark).ink, aria=False)
    text = base.mark_text(align="left", baseline="bottom", dx=6, dy=-4, fontSize=SMALL, aria=False)
    return [line, text.encode(**channels(x=alt.value(0), text=alt.value(f"minimum {minimum}")))]


def _own_line(frame: pd.DataFrame, minimum: int | None, x: alt.X, y: Any, dark: bool) -> list[Any]:
    colours = palette(dark)
    own = frame[["training_month", "counted_cases"]].sort_values("training_month", kind="stable")
    line = chart_of(own).mark_line(interpolate="step-after", strokeWidth=3, color=colours.blue)
    last = chart_of(own.tail(1)).encode(**channels(x=x, y=y("counted_cases")))
    number = last.mark_text(
        align="right", baseline="bottom", dx=-6, dy=-8, fontSize=TEXT, fontWeight="bold", aria=False
    )
    of = "" if minimum is None else f" + ' of {minimum}'"
    number = number.transform_calculate(words=f"datum.counted_cases{of}")
    return [
        line.encode(**channels(x=x, y=y("counted_cases"))),
        hollow_end(last, dark),
        number.encode(**channels(text="words:N", color=alt.value(colours.ink))),
    ]


def _behind_in_words(bands: pd.DataFrame, nothing: str) -> list[str]:
    if not numbers(bands, "p50"):
        return [nothing]
    wide = ", the paler band eight in ten" if numbers(bands, "p10") else ""
    return [
        "Behind the line: completed classes at the same month of training.",
        f"The band holds the middle half{wide}.",
    ]


# ---- supervision

COLUMN, GAP = 62, 0.12
FITS_UP = 0.08  # a smaller share has no room for its figure
QUARTERS_HEADING = Heading(
    "Supervision while operating, by quarter of training",
    (*BANDS_HEADING.lines, "Over each bar the number of cases."),
)


def supervision_over_time(
    frame: pd.DataFrame,
    marks: pd.DataFrame,
    *,
    ladder: list[str],
    heading: Heading = QUARTERS_HEADING,
    height: int = 300,
    dark: bool = False,
) -> Any:
    """One bar a quarter of training of one trainee; a quarter without a case keeps its place.

    Columns: training_quarter, band, band_order, share, cases, and known_cases, which stands over the bar
    where the frame has it. `ladder` holds every band, lowest first. Under the axis the marks of `marks_below`.
    """
    known = frame.dropna(subset=["band"])
    axis = alt.Axis(title="quarter of training", labelAngle=0)
    shown = quarters(known)
    quarter = alt.X("training_quarter:O", scale=alt.Scale(domain=shown, padding=GAP), axis=axis)
    y = alt.Y(
        "share:Q",
        stack="zero",
        scale=alt.Scale(domain=[0, 1]),
        axis=alt.Axis(title=None, labelExpr=PERCENT, tickCount=5),
    )
    base = chart_of(banded(known, "training_quarter")).encode(
        **channels(x=quarter, order=alt.Order("band_order:Q"))
    )
    bars = band_bars(base, ladder, dark, legend_offset=28).encode(**channels(y=y))
    figures = figures_inside(base, ladder, dark, FITS_UP, y=alt.Y("share:Q", stack="zero", bandPosition=0.5))
    layers = [bars, *figures, *_over_the_bars(known, quarter, dark)]
    chart = alt.layer(*layers, width=alt.Step(COLUMN), height=height)
    # A column a quarter, and half of the gap on either side of them.
    ends = (-3 * GAP / 2, 3 * (len(shown) + GAP / 2))
    reached = marks_within(marks, 3 * len(shown))
    below = marks_below(reached, ends, round(COLUMN * (len(shown) + GAP)), dark)
    return finished(_over(chart, below), heading, supervision_over_time_alt(frame) + marks_alt(reached), dark)


def _over_the_bars(known: pd.DataFrame, quarter: alt.X, dark: bool) -> list[Any]:
    if "known_cases" not in known:
        return []
    shown = known.drop_duplicates("training_quarter")[["training_quarter", "known_cases"]]
    text = chart_of(shown).mark_text(baseline="bottom", dy=-4, fontSize=SMALL, aria=False)
    colour = alt.value(palette(dark).secondary)
    return [text.encode(**channels(x=quarter, y=alt.value(0), text="known_cases:Q", color=colour))]


# ---- technique

ROW = 32
STEPS_HEADING = Heading(
    "Technique by step",
    (
        "Mean of the scores from 1 to 5,",
        "without self-reviews and steps that a supervisor did.",
        "Dot: mean · bar: 95 % interval, cut at the ends of the scale,",
        "none below three scores or where all are alike.",
    ),
)


def technique_steps(
    frame: pd.DataFrame,
    *,
    heading: Heading = STEPS_HEADING,
    width: int = 320,
    dark: bool = False,
) -> Any:
    """One line a step of one trainee, in the order of the operation, under the name of its phase.

    Columns: step, step_order, phase, score_mean, score_low, score_high, scored; an interval may be blank.
    """
    colours, names = palette(dark), in_order(frame, "step", "step_order")
    labels = [scored_label(int(row["scored"]), row["score_low"], row["score_high"]) for row in rows(frame)]
    shown = frame[list(SCORE_COLUMNS)].assign(label=labels, spoken=spoken_scores(frame, ("step",)))
    y_axis = alt.Axis(title=None, labelPadding=14)
    y = alt.Y("step:N", sort=names, scale=alt.Scale(domain=names, padding=0), axis=y_axis)
    scale = alt.Scale(domain=[LOWEST, HIGHEST], nice=False, zero=False)
    axis = alt.Axis(title="score", grid=True, values=list(range(LOWEST, HIGHEST + 1)), format="d")
    base = chart_of(shown).encode(**channels(y=y))

    def x(name: str) -> alt.X:
        return alt.X(f"{name}:Q", scale=scale, axis=axis)

    ranges = base.mark_bar(
        height=12, clip=True, color=colours.interval, stroke=colours.interval_edge, strokeWidth=1, aria=False
    )
    points = base.mark_point(filled=True, size=90, opacity=1, color=colours.blue, aria=False)
    ends = base.mark_text(align="left", fontSize=TEXT, aria=False)
    layers = [
        spoken_rows(base, width, dark),
        ranges.encode(**channels(x=x("score_low"), x2="score_high:Q")),
        points.encode(**channels(x=x("score_mean"))),
        ends.encode(**channels(x=alt.value(width + 14), text="label:N", color=alt.value(colours.secondary))),
        *phase_heads(frame, width + 280, dark),
    ]
    chart = alt.layer(*layers, width=width, height=alt.Step(ROW))
    return finished(chart, heading, technique_steps_alt(frame), dark)


# ---- outcomes by case number

SEQUENCE_COLUMNS = (
    *("case_number", "is_event", "observed_minus_expected", "cusum", "limit_person", "limit_class"),
)
SEQUENCE_LINES = (
    "Above: events so far, less those expected at the same case numbers.",
    "Below: a running score (CUSUM), up with each event, down with each case",
    "without one; above a limit the events are more than chance usually brings.",
    "Dashed: limit for one person; dotted: for a class; upright marks: events.",
    "The axis counts cases, not months: no rotation or leave stands under it.",
)


def case_sequence(
    frame: pd.DataFrame, *, trainee: str, outcome: str, width: int = 600, dark: bool = False
) -> Any:
    """Observed less expected, and below it the CUSUM with its limits, case by case; the line ends where the data end.

    Columns: case_number, is_event, observed_minus_expected, cusum, limit_person, limit_class; blank from where on nothing
    is expected.
    """
    colours = palette(dark)
    last = last_case(frame)
    x = alt.X(
        "case_number:Q",
        scale=alt.Scale(domain=[0, last], nice=False),
        axis=alt.Axis(title="case with a known outcome", format="d", tickMinStep=1),
    )
    known = frame[list(SEQUENCE_COLUMNS)].dropna(subset=["cusum"])
    base = chart_of(known).encode(**channels(x=x))
    parts = []
    for column, name, height in (
        ("observed_minus_expected", "events less expected", 180),
        ("cusum", "CUSUM", 140),
    ):
        y = alt.Y(f"{column}:Q", axis=alt.Axis(title=name, grid=True, tickCount=5))
        line = base.mark_line(
            interpolate="step-after", strokeWidth=2.5, color=colours.blue, aria=False
        ).encode(**channels(y=y))
        hollow = hollow_end(chart_of(known.tail(1)).encode(**channels(x=x, y=y)), dark)
        events = base.transform_filter("datum.is_event").mark_tick(
            thickness=1.5, height=10, color=colours.ink, aria=False
        )
        layers = [line, hollow, events.encode(**channels(y=alt.value(height - 5)))]
        if column == "cusum":
            layers += _limits(known, dark)
        parts.append(alt.layer(*layers, width=width, height=height))
    chart = alt.vconcat(*parts, spacing=12)
    return finished(
        chart,
        Heading(f"{trainee}, {outcome}", SEQUENCE_LINES),
        case_sequence_alt(frame, trainee, outcome),
        dark,
    )


def _limits(known: pd.DataFrame, dark: bool) -> list[Any]:
    drawn = []
    for column, dash in (("limit_person", [6, 4]), ("limit_class", [2, 3])):
        limits = known[[column]].dropna().head(1)
        if not limits.empty:
            rule = chart_of(limits).mark_rule(strokeDash=dash, color=palette(dark).ink, aria=False)
            drawn.append(rule.encode(**channels(y=alt.Y(f"{column}:Q"))))
    return drawn
