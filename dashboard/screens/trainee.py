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
    check_can_see_trainee,
    check_can_see_volume,
)
from dashboard.comparison import comparison_sentence, unit_of
from dashboard.queries import Snapshot
from pipelines.store.store import Store

BAND_WITHHELD = "The band of completed classes is not shown here: it holds your own class, and colleagues could be read off it."
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


def _volume_is_theirs(person: Person) -> None:
    check_can_see_volume(person.viewer, person.ref)


def _standing_is_theirs(person: Person) -> None:
    check_can_see_trainee(person.viewer, person.ref)


def show(viewer: Viewer, store: Store) -> None:
    """The screen."""
    snapshot = queries.live_snapshot(store)
    roster = queries.trainees(snapshot, viewer.scope)
    st.title("My standing" if viewer.role == "trainee" else "Trainee")
    if roster.empty:
        opening.nobody(viewer, snapshot)
        return
    for ref in roster["trainee_ref"]:
        check_can_see_volume(viewer, ref)
    ref = opening.choose_trainee(roster, "trainee") if len(roster) > 1 else str(roster["trainee_ref"].iloc[0])
    opening.note(viewer, store, "trainee", ref)
    person = Person(store, snapshot, viewer, ref, queries.records(roster[roster["trainee_ref"] == ref])[0])
    _head(person)
    figure.caution()
    if can_see_trainee(viewer, ref):
        _milestones(person)
    _minimums(person)
    if can_see_trainee(viewer, ref):
        _outcomes(person)
        _supervision(person)
        _technique(person)
    if can_see_cohort(viewer):
        _comparison(person)
    _findings(person)


def _head(person: Person) -> None:
    row = person.row
    started = f"started {wording.month_text(row.started)}"
    ends = wording.end_text(row.completed, row.left, row.expected_completion)
    cohort = wording.cohort_text(row.cohort)
    figure.say(f"{person.ref}, {cohort}: {started}, {ends}. {wording.log_sentence(row)}")


def _milestones(person: Person) -> None:
    st.header("Milestones: which evidence is there, which is missing?")
    figure.say(
        "Rules over the whole of training so far, beside the level that the committee recorded. No level is computed."
    )
    for row in queries.records(queries.framework(person.snapshot, person.viewer.scope)):
        figure.say(f"Framework ({'official' if row.official else 'not official'}): {row.framework}.")
    frame = queries.milestones(person.snapshot, person.viewer.scope, person.ref)
    ruled = frame[frame["rules_total"] > 0]
    if ruled.empty:
        figure.nothing("No milestone has a rule.", "Rules stand in the specialty file.")
        return
    figure.plain_table(
        pd.DataFrame(
            {
                "milestone": ruled["title"],
                "step": ruled["level"],
                "evidence": [_rules_text(row) for row in queries.records(ruled)],
                "missing": ruled["missing"],
                "committee recorded": [_committee(row) for row in queries.records(ruled)],
            }
        )
    )
    others = frame[~frame["title"].isin(ruled["title"])].drop_duplicates("title")
    for row in queries.records(others):
        figure.say(f"{row.title}: no rule over the numbers here. Committee: {_committee(row)}.")


def _rules_text(row: Any) -> str:
    not_met = row.rules_total - row.rules_met - row.rules_unknown
    counts = {"met": row.rules_met, "not met": not_met, "not enough data": row.rules_unknown}
    return ", ".join(f"{count} {words}" for words, count in counts.items() if count)


def _committee(row: Any) -> str:
    return f"{row.committee_level}, {row.committee_period}" if row.committee_level else "nothing recorded"


