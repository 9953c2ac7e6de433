"""What each chart shows, in words: its alt text, and what a reader who hears it hears of each mark.

The words say the finding (counts, the widest interval, what is missing); they are made of the same columns.
"""

from __future__ import annotations

from typing import Any

import pandas as pd

from dashboard.charts.look import axis_top, in_order
from dashboard.queries.live import rows
from dashboard.wording import cases_text, months_text, range_text, share_number, share_text

REACHED = "✓ "
WHOLE_PERCENTS = 1  # as the fewest cases deserve: a chart is read from afar
FEWEST_FOR_AN_INTERVAL = 3

# ---- volume


def volume_grid_alt(frame: pd.DataFrame) -> str:
    """How many requirements each trainee has reached, parts included, and which nobody has."""
    if frame.empty:
        return "Volume against minimum: no trainee or no requirement to show."
    requirements = in_order(frame, "requirement", "requirement_order")
    reached = [(row["trainee"], row["requirement"]) for row in rows(frame) if row["reached"]]
    people = in_order(frame, "trainee", "trainee_order")
    counts = ", ".join(f"{name} {sum(who == name for who, _ in reached)}" for name in people)
    missing = [title for title in requirements if title not in {what for _, what in reached}]
    nobody = f" Reached by nobody: {', '.join(missing)}." if missing else ""
    return (
        f"Volume against minimum, trainees in roster order. Reached, of {len(requirements)} requirements:"
        f" {counts}.{nobody} A met minimum is a floor, not a finding of competence."
    )


def spoken_marks(frame: pd.DataFrame) -> list[str]:
    return [f"{row['trainee']}, {row['requirement']}: {_mark_in_words(row)}" for row in rows(frame)]


def _mark_in_words(row: dict[str, Any]) -> str:
    return f"{row['mark'].removeprefix(REACHED)}{', reached' if row['reached'] else ''}"


def volume_over_time_alt(
    frame: pd.DataFrame, bands: pd.DataFrame, trainee: str, requirement: str, minimum: int | None
) -> str:
    """Where the line ends, the minimum, and the completed classes at that month."""
    floor = "no minimum" if minimum is None else f"minimum {minimum}"
    if frame.empty:
        return f"{trainee}, {requirement}: no case yet; {floor}."
    last = rows(frame.sort_values("training_month", kind="stable").tail(1))[0]
    month, cases = int(last["training_month"]), int(last["counted_cases"])
    own = f"{trainee}, {requirement}: {cases} cases that count at month {month} of training; {floor}."
    behind = [row for row in rows(bands) if row["training_month"] == month and row["p50"] is not None]
    if not behind:
        return f"{own} Nothing of earlier classes to set beside it at that month."
    row = behind[0]
    half = "" if row["p25"] is None else f", middle half {row['p25']:g}–{row['p75']:g}"
    return f"{own} Completed classes at that month: median {row['p50']:g}{half}."


# ---- what stands under an axis of time


def mark_label(row: dict[str, Any]) -> str:
    """`glaucoma`, `leave, 6 months`, `elsewhere`, `transfer`, `data end`. Why somebody was on leave is not known here."""
    kind = row["kind"]
    if kind == "rotation":
        return str(row["rotation"] or "rotation").replace("_", " ")
    if kind == "leave":
        return f"leave, {months_text(int(row['months']))}"
    return {"elsewhere": "elsewhere", "transfer": "transfer", "data_end": "data end"}[kind]


def spoken_mark(row: dict[str, Any]) -> str:
    """`glaucoma, months 12 to 15 of training, planned`; of what takes no room on the clock, after which month it stands."""
    first, last = row["active_from"], row["active_to"]
    planned = ", planned" if row["is_ahead"] else ""
    when = f"after month {first:g}" if first == last else f"months {first:g} to {last:g}"
    return f"{mark_label(row)}, {when} of training{planned}"


def marks_alt(marks: pd.DataFrame) -> str:
    """All of them in their order, as a sentence that follows others; blank with none."""
    if marks.empty:
        return ""
    in_time = marks.sort_values(["active_from", "first_month"], kind="stable")
    return f" Under the axis: {'; '.join(spoken_mark(row) for row in rows(in_time))}."


# ---- outcomes


