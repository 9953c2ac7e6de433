"""charts: legible in both themes, in grey and aloud.

Contrast is judged by WCAG 2.2 (success criteria 1.4.3 and 1.4.11, with its definition of relative luminance).
"""

from __future__ import annotations

import html
import re
from collections.abc import Callable

import pandas as pd
import pytest
import vl_convert

from dashboard import charts
from dashboard.charts.look import FONT, band_colours, band_steps, palette
from tests import chart_frames as frames
from tests.chart_specs import CHARTS, CHOOSING, NO_BANDS, OWN, RUPTURE, spec, svg, walk

every_chart = pytest.mark.parametrize("name", CHARTS)
both_themes = pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])


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
    colours = palette(dark)
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
    colours = palette(dark)
    assert contrast(colours.secondary, colours.chosen) >= 4.5


@both_themes
def test_a_ladder_only_darkens_or_only_brightens_so_that_it_reads_in_grey(dark: bool) -> None:
    for count in range(2, 8):
        steps = [luminance(colour) for colour in band_colours(count, dark)]
        assert steps == sorted(steps, reverse=not dark)
        assert len(set(band_steps(count))) == count


@both_themes
def test_what_carries_the_meaning_stands_out_from_the_paper(dark: bool) -> None:
    colours = palette(dark)
    for drawn in (colours.interval_edge, colours.blue, colours.ink, colours.secondary):
        assert contrast(drawn, colours.paper) >= 3
    assert contrast(colours.blue, colours.interval) >= 3


@both_themes
@every_chart
def test_every_colour_is_one_of_the_palette(name: str, dark: bool) -> None:
    how = {"select": True} if name in CHOOSING else {}
    own = palette(dark)
    colours = {own.paper, own.ink, own.secondary, own.rule, own.cell, own.blue, own.interval}
    colours |= {own.interval_edge, own.chosen, own.band_wide, own.band_half, own.on_far_band, *own.bands}
    drawn = spec(name, dark=dark, **how)
    used = set(re.findall(r"#[0-9a-fA-F]{3,8}\b", str(list(walk(drawn)))))
    assert used and used - colours == set()
    picture = str(vl_convert.vegalite_to_svg(drawn))
    painted = set(re.findall(r'(?:fill|stroke)="([^"]+)"', picture)) - {"none", "transparent"}
    assert painted - colours - {rgb(colour) for colour in colours} == set()


def rgb(colour: str) -> str:
    return f"rgb({', '.join(str(int(colour[at : at + 2], 16)) for at in (1, 3, 5))})"


# ---- for every eye and ear


@both_themes
@every_chart
def test_every_chart_renders_with_text_of_twelve_pixels_or_more(name: str, dark: bool) -> None:
    picture = svg(name, dark=dark)
    sizes = [float(size) for size in re.findall(r'font-size="([\d.]+)px"', picture)]
    assert sizes and min(sizes) >= 12
    families = set(re.findall(r'font-family="([^"]+)"', picture))
    assert {html.unescape(family) for family in families} == {FONT}


UNDER_QUARTERS = (
    " Under the axis: elsewhere, months 0 to 3 of training; transfer, after month 3 of training; general clinic, months 3"
    " to 6 of training; cornea, months 6 to 9 of training; leave, 6 months, after month 9 of training; cataract, months 9 to"
    " 24 of training; data end, after month 24 of training."
)
# The axis of months goes on to where the completed classes end, and with it the plan.
UNDER_MONTHS = (
    UNDER_QUARTERS.replace("9 to 24 of", "9 to 24.5 of")[:-1]
    + "; glaucoma, months 24.5 to 28 of training, planned."
)
ALT: dict[str, Callable[[pd.DataFrame], str]] = {
    "volume_grid": charts.volume_grid_alt,
    "complication_intervals": lambda frame: charts.complication_intervals_alt(frame, RUPTURE),
    "supervision_bands": lambda frame: charts.supervision_bands_alt(frame, frames.BANDS),
    "supervision_over_time": lambda frame: charts.supervision_over_time_alt(frame) + UNDER_QUARTERS,
    "technique_steps": charts.technique_steps_alt,
    "technique_cohort": charts.technique_cohort_alt,
    "volume_over_time": lambda frame: (
        charts.volume_over_time_alt(frame, frames.completed(), **OWN) + UNDER_MONTHS
    ),
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
    assert "T02 3 in 74 cases, 1–11 %" in told
    assert "No rate: T09 (too few to say), T10 (nothing known)" in told
    assert "axis to 20 %" in told


def test_the_alt_text_of_supervision_names_the_commonest_step_with_its_share() -> None:
    frame = frames.bands()
    told = charts.supervision_bands_alt(frame, frames.BANDS)
    first = frame[frame["trainee"] == "T01"].sort_values("share").iloc[-1]
    assert f"T01 {first['band']} {100 * first['share']:.0f} % ({first['cases']:.0f} cases)" in told
    assert "No level recorded: T09, T10, T11. No case in an operating role: T12." in told
    # One person at one step: the ladder that is told is still the whole one.
    alone = charts.supervision_bands_alt(frame[frame["band"] == "with guidance"].head(1), frames.BANDS)
    assert "lowest to highest: jointly, with guidance, supervisor present, supervisor available." in alone
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
    cohort = charts.technique_cohort_alt(frames.everybody())
    assert "each person's latest quarter with a review" in cohort
    assert "T01 13 (10) in quarter 14, T02 " in cohort and "in quarter 13 so far, T03 " in cohort
    assert "Not scored: T10, T11, T12." in cohort


def test_scores_that_are_all_alike_are_told_so_and_never_as_an_exact_interval() -> None:
    alike = frames.steps().head(1).assign(score_mean=4.0, score_low=4.0, score_high=4.0, scored=3)
    assert "mean 4.0, 3 scored, all alike" in charts.technique_steps_alt(alike)
    assert "4.0–4.0" not in charts.technique_steps_alt(alike)
    assert "3 scored, all alike" in str(charts.technique_steps(alike).to_dict())


def test_a_rate_beyond_the_axis_is_told_in_words() -> None:
    drawn = str(
        charts.complication_intervals(frames.outcomes([(1, 2, None)]), title=RUPTURE, top=0.3).to_dict()
    )
    assert "1 in 2 cases (50 %)" in drawn and "In brackets: a rate beyond the axis." in drawn
    whole = str(
        charts.complication_intervals(frames.outcomes([(1, 2, None)]), title=RUPTURE, top=1.0).to_dict()
    )
    assert "1 in 2 cases'" in whole and "In brackets" not in whole


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
