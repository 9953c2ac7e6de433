"""Charts of the cohort: everybody in the order of the roster, on one axis."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd

from dashboard.charts.look import (
    PERCENT,
    SMALL,
    TEXT,
    Heading,
    axis_top,
    band_bars,
    channels,
    chart_of,
    chosen,
    figures_inside,
    finished,
    in_order,
    numbers,
    palette,
    phase_heads,
    spoken,
    spoken_rows,
)
from dashboard.charts.words import (
    REACHED,
    banded,
    bands_ends,
    complication_intervals_alt,
    line_ends,
    reviewed_quarters,
    spoken_marks,
    spoken_rates,
    spoken_scores,
    supervision_bands_alt,
    technique_cohort_alt,
    volume_grid_alt,
)
from dashboard.queries.live import rows
from dashboard.wording import FEW_CASES

# ---- volume: who has reached which minimum

# Drawn, not written: a font without the sign would set the number beside it in another face.
TICK_SHAPE = "M-0.9,0.05L-0.3,0.65L0.9,-0.7"
NARROW = 12  # so that `3 of 3 short` keeps clear of its neighbours
GRID_ROW, COLUMN = 32, 74
# No other column of the frame reaches the browser.
GRID_COLUMNS = ("trainee", "requirement", "counted_cases", "minimum", "reached", "mark", "group")
TITLE = "Volume against minimum"
COUNTS = (
    "Open: dark, with a bar for the share of the minimum; upright mark: the median of completed classes at this month.",
    "A tick: reached, its parts too: a floor, not a sign of competence.",
)
SHORT = "Short: so many of its parts are still under a minimum of their own, whatever the total."
MINIMUM = "minimum"
SHARE_BEGINS, SHARE_LONG = 0.14, 0.72  # of a cell


def volume_grid(
    frame: pd.DataFrame,
    *,
    title: str = TITLE,
    lines: tuple[str, ...] = (),
    step: int = COLUMN,
    dark: bool = False,
    select: bool = False,
) -> Any:
    """Trainee by requirement, one text a cell, in roster order; the minimum has the first column.

    Columns: trainee, trainee_order, requirement, requirement_order, counted_cases, minimum, reached, mark (`✓ 117`,
    `74`, `46, 1 of 3 short`; a comma starts a second line), group (the class), and, where known, earlier: the median
    of completed classes at this month of training.
    """
    colours, choice = palette(dark), chosen("trainee", "requirement")
    people = [MINIMUM, *in_order(frame, "trainee", "trainee_order")]
    base = _placed_counts(frame, people)
    quiet = alt.condition("datum.reached", alt.value(colours.paper), alt.value(colours.cell))
    fill = alt.condition(choice, alt.value(colours.chosen), alt.value(colours.cell))
    cells = spoken(base.mark_rect(stroke=colours.paper, strokeWidth=2)).encode(
        **channels(x=_across("place", people), x2="next:Q", color=fill if select else quiet)
    )
    layers = [
        cells.add_params(choice) if select else cells,
        *_shares_reached(base, people, dark),
        *_marks(base, people, dark),
        *_people_heads(frame, people, dark),
        _minimums(frame, people, dark),
    ]
    chart = alt.layer(*layers, width=step * len(people), height=alt.Step(GRID_ROW))
    short = any(" short" in mark for mark in frame["mark"])
    heading = Heading(title, (*COUNTS, *((SHORT,) if short else ()), *lines))
    return finished(chart, heading, volume_grid_alt(frame), dark)


def _placed_counts(frame: pd.DataFrame, people: list[str]) -> Any:
    """With the place of each cell, and on the little scale inside it the share reached and where others stood."""
    earlier = frame["earlier"] if "earlier" in frame else pd.Series([None] * len(frame), index=frame.index)
    shown = frame[list(GRID_COLUMNS)].assign(
        spoken=spoken_marks(frame),
        place=[people.index(str(trainee)) for trainee in frame["trainee"]],
        earlier=earlier,
    )
    return (
        chart_of(shown)
        .encode(**channels(y=_requirements_down(frame)))
        .transform_calculate(
            next="datum.place + 1",
            middle="datum.place + 0.5",
            start=f"datum.place + {SHARE_BEGINS}",
            end=f"datum.place + {SHARE_BEGINS + SHARE_LONG}",
            share_at=f"datum.place + {SHARE_BEGINS} + {SHARE_LONG} * clamp(datum.counted_cases / datum.minimum, 0, 1)",
            earlier_at=f"isValid(datum.earlier) ? datum.place + {SHARE_BEGINS} + {SHARE_LONG}"
            " * clamp(datum.earlier / datum.minimum, 0, 1) : null",
        )
    )


def _shares_reached(base: Any, people: list[str], dark: bool) -> list[Any]:
    # Where parts are short the number may lie above the minimum, and its second line stands here.
    colours, still = palette(dark), base.transform_filter("!datum.reached && indexof(datum.mark, ',') < 0")
    track = still.mark_rule(yOffset=11, color=colours.rule, strokeWidth=3, aria=False)
    bar = still.mark_rule(yOffset=11, color=colours.blue, strokeWidth=3, aria=False)
    tick = still.mark_tick(
        yOffset=11, height=9, thickness=2, color=colours.ink, orient="vertical", aria=False
    )
    return [
        track.encode(**channels(x=_across("start", people), x2="end:Q")),
        bar.encode(**channels(x=_across("start", people), x2="share_at:Q")),
        tick.encode(**channels(x=_across("earlier_at", people))),
    ]


def _marks(base: Any, people: list[str], dark: bool) -> list[Any]:
    """A number, a tick before the reached ones, and a second line where parts are short or cases unconfirmed."""
    colours, ticked = palette(dark), "datum.reached"
    ink = alt.condition(ticked, alt.value(colours.secondary), alt.value(colours.ink))
    base = base.encode(**channels(x=_across("middle", people)))
    number = base.transform_calculate(number=f"replace(datum.mark, '{REACHED}', '')")
    alone, two_lines = "indexof(datum.mark, ',') < 0", "indexof(datum.mark, ',') >= 0"
    shapes = [
        base.transform_filter(f"{ticked} && {which}").mark_point(
            shape=TICK_SHAPE,
            size=64,
            filled=False,
            strokeWidth=1.4,
            opacity=1,
            xOffset=-20,
            yOffset=up,
            aria=False,
        )
        for which, up in ((alone, 0), (two_lines, -7))
    ]
    lines: list[tuple[str, dict[str, Any]]] = [
        (f"!({ticked}) && {alone}", {"fontSize": TEXT, "fontWeight": "bold", "dy": -3}),
        (f"{ticked} && {alone}", {"fontSize": TEXT, "dx": 5}),
        (two_lines, {"fontSize": NARROW, "dy": -8, "lineBreak": ", ", "lineHeight": 13}),
    ]
    texts = [
        number.transform_filter(which)
        .mark_text(aria=False, **how)
        .encode(**channels(text="number:N", color=ink))
        for which, how in lines
    ]
    return [*(shape.encode(**channels(color=alt.value(colours.secondary))) for shape in shapes), *texts]


def _requirements_down(frame: pd.DataFrame) -> alt.Y:
    names = in_order(frame, "requirement", "requirement_order")
    scale = alt.Scale(domain=names, padding=0)
    return alt.Y("requirement:N", sort=names, scale=scale, axis=alt.Axis(title=None))


def _people_heads(frame: pd.DataFrame, people: list[str], dark: bool) -> list[Any]:
    """The name of each person, over the first of a class its name, and a line where the next class begins."""
    colours = palette(dark)
    named = pd.DataFrame({"name": people, "middle": [place + 0.5 for place in range(len(people))]})
    names = chart_of(named).mark_text(fontSize=TEXT, baseline="bottom", aria=False)
    first = frame.sort_values("trainee_order", kind="stable").drop_duplicates("group")
    classes = pd.DataFrame(
        {"group": list(first["group"]), "at": [people.index(str(who)) for who in first["trainee"]]}
    )
    base = chart_of(classes).encode(**channels(x=_across("at", people)))
    heads = base.mark_text(align="left", baseline="bottom", dx=3, fontSize=SMALL, aria=False)
    lines = base.mark_rule(aria=False)
    return [
        names.encode(
            **channels(
                x=_across("middle", people), y=alt.value(-6), text="name:N", color=alt.value(colours.ink)
            )
        ),
        heads.encode(**channels(y=alt.value(-26), text="group:N", color=alt.value(colours.secondary))),
        lines.encode(**channels(color=alt.value(colours.rule))),
    ]


def _minimums(frame: pd.DataFrame, people: list[str], dark: bool) -> Any:
    first = frame.drop_duplicates("requirement")[["requirement", "minimum"]].assign(middle=0.5)
    text = chart_of(first).mark_text(fontSize=TEXT, aria=False)
    return text.encode(
        **channels(
            x=_across("middle", people),
            y=_requirements_down(frame),
            text="minimum:Q",
            color=alt.value(palette(dark).secondary),
        )
    )


# ---- outcomes: the interval is the mark, the point the detail

ROW = 34
RATE_COLUMNS = ("trainee", "rate", "rate_low", "rate_high", "expected", "known_outcomes", "label")
LOOKS = "anytime_low", "anytime_high"
HOLDS = "Wide pale band: holds at every look of a whole training together, while the rate is constant."
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

    Columns: trainee, trainee_order, rate, rate_low, rate_high, expected, known_outcomes, label (`2 in 117 cases`). `top`
    fixes the end of the axis, for several charts that are read together; by default `axis_top` says it.
    """
    end = axis_top(frame) if top is None else top
    colours, names = palette(dark), in_order(frame, "trainee", "trainee_order")
    shown = frame[list(RATE_COLUMNS)].assign(label=line_ends(frame, end), spoken=spoken_rates(frame))
    for column in LOOKS:
        shown[column] = frame.get(column)
    axis = alt.Axis(title=None, grid=True, labelExpr=PERCENT, tickCount=6)
    scale = alt.Scale(domain=[0, end], nice=False, zero=True)
    y = alt.Y(
        "trainee:N",
        sort=names,
        scale=alt.Scale(domain=names, padding=0),
        axis=alt.Axis(title=None, labelPadding=14),
    )
    base = chart_of(shown).encode(**channels(y=y))

    def x(name: str) -> alt.X:
        return alt.X(f"{name}:Q", scale=scale, axis=axis)

    few = f"datum.known_outcomes < {FEW_CASES}"
    ranges = base.transform_filter(f"!({few})").mark_bar(
        height=12, clip=True, color=colours.interval, stroke=colours.interval_edge, strokeWidth=1, aria=False
    )
    looks = base.transform_filter(f"!({few})").mark_bar(
        height=22, clip=True, color=colours.band_wide, aria=False
    )
    hairlines = base.transform_filter(few).mark_rule(
        clip=True, color=colours.interval_edge, strokeWidth=1, aria=False
    )
    ticks = base.mark_tick(height=24, thickness=2, color=colours.ink, aria=False, clip=True)
    # Not clipped, or a dot at 0 % would be half a dot; a rate beyond the axis stands in words.
    on_axis = base.transform_filter(f"isValid(datum.rate) && datum.rate <= {end} && !({few})")
    points = on_axis.mark_point(filled=True, size=90, opacity=1, color=colours.blue, aria=False)
    layers = [
        spoken_rows(base, width, dark, select),
        looks.encode(**channels(x=x("anytime_low"), x2="anytime_high:Q")),
        ranges.encode(**channels(x=x("rate_low"), x2="rate_high:Q")),
        hairlines.encode(**channels(x=x("rate_low"), x2="rate_high:Q")),
        *_cut_ends(base, end, width, dark),
        ticks.encode(**channels(x=x("expected"))),
        points.encode(**channels(x=x("rate"))),
        _denominators(base, width, dark),
    ]
    chart = alt.layer(*layers, width=width, height=alt.Step(ROW))
    heading = Heading(title, (*_how_to_read(frame, end), *lines))
    return finished(chart, heading, complication_intervals_alt(frame, title, end), dark)


