"""The accreditation volume summary: a preview by class, and the files."""

from __future__ import annotations

import streamlit as st

from dashboard import figure, opening, queries, wording
from dashboard.access import Viewer, check_can_export_summary
from pipelines.cautions import TO_BE_CONFIRMED
from pipelines.store import Store
from pipelines.summary import summary_files

TYPES = {
    ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    ".csv": "text/csv",
    ".json": "application/json",
}


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
    st.markdown(
        "This summary names everyone and hides nothing: it is for those who may read about every trainee."
    )
    cohorts = list(dict.fromkeys(roster["cohort"]))
    first = roster.loc[roster["completed"].isna(), "cohort"]
    cohort = st.selectbox("Class", cohorts, index=cohorts.index(first.iloc[0]) if len(first) else 0)
    _files(store, cohort)
    frame = queries.volume_summary(snapshot, viewer.scope, cohort)
    st.header(f"Preview: {wording.cohort_text(cohort)}")
    of_rule = ["requirement_title", "edition", "source", "verified"]
    figure.plain_table(frame.drop(columns=of_rule[1:]))
    st.header("Where is each minimum from?")
    rules = frame[of_rule].drop_duplicates()
    figure.plain_table(rules.assign(verified=[_checked(verified) for verified in rules["verified"]]))


def _files(store: Store, cohort: str) -> None:
    if st.button("Make the files"):
        st.session_state["summary"] = (cohort, summary_files(store, cohort))
    made_for, files = st.session_state.get("summary", (None, {}))
    if made_for != cohort:
        return
    for place, (name, content) in zip(st.columns(len(files)), files.items(), strict=True):
        kind = next(mime for ending, mime in TYPES.items() if name.endswith(ending))
        place.download_button(f"Download {name}", content, name, kind, width="stretch")


def _checked(verified: bool) -> str:
    return "checked" if verified else TO_BE_CONFIRMED
