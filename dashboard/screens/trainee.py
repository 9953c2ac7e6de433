"""One trainee: milestones, minimums, outcomes, supervision, technique, own findings, what is still to come."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pandas as pd
import streamlit as st

from dashboard import figure, labels, opening, queries, wording
from dashboard.access import (
    Viewer,
    can_see_cohort,
    can_see_trainee,
    check_can_see_cohort,
    check_can_see_trainee,
    check_can_see_volume,
)
from dashboard.comparison import chance_sentence, comparison_sentence
from dashboard.queries import Snapshot
from pipelines.store.store import Store

BAND_WITHHELD = "The band of completed classes is not shown here: it holds your own class, and colleagues could be read off it."
WAITING_HEADS = {"case_ref": "case", "operated_month": "month of operation", "title": "procedure"}
PERCENTILES = {
    "p10": "10th percentile",
    "p25": "25th percentile",
    "p50": "median of completed classes",
    "p75": "75th percentile",
    "p90": "90th percentile",
}


@dataclass(frozen=True)
class Person:
    """Whose page it is, who looks, and from which snapshot."""

    store: Store
    snapshot: Snapshot
    viewer: Viewer
    ref: str
    row: Any
    group: str


def _volume_is_theirs(person: Person) -> None:
    check_can_see_volume(person.viewer, person.ref)


def _standing_is_theirs(person: Person) -> None:
    check_can_see_trainee(person.viewer, person.ref)


def _rates_are_theirs(person: Person) -> None:
    check_can_see_cohort(person.viewer)


def show(viewer: Viewer, store: Store) -> None:
    """The screen."""
    snapshot = queries.live_snapshot(store)
    roster = queries.trainees(snapshot, viewer.scope)
    of_trainee, of_group = figure.top("My standing" if viewer.role == "trainee" else "Trainee", 1, 1)
    if roster.empty:
        opening.nobody(viewer, snapshot)
        return
    for ref in roster["trainee_ref"]:
        check_can_see_volume(viewer, ref)
    ref = str(roster["trainee_ref"].iloc[0])
    if len(roster) > 1:
        with of_trainee:
            ref = opening.choose_trainee(roster, "trainee")
    opening.note(viewer, store, "trainee", ref)
    group = ""
    if can_see_trainee(viewer, ref):
        with of_group:
            group = opening.choose_group(snapshot, viewer.scope)
    row = queries.records(roster[roster["trainee_ref"] == ref])[0]
    person = Person(store, snapshot, viewer, ref, row, group)
    _head(person)
    if can_see_trainee(viewer, ref):
        _milestones(person)
    _minimums(person)
    if can_see_trainee(viewer, ref):
        _outcomes(person)
        if can_see_cohort(viewer):
            _sequence(person)
        _supervision(person)
        _technique(person)
    if can_see_cohort(viewer):
        _comparison(person)
    if can_see_trainee(viewer, ref):
        _waiting(person)
    _findings(person)
    figure.caution()


def _head(person: Person) -> None:
    """Where the person stands, what comes next, what to do: three sentences; then the reasons to discuss them."""
    row = person.row
    started = f"started {wording.month_text(row.started)}"
    ends = wording.end_text(row.completed, row.left, row.expected_completion)
    where = f"{person.ref}, {wording.cohort_text(row.cohort)}: {started}, {ends}"
    if not can_see_trainee(person.viewer, person.ref):
        figure.say(f"{where}. {wording.log_sentence(row)}", kind="lead")
        return
    clock = queries.records(queries.months(person.snapshot, person.viewer.scope, (person.ref,)))
    if clock and clock[0].active_month is not None:
        where += f"; {clock[0].active_month:g} active months through the end of the data"
    steps = queries.records(queries.next_steps(person.snapshot, person.viewer.scope, person.ref))
    figure.say(f"{where}. {wording.log_sentence(row)}", _next_gap(person, steps), _to_do(person), kind="lead")
    reasons = queries.reasons(person.snapshot, person.viewer.scope, (person.ref,))
    if not reasons.empty:
        figure.heading("To discuss")
        figure.say_list(list(reasons["sentence"]))


def _next_gap(person: Person, steps: list[Any]) -> str:
    if steps:
        said = (steps[0].stands, steps[0].needs, steps[0].rotations)
        return f"Next: {' '.join(each.strip() for each in said if each)}"
    volume = queries.records(queries.volume(person.snapshot, person.viewer.scope, (person.ref,)))
    still_open = [wording.volume_sentence(row) for row in volume if not row.reached]
    return f"Next: {still_open[0]}" if still_open else "Every minimum is reached."


def _to_do(person: Person) -> str:
    """What the person can do about the log."""
    waiting = queries.waiting(person.snapshot, person.viewer.scope, person.ref)
    to_confirm = int(waiting["waits_for_confirmation"].sum())
    unknown = int((waiting["outcomes_not_known"] != "").sum())
    parts = [f"{wording.cases_text(to_confirm)} to be confirmed"] if to_confirm else []
    parts += [f"{wording.cases_text(unknown)} with an outcome that is due and not known"] if unknown else []
    if months := person.row.months_not_entered:
        parts.insert(0, f"{wording.months_text(int(months))} to be entered")
    return f"To do: {', '.join(parts)}." if parts else "Nothing is waiting in the log."


def _milestones(person: Person) -> None:
    st.header("Milestones: which evidence is there, which is missing?")
    frame = queries.milestones(person.snapshot, person.viewer.scope, person.ref)
    if frame.empty:
        figure.nothing("There is no framework of milestones.", "It stands in the specialty file.")
        return
    levels = list(dict.fromkeys(frame["level"]))
    for row in queries.records(queries.framework(person.snapshot, person.viewer.scope)):
        figure.say(
            f"Framework ({'official' if row.official else 'not official'}): {row.framework}. {levels[0]} is its first "
            f"level, {levels[-1]} its last. No level is computed: beside what the committee recorded stand the rules of each "
            "level over this person's cases, and how many of them are met.",
            kind="quiet",
        )
    recorded = queries.recorded_levels(person.snapshot, person.viewer.scope, (person.ref,))
    courses = {row.title: row for row in queries.records(recorded)}
    lines = []
    for title in dict.fromkeys(frame["title"]):
        of_level = {row.level: row for row in queries.records(frame[frame["title"] == title])}
        line = {"milestone": title} | {level: _cell(of_level[level]) for level in levels}
        lines.append(line | {"committee": _committee(courses.get(title))})
    figure.plain_table(pd.DataFrame(lines), "Milestones")
    ruled = frame[frame["rules_total"] > 0]
    with st.expander("What is met, what is missing, what cannot be said"):
        figure.plain_table(
            pd.DataFrame(
                {
                    "milestone": ruled["title"],
                    "level": ruled["level"],
                    "met": [_lines(text) for text in ruled["met_by"]],
                    "missing": [_lines(text) for text in ruled["missing"]],
                }
            ),
            "What is met, what is missing",
        )


def _lines(text: Any) -> str | None:
    return None if text is None or pd.isna(text) else str(text).replace("; ", figure.LINE)


def _cell(row: Any) -> str:
    """`met`, `2 of 3`, `cannot be said`; a dash where the committee alone judges."""
    if row.rules_total == 0:
        return "–"
    if row.rules_met == row.rules_total:
        return "met"
    if row.rules_unknown == row.rules_total - row.rules_met:
        return (
            "cannot be said"
            if row.rules_met == 0
            else f"{row.rules_met} of {row.rules_total}, rest cannot be said"
        )
    return f"{row.rules_met} of {row.rules_total}"


def _committee(row: Any) -> str:
    if row is None:
        return "nothing recorded"
    course = {"fell": f", {row.level_before} before", "rose": f", {row.level_before} before"}.get(
        row.course, ""
    )
    return f"{row.level}, {row.period}{course}"


@figure.part(_volume_is_theirs)
def _minimums(person: Person) -> None:
    st.header("Minimums: what is reached, what is still to come?")
    frame = queries.volume(person.snapshot, person.viewer.scope, (person.ref,))
    if frame.empty:
        figure.nothing(
            "No requirement is in force for this class.", "Requirements stand in the specialty file."
        )
        return
    rows = queries.records(frame)
    columns: dict[str, Any] = {
        "requirement": [wording.requirement_text(row) for row in rows],
        "counted": frame["counted_cases"],
        "minimum": frame["minimum"],
        "to go": frame["remaining_cases"],
        "confirmed": frame["confirmed_cases"],
        "reached": [_reached(row) for row in rows],
    }
    if can_see_trainee(person.viewer, person.ref):
        pace = queries.pace(person.snapshot, person.viewer.scope, person.ref)
        by_ref = {row.requirement_ref: row for row in queries.records(pace)}
        columns["needed a month"] = [_needed(by_ref.get(row.requirement_ref)) for row in rows]
        columns["completed classes by then"] = [_stood(by_ref.get(row.requirement_ref)) for row in rows]
    columns["rule"] = [f"{row.edition}{'' if row.verified else ', not yet checked'}" for row in rows]
    figure.plain_table(pd.DataFrame(columns), "Minimums")
    if not frame["verified"].all():
        figure.say(
            "Not yet checked: nobody has checked the rule against the current document yet. "
            "Sources stand with the cases behind each count.",
            kind="quiet",
        )
    _course(person, frame)


def _reached(row: Any) -> str:
    if row.reached:
        return f"✓, but {wording.confirmed_text(row)}" if wording.is_unconfirmed(row) else "✓"
    return f"{row.parts_short} of {row.parts_total} parts short" if row.parts_short else ""


def _needed(row: Any) -> str:
    return "" if row is None or not row.needed_a_month else f"{row.needed_a_month:.1f}"


def _stood(row: Any) -> str:
    if row is None or row.expected_median is None:
        return "too few people"
    return f"median {row.expected_median:g}, middle half {row.expected_low:g}–{row.expected_high:g}"


def _course(person: Person, frame: pd.DataFrame) -> None:
    titles = dict(zip(frame["requirement_ref"], frame["requirement_title"], strict=True))
    left, right = st.columns([3, 2], vertical_alignment="bottom")
    ref = left.selectbox("Over the months of training", list(titles), format_func=titles.__getitem__)
    if right.button("Open the cases behind this count", width="stretch"):
        opening.go("cases", person.ref, f"requirement:{ref}")
    minimum = int(frame.loc[frame["requirement_ref"] == ref, "minimum"].iloc[0])
    own = queries.course(person.snapshot, person.viewer.scope, person.ref, ref)
    bands = queries.course_bands(person.snapshot, person.viewer.scope, ref)
    words = {"trainee": person.ref, "requirement": titles[ref], "minimum": minimum}
    if person.viewer.role == "trainee" and person.row.completed:
        words["nothing_behind"] = BAND_WITHHELD
    if own.empty:
        figure.nothing(
            "There is no month of training with data yet.", "The line begins with the first export."
        )
        return
    figure.draw("volume_over_time", own, bands, key="course", **words)
    figure.table(own.merge(bands, on="training_month", how="left").rename(columns=PERCENTILES))


@figure.part(_standing_is_theirs)
def _outcomes(person: Person) -> None:
    st.header("Outcomes: what is known, and what can it not say?")
    frame = queries.own_rates(person.snapshot, person.viewer.scope, person.ref)
    if frame.empty:
        figure.nothing("The specialty names no complication.", "Complications stand in the specialty file.")
        return
    titles = dict(zip(frame["complication_ref"], frame["title"], strict=True))
    whose, outcome, button = st.columns([2, 2, 2], vertical_alignment="bottom")
    with whose:
        attribution = opening.choose_attribution(person.snapshot, person.viewer.scope, "own_attribution")
    ref = outcome.selectbox("Outcome", list(titles), format_func=titles.__getitem__)
    if button.button("Open the cases behind this rate", width="stretch"):
        opening.go("cases", person.ref, f"complication:{ref}:{attribution}")
    figure.say(wording.ATTRIBUTION_MEANS[attribution], kind="quiet")
    of_attribution = frame[frame["attribution"] == attribution]
    said = [wording.rate_sentence(row) for row in queries.records(of_attribution)]
    figure.plain_table(pd.DataFrame({"outcome": of_attribution["title"], "known": said}), "Outcomes")
    _recent(person, str(ref), titles[ref])


def _recent(person: Person, ref: str, title: str) -> None:
    """The last cases beside those before them."""
    frame = queries.recent_rates(person.snapshot, person.viewer.scope, person.ref, ref)
    rows = [row for row in queries.records(frame) if row.known_before]
    if not rows:
        return
    figure.say(f"{title}, all operations they began:", kind="quiet")
    figure.plain_table(
        pd.DataFrame(
            {
                "of the known cases": [f"last {row.last_cases}" for row in rows],
                "in these": [
                    _part(row.events, row.known_outcomes, row.rate_low, row.rate_high) for row in rows
                ],
                "in those before": [
                    _part(row.events_before, row.known_before, row.rate_before_low, row.rate_before_high)
                    for row in rows
                ],
            }
        ),
        "The last cases",
    )


def _part(events: int, known: int, low: float | None, high: float | None) -> str:
    counts = f"{events} in {known}"
    return counts if low is None or high is None else f"{counts} ({wording.interval_text(low, high, known)})"


@figure.part(_rates_are_theirs)
def _sequence(person: Person) -> None:
    st.header("Outcomes over time: more than expected?")
    outcomes = queries.listed(person.snapshot, person.viewer.scope, "complication")
    outcomes = outcomes[outcomes["procedure_group"] == person.group]
    if outcomes.empty:
        figure.nothing(
            "The specialty names no outcome of these procedures.", "Choose other procedures above."
        )
        return
    titles = dict(zip(outcomes["complication_ref"], outcomes["title"], strict=True))
    ref = str(st.selectbox("Outcome by case number", list(titles), format_func=titles.__getitem__))
    chart = queries.case_sequence(person.snapshot, person.viewer.scope, person.ref, ref)
    (came,) = queries.records(queries.signal(person.snapshot, person.viewer.scope, person.ref, ref))
    figure.say(wording.sequence_sentence(came, titles[ref]))
    if came.why_none and came.expected_events is None:
        return
    figure.draw("case_sequence", chart, key="sequence", trainee=person.ref, outcome=titles[ref])
    figure.table(
        chart[chart["is_event"].astype(bool)].drop(columns=["is_event", "trainee_ref"]),
        "The events, by case number",
    )


@figure.part(_standing_is_theirs)
def _supervision(person: Person) -> None:
    st.header("Supervision while operating, by quarter of training")
    frame = queries.bands(person.snapshot, person.viewer.scope, (person.ref,), person.group)
    if frame.empty:
        figure.nothing(
            "No level of supervision is recorded for these cases.", "Exports carry it in supervision."
        )
        return
    ladder = queries.ladder(person.snapshot, person.viewer.scope)
    figure.draw("supervision_over_time", frame, key="quarters", ladder=ladder)
    figure.supervision_tables(
        frame, queries.levels(person.snapshot, person.viewer.scope, (person.ref,), person.group)
    )


@figure.part(_standing_is_theirs)
def _technique(person: Person) -> None:
    st.header("Technique, step by step")
    frame = queries.technique(person.snapshot, person.viewer.scope, (person.ref,), person.group)
    if frame.empty:
        figure.nothing("No operation was reviewed step by step.", "A file of reviews brings the scores in.")
        return
    figure.say(
        f"Quarter {frame['training_quarter'].iloc[0]} of training, the latest with a review. Self-reviews and steps "
        "done by a supervisor are not in the means.",
        kind="quiet",
    )
    figure.draw("technique_steps", frame, key="steps")
    figure.table(_technique_table(frame))


def _technique_table(frame: pd.DataFrame) -> pd.DataFrame:
    rows = queries.records(frame)
    return pd.DataFrame(
        {
            "step": frame["step"],
            "scores": [
                wording.score_sentence(row.scored, row.score_mean, row.score_low, row.score_high)
                for row in rows
            ],
            "manoeuvres": [
                wording.success_sentence(
                    row.successes or 0, row.attempts or 0, row.success_low, row.success_high
                )
                for row in rows
            ],
            "done by a supervisor": frame["done_by_supervisor"],
            "seconds, median": frame["seconds_median"],
        }
    )


def _comparison(person: Person) -> None:
    st.header("Beside the other trainees")
    titles = _measures(person)
    frame = queries.comparison(person.snapshot, person.viewer.scope, person.ref).set_index("measure")
    frame = frame.loc[[measure for measure in titles if measure in frame.index]].reset_index()
    known = frame[frame["value"].notna() & frame["reference"].notna()]
    figure.say(
        "Counts, shares and means at the same active month, rates at the same case numbers.",
        chance_sentence(int(known["differs"].notna().sum()), int(known["differs"].fillna(value=False).sum())),
    )
    figure.plain_table(_compared(known, titles), "Beside the other trainees")
    rest = frame[~frame["measure"].isin(known["measure"])]
    if not rest.empty:
        with figure.closed(f"Of {len(rest)} more measures too little is known"):
            figure.plain_table(_compared(rest, titles), "Too little known")


def _compared(frame: pd.DataFrame, titles: dict[str, str]) -> pd.DataFrame:
    said = [comparison_sentence(row) for row in queries.records(frame)]
    return pd.DataFrame({"measure": [titles[measure] for measure in frame["measure"]], "in words": said})


@figure.part(_standing_is_theirs)
def _waiting(person: Person) -> None:
    st.header("What is waiting in the log?")
    frame = queries.waiting(person.snapshot, person.viewer.scope, person.ref)
    if frame.empty:
        figure.say("Nothing: every role is confirmed or refused, and every outcome that is due is known.")
        return
    groups = {
        "to be confirmed by a supervisor": frame[frame["waits_for_confirmation"].astype(bool)],
        "with an outcome that is due and not known": frame[frame["outcomes_not_known"] != ""],
    }
    for words, cases in groups.items():
        if not cases.empty:
            with figure.closed(f"{wording.cases_text(len(cases))} {words}"):
                figure.plain_table(
                    cases.drop(columns=["waits_for_confirmation", "trainee_ref"]).rename(
                        columns=WAITING_HEADS
                    ),
                    words,
                )


def _measures(person: Person) -> dict[str, str]:
    """The title of each measure of the comparison, in the order of the specialty."""
    outcomes = queries.records(queries.listed(person.snapshot, person.viewer.scope, "complication"))
    return (
        {
            f"counted_cases:{row.requirement_ref}": f"Counted cases: {row.title}"
            for row in queries.records(queries.listed(person.snapshot, person.viewer.scope, "requirement"))
        }
        | {
            f"rate:{row.complication_ref}:{attribution}": f"{row.title}: {whose}"
            for row in outcomes
            for attribution, whose in opening.attributions(person.snapshot, person.viewer.scope).items()
            # Leaving takeovers out compares what was taken over with what was not; and nobody knows in whose hands an
            # event after the operation happened.
            if attribution == "as_started" or (attribution == "in_trainee_hands" and not row.window_days)
        }
        | {
            f"supervision_share:{row.procedure_group}": f"{row.title}: share operating at the two top steps of the ladder"
            for row in queries.records(
                queries.listed(person.snapshot, person.viewer.scope, "procedure_group")
            )
        }
        | {
            f"score_mean:{row.step}": f"Mean score: {row.title}"
            for row in queries.records(queries.listed(person.snapshot, person.viewer.scope, "step"))
        }
    )


def _findings(person: Person) -> None:
    st.header("What was left out, or kept for you to check, and why?")
    frame = queries.findings(person.snapshot, person.viewer.scope, person.ref)
    if frame.empty:
        figure.say("Nothing: every row of the files in use was stored, and there is nothing to check.")
        return
    figure.plain_table(
        pd.DataFrame(
            {
                "file": frame["file_name"],
                "row": frame["source_row"],
                "what became of it": [labels.severity_text(severity) for severity in frame["severity"]],
                "rule": [labels.rule_text(rule) for rule in frame["rule"]],
                "message": frame["message"],
                "remedy": frame["remedy"],
            }
        )
    )
