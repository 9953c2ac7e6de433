"""What stands behind one trainee's standing: outcomes, supervision, technique, feedback, the log; each a part of the screen."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pandas as pd
import streamlit as st

from dashboard import charts, figure, labels, log_words, opening, owed, queries, wording
from dashboard.access import Viewer, can_see_owed, check_can_see_cohort, check_can_see_trainee
from dashboard.comparison import chance_sentence, comparison_sentence
from dashboard.queries import Snapshot
from pipelines.store.store import Store

WAITING_HEADS = {"case_ref": "case", "operated_month": "month of operation", "title": "procedure"}
# Of so many comments all stand open; the older ones of more are opened on demand.
COMMENTS_SHOWN = 5


@dataclass(frozen=True)
class Person:
    """Whose page it is, who looks, and from which snapshot."""

    store: Store
    snapshot: Snapshot
    viewer: Viewer
    ref: str
    row: Any
    group: str


def standing_is_theirs(person: Person) -> None:
    check_can_see_trainee(person.viewer, person.ref)


def rates_are_theirs(person: Person) -> None:
    check_can_see_cohort(person.viewer)


@figure.part(standing_is_theirs)
def outcomes(person: Person) -> None:
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
    rows = queries.records(of_attribution)
    figure.plain_table(
        pd.DataFrame(
            {
                "outcome": [wording.titled(row.title, row) for row in rows],
                "known": [
                    f"{wording.rate_sentence(row)} {wording.from_others_sentence(row)}".strip()
                    for row in rows
                ],
            }
        ),
        "Outcomes",
    )
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


@figure.part(rates_are_theirs)
def sequence(person: Person) -> None:
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


@figure.part(standing_is_theirs)
def supervision(person: Person) -> None:
    st.header("How close did the supervisor stand?")
    frame = queries.bands(person.snapshot, person.viewer.scope, (person.ref,), person.group)
    if frame.empty:
        figure.nothing(
            "No level of supervision is recorded for these cases.", "Exports carry it in supervision."
        )
        return
    ladder = queries.ladder(person.snapshot, person.viewer.scope)
    marks = queries.marks(person.snapshot, person.viewer.scope, person.ref)
    figure.draw("supervision_over_time", frame, marks, key="quarters", ladder=ladder)
    figure.supervision_tables(
        frame, queries.levels(person.snapshot, person.viewer.scope, (person.ref,), person.group)
    )


@figure.part(standing_is_theirs)
def technique(person: Person) -> None:
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
    ends = [charts.scored_label(row.scored, row.score_low, row.score_high) for row in queries.records(frame)]
    figure.ends_of_lines(frame["step"], ends)
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


@figure.part(standing_is_theirs)
def feedback(person: Person) -> None:
    """Comments of reviews, the newest operation first, each with its case, setting and time; the scores without one below."""
    st.header("Feedback: what did reviewers write?")
    frame = queries.feedback(person.snapshot, person.viewer.scope, person.ref)
    if frame.empty:
        figure.nothing("No operation was reviewed step by step.", "A file of reviews brings comments in.")
        return
    said = frame["comment"].fillna("").str.strip() != ""
    reviews, operations = frame["review_ref"].nunique(), frame["case_ref"].nunique()
    figure.say(
        f"{wording.reviews_text(reviews)} of {operations} operation{'s' * (operations != 1)};"
        f" {wording.steps_text(int(said.sum()))} with a comment. Times are those of the recording. Who reviewed is not shown.",
        kind="quiet",
    )
    commented = frame[said]
    if not commented.empty:
        figure.plain_table(_feedback_table(commented.head(COMMENTS_SHOWN)), "Comments of reviews")
    if len(commented) > COMMENTS_SHOWN:
        with figure.closed(f"{len(commented) - COMMENTS_SHOWN} earlier comments"):
            figure.plain_table(_feedback_table(commented.iloc[COMMENTS_SHOWN:]), "Earlier comments")
    if not said.all():
        with figure.closed(f"{wording.steps_text(int((~said).sum()))} scored without a comment"):
            figure.plain_table(
                _feedback_table(frame[~said]).drop(columns=["comment"]), "Steps without a comment"
            )


def _feedback_table(frame: pd.DataFrame) -> pd.DataFrame:
    rows = queries.records(frame)
    return pd.DataFrame(
        {
            "month": [row.operated_month or "not known" for row in rows],
            "case": [row.case_ref for row in rows],
            "setting": [labels.setting_text(row.setting, row.self_review) for row in rows],
            "step": [row.step for row in rows],
            "time": [labels.between_text(row.started_seconds, row.ended_seconds) for row in rows],
            "score": [_score(row) for row in rows],
            "comment": [row.comment for row in rows],
        }
    )


def _score(row: Any) -> str:
    if row.done_by_supervisor not in (None, "no"):
        return "done by a supervisor"
    return "not seen" if row.score is None else f"{row.score:g} of 5"


def comparison(person: Person) -> None:
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


@figure.part(standing_is_theirs)
def waiting(person: Person) -> None:
    st.header("What is waiting in the log?")
    _disagreements(person)
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


def _disagreements(person: Person) -> None:
    """Where others say something else than the log, and whose word stands."""
    rows = queries.records(queries.disagreements(person.snapshot, person.viewer.scope, person.ref))
    if not rows:
        return
    with figure.closed(f"{len(rows)} {'entry' if len(rows) == 1 else 'entries'} that others contradict"):
        figure.plain_table(
            pd.DataFrame(
                {
                    "month of operation": [row.operated_month for row in rows],
                    "case": [row.case_ref for row in rows],
                    "procedure": [row.title for row in rows],
                    "about": [row.fact for row in rows],
                    "entered": [f"{row.entry} ({labels.source_text(row.entered_by)})" for row in rows],
                    "what stands": [f"{row.ruling} ({labels.source_text(row.ruled_by)})" for row in rows],
                }
            ),
            "Entries that others contradict",
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


def log_quality(person: Person) -> None:
    st.header("How good is the log?")
    rows = queries.records(queries.log_quality(person.snapshot, person.viewer.scope, (person.ref,)))
    figure.say_list([log_words.quality_sentence(row) for row in rows])
    figure.say(log_words.QUALITY_CAUTION, kind="quiet")
    if can_see_owed(person.viewer, person.ref):
        owed.of_trainee(person.viewer, person.store, person.snapshot, person.ref)


def findings(person: Person) -> None:
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
