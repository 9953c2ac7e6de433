"""The cohort at a committee meeting."""

from __future__ import annotations

import streamlit as st

from dashboard.access import Viewer, check_can_see_cohort
from pipelines.store import Store


def show(viewer: Viewer, store: Store) -> None:
    """The screen."""
    check_can_see_cohort(viewer)
    st.title("Cohort")
    st.write("hello", store.programme.title)
