"""What came in, how current it is, what was left out and why; and bringing exports in."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard import figure, labels, log_words, opening, owed, queries, wording
from dashboard.access import Viewer, check_can_take_exports
from dashboard.queries import Snapshot
from dashboard.screens import bring_in
from pipelines.contract.codes_in_words import ACCOUNT, quality_head, whose
from pipelines.store.store import Store
from pipelines.summary.files import plain_cell


def show(viewer: Viewer, store: Store) -> None:
    """The screen."""
    check_can_take_exports(viewer)
    snapshot = queries.live_snapshot(store)
    st.title("Intake")
    bring_in.draw(viewer, store, snapshot)
    _logs(viewer, snapshot)
    _quality(viewer, snapshot)
    owed.everybody(viewer, store, snapshot)
    _left_out(viewer, snapshot)
    st.header("Files in use")
    live = queries.intakes(snapshot, viewer.scope)
    if live.empty:
        figure.say("None yet.")
    else:
        figure.plain_table(live)
        _accounts(viewer, snapshot)
    bring_in.offer_undo(viewer, store, snapshot)


def _logs(viewer: Viewer, snapshot: Snapshot) -> None:
    st.header("How current are the data?")
    frame = queries.logs(snapshot, viewer.scope)
    if frame.empty:
        opening.nobody(viewer, snapshot)
        return
    roster = queries.trainees(snapshot, viewer.scope)
    late = roster[~roster["is_current"] & roster["in_training"]]
    if late.empty:
        figure.say("Every log of a trainee in training is current.")
    for row in queries.records(late):
        figure.say(wording.log_sentence(row))
    if not st.toggle("Also those who have completed or left"):
        frame = frame[frame["trainee_ref"].isin(roster.loc[roster["in_training"], "trainee_ref"])]
    figure.plain_table(frame.rename(columns={"trainee_ref": "trainee"}))


def _quality(viewer: Viewer, snapshot: Snapshot) -> None:
    """The measures of the logs of those in training, a row a person."""
    roster = queries.trainees(snapshot, viewer.scope)
    people = roster.loc[roster["in_training"], "trainee_ref"].tolist()
    if not people:
        return
    st.header("How good are the logs?")
    figure.say(log_words.QUALITY_CAUTION)
    lines: dict[str, dict[str, str]] = {}
    for row in queries.records(queries.log_quality(snapshot, viewer.scope, people)):
        line = lines.setdefault(row.trainee_ref, {"trainee": row.trainee_ref})
        line[quality_head(row.measure, row.within_days)] = (log_words.part_text(row) or "–").replace(
            " %", f"{figure.NO_BREAK}%"
        )
        if row.measure == "entered_in_time":
            line["half entered within (days)"] = log_words.days_text(row) or "–"
        if row.measure == "operating_role":
            line["earlier trainees at the same month"] = log_words.earlier_text(row) or "–"
    figure.plain_table(pd.DataFrame(list(lines.values())), "How good are the logs?")


def _left_out(viewer: Viewer, snapshot: Snapshot) -> None:
    st.header("What was left out, or kept for you to check?")
    frame = queries.left_out(snapshot, viewer.scope)
    if frame.empty:
        figure.say("Nothing was left out, and there is nothing to check.")
        return
    figure.plain_table(
        frame.assign(
            what_became_of_it=[labels.severity_text(severity) for severity in frame["what_became_of_it"]],
            rule=[labels.rule_text(rule) for rule in frame["rule"]],
        ).rename(columns={"trainee_ref": "trainee"})
    )
    findings = queries.findings(snapshot, viewer.scope, None)
    refs = list(dict.fromkeys(findings["trainee_ref"].dropna()))
    if refs:
        chosen = str(st.selectbox("Trainee", refs))
        _fix_list(chosen, findings[findings["trainee_ref"] == chosen])


def _accounts(viewer: Viewer, snapshot: Snapshot) -> None:
    """What became of every row: the account of each file, by trainee."""
    frame = queries.reconciliation(snapshot, viewer.scope)
    figure.say_list(
        log_words.account_sentences([None if pd.isna(each) else bool(each) for each in frame["balances"]])
    )
    with figure.closed(f"The rows of each file, by trainee ({len(frame)})"):
        frame["trainee_ref"] = frame["trainee_ref"].map(whose)
        figure.plain_table(frame.rename(columns=ACCOUNT))


def _fix_list(ref: str, findings: pd.DataFrame) -> None:
    columns = ["file_name", "source_row", "column_name", "rule", "message", "remedy"]
    figure.download(
        "Download the list of rows to mend",
        lambda: findings[columns].map(plain_cell).to_csv(index=False).encode(),
        f"{ref}-fixes.csv",
        "text/csv",
    )
