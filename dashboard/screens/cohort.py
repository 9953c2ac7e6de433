"""The cohort at a committee meeting: who is where, how sure is that, what is not yet met."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd
import streamlit as st

from dashboard import charts, figure, opening, queries, wording
from dashboard.access import Viewer, can_see_cohort, check_can_see_cohort, check_can_see_counts
from dashboard.queries import Snapshot
from pipelines.store.store import Store

LATEST = "Each trainee's latest"
CURRENT, EVERYBODY = "Current classes", "All classes"
# Of fewer known outcomes the interval may run off the axis: one event in one case must not squeeze everybody.
ENOUGH_TO_SET_THE_AXIS = 10
HALF_WIDTH, BANDS_WIDTH = 300, 245  # the words at the end of a bar are longer
GRID_STEP = 70


@dataclass(frozen=True)
class View:
    """What the choice of class leaves: a store's snapshot, a viewer, the people shown in the order of the roster."""

    store: Store
    snapshot: Snapshot
    viewer: Viewer
    roster: pd.DataFrame

    @property
    def people(self) -> tuple[str, ...]:
        return tuple(self.roster["trainee_ref"])

    def in_order(self, frame: pd.DataFrame) -> pd.DataFrame:
        """With the columns by which charts place people."""
        order = dict(zip(self.roster["trainee_ref"], self.roster["trainee_order"], strict=True))
        placed = frame.rename(columns={"trainee_ref": "trainee", "cohort": "group"})
        placed["trainee_order"] = [order[trainee] for trainee in placed["trainee"]]
        return placed

    @property
    def late(self) -> pd.DataFrame:
        """Those in training whose data end too early."""
        return self.roster[~self.roster["is_current"] & self.roster["in_training"]]

    def late_lines(self, frame: pd.DataFrame) -> tuple[str, ...]:
        """The same people of a chart, for its heading: `T25, T27: log ends July 2026, 3 months not entered.`"""
        late = self.late[self.late["trainee_ref"].isin(frame["trainee"])]
        alike: dict[str, list[str]] = {}
        for row in queries.records(late):
            alike.setdefault(wording.log_text(row), []).append(row.trainee_ref)
        return tuple(f"{', '.join(people)}: {words}." for words, people in alike.items())


def _counts_are_theirs(view: View) -> None:
    check_can_see_counts(view.viewer)


def _rates_are_theirs(view: View) -> None:
    check_can_see_cohort(view.viewer)


def show(viewer: Viewer, store: Store) -> None:
    """The screen."""
    check_can_see_counts(viewer)
    snapshot = queries.live_snapshot(store)
    roster = queries.trainees(snapshot, viewer.scope)
    st.title("Cohort")
    if roster.empty:
        opening.nobody(viewer, snapshot)
        return
    figure.caution()
    view = View(store, snapshot, viewer, _of_class(roster))
    _late(view)
    if view.roster.empty:
        figure.nothing("Nobody of the roster is in training now.", "Choose another class above.")
        return
    _volume(view)
    _open_by_keyboard(view)
    if can_see_cohort(viewer):
        left, right = st.columns(2, gap="large")
        with left:
            _outcomes(view)
        with right:
            _supervision(view)
        _technique(view)


def _of_class(roster: pd.DataFrame) -> pd.DataFrame:
    chosen = st.selectbox("Class", [CURRENT, *dict.fromkeys(roster["cohort"]), EVERYBODY], key="class")
    shown = roster["cohort"] == chosen
    if chosen == CURRENT:
        shown = roster["in_training"]
    return roster if chosen == EVERYBODY else roster.loc[shown]


def _late(view: View) -> None:
    late = [wording.log_sentence(row) for row in queries.records(view.late)]
    unmapped = dict(view.roster.set_index("trainee_ref")["unmapped_cases"])
    figure.say(
        f"As of {view.snapshot.as_of or 'no day yet'}, snapshot {view.snapshot.number}.",
        *late,
        wording.unmapped_sentence({ref: int(cases) for ref, cases in unmapped.items() if cases}),
    )


