"""Who signed in, opened whose page, fetched which file: all of it for the director, their own page for a trainee."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard import figure
from dashboard.access import Viewer, can_see_access_log, check_can_see_own_log
from pipelines.store.access_log import Line, read
from pipelines.store.store import Store

SHOWN = 500
# What is about everybody of a programme, and so about each of them.
ABOUT_ALL = ("opened cohort", "opened summary", "opened intake", "exported volume-")


def show(viewer: Viewer, store: Store) -> None:
    """The screen."""
    if can_see_access_log(viewer):
        _everything(viewer, store)
        return
    check_can_see_own_log(viewer)
    st.title("Who opened my page")
    figure.say(
        "Everybody but you who opened a page or fetched a file that is about you. Commands on the machine that holds "
        "the data stand among them; they see everything."
    )
    _table([line for line in _of_programme(viewer, store) if _is_about(line, viewer)])


def _everything(viewer: Viewer, store: Store) -> None:
    st.title("Access log")
    lines = list(read(store.root))
    broken = next((line.seq for line in lines if not line.holds), None)
    if broken is None:
        figure.say(
            f"{len(lines)} lines, each fits the one before it: none was changed, taken out or put in between."
        )
    else:
        figure.say(
            f"From line {broken} on the log is not as it was written. Compare it with a copy kept elsewhere."
        )
    _table(_of_programme(viewer, store))


def _of_programme(viewer: Viewer, store: Store) -> list[Line]:
    """The lines of the viewer's programme; commands and sign-ins that failed belong to each."""
    return [line for line in read(store.root) if line.record.programme_ref in ("", viewer.programme_ref)]


def _is_about(line: Line, viewer: Viewer) -> bool:
    record, did = line.record, f"{line.record.did} {line.record.what}"
    if record.person == viewer.person:
        return False
    return record.about == viewer.person_ref or did.startswith(ABOUT_ALL) or record.did == "ran"


def _table(lines: list[Line]) -> None:
    if not lines:
        figure.say("Nothing yet.")
        return
    records = [(line.at, line.record) for line in reversed(lines[-SHOWN:])]
    figure.plain_table(
        pd.DataFrame(
            {
                "when (UTC)": [at.replace("T", " ").removesuffix("+00:00") for at, _ in records],
                "who": [record.person for _, record in records],
                "as": [record.role.replace("_", " ") for _, record in records],
                "did": [f"{record.did} {record.what}".strip() for _, record in records],
                "about": [record.about for _, record in records],
            }
        )
    )
    if len(lines) > SHOWN:
        figure.say(f"The latest {SHOWN} of {len(lines)}; the file access.jsonl of the store has all.")
