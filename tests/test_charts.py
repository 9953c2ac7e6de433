"""charts: each draws the columns it was given and nothing else, where they belong, for everyone alike."""

from __future__ import annotations

import itertools
import math
import re
from typing import Any

import pandas as pd
import pytest
import vl_convert

from dashboard import charts
from dashboard.palette import DARK, LIGHT
from tests import chart_frames as frames
from tests.chart_specs import CHARTS, CHOOSING, OF_PEOPLE, RUPTURE, bars, spec, svg, walk

every_chart = pytest.mark.parametrize("name", CHARTS)


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
    assert set(frame.columns) - set(kept) <= {
        *("trainee_order", "step_order", "requirement_order", "phase", "known_cases"),
        *("training_quarter", "so_far", "why_none"),
    }
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


@every_chart
def test_nothing_of_a_frame_is_sent_along_that_is_not_drawn(name: str) -> None:
    draw, frame = CHARTS[name]
    told = pd.Categorical(["T01"] * len(frame), categories=["T01", "of-another-class"])
    drawn = draw(frame.assign(supervisor_ref="S-secret", told=told)).to_dict()
    assert "secret" not in str(drawn) and "another-class" not in str(drawn)


@pytest.mark.parametrize("name", OF_PEOPLE)
def test_people_who_were_filtered_out_are_not_named(name: str) -> None:
    draw, frame = CHARTS[name]
    people = frame.assign(trainee=frame["trainee"].astype("category"))
    drawn = str(draw(people[people["trainee"] != "T02"]).to_dict())
    assert "T01" in drawn and "T02" not in drawn


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
    heads = next(
        rows
        for rows in drawn["datasets"].values()
        if set(rows[0]) in ({"trainee", "middle", "under"}, {"name", "middle"})
    )
    names = [row.get("trainee") or row["name"] for row in sorted(heads, key=lambda row: float(row["middle"]))]
    return [name for name in names if name != "minimum"]


def test_a_cell_of_the_technique_grid_stands_under_its_person() -> None:
    drawn = spec("technique_cohort")["datasets"].values()
    heads = next(rows for rows in drawn if set(rows[0]) == {"trainee", "middle", "under"})
    middle = {row["trainee"]: row["middle"] for row in heads}
    cells = next(rows for rows in drawn if "place" in rows[0])
    assert {(row["trainee"], row["place"] + 0.5) for row in cells} == set(middle.items())


@every_chart
def test_one_axis_holds_for_everyone(name: str) -> None:
    domains: dict[str, set[str]] = {"x": set(), "y": set()}
    for key, value in walk(spec(name)):
        # What stands under an axis of time is placed in its pixels, without a scale.
        if key in domains and isinstance(value, dict) and value.get("scale"):
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
    picture = vl_convert.vegalite_to_svg(charts.complication_intervals(frame, title=RUPTURE).to_dict())
    arrows = [path for path in re.findall(r"<path [^>]+>", picture) if "translate(638," in path]
    assert len(arrows) == 1 and "translate(638,51)" in arrows[0]
    assert "arrow: the interval goes on" in picture
    whole = charts.complication_intervals(frame.iloc[:1], title=RUPTURE).to_dict()
    assert "arrow" not in str(whole["title"])


def test_an_axis_can_be_held_for_charts_read_together() -> None:
    drawn = charts.complication_intervals(frames.outcomes(), title=RUPTURE, top=0.5).to_dict()
    tops = [value["domain"] for key, value in walk(drawn) if key == "scale" and value["domain"][0] == 0]
    assert tops and all(top == [0, 0.5] for top in tops)


def test_the_denominator_stands_at_the_end_of_each_line() -> None:
    picture = svg("complication_intervals")
    for label in frames.outcomes()["label"]:
        assert f">{label}<" in picture
    assert picture.count(">nothing known<") == 3
    ends = svg("supervision_bands")
    for known in frames.bands()["known_cases"].dropna():
        assert re.search(rf">{known:.0f} cases( so far)?<", ends)
    assert ends.count(">no level recorded<") == 3 and ends.count(">no case in an operating role<") == 1


