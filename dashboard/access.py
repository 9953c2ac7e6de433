"""Who may see what: the one place of the rule, as pairs of a question and a check.

A viewer is whoever the session in front of the app says (`dashboard/sessions.py`); a screen asks `viewer()` and
hands its scope to the queries, which select exactly the rows and columns that the scope may see.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import streamlit as st

from dashboard.sessions import HEADER, read_viewer
from pipelines.store.documents import Role

__all__ = ["Role"]
Whose = Literal["everyone", "trainee", "reviewer", "nobody"]

# Whose rows a role sees; a role that does not stand here sees nobody's.
WHOSE: dict[str, Whose] = {
    "director": "everyone",
    "committee_member": "everyone",
    "coordinator": "everyone",
    "reviewer": "reviewer",
    "trainee": "trainee",
}


class NotYours(Exception):
    """A screen or a row that this viewer may not see."""


@dataclass(frozen=True)
class Scope:
    """What a viewer may read: whose rows of which programme, and the tables and columns of which role.

    Nobody's rows are the default, and the only ones of a scope that leaves out what it needs.
    """

    programme_ref: str = ""
    whose: Whose = "nobody"
    ref: str | None = None
    role: str | None = None

    def __post_init__(self) -> None:
        stated = self.programme_ref and (self.ref or self.whose == "everyone")
        if not stated or WHOSE.get(self.role or "") != self.whose:
            object.__setattr__(self, "whose", "nobody")


@dataclass(frozen=True)
class Viewer:
    """Who looks at a screen, `person` as records call them. A role that is not one of ours sees nothing."""

    role: str
    programme_ref: str
    person_ref: str | None = None
    person: str = ""

    @property
    def scope(self) -> Scope:
        whose = WHOSE.get(self.role, "nobody")
        return Scope(self.programme_ref, whose, None if whose == "everyone" else self.person_ref, self.role)


def viewer() -> Viewer:
    """The viewer of this rerun; raises NotYours where the request carries no session."""
    who = read_viewer(st.context.headers.get(HEADER))
    if who is None:
        raise NotYours("There is no session. Open the front page again.")
    return Viewer(*who)


def check_still_looks(looked: Viewer) -> None:
    """Raise NotYours unless this rerun is of the viewer for whom the screen was made."""
    if viewer() != looked:
        raise NotYours("This screen was made for another session. Open the front page again.")


def can_see_methods(viewer: Viewer) -> bool:
    """The rules and definitions, which are the same for everybody who may see anything."""
    return viewer.scope.whose != "nobody"


def can_see_cohort(viewer: Viewer) -> bool:
    """Every trainee of the programme with rates, supervision and technique."""
    return _sees_somebody(viewer, "director", "committee_member")


def can_see_counts(viewer: Viewer) -> bool:
    """Volume and quality of the log of every trainee; no rates."""
    return _sees_somebody(viewer, "director", "committee_member", "coordinator")


def can_see_trainee(viewer: Viewer, trainee_ref: str) -> bool:
    """The whole standing of one trainee."""
    return can_see_cohort(viewer) or can_see_own_standing(viewer, trainee_ref)


def can_see_own_standing(viewer: Viewer, trainee_ref: str) -> bool:
    """A trainee sees their own standing, and nobody else's."""
    return _sees_somebody(viewer, "trainee") and viewer.person_ref == trainee_ref


def can_see_volume(viewer: Viewer, trainee_ref: str) -> bool:
    """One trainee's volume and log."""
    return can_see_trainee(viewer, trainee_ref) or can_see_counts(viewer)


def can_see_own_reviews(viewer: Viewer) -> bool:
    """A reviewer sees the reviews they wrote."""
    return _sees_somebody(viewer, "reviewer")


def can_take_exports(viewer: Viewer) -> bool:
    """Bring exports in, and see what came of them."""
    return _sees_somebody(viewer, "director", "coordinator")


def can_see_owed(viewer: Viewer, trainee_ref: str) -> bool:
    """What one trainee's log still lacks, and by when: who takes the exports, and the trainee."""
    return can_take_exports(viewer) or can_see_own_standing(viewer, trainee_ref)


def can_export_summary(viewer: Viewer) -> bool:
    """Make the accreditation volume summary, which names everyone."""
    return _sees_somebody(viewer, "director", "coordinator")


def can_see_access_log(viewer: Viewer) -> bool:
    """Who signed in, opened and fetched what in the programme."""
    return _sees_somebody(viewer, "director")


def can_see_own_log(viewer: Viewer) -> bool:
    """Who opened the viewer's own page."""
    return _sees_somebody(viewer, "trainee")


def check_can_see_methods(viewer: Viewer) -> None:
    _check(can_see_methods(viewer), "the methods")


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


def check_can_see_owed(viewer: Viewer, trainee_ref: str) -> None:
    _check(can_see_owed(viewer, trainee_ref), "what this trainee's log still lacks")


def check_can_export_summary(viewer: Viewer) -> None:
    _check(can_export_summary(viewer), "the volume summary")


def check_can_see_access_log(viewer: Viewer) -> None:
    _check(can_see_access_log(viewer), "the access log")


def check_can_see_own_log(viewer: Viewer) -> None:
    _check(can_see_own_log(viewer), "who opened a trainee's page")


def _sees_somebody(viewer: Viewer, *roles: Role) -> bool:
    return viewer.role in roles and viewer.scope.whose != "nobody"


def _check(allowed: bool, what: str) -> None:
    if not allowed:
        raise NotYours(f"With this session you may not see {what}.")
