"""One trainee: milestones, minimums, outcomes, supervision, technique, own findings, what is still to come."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pandas as pd
import streamlit as st

from dashboard import figure, opening, queries, wording
from dashboard.access import Viewer, can_see_cohort, can_see_trainee, check_can_see_volume
from dashboard.evidence import (
    Person,
    comparison,
    feedback,
    findings,
    log_quality,
    outcomes,
    sequence,
    supervision,
    technique,
    waiting,
)
from pipelines.contract.codes_in_words import uncounted_text
from pipelines.store.store import Store

BAND_WITHHELD = "The band of completed classes is not shown here: it holds your own class, and colleagues could be read off it."
PERCENTILES = {
    "p10": "10th percentile",
    "p25": "25th percentile",
    "p50": "median of completed classes",
    "p75": "75th percentile",
    "p90": "90th percentile",
}


def _volume_is_theirs(person: Person) -> None:
    check_can_see_volume(person.viewer, person.ref)


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
    # By these names the paper knows the place of each on two pages, or leaves it out.
    with st.container(key="parts"):
        for name, part in _parts(person).items():
            with st.container(key=f"part-{name}"):
                part(person)
    figure.caution()


def _parts(person: Person) -> dict[str, Callable[[Person], None]]:
    """What this viewer may see, in its order; what a reason has opened comes first."""
    if not can_see_trainee(person.viewer, person.ref):
        return {"minimums": _minimums, "course": _course, "quality": log_quality, "findings": findings}
    everybody = can_see_cohort(person.viewer)
    parts = {"milestone": _milestones, "minimums": _minimums, "course": _course, "outcome": outcomes}
    parts |= {"sequence": sequence} if everybody else {}
    parts |= {"supervision": supervision, "step": technique, "feedback": feedback}
    parts |= {"comparison": comparison} if everybody else {}
    parts |= {"log": waiting, "quality": log_quality, "findings": findings}
    opened = opening.opened_part(person.ref)
    return ({opened: parts[opened]} if opened in parts else {}) | parts


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
        where += (
            f"; {clock[0].active_month:g} active months (leave does not count) through the end of the data"
        )
    steps = queries.records(queries.next_steps(person.snapshot, person.viewer.scope, person.ref))
    figure.say(f"{where}. {wording.log_sentence(row)}", _next_gap(person, steps), _to_do(person), kind="lead")
    reasons = queries.reasons(person.snapshot, person.viewer.scope, (person.ref,))
    if not reasons.empty:
        figure.heading("To discuss")
        figure.say_list([sentence for _, sentence in wording.said_once(queries.records(reasons))])
        opening.choose_reason(reasons, "trainee")


def _next_gap(person: Person, steps: list[Any]) -> str:
    if steps:
        said = (steps[0].stands, steps[0].needs, steps[0].rotations)
        return f"Next: {' '.join(each.strip() for each in said if each)}"
    volume = queries.records(queries.volume(person.snapshot, person.viewer.scope, (person.ref,)))
    still_open = [wording.volume_sentence(row) for row in volume if not row.reached]
    if still_open:
        return f"Next: {still_open[0]}"
    unconfirmed = [row.requirement_title for row in volume if wording.is_unconfirmed(row)]
    only = f", {', '.join(unconfirmed)} only with unconfirmed cases" if unconfirmed else ""
    return f"Every minimum is reached{only}."


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
        columns["earlier median"] = [_median(by_ref.get(row.requirement_ref)) for row in rows]
        columns["middle half"] = [_middle_half(by_ref.get(row.requirement_ref)) for row in rows]
    columns["rule"] = [
        (row.edition or "").replace(" ", figure.NO_BREAK)
        + wording.own_rule_text(row.published_minimum, row.deadline)
        for row in rows
    ]
    columns["checked"] = ["yes" if row.verified else "not yet" for row in rows]
    figure.plain_table(pd.DataFrame(columns), "Minimums")
    figure.say(
        "Earlier: trainees of completed classes at the same active month; blank with fewer than ten. Not yet checked: nobody has "
        "held the rule against the current document. Sources stand with the cases behind each count.",
        kind="quiet",
    )
    uncounted = queries.records(queries.rules_without_count(person.snapshot, person.viewer.scope, person.ref))
    if uncounted:
        columns = {
            "requirement": [row.requirement_title for row in uncounted],
            "how far": [uncounted_text(row) for row in uncounted],
        }
        figure.plain_table(pd.DataFrame(columns), "Requirements without a number of cases")


def _reached(row: Any) -> str:
    if row.reached:
        return f"✓, but {wording.confirmed_text(row)}" if wording.is_unconfirmed(row) else "✓"
    return f"{row.parts_short} of {row.parts_total} parts short" if row.parts_short else ""


def _needed(row: Any) -> str:
    return "" if row is None or not row.needed_a_month else f"{row.needed_a_month:.1f}"


def _median(row: Any) -> str:
    return "" if row is None or row.expected_median is None else f"{row.expected_median:g}"


def _middle_half(row: Any) -> str:
    return "" if row is None or row.expected_low is None else f"{row.expected_low:g}–{row.expected_high:g}"


@figure.part(_volume_is_theirs)
def _course(person: Person) -> None:
    frame = queries.volume(person.snapshot, person.viewer.scope, (person.ref,))
    if frame.empty:
        return
    titles = dict(zip(frame["requirement_ref"], frame["requirement_title"], strict=True))
    left, right = st.columns([3, 2], vertical_alignment="bottom")
    ref = left.selectbox("Over the months of training", list(titles), format_func=titles.__getitem__)
    if right.button("Open the cases behind this count", width="stretch"):
        opening.go("cases", person.ref, f"requirement:{ref}")
    minimum = int(frame.loc[frame["requirement_ref"] == ref, "minimum"].iloc[0])
    own = queries.course(person.snapshot, person.viewer.scope, person.ref, ref)
    bands = queries.course_bands(person.snapshot, person.viewer.scope, ref)
    marks = queries.marks(person.snapshot, person.viewer.scope, person.ref)
    words = {"trainee": person.ref, "requirement": titles[ref], "minimum": minimum}
    if person.viewer.role == "trainee" and person.row.completed:
        words["nothing_behind"] = BAND_WITHHELD
    if own.empty:
        figure.nothing(
            "There is no month of training with data yet.", "The line begins with the first export."
        )
        return
    figure.draw("volume_over_time", own, bands, marks, key="course", **words)
    figure.table(own.merge(bands, on="training_month", how="left").rename(columns=PERCENTILES))
