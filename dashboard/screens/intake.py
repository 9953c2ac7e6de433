"""What came in, how current it is, what was left out and why; and bringing exports in."""

from __future__ import annotations

import datetime
from typing import TYPE_CHECKING, Any

import pandas as pd
import streamlit as st

from dashboard import figure, labels, opening, queries, wording
from dashboard.access import Viewer, check_can_take_exports
from dashboard.queries import Snapshot
from pipelines.contract.errors import UserError
from pipelines.store.store import Store
from pipelines.summary.files import plain_cell

if TYPE_CHECKING:
    from pipelines.intake.take import IntakeOutcome


def show(viewer: Viewer, store: Store) -> None:
    """The screen."""
    check_can_take_exports(viewer)
    snapshot = queries.live_snapshot(store)
    st.title("Intake")
    _bring_in(viewer, store)
    _logs(viewer, snapshot)
    _left_out(viewer, snapshot)
    st.header("Files in use")
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
        _take(viewer, store, files or [])
    if "not_taken" in st.session_state:
        figure.say(st.session_state["not_taken"])
    outcome: IntakeOutcome | None = st.session_state.get("outcome")
    if outcome is None:
        return
    _say(outcome)
    if outcome.status == "held" and files:
        _accept(viewer, store, files)


def _say(outcome: IntakeOutcome) -> None:
    from pipelines.intake.take import ending, receipt_lines

    (st.success if outcome.status in ("stored", "unchanged") else st.warning)(ending(outcome))
    said = [f"{finding.message} {finding.remedy}" for finding in outcome.refused]
    if outcome.status == "held":
        said += [f"{reason.trainee_ref}: {reason.text}" for reason in outcome.held]
    said += [line for receipt in outcome.receipts for line in receipt_lines(receipt)]
    if said:
        st.code("\n".join(said), language=None)


def _forget_outcome() -> None:
    """What was said of one choice of files is not true of another."""
    st.session_state.pop("outcome", None)
    st.session_state.pop("not_taken", None)


def _take(
    viewer: Viewer, store: Store, files: list[Any], by: str | None = None, reason: str | None = None
) -> None:
    # The whole intake, which no other screen needs, is slow to import.
    from pipelines.files.reading import ExportFile
    from pipelines.intake.take import IntakeRequest, take

    request = IntakeRequest(
        [ExportFile(file.name, file.getvalue()) for file in files],
        datetime.date.today(),
        accepted_by=by,
        reason=reason,
        programme_ref=viewer.scope.programme_ref,
    )
    _forget_outcome()
    try:
        with st.spinner("Reading, checking, storing …"):
            st.session_state["outcome"] = take(store, request)
    except UserError as error:
        st.session_state["not_taken"] = f"Nothing was stored. {error}"
    st.rerun()


def _accept(viewer: Viewer, store: Store, files: list[Any]) -> None:
    """A person's word that what would vanish may vanish."""
    with st.form("accept"):
        st.markdown("If this is right, say who accepts it and why. Both stand in the receipt for good.")
        # Who has signed in accepts in their own name.
        by = viewer.person or st.text_input("Who", value=viewer.role.replace("_", " "))
        reason = st.text_input("Why")
        if st.form_submit_button("Accept and take"):
            if by.strip() and reason.strip():
                _take(viewer, store, files, by, reason)
            st.error("Both are needed.")


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


def _fix_list(ref: str, findings: pd.DataFrame) -> None:
    columns = ["file_name", "source_row", "column_name", "rule", "message", "remedy"]
    st.download_button(
        "Download the list of rows to mend",
        lambda: findings[columns].map(plain_cell).to_csv(index=False).encode(),
        f"{ref}-fixes.csv",
        "text/csv",
    )
