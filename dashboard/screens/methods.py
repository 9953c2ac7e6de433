"""How each number is made, from where, what it cannot say, and what still has to be checked."""

from __future__ import annotations

from itertools import groupby
from operator import attrgetter

import pandas as pd
import streamlit as st

from dashboard import figure, queries, wording
from dashboard.access import Scope, Viewer, check_can_see_methods
from dashboard.departures import DEPARTURES
from dashboard.queries.live import Kept
from pipelines.contract.cautions import source_in_words
from pipelines.store.documents import Programme
from pipelines.store.store import Store

CHECKED = {
    "requirement": {
        "title": "requirement",
        "minimum": "minimum",
        "edition": "edition",
        "source": "source",
    },
    "complication": {
        "title": "complication",
        "definition": "definition",
        "window_days": "window in days",
        "source": "source",
    },
}


def show(viewer: Viewer, store: Store) -> None:
    """The screen."""
    check_can_see_methods(viewer)
    snapshot = queries.live_snapshot(store)
    st.title("Methods")
    st.header("Cautions")
    figure.say_list(wording.cautions())
    st.header("On what basis are the data held?")
    figure.say(_basis(viewer, store.programme))
    _definitions(viewer, snapshot)
    st.header("Which rules were checked, and where are they from?")
    _checked_rules(viewer, snapshot)
    st.header("What still has to be confirmed?")
    unverified = queries.unverified(snapshot, viewer.scope)
    figure.plain_table(unverified.assign(source=unverified["source"].map(source_in_words)))
    st.header("Where do we depart from published methods?")
    figure.say_list(DEPARTURES)


def _basis(viewer: Viewer, programme: Programme) -> str:
    if viewer.programme_ref != programme.programme_ref:
        return "The settings of this store speak of another programme."
    return programme.basis or "Nobody has written it down yet: basis in programme.yaml is blank."


def _checked_rules(viewer: Viewer, snapshot: queries.Snapshot) -> None:
    """What somebody has read in the document named as source."""
    for table, columns in CHECKED.items():
        rules = queries.listed(snapshot, viewer.scope, table)
        checked = rules[rules["verified"].astype(bool)]
        if checked.empty:
            figure.say(f"No {table} was checked against its source.")
        else:
            figure.plain_table(checked[list(columns)].rename(columns=columns))


def _definitions(viewer: Viewer, snapshot: queries.Snapshot) -> None:
    st.header("How is each number made?")
    figure.say("These are the comments of the views themselves, so they cannot drift from what is computed.")
    written = _DEFINITIONS.get((snapshot, viewer.scope), lambda: _written(snapshot, viewer.scope))
    for view, said, columns in written:
        with st.expander(str(view).replace("_", " ")):
            if said:
                figure.say(said)
            st.html(columns)


# A third of what a trainee clicks is this screen, and it is the same each time.
_DEFINITIONS: Kept[list[tuple[str, str, str]]] = Kept(128)


def _written(snapshot: queries.Snapshot, scope: Scope) -> list[tuple[str, str, str]]:
    """Of each view its name, what it is, and its columns as a table."""
    rows = queries.records(queries.definitions(snapshot, scope))
    written = []
    for view, of_view in groupby(rows, key=attrgetter("view")):
        comments = {row.column: row.comment for row in of_view}
        said = comments.pop(None, "")
        columns = pd.DataFrame({"column": comments.keys(), "comment": comments.values()})
        written.append((view, said, figure.table_markup(columns)))
    return written
