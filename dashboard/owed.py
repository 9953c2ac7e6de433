"""What is owed to the log, on a screen: whom to write to, the note to send, and the list that goes with it."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard import figure, queries
from dashboard.access import Viewer, check_can_see_owed, check_can_take_exports
from dashboard.owed_words import OWED, WHAT_IS_OWED, note_to_supervisor, note_to_trainee
from dashboard.queries import Snapshot
from pipelines.store.store import Store
from pipelines.summary.files import plain_cell

BY_TRAINEE, BY_SUPERVISOR = "each trainee", "each supervisor"
HEADS = {
    "trainee_ref": "trainee",
    "supervisor_ref": "supervisor",
    "months_to_enter": "months to enter",
    "to_confirm": "cases to confirm",
    "outcomes_to_find_out": "cases with an outcome not known",
    "past_due": "past due",
    "oldest_months": "oldest, months ago",
    "next_due": "next due",
}
LIST = {
    "trainee_ref": "trainee",
    "owed": "owed",
    "month": "month",
    "case_ref": "case",
    "procedure": "procedure",
    "side": "side",
    "role": "role",
    "supervisor_ref": "supervisor",
    "missing": "not known",
    "age_months": "months ago",
    "due_on": "due on",
    "is_overdue": "past due",
}


def everybody(viewer: Viewer, store: Store, snapshot: Snapshot) -> None:
    """The part of the Intake screen: by trainee or by supervisor, then the note for one of them."""
    check_can_take_exports(viewer)
    st.header("What is owed?")
    roster = queries.trainees(snapshot, viewer.scope)
    kind = str(st.radio("Owed by", [BY_TRAINEE, BY_SUPERVISOR], horizontal=True))
    if kind == BY_TRAINEE:
        frame = queries.owed_by_trainee(snapshot, viewer.scope)
        if not st.toggle("Also those who have completed or left", key="owed_by_all"):
            frame = frame[frame["trainee_ref"].isin(roster.loc[roster["in_training"], "trainee_ref"])]
        whom = "trainee_ref"
    else:
        frame = queries.owed_by_supervisor(snapshot, viewer.scope)
        whom = "supervisor_ref"
    if frame.empty:
        figure.say("Nothing is owed.")
        return
    figure.say(WHAT_IS_OWED, kind="quiet")
    figure.plain_table(frame.rename(columns=HEADS), "What is owed?")
    ref = str(st.selectbox("Note to", list(dict.fromkeys(frame[whom]))))
    rows = queries.owed(snapshot, viewer.scope)
    rows = rows[rows[whom] == ref]
    _note(
        viewer, store, snapshot, ref, rows if whom == "trainee_ref" else rows[rows["owed"] == "confirmation"]
    )


def of_trainee(viewer: Viewer, store: Store, snapshot: Snapshot, ref: str) -> None:
    """What one trainee owes, as the note says it."""
    check_can_see_owed(viewer, ref)
    rows = queries.owed(snapshot, viewer.scope)
    rows = rows[rows["trainee_ref"] == ref]
    if not rows.empty:
        with figure.closed("What is owed, and by when"):
            _note(viewer, store, snapshot, ref, rows)


def _note(viewer: Viewer, store: Store, snapshot: Snapshot, ref: str, rows: pd.DataFrame) -> None:
    programme = store.programme
    title = programme.title if viewer.programme_ref == programme.programme_ref else viewer.programme_ref
    to_trainee = bool((rows["trainee_ref"] == ref).all())
    write = note_to_trainee if to_trainee else note_to_supervisor
    text = write(title, ref, snapshot.as_of or "", queries.records(rows))
    # A field that a person may change before they copy it; another snapshot or person has another.
    label = figure.without_markup(f"The note to {ref}")
    st.text_area(label, text, height=280, key=f"note-{snapshot.number}-{to_trainee}-{ref}")
    figure.download(
        "Download the list that goes with it",
        lambda: listed(rows),
        f"owed-{ref}.csv",
        "text/csv",
    )


def listed(rows: pd.DataFrame) -> bytes:
    """The rows as CSV, in words; no cell can be taken for a formula."""
    words = rows.assign(
        owed=[OWED[what] for what in rows["owed"]],
        is_overdue=["yes" if late else "no" for late in rows["is_overdue"]],
    )
    return words[list(LIST)].rename(columns=LIST).map(plain_cell).to_csv(index=False).encode()
