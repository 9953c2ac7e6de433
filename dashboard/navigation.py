"""Which screens a person has, and how one screen opens another."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

import streamlit as st

from dashboard import access, opening
from dashboard.access import Viewer
from dashboard.screens import cases, cohort, intake, log, methods, reviews, summary, trainee
from pipelines.store.access_log import is_kept
from pipelines.store.store import Store

Screen = Callable[[Viewer, Store], None]


def screens_of(viewer: Viewer, *, logged: bool = False) -> dict[str, tuple[str, Screen]]:
    """The screens of this person's role, by the name in the address; the first is the front page.

    `logged`: the store has an access log.
    """
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
    if logged and access.can_see_access_log(viewer):
        screens["log"] = ("Access log", log.show)
    if logged and access.can_see_own_log(viewer):
        screens["log"] = ("Who opened my page", log.show)
    if access.can_see_methods(viewer):
        screens["methods"] = ("Methods", methods.show)
    return screens


def pages(viewer: Viewer, store: Store) -> list[Any]:
    """The pages to register for this person, and no other; raises NotYours where there is none."""
    access.check_can_see_methods(viewer)
    screens = screens_of(viewer, logged=is_kept(store.root))
    first = next(iter(screens))
    made = {
        name: st.Page(
            partial(_open, name, show, viewer, store), title=title, url_path=name, default=name == first
        )
        for name, (title, show) in screens.items()
    }
    st.session_state["pages"] = made
    return list(made.values())


def _open(name: str, show: Screen, viewer: Viewer, store: Store) -> None:
    opening.note(viewer, store, name)
    show(viewer, store)