@figure.part(_counts_are_theirs)
def _volume(view: View) -> None:
    st.header("Who has reached which minimum?")
    only_open = st.toggle("Only what is not yet reached", key="only_open")
    frame = view.in_order(queries.volume(view.snapshot, view.viewer.scope, view.people))
    if only_open:
        still_open = frame[~frame["reached"].astype(bool)]
        frame = frame[
            frame["requirement_ref"].isin(still_open["requirement_ref"])
            & frame["trainee"].isin(still_open["trainee"])
        ]
    if frame.empty:
        figure.nothing(
            "Every minimum shown is reached.", "A met minimum is a floor, not a finding of competence."
        )
        return
    frame = frame.assign(requirement=_labels(frame), mark=_marks(frame))
    chosen = figure.draw(
        "volume_grid", frame, key="volume", lines=view.late_lines(frame), step=GRID_STEP, select=True
    )
    figure.table(
        frame.pivot(index="requirement", columns="trainee", values="mark").loc[_order(frame)].reset_index()
    )
    refs = dict(zip(frame["requirement"], frame["requirement_ref"], strict=True))
    if chosen:
        label = chosen.get("requirement")
        figure_ref = f"requirement:{refs[label]}" if label in refs else None
        opening.go("cases" if figure_ref else "trainee", chosen["trainee"], figure_ref)


def _labels(frame: pd.DataFrame) -> list[str]:
    return [f"{wording.requirement_text(row)} {row.minimum}" for row in queries.records(frame)]


def _marks(frame: pd.DataFrame) -> list[str]:
    return [wording.volume_mark(row) for row in queries.records(frame)]


def _order(frame: pd.DataFrame) -> list[str]:
    return list(dict.fromkeys(frame.sort_values("requirement_order")["requirement"]))


@figure.part(_counts_are_theirs)
def _open_by_keyboard(view: View) -> None:
    """The same choice without a mouse."""
    named = opening.figures(view.snapshot, view.viewer.scope, can_see_cohort(view.viewer))
    left, middle, right = st.columns([2, 3, 2], vertical_alignment="bottom")
    with left:
        trainee = opening.choose_trainee(view.roster, "cohort")
    with middle:
        chosen = opening.choose_figure(named, "cohort")
    with right:
        if st.button("Open the trainee", width="stretch"):
            opening.go("trainee", trainee)
        if st.button("Open the cases behind the figure", width="stretch"):
            opening.go("cases", trainee, chosen)


@figure.part(_rates_are_theirs)
def _outcomes(view: View) -> None:
    st.header("How often did it happen, and how sure is that?")
    complications = queries.listed(view.snapshot, view.viewer.scope, "complication")
    titles = dict(zip(complications["complication_ref"], complications["title"], strict=True))
    complication = st.selectbox("Complication", list(titles), format_func=titles.__getitem__)
    attribution = opening.choose_attribution(view.snapshot, view.viewer.scope, "attribution")
    frame = view.in_order(
        queries.rates(view.snapshot, view.viewer.scope, view.people, complication, attribution)
    )
    frame = frame.assign(label=[wording.rate_label(row) for row in queries.records(frame)])
    figure.say(wording.ATTRIBUTION_MEANS[attribution])
    whose = opening.attributions(view.snapshot, view.viewer.scope)[attribution]
    enough = frame[frame["known_outcomes"] >= ENOUGH_TO_SET_THE_AXIS]
    top = None if enough.empty else charts.axis_top(enough)
    chosen = figure.draw(
        "complication_intervals",
        frame,
        key="rates",
        title=f"{titles[complication]}: {whose}",
        lines=view.late_lines(frame),
        top=top,
        width=HALF_WIDTH,
        select=True,
    )
    _say_why_not_expected(frame)
    figure.table(_rate_table(frame, titles[complication]), "Each trainee in words")
    if chosen:
        opening.go("cases", chosen["trainee"], f"complication:{complication}:{attribution}")


