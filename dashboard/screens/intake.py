"""What came in, through when, what was left out and why; and bringing exports in."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pandas as pd
import streamlit as st

from dashboard import figure, opening, queries, wording
from dashboard.access import Viewer, check_can_take_exports
from dashboard.queries import Snapshot
from pipelines.store.store import Store

if TYPE_CHECKING:
    from pipelines.intake.uploads import Outcome

ENDINGS = {
    0: "Taken.",
    2: "Nothing was stored: the command or a setting is wrong.",
    11: "Refused: a file is not a table of the export format. Nothing was stored.",
    12: "Refused: a file holds what looks like an identifier. Nothing was stored.",
    13: "The integrity audit failed. Nothing was changed.",
    14: "Held: something would vanish from a trainee's record. Nothing was stored.",
    15: "Another writer is at work. Try again when it has finished.",
}
NOTHING_CHANGED = "Nothing changed: these files are already live."


def show(viewer: Viewer, store: Store) -> None:
    """The screen."""
    check_can_take_exports(viewer)
    snapshot = queries.live_snapshot(store)
    st.title("Intake")
    _bring_in(viewer, store)
    _logs(viewer, snapshot, store.programme.current_within_days)
    _left_out(viewer, snapshot)
    st.header("Which exports are live?")
    live = queries.intakes(snapshot, viewer.scope)
    if live.empty:
        figure.say("None yet.")
    else:
        figure.plain_table(live)


def _bring_in(viewer: Viewer, store: Store) -> None:
    st.header("Bring exports in")
    st.markdown(
        "CSV, XLSX or Parquet in the export format; several files are taken together, all or none. A new export of a "
        "trainee replaces the one before. Rows with a day of operation stay in memory; only the month is kept."
    )
    files = st.file_uploader("Exports", accept_multiple_files=True, on_change=_forget_outcome)
    if st.button("Take these exports", type="primary", disabled=not files):
        _take(store, files or [])
    outcome: Outcome | None = st.session_state.get("outcome")
    if outcome is None:
        return
    (st.success if outcome.code == 0 else st.warning)(_ending(outcome.code))
    st.code(for_the_screen(f"{outcome.receipt}\n{outcome.said}"), language=None)
    if outcome.code == 14 and files:
        _accept(viewer, store, files)


def _ending(code: int) -> str:
    if code == 0 and not st.session_state["published"]:
        return NOTHING_CHANGED
    return ENDINGS.get(code, "It did not end well.")


def for_the_screen(said: str) -> str:
    """Without what is for a terminal alone: the lines of progress, and how to accept on the command line."""
    lines = said.strip().splitlines()
    return "\n".join(line for line in lines if not line.endswith(" …") and "--accept-withdrawals" not in line)


def _forget_outcome() -> None:
    """What was said of one choice of files is not true of another."""
    st.session_state.pop("outcome", None)


def _take(store: Store, files: list[Any], by: str | None = None, reason: str | None = None) -> None:
    # The whole intake, which no other screen needs, is slow to import.
    from pipelines.intake.uploads import Upload, take

    with st.spinner("Reading, checking, storing …"):
        uploads = [Upload(file.name, file.getvalue()) for file in files]
        before = store.current().snapshot
        st.session_state["outcome"] = take(store.root, uploads, by, reason)
        st.session_state["published"] = store.current().snapshot != before
    st.rerun()


def _accept(viewer: Viewer, store: Store, files: list[Any]) -> None:
    """A person's word that what would vanish may vanish."""
    with st.form("accept"):
        st.markdown("If this is right, say who accepts it and why. Both stand in the receipt for good.")
        by = st.text_input("Who", value=viewer.role.replace("_", " "))
        reason = st.text_input("Why")
        if st.form_submit_button("Accept and take"):
            if by.strip() and reason.strip():
                _take(store, files, by, reason)
            st.error("Both are needed.")


def _logs(viewer: Viewer, snapshot: Snapshot, within_days: int) -> None:
    st.header("Through when do the data run?")
    frame = queries.logs(snapshot, viewer.scope)
    if frame.empty:
        opening.nobody(viewer, snapshot)
        return
    roster = queries.trainees(snapshot, viewer.scope)
    late = roster[~roster["is_current"] & roster["in_training"]]
    if late.empty:
        figure.say("Every log of a trainee in training is current.")
    for row in queries.records(late):
        figure.say(
            wording.through_sentence(
                row.trainee_ref, row.data_through, is_current=False, in_training=True, within_days=within_days
            )
        )
    if not st.toggle("Also those who have completed or left"):
        frame = frame[frame["trainee_ref"].isin(roster.loc[roster["in_training"], "trainee_ref"])]
    figure.plain_table(frame.rename(columns={"trainee_ref": "trainee"}))


def _left_out(viewer: Viewer, snapshot: Snapshot) -> None:
    st.header("What was left out or remarked, by rule?")
    frame = queries.left_out(snapshot, viewer.scope)
    if frame.empty:
        figure.say("Nothing was left out, and nothing was remarked.")
        return
    figure.plain_table(
        frame.assign(
            what_became_of_it=[wording.severity_text(severity) for severity in frame["what_became_of_it"]],
            rule=[wording.rule_text(rule) for rule in frame["rule"]],
        ).rename(columns={"trainee_ref": "trainee"})
    )
    findings = queries.findings(snapshot, viewer.scope, None)
    refs = list(dict.fromkeys(findings["trainee_ref"].dropna()))
    if refs:
        chosen = str(st.selectbox("Trainee", refs))
        _fix_list(chosen, findings[findings["trainee_ref"] == chosen])


def _fix_list(ref: str, findings: pd.DataFrame) -> None:
    columns = ["file_name", "source_row", "column_name", "rule", "message", "remedy"]
    st.download_button(
        "Download the list of rows to mend",
        findings[columns].to_csv(index=False),
        f"{ref}-fixes.csv",
        "text/csv",
    )
