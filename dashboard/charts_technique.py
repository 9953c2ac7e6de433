"""Technique: how each step of an operation was scored, and how sure is that?"""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd

from dashboard.chart_theme import (
    SMALL,
    TEXT,
    Heading,
    chart_of,
    chosen,
    finished,
    in_order,
    rows,
    spoken,
    spoken_rows,
)
from dashboard.chart_words import (
    reviewed_quarters,
    scored_label,
    spoken_scores,
    technique_cohort_alt,
    technique_steps_alt,
)
from dashboard.palette import palette

LOWEST, HIGHEST = 1, 5
COLUMNS = ("step", "score_mean", "score_low", "score_high", "scored")
ROW, CELL, CELL_ROW = 32, 78, 40
PHASE = 80  # the room right of the cells for the name of a phase
STRIP = 0.1, 0.8  # the little scale inside a cell: where it begins and how long it is, in widths of the cell
STEPS_HEADING = Heading(
    "Technique by step",
    (
        "Mean of the scores from 1 to 5,",
        "without self-reviews and steps that a supervisor did.",
        "Dot: mean · bar: 95 % interval, cut at the ends of the scale,",
        "none below three scores or where all are alike.",
    ),
)
COHORT_HEADING = Heading(
    "Technique by step, each person's latest quarter with a review",
    (
        "Mean score, and in brackets how many were scored. – not scored.",
        "Under it on a scale from 1 to 5: dot mean, bar 95 % interval;",
        "no bar below three scores or where all are alike.",
        "Who scored differs between people.",
    ),
)


def technique_steps(
    frame: pd.DataFrame,
    *,
    heading: Heading = STEPS_HEADING,
    width: int = 480,
    dark: bool = False,
) -> Any:
    """One line a step of one trainee, in the order of the operation, under the name of its phase.

    Columns: step, step_order, phase, score_mean, score_low, score_high, scored; an interval may be blank.
    """
    colours, names = palette(dark), in_order(frame, "step", "step_order")
    labels = [scored_label(int(row["scored"]), row["score_low"], row["score_high"]) for row in rows(frame)]
    shown = frame[list(COLUMNS)].assign(label=labels, spoken=spoken_scores(frame, ("step",)))
    y_axis = alt.Axis(title=None, labelPadding=14)
    y = alt.Y("step:N", sort=names, scale=alt.Scale(domain=names, padding=0), axis=y_axis)
    scale = alt.Scale(domain=[LOWEST, HIGHEST], nice=False, zero=False)
    axis = alt.Axis(title="score", grid=True, values=list(range(LOWEST, HIGHEST + 1)), format="d")
    base = chart_of(shown).encode(y=y)

    def x(name: str) -> alt.X:
        return alt.X(f"{name}:Q", scale=scale, axis=axis)

    ranges = base.mark_bar(
        height=12, clip=True, color=colours.interval, stroke=colours.interval_edge, strokeWidth=1, aria=False
    )
    points = base.mark_point(filled=True, size=90, opacity=1, color=colours.blue, aria=False)
    ends = base.mark_text(align="left", fontSize=TEXT, aria=False)
    layers = [
        spoken_rows(base, width, dark),
        ranges.encode(x=x("score_low"), x2="score_high:Q"),
        points.encode(x=x("score_mean")),
        ends.encode(x=alt.value(width + 14), text="label:N", color=alt.value(colours.secondary)),
        *_phases(frame, width + 280, dark),
    ]
    chart = alt.layer(*layers).properties(width=width, height=alt.Step(ROW))
    return finished(chart, heading, technique_steps_alt(frame), dark)


def _phases(frame: pd.DataFrame, end: int, dark: bool) -> list[Any]:
    """The name of each phase at its first step, where the lines end, and a line above it."""
    names = in_order(frame, "step", "step_order")
    first = frame.sort_values("step_order", kind="stable").drop_duplicates("phase")[["step", "phase"]]
    base, colour = chart_of(first), alt.value(palette(dark).secondary)
    y, edge = alt.Y("step:N", sort=names), alt.Y("step:N", sort=names, bandPosition=0)
    line = base.mark_rule(aria=False, strokeWidth=1).encode(y=edge, x=alt.value(0), x2=alt.value(end))
    name = base.mark_text(align="right", fontSize=SMALL, fontStyle="italic", aria=False)
    return [
        line.encode(color=alt.value(palette(dark).rule)),
        name.encode(y=y, x=alt.value(end), text="phase:N", color=colour),
    ]


# ---- everybody


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
    shown = frame[["trainee", *COLUMNS]].assign(
        mark=[_cell(row) for row in rows(frame)],
        spoken=spoken_scores(frame, ("trainee", "step")),
        place=[people.index(str(each)) for each in frame["trainee"]],
    )
    y = alt.Y("step:N", sort=steps, scale=alt.Scale(domain=steps, padding=0), axis=alt.Axis(title=None))
    base = _placed(chart_of(shown).encode(y=y))
    fill = alt.condition(choice, alt.value(colours.chosen), alt.value(colours.cell))
    cells = spoken(base.mark_rect(stroke=colours.paper, strokeWidth=2)).encode(
        x=_across("place", people),
        x2="next:Q",
        color=fill if select else alt.value(colours.cell),
    )
    sure = alt.condition("datum.scored >= 3", alt.value(colours.ink), alt.value(colours.secondary))
    words = base.mark_text(fontSize=TEXT, dy=-8, aria=False).encode(
        x=_across("middle", people), text="mark:N", color=sure
    )
    width = step * (len(people) or 1)
    layers = [
        cells.add_params(choice) if select else cells,
        words,
        *_strips(base, people, dark),
        *_heads(frame, people, dark),
        *_phases(frame, width + PHASE, dark),
    ]
    chart = alt.layer(*layers).properties(width=width, height=alt.Step(CELL_ROW))
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
        line.encode(x=_across("start", people), x2="end:Q"),
        bar.encode(x=_across("score_low_at", people), x2="score_high_at:Q"),
        dot.encode(x=_across("score_mean_at", people)),
    ]


def _heads(frame: pd.DataFrame, people: list[str], dark: bool) -> list[Any]:
    """The name of each person, and under it the quarter that is shown."""
    quarters = reviewed_quarters(frame)
    under = [quarters[name].replace(" so far", "\nso far") or "not scored" for name in people]
    middle = [place + 0.5 for place in range(len(people))]
    shown = pd.DataFrame({"trainee": people, "middle": middle, "under": under})
    base = chart_of(shown).encode(x=_across("middle", people))
    name = base.mark_text(fontSize=TEXT, aria=False, baseline="top")
    below = base.mark_text(fontSize=SMALL, aria=False, baseline="top", lineBreak="\n", lineHeight=15)
    return [
        name.encode(y=alt.value(-52), text="trainee:N", color=alt.value(palette(dark).ink)),
        below.encode(y=alt.value(-34), text="under:N", color=alt.value(palette(dark).secondary)),
    ]