def _cut_ends(base: Any, end: float, width: int, dark: bool) -> list[Any]:
    """A small arrow at the edge: this interval goes on past the axis."""
    cut = base.transform_filter(f"datum.rate_high > {end}")
    shape = cut.mark_point(
        shape="triangle-right", filled=True, size=110, opacity=1, color=palette(dark).blue, aria=False
    )
    return [shape.encode(**channels(x=alt.value(width - 2)))]


def _denominators(base: Any, width: int, dark: bool) -> Any:
    text = base.mark_text(align="left", fontSize=TEXT, aria=False)
    return text.encode(
        **channels(x=alt.value(width + 14), text="label:N", color=alt.value(palette(dark).secondary))
    )


def _how_to_read(frame: pd.DataFrame, end: float) -> tuple[str, ...]:
    marks = ["Bar: 95 % interval", "dot: observed", f"hairline: under {FEW_CASES} known cases"]
    if any(high > end for high in numbers(frame, "rate_high")):
        marks.append("arrow: the interval goes on")
    lines = [
        " · ".join(marks),
        "At the right: in how many of the cases with a known outcome.",
        EXPECTED if numbers(frame, "expected") else NO_EXPECTED,
        *([HOLDS] if numbers(frame, *LOOKS) else []),
    ]
    if any(rate > end for rate in numbers(frame, "rate")):
        lines.append("In brackets: a rate beyond the axis.")
    return tuple(lines)


