"""The app: a rerun asks who looks, registers that person's screens, and runs the chosen one."""

from __future__ import annotations

import os
from pathlib import Path

import streamlit as st

from dashboard import access
from dashboard.screens import cohort
from pipelines.store import Store


def main() -> None:
    """One rerun."""
    st.set_page_config(page_title="Cohort Standing", layout="wide")
    viewer = access.viewer()
    store = Store(Path(os.environ["STANDING_STORE"]))
    pages = [st.Page(lambda: cohort.show(viewer, store), title="Cohort", url_path="cohort", default=True)]
    st.navigation(pages, position="top").run()


main()
