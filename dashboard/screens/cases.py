"""The cases behind a number: each with the reason it counted or not, and the rule with its source."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard import figure, labels, opening, queries, wording
from dashboard.access import Viewer, can_see_trainee, check_can_see_volume
from dashboard.count_words import part_standing, standing_sentence
from dashboard.queries import Snapshot
from pipelines.contract.cautions import NOT_YET_CHECKED
from pipelines.store.store import Store

# What a reason is said from, beside its code.
ABOUT_THE_REASON = ["excluded", "over_cap", "takes"]
ALL_REASONS = "every other reason"
# Somebody has yet to say, or has said no: no rule of the requirement keeps these cases out.
APART = {
    "supervisor_disagreed": "Role refused by the supervisor",
    "takeover_to_confirm": "Waiting for confirmation of the role after a takeover",
}
# The order in which the cases of an outcome stand.
STATUSES = ("event", "unfollowed event", "early event", "unknown", "not yet due", "no event")
# A column without words of its own here is headed by its name.
HEADS = {
    "case_ref": "case",
    "operated_month": "month of operation",
    "title": "procedure",
    "supervisor_agreed": "confirmed by a supervisor",
    "event_hands": "who was operating",
    "follow_up_days": "days of follow-up",
}


def show(viewer: Viewer, store: Store) -> None:
    """The screen."""
    snapshot = queries.live_snapshot(store)
    roster = queries.trainees(snapshot, viewer.scope)
    of_trainee, of_figure = figure.top("Cases behind a number", 1, 1.4)
    if roster.empty:
        opening.nobody(viewer, snapshot)
        return
    for ref in roster["trainee_ref"]:
        check_can_see_volume(viewer, ref)
    with of_trainee:
        trainee = opening.choose_trainee(roster, "cases")
    opening.note(viewer, store, "cases", trainee)
    with of_figure:
        chosen = opening.choose_figure(
            opening.figures(snapshot, viewer.scope, can_see_trainee(viewer, trainee)), "cases"
        )
    figure.say(wording.log_sentence(queries.records(roster[roster["trainee_ref"] == trainee])[0]))
    kind, _, ref = chosen.partition(":")
    if kind == "event_to_code":
        _to_code(viewer, snapshot, trainee)
    elif kind == "toward_nothing":
        _toward_nothing(viewer, snapshot, trainee)
    elif kind == "requirement":
        _of_requirement(viewer, snapshot, trainee, ref)
    else:
        _of_outcome(viewer, snapshot, trainee, *ref.split(":"))


def _of_requirement(viewer: Viewer, snapshot: Snapshot, trainee: str, ref: str) -> None:
    of_trainee = queries.volume(snapshot, viewer.scope, (trainee,))
    row = of_trainee[of_trainee["requirement_ref"] == ref]
    if row.empty:
        figure.nothing("This requirement is not in force for the trainee's class.", "Choose another figure.")
        return
    it = queries.records(row)[0]
    figure.heading(wording.volume_sentence(it))
    roles = list(queries.roles_of(snapshot, viewer.scope, ref)["title"])
    rule = wording.rule_sentence(
        it.requirement_title, f"{it.minimum} {it.units}", roles, it.edition, it.source, it.verified
    )
    figure.say(f"Rule: {rule}{wording.own_rule_text(it.published_minimum, it.deadline)}")
    figure.say(standing_sentence(it))
    _parts(viewer, snapshot, trainee, ref)
    _made_of(queries.composition(snapshot, viewer.scope, trainee, ref), it.counted_cases)
    cases = queries.cases_of_requirement(snapshot, viewer.scope, trainee, ref)
    counted = cases["credited"].astype(bool)
    told = _told(cases)
    _reasons(told)
    _not_counted(told[~counted].drop(columns=["credited"]))
    _counted(cases[counted].drop(columns=["credited", "reason", *ABOUT_THE_REASON]))


def _parts(viewer: Viewer, snapshot: Snapshot, trainee: str, ref: str) -> None:
    """Each part with its own minimum."""
    frame = queries.parts(snapshot, viewer.scope, trainee, ref)
    if not frame.empty:
        figure.plain_table(
            pd.DataFrame(
                {
                    "part": frame["requirement_title"],
                    "counted": frame["counted_cases"],
                    "minimum": frame["minimum"],
                    "own minimum": [part_standing(row) for row in queries.records(frame)],
                }
            ),
            "Parts",
        )


def _told(cases: pd.DataFrame) -> pd.DataFrame:
    """The cases, each with its reason in words."""
    words = [
        labels.reason_text(row.reason, row.excluded, row.over_cap, row.takes)
        for row in queries.records(cases)
    ]
    return cases.assign(why=words).drop(columns=ABOUT_THE_REASON)


def _reasons(told: pd.DataFrame) -> None:
    """Every reason with its cases, the most frequent first; together they are all cases that the rule lists."""
    groups = told.groupby("why", sort=False).size().sort_values(ascending=False, kind="stable")
    figure.heading(f"Why each counts or not: {wording.cases_text(len(told))} of its procedures")
    if len(groups):
        figure.plain_table(
            pd.DataFrame({"reason": groups.index, "cases": groups.to_numpy()}), "Why cases count or not"
        )


def _made_of(frame: pd.DataFrame, total: int) -> None:
    """Of which procedures, roles and attributes the counted cases are."""
    if frame.empty:
        return
    figure.heading(f"What the {wording.cases_text(total)} are made of")
    heads = {"procedure": "procedure", "role": "role", "attribute": "attribute"}
    for place, (made_of, head) in zip(st.columns(len(heads)), heads.items(), strict=True):
        part = frame[frame["made_of"] == made_of]
        with place:
            figure.plain_table(
                pd.DataFrame({head: part["part"].fillna("none recorded"), "counted": part["counted_cases"]}),
                f"By {head}",
            )
    figure.say("A case with two attributes stands under both; procedures and roles add up.", kind="quiet")


def _toward_nothing(viewer: Viewer, snapshot: Snapshot, trainee: str) -> None:
    """The cases that no requirement lists, in groups by the reason."""
    cases = queries.cases_toward_nothing(snapshot, viewer.scope, trainee)
    figure.heading(f"Counting toward nothing: {wording.cases_text(len(cases))}")
    for reason, alike in cases.groupby("reason", sort=False):
        figure.say(f"{labels.reason_text(str(reason))}: {wording.cases_text(len(alike))}", kind="group")
        _table(alike.iloc[::-1].drop(columns=["reason"]))


def _not_counted(told: pd.DataFrame) -> None:
    """The refused and those that wait for a supervisor's word each stand apart; the rest in groups by its reason."""
    figure.heading(f"Not counted: {wording.cases_text(len(told))}")
    for reason, words in APART.items():
        apart = told[told["reason"] == reason]
        if not apart.empty:
            figure.say(f"{words}: {wording.cases_text(len(apart))}", kind="group")
            _table(apart.iloc[::-1].drop(columns=["reason", "why"]))
    rest = told[~told["reason"].isin(APART)]
    if rest.empty:
        return
    groups = dict.fromkeys(rest["why"])
    figure.say(f"For other reasons: {wording.cases_text(len(rest))}", kind="group")
    chosen = st.selectbox("Show the cases of", [ALL_REASONS, *groups])
    shown = rest if chosen == ALL_REASONS else rest[rest["why"] == chosen]
    _table(shown.iloc[::-1].drop(columns=["reason"]).rename(columns={"why": "reason"}))