@figure.part(_volume_is_theirs)
def _minimums(person: Person) -> None:
    st.header("Minimums: what is reached, what is still to come?")
    frame = queries.volume(person.snapshot, person.viewer.scope, (person.ref,))
    if frame.empty:
        figure.nothing(
            "No requirement is in force for this class.", "Requirements stand in the specialty file."
        )
        return
    figure.plain_table(
        pd.DataFrame(
            {
                "requirement": [wording.requirement_text(row) for row in queries.records(frame)],
                "counted, of minimum": [wording.volume_text(row) for row in queries.records(frame)],
                "confirmed by a supervisor": frame["confirmed_cases"],
                "rule": [
                    f"{row.edition}{'' if row.verified else ', to be confirmed'}"
                    for row in queries.records(frame)
                ],
            }
        )
    )
    if not frame["verified"].all():
        figure.say(
            "To be confirmed: nobody has checked the rule against the current document yet. "
            "Sources stand with the cases behind each count."
        )
    _course(person, frame)


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
    attribution = opening.choose_attribution(person.snapshot, person.viewer.scope, "own_attribution")
    figure.say(wording.ATTRIBUTION_MEANS[attribution])
    of_attribution = frame[frame["attribution"] == attribution]
    said = [wording.rate_sentence(row) for row in queries.records(of_attribution)]
    figure.plain_table(pd.DataFrame({"outcome": of_attribution["title"], "known": said}))
    left, right = st.columns([3, 2], vertical_alignment="bottom")
    ref = left.selectbox("Outcome", list(titles), format_func=titles.__getitem__)
    if right.button("Open the cases behind this rate", width="stretch"):
        opening.go("cases", person.ref, f"complication:{ref}:{attribution}")


@figure.part(_standing_is_theirs)
def _supervision(person: Person) -> None:
    st.header("Supervision while operating, by quarter of training")
    groups = queries.listed(person.snapshot, person.viewer.scope, "procedure_group")
    titles = {"all": "All procedures"} | dict(zip(groups["procedure_group"], groups["title"], strict=True))
    group = st.selectbox("Procedure group", list(titles), format_func=titles.__getitem__, key="own_group")
    frame = queries.bands(person.snapshot, person.viewer.scope, (person.ref,), group)
    if frame.empty:
        figure.nothing(
            "No level of supervision is recorded for these cases.", "Exports carry it in supervision."
        )
        return
    ladder = queries.ladder(person.snapshot, person.viewer.scope)
    figure.draw("supervision_over_time", frame, key="quarters", ladder=ladder)
    figure.supervision_tables(
        frame, queries.levels(person.snapshot, person.viewer.scope, (person.ref,), group)
    )


@figure.part(_standing_is_theirs)
def _technique(person: Person) -> None:
    st.header("Technique, step by step")
    groups = queries.listed(person.snapshot, person.viewer.scope, "procedure_group")
    titles = dict(zip(groups["procedure_group"], groups["title"], strict=True))
    group = st.selectbox("Procedure group", list(titles), format_func=titles.__getitem__, key="own_technique")
    frame = queries.technique(person.snapshot, person.viewer.scope, (person.ref,), group)
    if frame.empty:
        figure.nothing("No operation was reviewed step by step.", "A file of reviews brings the scores in.")
        return
    figure.say(
        f"Quarter {frame['training_quarter'].iloc[0]} of training, the latest with a review. Self-reviews and steps "
        "done by a supervisor are not in the means."
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
    st.header("Beside the other trainees at the same training quarter")
    figure.say(
        "A quarter of training that is still running is compared with whole quarters of the others: this trainee's "
        "counts may look behind for that alone."
    )
    titles = _measures(person)
    frame = queries.comparison(person.snapshot, person.viewer.scope, person.ref).set_index("measure")
    frame = frame.loc[[measure for measure in titles if measure in frame.index]].reset_index()
    said = [
        comparison_sentence(
            row.value,
            row.value_low,
            row.value_high,
            row.reference,
            row.reference_low,
            row.reference_high,
            row.reference_n or 0,
            unit_of(row.measure),
        )
        for row in queries.records(frame)
    ]
    with st.expander("Every measure"):
        figure.plain_table(
            pd.DataFrame({"measure": [titles[measure] for measure in frame["measure"]], "in words": said})
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
