"""Who may see what: the one place of the rule, as pairs of a question and a check.

A viewer is whoever the session in front of the app says (`dashboard/sessions.py`); a screen asks `viewer()` and
hands its scope to the queries, which select exactly the rows and columns that the scope may see.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import streamlit as st

from dashboard.sessions import HEADER, read_viewer

Role = Literal["director", "committee_member", "coordinator", "reviewer", "trainee"]


class NotYours(Exception):
    """A screen or a row that this viewer may not see."""


@dataclass(frozen=True)
class Scope:
    """The rows a viewer may see: a programme, and of it one trainee or one reviewer, or everybody."""

    programme_ref: str
    trainee_ref: str | None = None
    reviewer_ref: str | None = None


@dataclass(frozen=True)
class Viewer:
    """Who looks at a screen."""

    role: Role
    programme_ref: str
    person_ref: str | None = None

    @property
    def scope(self) -> Scope:
        return Scope(
            self.programme_ref,
            self.person_ref if self.role == "trainee" else None,
            self.person_ref if self.role == "reviewer" else None,
        )


def viewer() -> Viewer:
    """The viewer of this rerun; raises NotYours where the request carries no session."""
    told = read_viewer(st.context.headers.get(HEADER))
    if told is None:
        raise NotYours("There is no session. Open the front page again.")
    return Viewer(*told)


def can_see_cohort(viewer: Viewer) -> bool:
    """Every trainee of the programme with rates, supervision and technique."""
    return viewer.role in ("director", "committee_member")


def can_see_counts(viewer: Viewer) -> bool:
    """Volume and quality of the log of every trainee; no rates."""
    return viewer.role in ("director", "committee_member", "coordinator")


def can_see_trainee(viewer: Viewer, trainee_ref: str) -> bool:
    """The whole standing of one trainee."""
    return can_see_cohort(viewer) or can_see_own_standing(viewer, trainee_ref)


def can_see_own_standing(viewer: Viewer, trainee_ref: str) -> bool:
    """A trainee sees their own standing, and nobody else's."""
    return viewer.role == "trainee" and viewer.person_ref == trainee_ref


def can_see_volume(viewer: Viewer, trainee_ref: str) -> bool:
    """One trainee's volume and log."""
    return can_see_trainee(viewer, trainee_ref) or can_see_counts(viewer)


def can_see_own_reviews(viewer: Viewer) -> bool:
    """A reviewer sees the reviews they wrote."""
    return viewer.role == "reviewer"


def can_take_exports(viewer: Viewer) -> bool:
    """Bring exports in, and see what came of them."""
    return viewer.role in ("director", "coordinator")


def can_export_summary(viewer: Viewer) -> bool:
    """Make the accreditation volume summary, which names everyone."""
    return viewer.role in ("director", "coordinator")


def check_can_see_cohort(viewer: Viewer) -> None:
    _check(can_see_cohort(viewer), "the cohort")


def check_can_see_counts(viewer: Viewer) -> None:
    _check(can_see_counts(viewer), "the volumes of the cohort")


def check_can_see_trainee(viewer: Viewer, trainee_ref: str) -> None:
    _check(can_see_trainee(viewer, trainee_ref), "this trainee's standing")


def check_can_see_volume(viewer: Viewer, trainee_ref: str) -> None:
    _check(can_see_volume(viewer, trainee_ref), "this trainee's volume")


def check_can_see_own_reviews(viewer: Viewer) -> None:
    _check(can_see_own_reviews(viewer), "a reviewer's own reviews")


def check_can_take_exports(viewer: Viewer) -> None:
    _check(can_take_exports(viewer), "the intake of exports")


def check_can_export_summary(viewer: Viewer) -> None:
    _check(can_export_summary(viewer), "the volume summary")


def _check(allowed: bool, what: str) -> None:
    if not allowed:
        raise NotYours(f"With this session you may not see {what}.")