@pytest.mark.parametrize("name", ["supervision_bands", "supervision_over_time"])
def test_a_ladder_is_drawn_in_its_order(name: str) -> None:
    colour = next(value for key, value in walk(spec(name)) if key == "color" and "scale" in value)
    assert colour["scale"]["domain"] == colour["sort"] == frames.BANDS


@pytest.mark.parametrize("name", ["supervision_bands", "supervision_over_time"])
def test_a_band_has_the_same_colour_whichever_others_are_shown(name: str) -> None:
    draw, frame = CHARTS[name]
    whole = colours_of_bands(draw(frame).to_dict())
    assert whole == dict(zip(frames.BANDS, [LIGHT.bands[at] for at in (0, 2, 4, 6)], strict=True))
    for few in (["with guidance"], ["with guidance", "supervisor present"], ["supervisor available"]):
        drawn = draw(frame[frame["band"].isin(few)])
        assert colours_of_bands(drawn.to_dict()) == whole
        assert bars(vl_convert.vegalite_to_svg(drawn.to_dict()), whole[few[-1]])
        picture = vl_convert.vegalite_to_svg(drawn.to_dict())
        assert [band for band in frames.BANDS if f">{band}<" not in picture] == []


def colours_of_bands(drawn: dict[str, Any]) -> dict[str, str]:
    scale = next(value["scale"] for key, value in walk(drawn) if key == "color" and "scale" in value)
    return dict(zip(scale["domain"], scale["range"], strict=True))


def test_who_has_nothing_to_draw_keeps_their_row() -> None:
    picture = svg("supervision_bands")
    assert [name for name in frames.people(12) if f">{name}<" not in picture] == []


def test_the_latest_quarter_of_each_person_is_told_and_whether_it_is_over() -> None:
    draw, frame = CHARTS["supervision_bands"]
    known = frame.dropna(subset=["band"]).drop_duplicates("trainee")["known_cases"]
    told = vl_convert.vegalite_to_svg(draw(frame, of_latest=True).to_dict())
    first, second = known.iloc[0], known.iloc[1]
    assert f">{first:.0f} cases, quarter 14<" in told and f">{second:.0f} cases, quarter 13 so far<" in told
    fixed = svg("supervision_bands")
    assert f">{first:.0f} cases<" in fixed and f">{second:.0f} cases so far<" in fixed
    heads = svg("technique_cohort")
    assert heads.count(">quarter 14<") == 1 and heads.count(">so far<") == 1
    assert heads.count(">not scored<") == 3


def test_the_phase_of_a_step_stands_once_at_the_first_of_its_steps() -> None:
    for name in ("technique_steps", "technique_cohort"):
        picture = svg(name)
        for phase in frames.PHASES:
            assert picture.count(f">{phase}<") == 1


def test_a_quarter_without_a_case_keeps_its_place() -> None:
    x = next(value for key, value in walk(spec("supervision_over_time")) if key == "x" and "scale" in value)
    assert x["scale"]["domain"] == [1, 2, 3, 4, 5, 6, 7, 8]


TICK = re.compile(r'd="M-[\d.]+,[\d.]+L-[\d.]+,[\d.]+L[\d.]+,-[\d.]+"')


def test_a_tick_stands_only_where_the_mark_says_reached() -> None:
    ticked = [mark for mark in frames.volume()["mark"] if mark.startswith("✓")]
    picture = svg("volume_grid")
    assert len(ticked) > 20
    assert len(TICK.findall(picture)) == len(ticked)
    assert picture.count(', reached"') == len(ticked)
    assert "✓" not in re.sub(r'aria-label="[^"]*"', "", picture)


def test_short_parts_take_a_second_line_and_are_explained_where_there_are_any() -> None:
    frame = frames.volume()
    picture = svg("volume_grid")
    assert picture.count(">1 of 3 short<") == 1 and picture.count(">3 of 3 short<") == 1
    assert "Short: so many of its parts" in picture
    without = charts.volume_grid(frame[~frame["mark"].str.contains("short")]).to_dict()
    assert "Short" not in str(without["title"])


