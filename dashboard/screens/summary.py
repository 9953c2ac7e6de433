"""The accreditation volume summary: a preview by class, and the files."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import pandas as pd
import streamlit as st

from dashboard import figure, opening, queries, wording
from dashboard.access import Viewer, check_can_export_summary
from pipelines.contract.cautions import TO_BE_CONFIRMED
from pipelines.store.store import Store
from pipelines.summary.files import summary_files

TYPES = {
    ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    ".csv": "text/csv",
    ".json": "application/json",
}
DOWNLOADS = {".xlsx": "Download the workbook", ".csv": "Download the lines", ".json": "Download the receipt"}


def show(viewer: Viewer, store: Store) -> None:
    """The screen."""
    check_can_export_summary(viewer)
    snapshot = queries.live_snapshot(store)
    roster = queries.trainees(snapshot, viewer.scope)
    st.title("Volume summary")
    if roster.empty:
        opening.nobody(viewer, snapshot)
        return
    figure.caution()
    figure.say(
        "This summary names everyone and hides nothing: it is for those who may read about every trainee."
    )
    cohorts = list(dict.fromkeys(roster["cohort"]))
    first = roster.loc[roster["in_training"], "cohort"]
    cohort = st.selectbox("Class", cohorts, index=cohorts.index(first.iloc[0]) if len(first) else 0)
    _files(store, viewer, cohort)
    frame = queries.volume_summary(snapshot, viewer.scope, cohort)
    figure.heading(f"Preview: {wording.cohort_text(cohort)}")
    figure.plain_table(_preview(frame))
    st.header("Where is each minimum from?")
    rules = frame[["requirement_title", "edition", "source", "verified"]].drop_duplicates()
    figure.plain_table(
        pd.DataFrame(
            {
                "requirement": rules["requirement_title"],
                "edition": rules["edition"],
                "source": rules["source"],
                "checked": [_checked(verified) for verified in rules["verified"]],
            }
        )
    )


def _preview(frame: pd.DataFrame) -> pd.DataFrame:
    rows = queries.records(frame)
    return pd.DataFrame(
        {
            "trainee": frame["trainee_ref"],
            "requirement": [wording.requirement_text(row) for row in rows],
            "counted, of minimum": [wording.volume_text(row) for row in rows],
            "confirmed by a supervisor": frame["confirmed_cases"],
            "held": frame["held_cases"],
            "data through": frame["data_through"],
        }
    )


def _files(store: Store, viewer: Viewer, cohort: str) -> None:
    if st.button("Make the files"):
        st.session_state["summary"] = (cohort, summary_files(store, viewer.scope.programme_ref, cohort))
    made_for, files = st.session_state.get("summary", (None, {}))
    if made_for != cohort:
        return
    for place, (name, content) in zip(st.columns(len(files)), files.items(), strict=True):
        ending = Path(name).suffix
        place.download_button(
            DOWNLOADS[ending], partial(bytes, content), name, TYPES[ending], width="stretch"
        )


def _checked(verified: bool) -> str:
    return "checked" if verified else TO_BE_CONFIRMED
