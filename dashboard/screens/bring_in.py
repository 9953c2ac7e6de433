"""Bringing exports in: tried first, shown by trainee, then taken; and taking the last change back."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import pandas as pd
import streamlit as st

from dashboard import figure, queries
from dashboard.access import Viewer
from dashboard.queries import Snapshot
from pipelines.contract.errors import UserError, WrongUsage
from pipelines.store.store import Store
from pipelines.summary.files import plain_cell

if TYPE_CHECKING:
    from pipelines.intake.take import IntakeOutcome, IntakeRequest
    from pipelines.mapping.answered import Question

# What a rerun remembers of the files that were chosen: what trying them found, what taking them did, why it could not,
# and whether their rows are added to those in use.
TRIED, TAKEN, NOT_TAKEN, ADDING, ASKED = "tried", "taken", "not_taken", "adding", "asked"
SOURCE = "source"
OPEN = "leave it open"
FIXES = ["trainee_ref", "file_name", "source_row", "column_name", "rule", "message", "remedy"]
SHOWN_AT_ONCE = 12


def draw(viewer: Viewer, store: Store, snapshot: Snapshot) -> None:
    """The section of the Intake screen that takes files."""
    st.header("Bring exports in")
    st.markdown(
        "CSV, XLSX or Parquet in the export format; several files are taken together. They are tried first: nothing is "
        "stored before you say so. Rows with a day of operation stay in memory; only the month is kept."
    )
    in_use = queries.intakes(snapshot, viewer.scope)["source"]
    st.selectbox(
        "Log",
        list(dict.fromkeys(["main", *in_use])),
        key=SOURCE,
        accept_new_options=True,
        on_change=_forget,
        help="Files of another log, such as another hospital's, stand beside these and replace nothing of them: type a"
        " name for it.",
    )
    files = st.file_uploader("Exports", accept_multiple_files=True, on_change=_forget)
    if NOT_TAKEN in st.session_state:
        figure.nothing("Nothing was stored.", st.session_state[NOT_TAKEN])
    elif files and TRIED not in st.session_state:
        _try(viewer, store, files)
    taken: IntakeOutcome | None = st.session_state.get(TAKEN)
    tried: IntakeOutcome | None = st.session_state.get(TRIED)
    if taken and files:
        _say(taken)
    elif tried and files:
        _ask(viewer, store, files)
        _say(tried)
        _choices(viewer, store, files, tried)


def _forget() -> None:
    """What was said of one choice of files is not true of another."""
    for name in (TRIED, TAKEN, NOT_TAKEN, ADDING, ASKED):
        st.session_state.pop(name, None)


def _request(viewer: Viewer, files: Sequence[Any], **how: Any) -> IntakeRequest:
    # The whole intake, which no other screen needs, is slow to import.
    from pipelines.files.reading import ExportFile
    from pipelines.intake.take import IntakeRequest

    return IntakeRequest(
        [ExportFile(file.name, file.getvalue()) for file in files],
        datetime.date.today(),
        source=str(st.session_state[SOURCE]),
        append=bool(st.session_state.get(ADDING)),
        programme_ref=viewer.scope.programme_ref,
        **how,
    )


def _try(viewer: Viewer, store: Store, files: Sequence[Any]) -> None:
    from pipelines.intake.take import try_out

    try:
        with st.spinner("Reading and checking …"):
            request = _request(viewer, files, with_counts=True, name_cases=True)
            st.session_state[TRIED] = try_out(store, request)
            st.session_state[ASKED] = _unknown(request, store)
    except UserError as error:
        st.session_state[NOT_TAKEN] = str(error)
        figure.nothing("Nothing was stored.", str(error))


def _take(viewer: Viewer, store: Store, files: Sequence[Any], **how: Any) -> None:
    from pipelines.intake.take import take

    try:
        with st.spinner("Storing, then making every number anew …"):
            outcome = take(store, _request(viewer, files, **how))
        st.session_state[TAKEN if outcome.status in ("stored", "unchanged") else TRIED] = outcome
    except UserError as error:
        st.session_state[NOT_TAKEN] = str(error)
    st.rerun()


# ---- what has no meaning yet


def _unknown(request: IntakeRequest, store: Store) -> list[Question]:
    from pipelines.contract.errors import FileRefused
    from pipelines.mapping.answered import questions_about

    try:
        return questions_about(request.files, store, request.source)
    except FileRefused:  # said with the other reasons
        return []


def _ask(viewer: Viewer, store: Store, files: Sequence[Any]) -> None:
    """Headers and words that mean nothing yet, each with what it may mean; a proposal does nothing until it is chosen."""
    asked: list[Question] = st.session_state.get(ASKED, [])
    if not asked:
        return
    figure.say(
        f"{len(asked)} headers and words of these files have no meaning here yet. Say what they mean; it is kept for the"
        " next files of this log, with your name and the day. What you leave open stays as it is."
    )
    with st.form("meanings"):
        chosen = {each.place: _meaning(number, each) for number, each in enumerate(asked)}
        by = viewer.person or st.text_input("Who", value=viewer.role.replace("_", " "), key="meanings_by")
        if st.form_submit_button("Save these meanings"):
            answers = {place: meaning for place, meaning in chosen.items() if meaning != OPEN}
            if answers and by.strip():
                _save(viewer, store, files, answers, by.strip())
            st.error("Choose at least one meaning, and say who you are.")


def _meaning(number: int, asked: Question) -> str:
    """What a person chooses for one of them, by typing or from the list; nothing is chosen already."""
    word, counts, choice = st.columns([4, 2, 4], vertical_alignment="center")
    proposed = [f"{each} (proposed)" for each in asked.proposals]
    others = [each for each in asked.allowed if each not in asked.proposals]
    with word:
        figure.say(f"{asked.what} {asked.word}")
    with counts:
        rows = "" if asked.rows is None else f"{asked.rows:,} rows"
        figure.say(rows + (f", {asked.trainees} trainees" if asked.trainees else ""), kind="quiet")
    label, options = figure.without_markup(f"{asked.what} {asked.word}"), [OPEN, *proposed, *others]
    chosen = choice.selectbox(label, options, key=f"meaning_{number}", label_visibility="collapsed")
    return str(chosen).removesuffix(" (proposed)")


def _save(
    viewer: Viewer, store: Store, files: Sequence[Any], answers: dict[tuple[str, ...], str], by: str
) -> None:
    from pipelines.mapping.answered import save

    adding = st.session_state.get(ADDING)
    try:
        request = _request(viewer, files)
        save(request.files, store, request.source, answers, by, request.today)
        _forget()
        st.session_state[ADDING] = adding
    except UserError as error:
        st.session_state[NOT_TAKEN] = str(error)
    st.rerun()


# ---- what is said


def _say(outcome: IntakeOutcome) -> None:
    """How it ended, what is asked, the receipt, what changes for whom, and each fault once."""
    from pipelines.intake.answers import (
        RECEIPT,
        balance_sentence,
        changed_sentences,
        ending,
        held_sentences,
        receipt_table,
        skipped,
    )

    figure.ended(ending(outcome), outcome.status in ("stored", "unchanged", "sound"))
    figure.say_list(list(dict.fromkeys(f"{each.message} {each.remedy}" for each in outcome.refused)))
    for question in outcome.questions:
        figure.nothing("Please answer first.", question)
    if outcome.held:
        figure.say_list(held_sentences(outcome.held))
    if outcome.receipts:
        figure.plain_table(pd.DataFrame(receipt_table(outcome), columns=list(RECEIPT)))
        figure.say_list([balance_sentence(outcome), *changed_sentences(outcome), *skipped(outcome)])
    _changes(outcome)
    _remarks(outcome)


def _changes(outcome: IntakeOutcome) -> None:
    """By trainee: whose rows change, and which counts would be others."""
    changed = [each for each in outcome.changes if each.before != each.unchanged or each.after != each.before]
    if changed:
        with figure.closed(f"By trainee ({len(changed)})", is_open=len(changed) <= SHOWN_AT_ONCE):
            figure.plain_table(
                pd.DataFrame(
                    {
                        "trainee": [each.whose for each in changed],
                        "holds": [each.kind for each in changed],
                        "in use before": [each.before for each in changed],
                        "new": [each.new for each in changed],
                        "changed": [each.changed for each in changed],
                        "gone": [each.gone for each in changed],
                        "as before, new row left out": [each.kept for each in changed],
                        "after": [each.after for each in changed],
                        "log runs through": [
                            _from_to(each.through_before, each.through_after) for each in changed
                        ],
                    }
                )
            )
    if outcome.counts:
        with figure.closed(
            f"Counts that change ({len(outcome.counts)})", is_open=len(outcome.counts) <= SHOWN_AT_ONCE
        ):
            figure.plain_table(
                pd.DataFrame(
                    [
                        (each.trainee_ref, each.requirement, each.before, each.after, each.minimum)
                        for each in outcome.counts
                    ],
                    columns=["trainee", "requirement", "before", "after", "minimum"],
                ).convert_dtypes()
            )


def _from_to(before: str | None, after: str | None) -> str:
    if before == after or before is None:
        return after or "–"
    return f"{before} → {after or 'no month'}"


def _remarks(outcome: IntakeOutcome) -> None:
    """Each fault once, and the rows as a list to download."""
    from pipelines.intake.answers import remarks

    said = remarks(outcome)
    if not said:
        return
    with figure.closed(f"What is wrong, or to be checked ({len(said)})", is_open=len(said) <= SHOWN_AT_ONCE):
        figure.plain_table(
            pd.DataFrame(
                {
                    "what became of it": [
                        "left out" if each.severity == "left_out" else "kept" for each in said
                    ],
                    "what": [each.what for each in said],
                    "rows": [each.rows for each in said],
                    "trainees": [each.trainees for each in said],
                    "what to do": [each.remedy for each in said],
                }
            )
        )
    figure.download(
        "Download the rows to mend",
        lambda: pd.DataFrame(outcome.fixes())[FIXES].map(plain_cell).to_csv(index=False).encode(),
        "rows-to-mend.csv",
        "text/csv",
    )


# ---- what may be chosen


def _choices(viewer: Viewer, store: Store, files: Sequence[Any], tried: IntakeOutcome) -> None:
    from pipelines.intake.answers import adding_helps, others_may_go

    if tried.status in ("sound", "left_out"):
        adding = bool(st.session_state.get(ADDING))
        if st.button("Add these rows" if adding else "Take these exports", type="primary"):
            _take(viewer, store, files)
    if tried.status != "held":
        return
    if adding_helps(tried):
        figure.say("If the files hold only a part of the log, such as the newest cases, nothing need go:")
        st.button("Add these rows to those in use instead", on_click=_add_instead)
    if others_may_go(tried):
        figure.say("Everybody else's rows can be taken, and these people left as they are:")
        if st.button("Take the rest"):
            _take(viewer, store, files, take_the_rest=True)
    with st.form("accept"):
        st.markdown(
            "If it is right all the same, say who accepts it and why. Both stand in the receipt for good."
        )
        # Who has signed in accepts in their own name.
        by = viewer.person or st.text_input("Who", value=viewer.role.replace("_", " "))
        reason = st.text_input("Why")
        if st.form_submit_button("Accept and take"):
            if by.strip() and reason.strip():
                _take(viewer, store, files, accepted_by=by, reason=reason)
            st.error("Both are needed.")


def _add_instead() -> None:
    _forget()
    st.session_state[ADDING] = True


def offer_undo(viewer: Viewer, store: Store, snapshot: Snapshot) -> None:
    """The last change of what is in use can be taken back, if it concerned the viewer's own programme alone."""
    from pipelines.build.undo import undo, what_undo_does

    try:
        would = what_undo_does(store)
    except WrongUsage:
        return
    own = set(queries.trainees(snapshot, viewer.scope)["trainee_ref"])
    if queries.names_another_programme(snapshot, viewer.scope) and not own.issuperset(would.trainees):
        figure.say(
            "The last change concerned people of another programme too: the command undo takes it back."
        )
        return
    with st.expander("Take the last change back"):
        figure.say(
            f"What is in use would be {would.sentence}. Nothing is lost: taking it back again brings it back."
        )
        if st.button("Undo the last change"):
            try:
                with st.spinner("Making every number anew …"):
                    undo(store, datetime.date.today())
                _forget()
            except UserError as error:
                st.session_state[NOT_TAKEN] = str(error)
            st.rerun()