def test_the_line_of_a_person_ends_with_its_count_of_the_minimum() -> None:
    picture = svg("volume_over_time")
    assert ">9 of 86<" in picture and ">minimum 86<" in picture and ">median<" in picture
    alone = svg("volume_over_time, no band")
    assert ">median<" not in alone and "fewer than ten people have completed" in alone


def test_only_a_line_that_is_drawn_is_explained_and_no_reason_is_invented() -> None:
    some = charts.complication_intervals(frames.outcomes([(2, 117, 0.02), (0, 0, None)]), title=RUPTURE)
    none = charts.complication_intervals(frames.outcomes([(2, 117, None), (0, 0, None)]), title=RUPTURE)
    assert "Upright line" in str(some.to_dict()["title"])
    assert "Upright line" not in str(none.to_dict()["title"])
    assert "No expected value for anybody." in str(none.to_dict()["title"])
    assert "too few" not in str(none.to_dict()["title"])


FEW = {
    "volume_grid": frames.volume,
    "complication_intervals": frames.many_outcomes,
    "supervision_bands": frames.bands,
    "technique_cohort": frames.everybody,
}


@pytest.mark.parametrize("count", [1, 4])
@pytest.mark.parametrize("name", FEW)
def test_no_word_of_a_chart_is_cut_however_few_people_it_shows(name: str, count: int) -> None:
    draw, _ = CHARTS[name]
    drawn = (
        draw(FEW[name](count), width=300) if name in ("supervision_bands", "complication_intervals") else None
    )
    drawn = drawn or draw(FEW[name](count), step=70)
    nothing_cut(drawn.to_dict())


@every_chart
def test_no_word_of_a_chart_is_cut(name: str) -> None:
    nothing_cut(spec(name))


def nothing_cut(drawn: dict[str, Any]) -> None:
    # A browser would cut what is wider than the picture; at a limit far beyond it nothing is.
    assert drawn["title"]["limit"] > 5000
    assert max(map(len, drawn["title"]["subtitle"])) <= 75 and max(map(len, drawn["title"]["text"])) <= 48
    assert "…" not in vl_convert.vegalite_to_svg(drawn)


# ---- where the numbers lie


HAIRLINE = re.compile(r'<line transform="translate\(([\d.]+),([\d.]+)\)" x2="([\d.]+)" y2="0"')


def hairlines(picture: str, colour: str) -> list[tuple[float, float, float]]:
    """Left end, height on the page and right end in pixels of each level line of this colour."""
    lines = [line for line in re.findall(r"<line [^>]+>", picture) if f'stroke="{colour}"' in line]
    found = [tuple(float(part) for part in HAIRLINE.findall(line)[0]) for line in lines]
    return [(left, middle, left + long) for left, middle, long in found]


def test_a_bar_of_an_outcome_reaches_from_the_lower_to_the_upper_end_of_its_interval() -> None:
    # 640 pixels for 0-20 %; rows of 34 pixels, in roster order.
    # Under 20 known outcomes a hairline stands in place of the bar.
    picture = svg("complication_intervals")
    known = list(enumerate(frames.outcomes().dropna(subset=["rate"]).to_dict("records")))
    barred = [(place, row) for place, row in known if row["known_outcomes"] >= 20]
    few = [(place, row) for place, row in known if row["known_outcomes"] < 20]
    assert [row["known_outcomes"] for _, row in few] == [3, 13]
    hairs = hairlines(picture, LIGHT.interval_edge)
    assert len(hairs) == len(few)
    for (place, row), (left, middle, right) in zip(few, hairs, strict=True):
        assert left == pytest.approx(640 * row["rate_low"] / 0.2, abs=0.01)
        assert right == pytest.approx(640 * row["rate_high"] / 0.2, abs=0.01)
        assert middle == pytest.approx(34 * (place + 0.5))
    drawn = bars(picture, LIGHT.interval)
    assert len(drawn) == len(barred) == 6
    for (place, row), (left, top, width, height) in zip(barred, drawn, strict=True):
        assert left == pytest.approx(640 * row["rate_low"] / 0.2, abs=0.01)
        assert left + width == pytest.approx(640 * row["rate_high"] / 0.2, abs=0.01)
        assert top + height / 2 == pytest.approx(34 * (place + 0.5))


