"""The app: a rerun asks who looks, registers that person's screens, and runs the chosen one."""

from __future__ import annotations

import os
from pathlib import Path

import streamlit as st

from dashboard import access, figure, navigation, picker, theme
from pipelines.store.store import Store


def main() -> None:
    """One rerun."""
    st.set_page_config(page_title="Cohort Standing", layout="wide")
    store = Store(Path(os.environ["STANDING_STORE"]))
    try:
        viewer = access.viewer()
        page = st.navigation(navigation.pages(viewer, store), position="top")
        st.html(f"<style>{theme.STYLE}</style>")
        picker.show(viewer, store)
        page.run()
    except access.NotYours as refusal:
        figure.refusal(refusal)


main()