def _say_why_not_expected(frame: pd.DataFrame) -> None:
    without: dict[str, list[str]] = {}
    for row in queries.records(frame[frame["expected"].isna()]):
        without.setdefault(row.why_none, []).append(row.trainee)
    figure.say(*(f"No upright line for {', '.join(people)}: {why}." for why, people in without.items()))


def _rate_table(frame: pd.DataFrame, title: str) -> pd.DataFrame:
    said = [wording.rate_sentence(row) for row in queries.records(frame)]
    return pd.DataFrame({"trainee": frame["trainee"], title: said})


def _group(view: View, key: str, everything: bool) -> str:
    groups = queries.listed(view.snapshot, view.viewer.scope, "procedure_group")
    titles = ({"all": "All procedures"} if everything else {}) | dict(
        zip(groups["procedure_group"], groups["title"], strict=True)
    )
    return str(st.selectbox("Procedure group", list(titles), format_func=titles.__getitem__, key=key))


def quarter_text(quarter: object) -> str:
    """A quarter of training, or each person's latest."""
    return "latest quarter" if quarter == LATEST else f"quarter {quarter}"


@figure.part(_rates_are_theirs)
def _supervision(view: View) -> None:
    st.header("How close did the supervisor stand?")
    group = _group(view, "supervision_group", everything=True)
    scope = view.viewer.scope
    every = queries.bands(view.snapshot, scope, view.people, group)
    quarter = st.selectbox("Quarter of training", [LATEST, *sorted(set(every["training_quarter"]))])
    of_latest = quarter == LATEST
    frame = view.in_order(
        queries.bands_of_quarter(
            view.snapshot, scope, view.people, group, None if of_latest else int(quarter)
        )
    )
    if frame["band"].isna().all():
        figure.nothing(
            "No level of supervision is recorded for these cases.", "Exports carry it in supervision."
        )
        return
    heading = charts.Heading(
        f"Supervision while operating, {quarter_text(quarter)}",
        (*charts.BANDS_HEADING.lines, *view.late_lines(frame)),
    )
    chosen = figure.draw(
        "supervision_bands",
        frame,
        key="bands",
        ladder=queries.ladder(view.snapshot, scope),
        of_latest=of_latest,
        heading=heading,
        width=BANDS_WIDTH,
        select=True,
    )
    figure.supervision_tables(every, queries.levels(view.snapshot, scope, view.people, group))
    if chosen:
        opening.go("trainee", chosen["trainee"])


@figure.part(_rates_are_theirs)
def _technique(view: View) -> None:
    st.header("Which steps were scored, and how?")
    group = _group(view, "technique_group", everything=False)
    frame = view.in_order(
        queries.technique_of_everybody(view.snapshot, view.viewer.scope, view.people, group)
    )
    if frame.empty:
        figure.nothing(
            "No operation of these trainees was reviewed step by step.", "Bring in a file of reviews."
        )
        return
    heading = charts.Heading(
        charts.COHORT_HEADING.title, (*charts.COHORT_HEADING.lines, *view.late_lines(frame))
    )
    chosen = figure.draw(
        "technique_cohort", frame, key="technique", heading=heading, step=GRID_STEP, select=True
    )
    figure.table(_score_table(frame[frame["training_quarter"].notna()]))
    if chosen:
        opening.go("trainee", chosen["trainee"])


def _score_table(frame: pd.DataFrame) -> pd.DataFrame:
    said = [
        wording.score_sentence(row.scored, row.score_mean, row.score_low, row.score_high)
        for row in queries.records(frame)
    ]
    return pd.DataFrame(
        {
            "trainee": frame["trainee"],
            "quarter of training": frame["training_quarter"],
            "phase": frame["phase"],
            "step": frame["step"],
            "scores": said,
        }
    )