POINT = re.compile(r"translate\((-?[\d.]+),(-?[\d.]+)\)")


def test_the_points_of_an_outcome_lie_at_the_rate_and_at_the_expected_value() -> None:
    picture = svg("complication_intervals")
    dots = [path for path in re.findall(r"<path [^>]+>", picture) if f'fill="{LIGHT.blue}"' in path]
    found = [tuple(float(part) for part in POINT.findall(path)[0]) for path in dots]
    drawn = [place for place in found if place[0] != 640 - 2]  # the arrows stand there
    known = frames.outcomes().dropna(subset=["rate"]).to_dict("records")
    # Under 20 known outcomes no point is drawn.
    assert drawn == [
        pytest.approx((640 * row["rate"] / 0.2, 34 * (place + 0.5)), abs=0.01)
        for place, row in enumerate(known)
        if row["known_outcomes"] >= 20
    ]
    assert len(drawn) == 6
    ticks = [float(each) for each in re.findall(r'd="M([\d.]+),[\d.]+h2v24h-2Z"', picture)]
    assert [tick + 1 for tick in ticks] == pytest.approx(
        [640 * each / 0.2 for each in frames.outcomes()["expected"].dropna()]
    )


def test_the_steps_of_a_bar_of_supervision_are_as_long_as_their_shares_and_in_the_ladders_order() -> None:
    frame = frames.bands().dropna(subset=["band"])
    picture = svg("supervision_bands")
    for band, colour in zip(frames.BANDS, [LIGHT.bands[at] for at in (0, 2, 4, 6)], strict=True):
        own = frame[frame["band"] == band]
        drawn = [each for each in bars(picture, colour) if each[3] > 20]
        before = [
            frame[(frame["trainee"] == row["trainee"]) & (frame["band_order"] < row["band_order"])][
                "share"
            ].sum()
            for row in own.to_dict("records")
        ]
        assert [each[2] for each in drawn] == pytest.approx([640 * share for share in own["share"]], abs=0.01)
        assert [each[0] for each in drawn] == pytest.approx([640 * share for share in before], abs=0.01)


def test_a_bar_of_a_step_reaches_over_its_interval_on_the_scale_from_one_to_five() -> None:
    drawn = bars(svg("technique_steps"), LIGHT.interval)
    sure = frames.steps().dropna(subset=["score_low"])
    assert len(drawn) == len(sure) > 5
    for row, (left, _, width, _) in zip(sure.to_dict("records"), drawn, strict=True):
        assert left == pytest.approx(320 * (row["score_low"] - 1) / 4, abs=0.01)
        assert left + width == pytest.approx(320 * (row["score_high"] - 1) / 4, abs=0.01)


def test_a_little_scale_lies_inside_its_cell_and_is_cut_at_one_and_five() -> None:
    # A cell is 78 pixels wide; its scale begins at a tenth and is eight tenths long.
    drawn = bars(svg("technique_cohort"), LIGHT.interval)
    sure = frames.everybody().dropna(subset=["score_low"])
    assert len(drawn) == len(sure) > 50
    for row, (left, _, width, _) in zip(sure.to_dict("records"), drawn, strict=True):
        low, high = max(row["score_low"], 1), min(row["score_high"], 5)
        cell = 78 * row["trainee_order"]
        assert left == pytest.approx(cell + 78 * (0.1 + 0.8 * (low - 1) / 4), abs=0.01)
        assert left + width == pytest.approx(cell + 78 * (0.1 + 0.8 * (high - 1) / 4), abs=0.01)


def test_the_line_of_a_person_passes_through_the_counted_cases() -> None:
    drawn = spec("volume_over_time")
    fields = [
        (layer["encoding"]["x"]["field"], layer["encoding"]["y"]["field"], layer["mark"]["interpolate"])
        for layer in drawn["vconcat"][0]["layer"]
        if layer["mark"].get("interpolate")
    ]
    assert fields == [("training_month", "counted_cases", "step-after")]
    areas = [
        (layer["encoding"]["y"]["field"], layer["encoding"]["y2"]["field"])
        for layer in drawn["vconcat"][0]["layer"]
        if layer["mark"]["type"] == "area"
    ]
    assert areas == [("p10", "p90"), ("p25", "p75")]


