"""A reviewer's own reviews, step by step."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard import figure, labels, queries, wording
from dashboard.access import Viewer, check_can_see_own_reviews
from pipelines.store.store import Store


def show(viewer: Viewer, store: Store) -> None:
    """The screen."""
    check_can_see_own_reviews(viewer)
    snapshot = queries.live_snapshot(store)
    (of_review,) = figure.top("My reviews", 2)
    frame = queries.own_reviews(snapshot, viewer.scope)
    if frame.empty:
        figure.nothing(
            "You have not reviewed an operation yet.", "The coordinator brings in files of reviews."
        )
        return
    frame = frame.assign(month=frame["operated_month"].fillna("month not known"))
    reviews = frame.drop_duplicates("review_ref").sort_values(
        ["trainee_ref", "month"], ascending=[True, False], kind="stable"
    )
    words = {
        row.review_ref: f"{row.trainee_ref}, {row.month}, case {row.case_ref}, {row.setting}"
        for row in queries.records(reviews)
    }
    with of_review:
        chosen = st.selectbox("Review", list(words), format_func=words.__getitem__)
    of_review_rows = frame[frame["review_ref"] == chosen]
    rows = queries.records(of_review_rows)
    figure.say(f"{words[chosen]}. {wording.reviews_text(len(words))} in all.")
    figure.plain_table(
        pd.DataFrame(
            {
                "step": of_review_rows["step"],
                "score": of_review_rows["score"],
                "done by a supervisor": of_review_rows["done_by_supervisor"],
                "from": [labels.clock_text(row.started_seconds) for row in rows],
                "to": [labels.clock_text(row.ended_seconds) for row in rows],
                "comment": of_review_rows["comment"],
            }
        ),
        "The review",
    )
    listed = reviews.groupby(["trainee_ref", "month"], sort=False).size().reset_index(name="reviews")
    figure.heading("By trainee and month")
    figure.plain_table(listed.rename(columns={"trainee_ref": "trainee"}), "Reviews by trainee and month")
