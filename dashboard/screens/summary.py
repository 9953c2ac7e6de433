"""The accreditation volume summary: a preview by class, and the files."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import pandas as pd
import streamlit as st

from dashboard import figure, opening, queries, wording
from dashboard.access import Viewer, check_can_export_summary
from dashboard.comparison import MINUS
from pipelines.contract.cautions import NOT_YET_CHECKED, source_in_words
from pipelines.contract.codes_in_words import tally_sentence
from pipelines.store.store import Store
from pipelines.summary.files import Options, short_cohort, summary_files
from pipelines.summary.state import TO_BE_DONE, state_of

TYPES = {
    ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    ".pdf": "application/pdf",
    ".csv": "text/csv",
    ".json": "application/json",
}
DOWNLOADS = {
    ".xlsx": "Download the workbook",
    ".pdf": "Download the PDF",
    ".csv": "Download the lines",
    ".json": "Download the receipt",
}


def show(viewer: Viewer, store: Store) -> None:
    """The screen."""
    check_can_export_summary(viewer)
    snapshot = queries.live_snapshot(store)
    roster = queries.trainees(snapshot, viewer.scope)
    of_class, of_state, of_files = figure.top("Volume summary", 1, 1, 1)
    if roster.empty:
        opening.nobody(viewer, snapshot)
        return
    cohorts = list(dict.fromkeys(roster["cohort"]))
    first = roster.loc[roster["in_training"], "cohort"]
    cohort = of_class.selectbox("Class", cohorts, index=cohorts.index(first.iloc[0]) if len(first) else 0)
    final = of_state.checkbox("Final, in my name")
    if of_files.button("Make the files", width="stretch"):
        options = Options(final_by=_person(viewer) if final else None)
        files = summary_files(store, viewer.scope.programme_ref, short_cohort(cohort), options)
        st.session_state["summary"] = (cohort, files)
    _files(cohort)
    frame = queries.volume_summary(snapshot, viewer.scope, cohort)
    figure.heading(f"Preview: {wording.cohort_text(cohort)}")
    figure.plain_table(_preview(frame))
    figure.say(
        "This summary names everyone and hides nothing: it is for those who may read about every trainee."
    )
    _not_final(viewer, snapshot, cohort)
    _tally(viewer, snapshot, cohort)
    st.header("Where is each minimum from?")
    rules = frame[["requirement_title", "edition", "source", "verified"]].drop_duplicates()
    figure.plain_table(
        pd.DataFrame(
            {
                "requirement": rules["requirement_title"],
                "edition": rules["edition"],
                "source": [source_in_words(source) for source in rules["source"]],
                "checked": [_checked(verified) for verified in rules["verified"]],
            }
        ),
        "Where is each minimum from?",
    )
    figure.caution()


def _preview(frame: pd.DataFrame) -> pd.DataFrame:
    """The grid of the workbook: a line a requirement with its minimum, a column a trainee, at the foot how far data run."""
    rows = queries.records(frame)
    lines: dict[str, dict[str, object]] = {}
    for row in rows:
        line = lines.setdefault(
            row.requirement_ref, {"requirement": wording.requirement_text(row), "minimum": row.minimum}
        )
        line[row.trainee_ref] = wording.volume_mark(row)
    people = {row.trainee_ref: row.data_through or "no data" for row in rows}
    foot: dict[str, object] = {"requirement": "data through", "minimum": None}
    return pd.DataFrame([*lines.values(), foot | people])


def _tally(viewer: Viewer, snapshot: queries.Snapshot, cohort: str) -> None:
    """The accreditor's own counts beside ours; where they agree a line is enough."""
    st.header("Beside the accreditor's tally")
    rows = queries.records(queries.official_tally(snapshot, viewer.scope, cohort))
    if not rows:
        figure.nothing(
            "The accreditor's tally has not come in.", "Bring it in like an export; README says how."
        )
        return
    differ = [row for row in rows if row.difference]
    figure.say(
        "The accreditor's tally is what is judged.",
        f"{len(rows) - len(differ)} of {len(rows)} counts agree with it.",
        "Cases that could explain a difference are counted beside it; one may stand in several of these counts."
        if differ
        else "",
    )
    if differ:
        figure.plain_table(
            pd.DataFrame(
                {
                    "trainee": [row.trainee_ref for row in differ],
                    "requirement": [row.requirement_title for row in differ],
                    "minimum": [row.minimum for row in differ],
                    "accreditor": [row.official_count for row in differ],
                    "on": [row.official_as_of for row in differ],
                    "here": [row.counted_cases for row in differ],
                    "difference": [f"{row.difference:+d}".replace("-", MINUS) for row in differ],
                    "could be explained by": [tally_sentence(row) for row in differ],
                }
            ),
            "Beside the accreditor's tally",
        )


def _person(viewer: Viewer) -> str:
    """Who answers for final counts: whoever is signed in; on one's own machine a role alone is known."""
    return viewer.person or f"the {viewer.role.replace('_', ' ')}"


def _not_final(viewer: Viewer, snapshot: queries.Snapshot, cohort: str) -> None:
    """What is still to be done, before anybody asks for final counts."""
    obstacles = [vars(row) for row in queries.records(queries.not_final(snapshot, viewer.scope, cohort))]
    why = state_of(None, obstacles).why
    st.header("Can the counts be final?")
    if not why:
        figure.say("Nothing keeps the counts of this class from being final.")
        return
    figure.say(TO_BE_DONE)
    figure.say_list(why)


def _files(cohort: str) -> None:
    """The files that were made of this class, and what they are."""
    made_for, files = st.session_state.get("summary", (None, None))
    if files is None or made_for != cohort:
        return
    figure.say(files.said[0])
    for place, (name, content) in zip(st.columns(len(files.contents)), files.contents.items(), strict=True):
        ending = Path(name).suffix
        figure.download(DOWNLOADS[ending], partial(bytes, content), name, TYPES[ending], place)


def _checked(verified: bool) -> str:
    return "checked" if verified else NOT_YET_CHECKED