def test_the_marks_under_an_axis_stand_at_their_months_and_no_label_lies_on_another() -> None:
    # 600 pixels hold the 36 months of the completed classes; the leave stands where it stopped the clock.
    picture = svg("volume_over_time")
    month = 600 / 36
    # Rotations and time elsewhere; the plan is an empty bar.
    past, planned = bars(picture, LIGHT.interval), bars(picture, LIGHT.paper)
    wanted = [(0, 3), (3, 6), (6, 9), (9, 24.5)]
    assert [(left, left + width) for left, _, width, _ in past] == [
        pytest.approx((first * month, last * month), abs=0.02) for first, last in wanted
    ]
    assert [(left, left + width) for left, _, width, _ in planned] == [
        pytest.approx((24.5 * month, 28 * month), abs=0.02)
    ]
    labels = re.findall(r'translate\(([-\d.]+),([-\d.]+)\)"[^>]*>([^<]+)</text>', picture)
    under = {
        words: (float(left), float(down))
        for left, down, words in labels
        if words
        in (
            "elsewhere",
            "transfer",
            "general clinic",
            "cornea",
            "leave, 6 months",
            "cataract",
            "glaucoma",
            "data end",
        )
    }
    assert under["leave, 6 months"][0] == pytest.approx(9 * month - 3, abs=0.5)
    assert under["data end"][0] == pytest.approx(24 * month - 3, abs=0.5)
    places = sorted((down, left, len(words)) for words, (left, down) in under.items())
    assert len(places) == 8
    for (down, left, letters), (next_down, next_left, _) in itertools.pairwise(places):
        assert down != next_down or left + 6 * letters <= next_left
    assert "data end" not in svg("volume_over_time, no band")


def test_the_chart_by_case_number_has_every_event_both_limits_and_a_hollow_end() -> None:
    rows = [(1, False, -0.1, 0.0), (2, True, 0.8, 0.6), (3, False, 0.7, 0.5), (4, True, 1.6, 1.1)]
    frame = pd.DataFrame(rows, columns=["case_number", "is_event", "observed_minus_expected", "cusum"])
    frame = frame.assign(limit_person=3.1, limit_class=4.0)
    drawn = charts.case_sequence(frame, trainee="T01", outcome=RUPTURE)
    assert drawn.to_dict()["description"] == (
        f"T01, {RUPTURE}, case by case through case 4: events at cases 2, 4; at the end +1.6 events beside those expected."
    )
    picture = str(vl_convert.vegalite_to_svg(drawn.to_dict()))
    assert picture.count("stroke-dasharray") == 2
    assert "case with a known outcome" in picture and "CUSUM" in picture
    nothing = charts.case_sequence_alt(frame.assign(cusum=None), "T01", RUPTURE)
    assert nothing == f"T01, {RUPTURE}: nothing expected yet."


# ---- choosing


@pytest.mark.parametrize("name", CHOOSING)
def test_a_chart_of_people_lets_one_be_chosen_and_otherwise_holds_no_choice(name: str) -> None:
    params = spec(name, select=True)["params"]
    fields = ["trainee", "requirement"] if name == "volume_grid" else ["trainee"]
    assert [(each["name"], each["select"]["type"], each["select"]["fields"]) for each in params] == [
        ("chosen", "point", fields)
    ]
    assert "params" not in spec(name)
    assert svg(name, select=True).startswith("<svg")


@every_chart
def test_a_chart_is_drawn_as_svg_with_its_own_size_and_theme(name: str) -> None:
    drawn = spec(name)
    assert drawn["usermeta"]["embedOptions"]["renderer"] == "svg"
    assert drawn["autosize"]["type"] == "pad"
    assert drawn["config"]["background"] == LIGHT.paper
    assert spec(name, dark=True)["config"]["background"] == DARK.paper