def complication_intervals_alt(frame: pd.DataFrame, title: str, end: float | None = None) -> str:
    """Each trainee's counts and interval, the widest interval, and of whom nothing can be said."""
    if frame.empty:
        return f"{title}: no trainee to show."
    people = rows(frame.sort_values("trainee_order", kind="stable"))
    rated = [row for row in people if row["rate"] is not None and row["rate_high"] is not None]
    silent = [f"{row['trainee']} ({row['label']})" for row in people if row not in rated]
    lines = "; ".join(f"{row['trainee']} {row['label']}, {_interval(row)}" for row in rated)
    axis = share_text(axis_top(frame) if end is None else end, WHOLE_PERCENTS)
    sentences = [f"{title}, 95 % intervals in roster order, axis to {axis}."]
    if rated:
        widest = max(rated, key=lambda row: float(row["rate_high"] - row["rate_low"]))
        sentences += [f"{lines}.", f"Widest interval: {widest['trainee']}, {_interval(widest)}."]
    if silent:
        sentences.append(f"No rate: {', '.join(silent)}.")
    return " ".join(sentences)


def line_ends(frame: pd.DataFrame, end: float) -> list[str]:
    """The denominator of each line, and in brackets a rate that lies beyond the end of the axis."""
    return [
        f"{row['label']} ({share_text(row['rate'], WHOLE_PERCENTS)})"
        if row["rate"] is not None and row["rate"] > end
        else row["label"]
        for row in rows(frame)
    ]


def spoken_rates(frame: pd.DataFrame) -> list[str]:
    intervals = ["" if row["rate_low"] is None else f", {_interval(row)}" for row in rows(frame)]
    return [
        f"{row['trainee']}: {row['label']}{interval}"
        for row, interval in zip(rows(frame), intervals, strict=True)
    ]


def _interval(row: dict[str, Any]) -> str:
    return range_text(row["rate_low"], row["rate_high"], WHOLE_PERCENTS)


# ---- supervision


def supervision_bands_alt(frame: pd.DataFrame, ladder: list[str]) -> str:
    """Each trainee's commonest step with its share, and who has none and why."""
    if frame.empty:
        return "Supervision while operating: no trainee to show."
    commonest = _commonest(frame, "trainee", "trainee_order")
    steps = ", ".join(ladder) or "none"
    sentences = [f"Supervision while operating, shares of the ladder from lowest to highest: {steps}."]
    if commonest:
        people = "; ".join(f"{name} {words}" for name, words in commonest.items())
        sentences.append(f"Commonest step, in roster order: {people}.")
    blank = frame[frame["band"].isna()].sort_values("trainee_order", kind="stable")
    for why in dict.fromkeys(blank["why_none"]):
        silent = blank.loc[blank["why_none"] == why, "trainee"]
        sentences.append(f"{str(why).capitalize()}: {', '.join(silent)}.")
    return " ".join(sentences)


def bands_ends(frame: pd.DataFrame, of_latest: bool) -> list[str]:
    """`42 cases, quarter 14 so far`, or why there is none; the quarter only where each has their own."""
    return [
        row["why_none"]
        or cases_text(int(row["known_cases"]))
        + (f", quarter {int(row['training_quarter'])}" if of_latest else "")
        + (" so far" if row["so_far"] else "")
        for row in rows(frame)
    ]


def supervision_over_time_alt(frame: pd.DataFrame) -> str:
    """The commonest step of each quarter with its share."""
    commonest = _commonest(frame, "training_quarter", "training_quarter")
    if not commonest:
        return "Supervision while operating by quarter of training: no level recorded yet."
    quarters = "; ".join(f"quarter {quarter} {words}" for quarter, words in commonest.items())
    return f"Supervision while operating by quarter of training. Commonest step: {quarters}."


def _commonest(frame: pd.DataFrame, of: str, order: str) -> dict[str, str]:
    """`supervisor present 57 % (24 cases)` for each trainee or quarter, in order."""
    commonest: dict[str, dict[str, Any]] = {}
    for row in rows(frame.dropna(subset=["share"]).sort_values([order, "band_order"], kind="stable")):
        if row[of] not in commonest or row["share"] > commonest[row[of]]["share"]:
            commonest[row[of]] = row
    return {str(key): _band(row) for key, row in commonest.items()}


def band_figures(frame: pd.DataFrame) -> list[str | None]:
    """The percent of each step without its sign; None where nothing is recorded."""
    shares = [row["share"] for row in rows(frame)]
    return [None if share is None else share_number(share, WHOLE_PERCENTS) for share in shares]


def banded(frame: pd.DataFrame, of: str) -> pd.DataFrame:
    """With the figure for inside the bar and the words for a reader who hears the chart."""
    figures: list[Any] = list(band_figures(frame))
    shown = frame[[of, "band", "band_order", "share", "cases"]]
    return shown.assign(figure=figures, spoken=spoken_bands(frame, of))