def _counted(cases: pd.DataFrame) -> None:
    """The newest first; which of them no supervisor has confirmed yet stands apart."""
    figure.heading(f"Counted: {wording.cases_text(len(cases))}")
    confirmed = cases["supervisor_agreed"].fillna(value=False).astype(bool)
    groups = {"Waiting for confirmation": cases[~confirmed], "Confirmed by a supervisor": cases[confirmed]}
    for words, alike in groups.items():
        if not alike.empty:
            figure.say(f"{words}: {wording.cases_text(len(alike))}", kind="group")
            _table(alike.iloc[::-1].drop(columns=["supervisor_agreed"]))


def _of_outcome(viewer: Viewer, snapshot: Snapshot, trainee: str, ref: str, attribution: str) -> None:
    rates = queries.own_rates(snapshot, viewer.scope, trainee)
    it = queries.records(rates[(rates["complication_ref"] == ref) & (rates["attribution"] == attribution)])[0]
    figure.heading(wording.rate_sentence(it, wording.titled(it.title, it)))
    figure.say(wording.from_others_sentence(it))
    window = f" Window: {it.window_days} days." if it.window_days else " It arises in the operation."
    checked = "" if it.verified else f" {NOT_YET_CHECKED.capitalize()}."
    figure.say(f"{it.title}: {it.definition}{window} {wording.source_sentence(it.source)}{checked}")
    whose = opening.attributions(snapshot, viewer.scope)[attribution]
    figure.say(f"Whose cases: {whose}. {wording.ATTRIBUTION_MEANS[attribution]}")
    cases = queries.cases_of_outcome(snapshot, viewer.scope, trainee, ref, attribution)
    groups = {
        (str(status), str(hands)): alike
        for (status, hands), alike in cases.groupby(["status", "hands"], sort=False)
    }
    # Events first, the newest first; the many without one are opened on demand.
    for status, hands in sorted(groups, key=lambda place: (STATUSES.index(place[0]), place[1])):
        alike = groups[status, hands].iloc[::-1].drop(columns=["status", "hands"])
        words = labels.outcome_heading(status, hands, len(alike))
        if "event" in status.split() and status != "no event":
            figure.heading(words)
            _table(alike)
        else:
            with figure.closed(words):
                _table(alike)
    figure.caution()


def _to_code(viewer: Viewer, snapshot: Snapshot, trainee: str) -> None:
    cases = queries.cases_to_code(snapshot, viewer.scope, trainee)
    figure.heading(f"Something else happened: {wording.cases_text(len(cases))}")
    figure.say(
        "The log says other: something happened that has no code yet. It is in no rate; where it stands alone,"
        " whether any of the named outcomes happened is not known. The next export may name it by its code."
    )
    if not cases.empty:
        _table(cases)


def _table(cases: pd.DataFrame) -> None:
    figure.plain_table(cases.rename(columns=HEADS))