# ---- supervision: shares of an ordinal ladder, in its order, one hue; never a mean

FITS_ACROSS = 0.07  # a smaller share has no room for its figure
BANDS_HEADING = Heading(
    "Supervision while operating",
    (
        "Percent of the cases in which a level is recorded,",
        "lowest step of the ladder first. What happened, not what is permitted.",
    ),
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
    shown = banded(frame, "trainee")
    y_axis = alt.Axis(title=None, labelPadding=10)
    y = alt.Y("trainee:N", sort=names, scale=alt.Scale(domain=names, padding=0.14), axis=y_axis)
    x = alt.X(
        "share:Q",
        stack="zero",
        scale=alt.Scale(domain=[0, 1]),
        axis=alt.Axis(title=None, labelExpr=PERCENT, tickCount=5),
    )
    base = chart_of(shown).encode(**channels(y=y, order=alt.Order("band_order:Q")))
    bars = band_bars(base, ladder, dark).encode(**channels(x=x))
    figures = figures_inside(
        base, ladder, dark, FITS_ACROSS, x=alt.X("share:Q", stack="zero", bandPosition=0.5)
    )
    ends = _supervised_cases(frame, of_latest, names, width, dark)
    layers = [bars.add_params(chosen("trainee")) if select else bars, *figures, ends]
    chart = alt.layer(*layers, width=width, height=alt.Step(ROW))
    return finished(chart, heading, supervision_bands_alt(frame, ladder), dark)


def _supervised_cases(frame: pd.DataFrame, of_latest: bool, names: list[str], width: int, dark: bool) -> Any:
    first = frame.drop_duplicates("trainee")
    shown = pd.DataFrame({"trainee": list(first["trainee"]), "end": bands_ends(first, of_latest)})
    text = chart_of(shown).mark_text(align="left", fontSize=TEXT, aria=False)
    y = alt.Y("trainee:N", sort=names)
    return text.encode(
        **channels(y=y, x=alt.value(width + 12), text="end:N", color=alt.value(palette(dark).secondary))
    )


# ---- technique: how each step was scored

LOWEST, HIGHEST = 1, 5
SCORE_COLUMNS = ("step", "score_mean", "score_low", "score_high", "scored")
CELL, CELL_ROW = 78, 40
PHASE = 80  # the room right of the cells for the name of a phase
STRIP = 0.1, 0.8  # the little scale inside a cell: where it begins and how long it is, in widths of the cell
COHORT_HEADING = Heading(
    "Technique by step, each person's latest quarter with a review",
    (
        "Mean score, and in brackets how many were scored. – not scored.",
        "Under it on a scale from 1 to 5: dot mean, bar 95 % interval;",
        "no bar below three scores or where all are alike.",
        "Who scored differs between people.",
    ),
)


def technique_cohort(
    frame: pd.DataFrame,
    *,
    heading: Heading = COHORT_HEADING,
    step: int = CELL,
    dark: bool = False,
    select: bool = False,
) -> Any:
    """Trainee by step: the mean with its count in words, and under it the interval on a scale from 1 to 5.

    Columns: trainee, trainee_order, training_quarter (the latest with a review, blank without one), so_far (the
    data end within it), and those of `technique_steps`; a row for every person and step.
    """
    colours, choice = palette(dark), chosen("trainee")
    people, steps = in_order(frame, "trainee", "trainee_order"), in_order(frame, "step", "step_order")
    shown = frame[["trainee", *SCORE_COLUMNS]].assign(
        mark=[_cell(row) for row in rows(frame)],
        spoken=spoken_scores(frame, ("trainee", "step")),
        place=[people.index(str(trainee)) for trainee in frame["trainee"]],
    )
    y = alt.Y("step:N", sort=steps, scale=alt.Scale(domain=steps, padding=0), axis=alt.Axis(title=None))
    base = _placed(chart_of(shown).encode(**channels(y=y)))
    fill = alt.condition(choice, alt.value(colours.chosen), alt.value(colours.cell))
    cells = spoken(base.mark_rect(stroke=colours.paper, strokeWidth=2)).encode(
        **channels(
            x=_across("place", people),
            x2="next:Q",
            color=fill if select else alt.value(colours.cell),
        )
    )
    sure = alt.condition("datum.scored >= 3", alt.value(colours.ink), alt.value(colours.secondary))
    words = base.mark_text(fontSize=TEXT, dy=-8, aria=False).encode(
        **channels(x=_across("middle", people), text="mark:N", color=sure)
    )
    width = step * (len(people) or 1)
    layers = [
        cells.add_params(choice) if select else cells,
        words,
        *_strips(base, people, dark),
        *_heads(frame, people, dark),
        *phase_heads(frame, width + PHASE, dark),
    ]
    chart = alt.layer(*layers, width=width, height=alt.Step(CELL_ROW))
    return finished(chart, heading, technique_cohort_alt(frame), dark)


def _cell(row: dict[str, Any]) -> str:
    return "–" if row["score_mean"] is None else f"{row['score_mean']:.1f} ({row['scored']})"


def _across(name: str, people: list[str]) -> alt.X:
    """One axis for everything: a person is one unit wide, and a little scale from 1 to 5 lies inside it."""
    return alt.X(f"{name}:Q", scale=alt.Scale(domain=[0, len(people)], nice=False, zero=True), axis=None)


def _placed(base: Any) -> Any:
    """With the place of each cell, of its scale, and of each score on that scale; a blank score has none."""
    begin, long = STRIP
    base = base.transform_calculate(
        next="datum.place + 1",
        middle="datum.place + 0.5",
        start=f"datum.place + {begin}",
        end=f"datum.place + {begin + long}",
    )
    for name in ("score_low", "score_mean", "score_high"):
        inside = f"clamp((datum.{name} - {LOWEST}) / {HIGHEST - LOWEST}, 0, 1)"
        at = f"isValid(datum.{name}) ? datum.start + {long} * {inside} : null"
        base = base.transform_calculate(**{f"{name}_at": at})
    return base


def _strips(base: Any, people: list[str], dark: bool) -> list[Any]:
    colours = palette(dark)
    line = base.transform_filter("datum.scored > 0").mark_rule(
        yOffset=9, color=colours.rule, strokeWidth=2, aria=False
    )
    bar = base.mark_bar(
        yOffset=9, height=8, color=colours.interval, stroke=colours.interval_edge, strokeWidth=1, aria=False
    )
    dot = base.mark_point(yOffset=9, filled=True, size=50, opacity=1, color=colours.blue, aria=False)
    return [
        line.encode(**channels(x=_across("start", people), x2="end:Q")),
        bar.encode(**channels(x=_across("score_low_at", people), x2="score_high_at:Q")),
        dot.encode(**channels(x=_across("score_mean_at", people))),
    ]


def _heads(frame: pd.DataFrame, people: list[str], dark: bool) -> list[Any]:
    """The name of each person, and under it the quarter that is shown."""
    quarters = reviewed_quarters(frame)
    under = [quarters[name].replace(" so far", "\nso far") or "not scored" for name in people]
    middle = [place + 0.5 for place in range(len(people))]
    shown = pd.DataFrame({"trainee": people, "middle": middle, "under": under})
    base = chart_of(shown).encode(**channels(x=_across("middle", people)))
    name = base.mark_text(fontSize=TEXT, aria=False, baseline="top")
    below = base.mark_text(fontSize=SMALL, aria=False, baseline="top", lineBreak="\n", lineHeight=15)
    return [
        name.encode(**channels(y=alt.value(-52), text="trainee:N", color=alt.value(palette(dark).ink))),
        below.encode(**channels(y=alt.value(-34), text="under:N", color=alt.value(palette(dark).secondary))),
    ]