def spoken_bands(frame: pd.DataFrame, of: str) -> list[str]:
    return [
        f"{row[of]}: {row['why_none']}" if row["share"] is None else f"{row[of]}: {_band(row)}"
        for row in rows(frame)
    ]


def _band(row: dict[str, Any]) -> str:
    return f"{row['band']} {share_text(row['share'], WHOLE_PERCENTS)} ({cases_text(int(row['cases']))})"


# ---- technique


def scored_label(scored: int, low: float | None = None, high: float | None = None) -> str:
    """The denominator at the end of a line; scores that are all alike have no interval to draw."""
    if scored == 0:
        return "not scored"
    if low is not None and low == high:
        return f"{scored} scored, all alike"
    return f"{scored} scored" if scored >= FEWEST_FOR_AN_INTERVAL else f"{scored} scored, no interval"


def spoken_scores(frame: pd.DataFrame, of: tuple[str, ...]) -> list[str]:
    return [f"{', '.join(row[name] for name in of)}: {_score(row)}" for row in rows(frame)]


def _score(row: dict[str, Any]) -> str:
    if row["score_mean"] is None:
        return scored_label(0)
    low, high = row["score_low"], row["score_high"]
    mean = f"mean {row['score_mean']:.1f}, {scored_label(int(row['scored']), low, high)}"
    return mean if low is None or low == high else f"{mean}, {low:.1f}–{high:.1f}"


def technique_steps_alt(frame: pd.DataFrame) -> str:
    """How many steps are scored, the widest interval, and which steps say nothing yet."""
    ordered = rows(frame.sort_values("step_order", kind="stable"))
    scored = [row for row in ordered if row["score_mean"] is not None]
    if not scored:
        return "Technique by step: nothing scored yet."
    steps = "; ".join(f"{row['step']} {_score(row)}" for row in scored)
    sentences = [f"Technique by step, {len(scored)} of {len(ordered)} steps scored, scale 1 to 5: {steps}."]
    sure = [row for row in scored if row["score_low"] is not None]
    if sure:
        widest = max(sure, key=lambda row: float(row["score_high"] - row["score_low"]))
        sentences.append(f"Widest interval: {widest['step']}, {_score(widest)}.")
    silent = [row["step"] for row in ordered if row["score_mean"] is None]
    if silent:
        sentences.append(f"Not scored: {', '.join(silent)}.")
    return " ".join(sentences)


def technique_cohort_alt(frame: pd.DataFrame) -> str:
    """How many steps of each trainee have an interval, and whom nobody has scored."""
    if frame.empty:
        return "Technique by step: nothing scored yet."
    people, steps = in_order(frame, "trainee", "trainee_order"), in_order(frame, "step", "step_order")
    scored = [row["trainee"] for row in rows(frame) if row["score_mean"] is not None]
    sure = [row["trainee"] for row in rows(frame) if row["score_low"] is not None]
    quarters = reviewed_quarters(frame)
    counts = ", ".join(
        f"{name} {scored.count(name)} ({sure.count(name)}) in {quarters[name]}"
        for name in people
        if name in scored
    )
    silent = [name for name in people if name not in scored]
    sentences = [
        f"Technique by step, each person's latest quarter with a review, {len(steps)} steps, scores from 1 to 5,"
        " trainees in roster order."
    ]
    if counts:
        sentences.append(f"Steps scored, and in brackets those with three scores or more: {counts}.")
    if silent:
        sentences.append(f"Not scored: {', '.join(silent)}.")
    return " ".join(sentences)


def reviewed_quarters(frame: pd.DataFrame) -> dict[str, str]:
    """The latest quarter with a review of each trainee in words, `quarter 14 so far`; blank without one."""
    quarters = {}
    for row in rows(frame.drop_duplicates("trainee")):
        quarter = row["training_quarter"]
        words = "" if quarter is None else f"quarter {int(quarter)}{' so far' if row['so_far'] else ''}"
        quarters[str(row["trainee"])] = words
    return quarters


# ---- outcomes by case number


def case_sequence_alt(frame: pd.DataFrame, trainee: str, outcome: str) -> str:
    """How many events with how many cases, at which, and how far from what is expected at the end."""
    known = rows(frame.dropna(subset=["cusum"]))
    if not known:
        return f"{trainee}, {outcome}: nothing expected yet."
    at = [str(int(row["case_number"])) for row in known if row["is_event"]]
    last = known[-1]
    events = f"events at cases {', '.join(at)}" if at else "no event"
    return (
        f"{trainee}, {outcome}, case by case through case {int(last['case_number'])}: {events};"
        f" at the end {last['observed_minus_expected']:+.1f} events beside those expected."
    )
