"""What was chosen on one screen and is opened on another: a trainee, and a figure of theirs."""

from __future__ import annotations

from typing import Any

import pandas as pd
import streamlit as st

from dashboard import figure, queries, wording
from dashboard.access import Scope, Viewer, can_see_counts
from dashboard.queries import Snapshot
from pipelines.store.access_log import Record, is_kept, write
from pipelines.store.store import Store

# Screens that show one trainee: who that is, is known only when one is chosen.
OF_ONE = ("trainee", "cases")


def note(viewer: Viewer, store: Store, screen: str, trainee_ref: str = "") -> None:
    """Write down, where the store has an access log, that a screen was opened: once for as long as it stays on somebody.

    Before anything of it is shown. What a trainee opens of their own is theirs to see, and stands in no log.
    """
    opened = (screen, trainee_ref)
    own = viewer.role == "trainee"
    if own or (screen in OF_ONE and not trainee_ref) or st.session_state.get("noted") == opened:
        return
    if is_kept(store.root):
        write(
            store.root,
            Record(viewer.person, viewer.role, viewer.programme_ref, "opened", screen, trainee_ref),
            durable=False,
        )
    st.session_state["noted"] = opened


def go(screen: str, trainee_ref: str, figure: str | None = None) -> None:
    """Open another screen on a trainee, and on one of the figures."""
    st.session_state["opened_trainee"] = trainee_ref
    st.session_state.pop("opened_part", None)
    if figure:
        st.session_state["opened_figure"] = figure
    st.switch_page(st.session_state["pages"][screen])


def go_to_evidence(trainee_ref: str, opens: str) -> None:
    """Open what a reason to discuss names in `opens`: the cases of a count or of an outcome, or a part of the trainee's page.

    That part then stands first on it.
    """
    what, _, ref = opens.partition(":")
    if what == "requirement":
        go("cases", trainee_ref, opens)
    if what == "outcome":
        go("cases", trainee_ref, f"complication:{ref}:as_started")
    st.session_state["opened_trainee"] = trainee_ref
    st.session_state["opened_part"] = (trainee_ref, what)
    if what == "supervision":
        st.session_state["opened_group"] = ref
    st.switch_page(st.session_state["pages"]["trainee"])


def opened_part(trainee_ref: str) -> str:
    """Which part of this trainee's page a reason has opened; blank for none."""
    ref, part = st.session_state.get("opened_part", ("", ""))
    return str(part) if ref == trainee_ref else ""


def choose_reason(reasons: pd.DataFrame, screen: str) -> None:
    """One row of what the reasons are about, each once: a click opens it. On a page of one person the person is not named.

    Columns: trainee_ref, opens, about (its title; blank for the log and the roster).
    """
    words = {
        (row.trainee_ref, row.opens): figure.without_markup(_about(row, named=screen != "trainee"))
        for row in queries.records(reasons)
    }
    key = f"reason_on_{screen}"
    st.pills(
        "Open what a reason is about",
        list(words),
        format_func=words.__getitem__,
        key=key,
        on_change=_note_reason,
        args=(key,),
    )
    chosen = st.session_state.pop("chosen_reason", None)
    if chosen in words:
        go_to_evidence(*chosen)


def _note_reason(key: str) -> None:
    # Not kept as chosen: on coming back nothing would seem to open it again.
    st.session_state["chosen_reason"] = st.session_state[key]
    st.session_state[key] = None


def _about(row: Any, named: bool) -> str:
    what = row.about or row.opens
    words = f"supervision, {what}" if row.opens.startswith("supervision:") else what
    return f"{row.trainee_ref}: {words}" if named else words


def nobody(viewer: Viewer, snapshot: Snapshot) -> None:
    """Say why no trainee is to be seen, and what brings them in."""
    if can_see_counts(viewer) and queries.names_another_programme(snapshot, viewer.scope):
        figure.nothing(
            f"The roster names nobody of the programme {viewer.programme_ref}, only of another one.",
            "Write the programme_ref of programme.yaml in the roster, or leave that column blank.",
        )
        return
    figure.nothing("Nobody is in the roster yet.", "The coordinator brings in a roster and case exports.")


def choose_trainee(roster: pd.DataFrame, screen: str) -> str:
    """Choose a trainee by keyboard or mouse; the one that was opened is chosen already."""
    classes = dict(zip(roster["trainee_ref"], roster["cohort"], strict=True))
    words = {ref: f"{ref}, class {cohort}" for ref, cohort in classes.items()}
    return _choose("trainee", screen, words, first_current(roster))


def first_current(roster: pd.DataFrame) -> str:
    """The first trainee who is in training, else the first of all."""
    current = roster.loc[roster["in_training"], "trainee_ref"]
    return str([*current, *roster["trainee_ref"]][0])


def attributions(snapshot: Snapshot, scope: Scope) -> dict[str, str]:
    """Whose cases a rate may be of, in the words of the store's specialty."""
    roles = queries.records(queries.listed(snapshot, scope, "role"))
    return wording.attributions([role.title for role in roles if role.operating])


def choose_attribution(snapshot: Snapshot, scope: Scope, key: str) -> str:
    """Choose whose cases, the default first."""
    words = attributions(snapshot, scope)
    return str(st.selectbox("Whose cases", list(words), key=key, format_func=words.__getitem__))


def choose_group(snapshot: Snapshot, scope: Scope) -> str:
    """The group of procedures of a whole page; first that of the outcome which is listed first."""
    groups = queries.listed(snapshot, scope, "procedure_group")
    titles = dict(zip(groups["procedure_group"], groups["title"], strict=True))
    outcomes = queries.listed(snapshot, scope, "complication")["procedure_group"].dropna()
    opened = st.session_state.pop("opened_group", None)
    if opened in titles:
        st.session_state["group"] = opened
    elif st.session_state.get("group") not in titles:
        st.session_state["group"] = outcomes.iloc[0] if len(outcomes) else next(iter(titles))
    return str(st.selectbox("Procedures", list(titles), format_func=titles.__getitem__, key="group"))


def figures(snapshot: Snapshot, scope: Scope, with_rates: bool) -> dict[str, str]:
    """Every figure that opens: counts by requirement, and rates by complication and attribution."""
    named = {
        f"requirement:{it.requirement_ref}": f"Counted cases: {it.title}"
        for it in queries.records(queries.listed(snapshot, scope, "requirement"))
        if it.minimum is not None
    }
    named["toward_nothing"] = "Cases that count toward nothing"
    if with_rates:
        whose_cases = attributions(snapshot, scope)
        named |= {
            f"complication:{it.complication_ref}:{attribution}": f"{it.title}: {whose}"
            for it in queries.records(queries.listed(snapshot, scope, "complication"))
            for attribution, whose in whose_cases.items()
        }
        named["event_to_code"] = "Something else happened: to be coded"
    return named


def choose_figure(named: dict[str, str], screen: str) -> str:
    """Choose a figure; the one that was opened is chosen already."""
    return _choose("figure", screen, named, next(iter(named)))


def _choose(what: str, screen: str, words: dict[str, str], first: str) -> str:
    # A box is known by its key alone: known by a place that moves with its choice, it would lose every second one.
    key, opened = f"{what}_on_{screen}", st.session_state.get(f"opened_{what}")
    if st.session_state.get(key) not in words:
        st.session_state[key] = opened if opened in words else first
    chosen = str(st.selectbox(what.capitalize(), list(words), key=key, format_func=words.__getitem__))
    st.session_state[f"opened_{what}"] = chosen
    return chosen
