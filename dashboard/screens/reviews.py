"""A reviewer's own reviews, step by step."""

from __future__ import annotations

import streamlit as st

from dashboard import figure, queries, wording
from dashboard.access import Viewer, check_can_see_own_reviews
from pipelines.store.store import Store


def show(viewer: Viewer, store: Store) -> None:
    """The screen."""
    check_can_see_own_reviews(viewer)
    snapshot = queries.live_snapshot(store)
    st.title("My reviews")
    frame = queries.own_reviews(snapshot, viewer.scope)
    if frame.empty:
        figure.nothing(
            "You have not reviewed an operation yet.", "The coordinator brings in files of reviews."
        )
        return
    refs = list(dict.fromkeys(frame["review_ref"]))
    chosen = st.selectbox("Review", refs)
    of_review = frame[frame["review_ref"] == chosen]
    first = queries.records(of_review)[0]
    figure.say(
        f"Trainee {first.trainee_ref}, case {first.case_ref}, {first.setting}. {wording.reviews_text(len(refs))} in all."
    )
    figure.plain_table(of_review[["step", "score", "done_by_supervisor", "comment"]])
