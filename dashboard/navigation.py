"""Which screens a person has, and how one screen opens another."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

import streamlit as st

from dashboard import access
from dashboard.access import Viewer
from dashboard.screens import cases, cohort, intake, methods, reviews, summary, trainee
from pipelines.store.store import Store

Screen = Callable[[Viewer, Store], None]


def screens_of(viewer: Viewer) -> dict[str, tuple[str, Screen]]:
    """The screens of this person's role, by the name in the address; the first is the front page."""
    screens: dict[str, tuple[str, Screen]] = {}
    if access.can_see_counts(viewer):
        screens["cohort"] = ("Cohort", cohort.show)
    own = access.can_see_own_standing(viewer, viewer.person_ref or "")
    if access.can_see_counts(viewer) or own:
        screens["trainee"] = ("My standing" if own else "Trainee", trainee.show)
        screens["cases"] = ("Cases behind a number", cases.show)
    if access.can_see_own_reviews(viewer):
        screens["reviews"] = ("My reviews", reviews.show)
    if access.can_take_exports(viewer):
        screens["intake"] = ("Intake", intake.show)
    if access.can_export_summary(viewer):
        screens["summary"] = ("Volume summary", summary.show)
    if access.can_see_methods(viewer):
        screens["methods"] = ("Methods", methods.show)
    return screens


def pages(viewer: Viewer, store: Store) -> list[Any]:
    """The pages to register for this person, and no other; raises NotYours where there is none."""
    access.check_can_see_methods(viewer)
    screens = screens_of(viewer)
    first = next(iter(screens))
    made = {
        name: st.Page(partial(show, viewer, store), title=title, url_path=name, default=name == first)
        for name, (title, show) in screens.items()
    }
    st.session_state["pages"] = made
    return list(made.values())
