"""What was chosen on one screen and is opened on another: a trainee, and a figure of theirs."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard import figure, queries
from dashboard.access import Viewer
from dashboard.queries import Snapshot

ATTRIBUTIONS = {
    "as_started": "as started: begun as operating surgeon, taken over or not",
    "as_logged": "as logged: in the role of surgeon",
    "in_trainee_hands": "in the trainee's hands: events while the trainee was operating",
}


def go(screen: str, trainee_ref: str, figure: str | None = None) -> None:
    """Open another screen on a trainee, and on one of the figures."""
    st.session_state["opened_trainee"] = trainee_ref
    if figure:
        st.session_state["opened_figure"] = figure
    st.switch_page(st.session_state["pages"][screen])


def nobody(viewer: Viewer, snapshot: Snapshot) -> None:
    """Say why no trainee is to be seen, and what brings them in."""
    if queries.names_another_programme(snapshot, viewer.scope):
        figure.nothing(
            f"The roster names nobody of the programme {viewer.programme_ref}, only of another one.",
            "Write the programme_ref of programme.yaml in the roster, or leave that column blank.",
        )
        return
    figure.nothing("Nobody is in the roster yet.", "The coordinator brings in a roster and case exports.")


def choose_trainee(roster: pd.DataFrame, label: str = "Trainee") -> str:
    """Choose a trainee by keyboard or mouse; the one that was opened is chosen already."""
    refs = list(roster["trainee_ref"])
    opened = st.session_state.get("opened_trainee")
    classes = dict(zip(roster["trainee_ref"], roster["cohort"], strict=True))
    chosen = st.selectbox(
        label,
        refs,
        index=refs.index(opened) if opened in refs else first_current(roster),
        format_func=lambda ref: f"{ref}, class {classes[ref]}",
    )
    st.session_state["opened_trainee"] = chosen
    return str(chosen)


def first_current(roster: pd.DataFrame) -> int:
    """The place of the first trainee who has not completed."""
    current = [place for place, done in enumerate(roster["completed"].isna()) if done]
    return current[0] if current else 0


def figures(snapshot: Snapshot, with_rates: bool) -> dict[str, str]:
    """Every figure that opens: counts by requirement, and rates by complication and attribution."""
    requirements = queries.listed(snapshot, "requirement")
    named = {
        f"requirement:{ref}": f"Counted cases: {title}"
        for ref, title, minimum in requirements[["requirement_ref", "title", "minimum"]].itertuples(
            index=False
        )
        if pd.notna(minimum)
    }
    if with_rates:
        complications = queries.listed(snapshot, "complication")
        named |= {
            f"complication:{ref}:{attribution}": f"{title}, {attribution.replace('_', ' ')}"
            for ref, title in complications[["complication_ref", "title"]].itertuples(index=False)
            for attribution in ATTRIBUTIONS
        }
    return named


def choose_figure(named: dict[str, str]) -> str:
    """Choose a figure; the one that was opened is chosen already."""
    keys = list(named)
    opened = st.session_state.get("opened_figure")
    chosen = st.selectbox(
        "Figure", keys, index=keys.index(opened) if opened in keys else 0, format_func=named.__getitem__
    )
    st.session_state["opened_figure"] = chosen
    return str(chosen)
