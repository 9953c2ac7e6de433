"""The app: a rerun asks who looks, registers that person's screens, and runs the chosen one."""

from __future__ import annotations

import os
from pathlib import Path

import streamlit as st

from dashboard import access, figure, navigation, own_store, picker, theme
from pipelines.contract.errors import UserError
from pipelines.store.store import Store


def main() -> None:
    """One rerun."""
    st.set_page_config(page_title="Cohort Standing", layout="wide")
    try:
        store = Store(Path(os.environ["STANDING_STORE"]))
        own_store.check_snapshot(store)
        viewer = access.viewer()
        page = st.navigation(navigation.pages(viewer, store), position="top")
        st.html(f"<style>{theme.STYLE}</style>")
        picker.show(viewer, store, choice="STANDING_PICKER" in os.environ)
        page.run()
    except (access.NotYours, UserError) as refusal:
        figure.refusal(refusal)


main()
