"""charts: each draws the columns it was given and nothing else, for everyone alike, legibly in both themes.

Contrast is judged by WCAG 2.2 (success criteria 1.4.3 and 1.4.11, with its definition of relative luminance).
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator
from typing import Any

import pandas as pd
import pytest
import vl_convert

from dashboard import charts
from dashboard.chart_theme import FONT, SMALL, band_colours, band_steps
from tests import chart_frames as frames

NO_BANDS = frames.completed().iloc[:0]
OWN: dict[str, Any] = {"trainee": "T31", "requirement": "Cataract as surgeon", "minimum": 86}
RUPTURE = "Capsule rupture, as started"

# name -> the chart, from one frame; the frame it is drawn from.
Draw = Callable[..., Any]
CHARTS: dict[str, tuple[Draw, pd.DataFrame]] = {
    "volume_grid": (charts.volume_grid, frames.volume()),
    "volume_grid of forty": (charts.volume_grid, frames.volume(40)),
    "complication_intervals": (
        lambda frame, **how: charts.complication_intervals(frame, title=RUPTURE, **how),
        frames.outcomes(),
    ),
    "complication_intervals of forty": (
        lambda frame, **how: charts.complication_intervals(frame, title=RUPTURE, **how),
        frames.many_outcomes(),
    ),
    "supervision_bands": (charts.supervision_bands, frames.bands()),
    "supervision_over_time": (charts.supervision_over_time, frames.quarters()),
    "technique_steps": (charts.technique_steps, frames.steps()),
    "technique_cohort": (charts.technique_cohort, frames.everybody()),
    "volume_over_time": (
        lambda frame, **how: charts.volume_over_time(frame, frames.completed(), **OWN, **how),
        frames.months(),
    ),
    "volume_over_time, no wide band": (
        lambda frame, **how: charts.volume_over_time(frame, frames.completed(wide=False), **OWN, **how),
        frames.months(36),
    ),
    "volume_over_time, no band": (
        lambda frame, **how: charts.volume_over_time(frame, NO_BANDS, **OWN, **how),
        frames.months(),
    ),
}
CHOOSING = ["volume_grid", "complication_intervals", "supervision_bands", "technique_cohort"]
OF_PEOPLE = [name for name in CHARTS if name.split(" ")[0] in CHOOSING]

every_chart = pytest.mark.parametrize("name", CHARTS)
both_themes = pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])


def spec(name: str, **how: Any) -> dict[str, Any]:
    draw, frame = CHARTS[name]
    found: dict[str, Any] = draw(frame, **how).to_dict()
    return found


def walk(node: Any) -> Iterator[tuple[str, Any]]:
    """Every key of a spec with its value, at any depth; the data are left out."""
    if isinstance(node, dict):
        for key, value in node.items():
            if key != "datasets":
                yield key, value
                yield from walk(value)
    elif isinstance(node, list):
        for each in node:
            yield from walk(each)


# ---- drawn, not reckoned


AGGREGATES = {
    "aggregate",
    "joinaggregate",
    "window",
    "bin",
    "density",
    "regression",
    "loess",
    "quantile",
    "impute",
}


@every_chart
def test_no_chart_aggregates(name: str) -> None:
    keys = {key for key, _ in walk(spec(name, dark=False))}
    assert {"layer", "encoding", "field"} <= keys
    assert keys & AGGREGATES == set()
    shorthand = re.compile(r"\b(mean|sum|count|median|average|stdev|ci0|ci1)\(")
    assert [
        value for _, value in walk(spec(name)) if isinstance(value, str) and shorthand.search(value)
    ] == []


@every_chart
def test_the_values_in_a_chart_are_the_frames_own(name: str) -> None:
    _, frame = CHARTS[name]
    drawn = max(spec(name)["datasets"].values(), key=lambda rows: len(set(rows[0]) & set(frame.columns)))
    kept = [column for column in frame.columns if column in drawn[0]]
    assert set(frame.columns) - set(kept) <= {"trainee_order", "step_order", "requirement_order", "phase"}
    expected = [{column: plain(row[column]) for column in kept} for row in frame.to_dict("records")]
    assert [{column: row[column] for column in kept} for row in drawn] == expected


def plain(value: Any) -> Any:
    return None if value is None or (isinstance(value, float) and math.isnan(value)) else value


@every_chart
def test_every_chart_names_only_columns_that_it_has(name: str) -> None:
    drawn = spec(name)
    columns = {column for rows in drawn["datasets"].values() for row in rows for column in row}
    made = {value for key, value in walk(drawn) if key == "as"}
    fields = {value for key, value in walk(drawn) if key == "field"}
    assert fields
    assert fields - columns - made == set()


# ---- everyone alike


@pytest.mark.parametrize("name", OF_PEOPLE)
def test_people_stand_in_the_order_that_was_given(name: str) -> None:
    draw, frame = CHARTS[name]
    people = list(dict.fromkeys(frame["trainee"]))
    # Sorted by rate or shuffled, the rows still give the roster's order.
    for shuffled in (frame, frame.iloc[::-1], frame.sample(frac=1, random_state=4)):
        assert order_of_people(draw(shuffled).to_dict()) == people


def order_of_people(drawn: dict[str, Any]) -> list[str]:
    for _, value in walk(drawn):
        if isinstance(value, dict) and value.get("field") == "trainee" and "scale" in value:
            assert value["sort"] == value["scale"]["domain"]
            return list(value["sort"])
    heads = next(rows for rows in drawn["datasets"].values() if set(rows[0]) == {"trainee", "middle"})
    return [row["trainee"] for row in sorted(heads, key=lambda row: float(row["middle"]))]


def test_a_cell_of_the_technique_grid_stands_under_its_person() -> None:
    drawn = spec("technique_cohort")["datasets"].values()
    heads = next(rows for rows in drawn if set(rows[0]) == {"trainee", "middle"})
    middle = {row["trainee"]: row["middle"] for row in heads}
    cells = next(rows for rows in drawn if "place" in rows[0])
    assert {(row["trainee"], row["place"] + 0.5) for row in cells} == set(middle.items())


@every_chart
def test_one_axis_holds_for_everyone(name: str) -> None:
    domains: dict[str, set[str]] = {"x": set(), "y": set()}
    for key, value in walk(spec(name)):
        if key in domains and isinstance(value, dict) and "scale" in value:
            domains[key].add(str(value["scale"]["domain"]))
    assert len(domains["x"]) <= 1 and len(domains["y"]) <= 1
    assert not any(key in {"facet", "resolve"} for key, _ in walk(spec(name)))


@pytest.mark.parametrize(
    ("drawn", "top"),
    [
        # The points are at 1.7 and 4.1 %: twice 4.1 is 8.2, and an axis never ends before 10 %.
        ([(2, 117, None), (3, 74, None)], 0.10),
        # 0 of 3 reaches to 56 %: cut, so that the others keep their width.
        ([(2, 117, None), (3, 74, None), (0, 3, None)], 0.10),
        # 2 of 20 is 10 %: twice that.
        ([(2, 20, None), (3, 74, None)], 0.20),
        # 1 of 3 is 33 %: its point is on the axis, its interval (to 79 %) is cut.
        ([(1, 3, None), (2, 117, None)], 0.40),
        # An expected value is on the axis like a point: twice 9 %.
        ([(0, 30, 0.09), (0, 40, None)], 0.15),
        ([(3, 3, None)], 1.0),
        ([(0, 0, None)], 0.10),
        ([], 0.10),
    ],
)
def test_the_axis_ends_at_a_round_share_past_every_point(
    drawn: list[tuple[int, int, float | None]], top: float
) -> None:
    assert charts.axis_top(frames.outcomes(drawn)) == top


def test_an_interval_past_the_axis_is_cut_and_marked() -> None:
    frame = frames.outcomes([(2, 117, 0.02), (0, 3, 0.02)])
    drawn = charts.complication_intervals(frame, title=RUPTURE).to_dict()
    assert "datum.rate_high > 0.1" in [value for key, value in walk(drawn) if key == "filter"]
    svg = vl_convert.vegalite_to_svg(drawn)
    assert svg.count('aria-label="T02: 0 of 3 known"') == 1
    assert "arrow: the interval goes on" in svg
    whole = charts.complication_intervals(frame.iloc[:1], title=RUPTURE).to_dict()
    assert "arrow" not in str(whole["title"])


def test_an_axis_can_be_held_for_charts_read_together() -> None:
    drawn = charts.complication_intervals(frames.outcomes(), title=RUPTURE, top=0.5).to_dict()
    tops = [value["domain"] for key, value in walk(drawn) if key == "scale" and value["domain"][0] == 0]
    assert tops and all(top == [0, 0.5] for top in tops)


def test_the_denominator_stands_at_the_end_of_each_line() -> None:
    svg = vl_convert.vegalite_to_svg(spec("complication_intervals"))
    for label in frames.outcomes()["label"]:
        assert f">{label}<" in svg
    assert svg.count(">nothing known<") == 3
    ends = vl_convert.vegalite_to_svg(spec("supervision_bands"))
    for known in frames.bands()["known_cases"]:
        assert f">{known} cases<" in ends or known == 0
    assert ends.count(">no level recorded<") == 4


def test_a_ladder_is_drawn_in_its_order_in_one_hue_that_only_darkens_or_only_brightens() -> None:
    for name in ("supervision_bands", "supervision_over_time"):
        colour = next(value for key, value in walk(spec(name)) if key == "color" and "scale" in value)
        assert colour["scale"]["domain"] == colour["sort"] == frames.BANDS
    for dark in (False, True):
        for count in range(2, 8):
            steps = [luminance(colour) for colour in band_colours(count, dark)]
            assert steps == sorted(steps, reverse=not dark)
            assert len(set(band_steps(count))) == count


def test_a_quarter_without_a_case_keeps_its_place() -> None:
    x = next(value for key, value in walk(spec("supervision_over_time")) if key == "x" and "scale" in value)
    assert x["scale"]["domain"] == [1, 2, 3, 4, 5, 6, 7, 8]


def test_a_tick_stands_only_where_the_mark_says_reached_and_two_lines_only_where_parts_are_short() -> None:
    frame = frames.volume()
    svg = vl_convert.vegalite_to_svg(spec("volume_grid"))
    ticked = sum(mark.startswith("✓") for mark in frame["mark"])
    assert ticked > 0 and svg.count("L-") >= ticked
    assert svg.count(', reached"') == ticked
    assert svg.count(">1 of 3 short<") == 1
    assert "Short: enough in all" in svg
    without = charts.volume_grid(frame[~frame["mark"].str.contains("short")]).to_dict()
    assert "Short" not in str(without["title"])


def test_the_line_of_a_person_ends_with_its_count_of_the_minimum() -> None:
    svg = vl_convert.vegalite_to_svg(spec("volume_over_time"))
    assert ">9 of 86<" in svg and ">minimum 86<" in svg and ">median<" in svg
    alone = vl_convert.vegalite_to_svg(spec("volume_over_time, no band"))
    assert ">median<" not in alone and "fewer than ten people have completed" in alone


# ---- colours


def luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.2."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_contrast_is_reckoned_as_the_guideline_has_it() -> None:
    # WCAG 2.2: black on white is 21 : 1, the highest there is; #767676 on white is 4.54 (common practice)
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)


@both_themes
def test_text_can_be_read_on_everything_it_stands_on(dark: bool) -> None:
    colours = charts.palette(dark)
    grounds = (colours.paper, colours.cell, colours.chosen, colours.band_wide, colours.band_half)
    assert [ground for ground in grounds if contrast(colours.ink, ground) < 4.5] == []
    # Secondary words stand on paper, cells and the pale band; the chosen column is shown below.
    assert [
        ground for ground in (colours.paper, colours.cell) if contrast(colours.secondary, ground) < 4.5
    ] == []
    for at, ground in enumerate(colours.bands):
        text = colours.on_far_band if at >= colours.dark_band_from else colours.ink
        assert contrast(text, ground) >= 4.5, ground


@both_themes
def test_secondary_words_can_be_read_in_a_chosen_row_or_column(dark: bool) -> None:
    colours = charts.palette(dark)
    assert contrast(colours.secondary, colours.chosen) >= 4.5


@both_themes
def test_what_carries_the_meaning_stands_out_from_the_paper(dark: bool) -> None:
    colours = charts.palette(dark)
    for drawn in (colours.interval_edge, colours.blue, colours.ink, colours.secondary):
        assert contrast(drawn, colours.paper) >= 3
    assert contrast(colours.blue, colours.interval) >= 3


@both_themes
@every_chart
def test_every_colour_is_one_of_the_palette(name: str, dark: bool) -> None:
    how = {"select": True} if name in CHOOSING else {}
    own = charts.palette(dark)
    palette = {own.paper, own.ink, own.secondary, own.rule, own.cell, own.blue, own.interval}
    palette |= {own.interval_edge, own.chosen, own.band_wide, own.band_half, own.on_far_band, *own.bands}
    drawn = spec(name, dark=dark, **how)
    used = set(re.findall(r"#[0-9a-fA-F]{3,8}\b", str(list(walk(drawn)))))
    assert used and used - palette == set()
    svg = vl_convert.vegalite_to_svg(drawn)
    painted = set(re.findall(r'(?:fill|stroke)="([^"]+)"', svg)) - {"none", "transparent"}
    assert painted - palette - {rgb(colour) for colour in palette} == set()


def rgb(colour: str) -> str:
    return f"rgb({', '.join(str(int(colour[at : at + 2], 16)) for at in (1, 3, 5))})"


# ---- for every eye and ear


@both_themes
@every_chart
def test_every_chart_renders_with_text_of_twelve_pixels_or_more(name: str, dark: bool) -> None:
    svg = vl_convert.vegalite_to_svg(spec(name, dark=dark))
    sizes = [float(size) for size in re.findall(r'font-size="([\d.]+)px"', svg)]
    assert sizes and min(sizes) >= min(12, SMALL)
    families = set(re.findall(r'font-family="([^"]+)"', svg))
    assert families == {FONT.replace('"', "&quot;")} or len(families) == 1


ALT: dict[str, Callable[[pd.DataFrame], str]] = {
    "volume_grid": charts.volume_grid_alt,
    "complication_intervals": lambda frame: charts.complication_intervals_alt(frame, RUPTURE),
    "supervision_bands": charts.supervision_bands_alt,
    "supervision_over_time": charts.supervision_over_time_alt,
    "technique_steps": charts.technique_steps_alt,
    "technique_cohort": charts.technique_cohort_alt,
    "volume_over_time": lambda frame: charts.volume_over_time_alt(frame, frames.completed(), **OWN),
}


@pytest.mark.parametrize("name", ALT)
def test_the_description_of_a_chart_is_its_alt_text(name: str) -> None:
    assert spec(name)["description"] == ALT[name](CHARTS[name][1])


def test_the_alt_text_of_the_grid_counts_the_ticks_of_each_person() -> None:
    frame = frames.volume()
    told = charts.volume_grid_alt(frame)
    for trainee, own in frame.groupby("trainee"):
        assert f"{trainee} {own['mark'].str.startswith('✓').sum()}" in told
    assert "of 17 requirements" in told and "floor" in told
    nobody = charts.volume_grid_alt(frame[frame["trainee"] == "T12"])
    assert nobody.count("Reached by nobody: Cataract 86, YAG capsulotomy 5") == 1


def test_the_alt_text_of_intervals_names_the_widest_and_the_silent() -> None:
    told = charts.complication_intervals_alt(frames.outcomes(), RUPTURE)
    # Wilson (statsmodels): 0 of 3 -> 0-56.15 %; 3 of 74 -> 1.39-11.25 %
    assert "Widest interval: T06, 0–56 %." in told
    assert "T02 3 of 74 known, 1–11 %" in told
    assert "No rate: T09 (too few to say), T10 (nothing known)" in told
    assert "axis to 20 %" in told


def test_the_alt_text_of_supervision_names_the_commonest_step_with_its_share() -> None:
    frame = frames.bands()
    told = charts.supervision_bands_alt(frame)
    first = frame[frame["trainee"] == "T01"].sort_values("share").iloc[-1]
    assert f"T01 {first['band']} {100 * first['share']:.0f} % ({first['cases']} cases)" in told
    assert "No level recorded: T09, T10, T11, T12." in told
    by_quarter = charts.supervision_over_time_alt(frames.quarters())
    # quarter 8: of 18 cases 9 with the supervisor available, 8 with the supervisor present
    assert "quarter 8 supervisor available 50 % (9 cases)" in by_quarter
    assert "quarter 3" not in by_quarter


def test_the_alt_text_of_technique_names_what_is_scored_and_what_is_not() -> None:
    frame = frames.steps()
    told = charts.technique_steps_alt(frame)
    scored = frame[frame["scored"] > 0]
    assert f"{len(scored)} of 13 steps scored" in told
    for row in scored.to_dict("records"):
        assert f"{row['step']} mean {row['score_mean']:.1f}, {row['scored']} scored" in told
    silent = ", ".join(frame[frame["scored"] == 0]["step"])
    assert told.endswith(f"Not scored: {silent}.")
    assert "T01 13 (10)" in charts.technique_cohort_alt(frames.everybody())
    assert "Not scored: T10, T11, T12." in charts.technique_cohort_alt(frames.everybody())


def test_the_alt_text_of_a_line_says_where_it_ends_and_what_lies_behind() -> None:
    told = charts.volume_over_time_alt(frames.months(), frames.completed(), "T31", "cataract", 86)
    # 150 x (24/36)^2.2 = 61.5, its middle half 0.8 and 1.2 times that
    assert told == (
        "T31, cataract: 9 cases that count at month 24 of training; minimum 86."
        " Completed classes at that month: median 61, middle half 49–74."
    )
    alone = charts.volume_over_time_alt(frames.months(), NO_BANDS, "T31", "cataract", None)
    assert alone.endswith("no minimum. Nothing of earlier classes to set beside it at that month.")


@every_chart
def test_a_chart_of_nothing_is_drawn_and_says_so(name: str) -> None:
    draw, frame = CHARTS[name]
    drawn = draw(frame.iloc[:0]).to_dict()
    assert len(drawn["description"]) > 20
    assert vl_convert.vegalite_to_svg(drawn).startswith("<svg")


# ---- choosing


@pytest.mark.parametrize("name", CHOOSING)
def test_a_chart_of_people_lets_one_be_chosen_and_otherwise_holds_no_choice(name: str) -> None:
    params = spec(name, select=True)["params"]
    assert [(each["name"], each["select"]["type"], each["select"]["fields"]) for each in params] == [
        ("chosen", "point", ["trainee"])
    ]
    assert "params" not in spec(name)
    assert vl_convert.vegalite_to_svg(spec(name, select=True)).startswith("<svg")


@every_chart
def test_a_chart_is_drawn_as_svg_with_its_own_size_and_theme(name: str) -> None:
    drawn = spec(name)
    assert drawn["usermeta"]["embedOptions"]["renderer"] == "svg"
    assert drawn["autosize"]["type"] == "pad"
    assert drawn["config"]["background"] == charts.LIGHT.paper
    assert spec(name, dark=True)["config"]["background"] == charts.DARK.paper
