"""The cohort at a committee meeting: who is where, how sure is that, what is not yet met."""

from __future__ import annotations

import functools
from dataclasses import dataclass
from itertools import zip_longest
from typing import Any

import pandas as pd
import streamlit as st

from dashboard import charts, figure, opening, queries, wording
from dashboard.access import Viewer, can_see_cohort, check_can_see_cohort, check_can_see_counts
from dashboard.queries import Snapshot
from pipelines.store.store import Store

LATEST = "Each trainee's latest"
WEAK = " (Weak: even if everybody were fine, a reason of this kind would come up at {} of meetings.)"
ACTIVE_MONTH = (
    "An active month is a month in training: leave does not count, a part-time month counts its fraction."
)
CURRENT, EVERYBODY = "Current classes", "All classes"
HALF_WIDTH, BANDS_WIDTH = 200, 245  # the words at the end of a bar are longer
# The grid fits a page of 1280 while it can; with more people it moves inside its frame.
GRID_STEP, GRID_ROOM, GRID_NARROWEST = 70, 850, 56
LETTER, WIDE_LETTER = 5.3, 5.9  # of the second lines `4 of 4 short` and `241 confirmed`


@dataclass(frozen=True)
class View:
    """What the choice of class leaves: a store's snapshot, a viewer, the people shown in the order of the roster."""

    store: Store
    snapshot: Snapshot
    viewer: Viewer
    roster: pd.DataFrame
    group: str

    @property
    def people(self) -> tuple[str, ...]:
        return tuple(self.roster["trainee_ref"])

    def in_order(self, frame: pd.DataFrame) -> pd.DataFrame:
        """With the columns by which charts place people."""
        order = dict(zip(self.roster["trainee_ref"], self.roster["trainee_order"], strict=True))
        placed = frame.rename(columns={"trainee_ref": "trainee", "cohort": "group"})
        placed["trainee_order"] = [order[trainee] for trainee in placed["trainee"]]
        return placed

    @functools.cached_property
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
    of_class, of_group = figure.top("Cohort", 1, 1)
    if roster.empty:
        opening.nobody(viewer, snapshot)
        return
    with of_class:
        shown = _of_class(roster)
    group = ""
    if can_see_cohort(viewer):
        with of_group:
            group = opening.choose_group(snapshot, viewer.scope)
    view = View(store, snapshot, viewer, shown, group)
    if view.roster.empty:
        figure.nothing("Nobody of the roster is in training now.", "Choose another class above.")
        return
    if can_see_cohort(viewer):
        _agenda(view)
    else:
        _late(view)
    _volume(view)
    if can_see_cohort(viewer):
        left, right = st.columns(2, gap="large")
        with left:
            _outcomes(view)
        with right:
            _supervision(view)
        _technique(view)
    _open_by_keyboard(view)
    figure.say(f"As of {snapshot.as_of or 'no day yet'}, snapshot {snapshot.number}.", kind="quiet")
    figure.caution()


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
        *late, wording.unmapped_sentence({ref: int(cases) for ref, cases in unmapped.items() if cases})
    )


@figure.part(_rates_are_theirs)
def _agenda(view: View) -> None:
    """One line a person, in the order of the roster: who has a reason to be discussed, and which."""
    scope = view.viewer.scope
    reasons = queries.reasons(view.snapshot, scope, view.people)
    months = queries.months(view.snapshot, scope, view.people)
    active = dict(zip(months["trainee_ref"], months["active_month"], strict=True))
    recorded = queries.recorded_levels(view.snapshot, scope, view.people)
    worth = queries.false_alarms(view.snapshot, scope)
    chances = worth[worth["is_weak"]].set_index("reason")["chance_meeting"]
    reasons["chance"] = reasons["reason"].map(chances)
    why, committee = _by_person(reasons), _by_person(recorded)
    named = [row for row in queries.records(view.roster) if row.trainee_ref in why]
    if named:
        figure.plain_table(
            pd.DataFrame(
                {
                    "who": [f"{row.trainee_ref}{figure.LINE}{row.cohort}" for row in named],
                    "where": [_where(active.get(row.trainee_ref), row) for row in named],
                    "why": [_reasons(why[row.trainee_ref]) for row in named],
                    "committee": [_committee(committee.get(row.trainee_ref, [])) for row in named],
                }
            ),
            "Whom to discuss, and why",
            stacks=True,
        )
        opening.choose_reason(reasons, "cohort")
    rest = [ref for ref in view.people if ref not in why]
    if rest:
        figure.say(f"Nothing raised for {', '.join(rest)}.")
    _late(view)
    figure.say(ACTIVE_MONTH, kind="quiet")
    _worth_of_reasons(worth)


def _by_person(frame: pd.DataFrame) -> dict[str, list[Any]]:
    """The rows of each trainee."""
    people: dict[str, list[Any]] = {}
    for row in queries.records(frame):
        people.setdefault(row.trainee_ref, []).append(row)
    return people


def _where(active_month: float | None, row: Any) -> str:
    log = wording.log_text(row)
    return (
        log
        if active_month is None or pd.isna(active_month)
        else f"active month {active_month:g}{figure.LINE}{log}"
    )


def _reasons(rows: list[Any]) -> str:
    """Each sentence on a line; a weak kind says how often it would come up for nobody's fault."""
    weak = {
        row.reason: WEAK.format(wording.share_text(row.chance, 1)) for row in rows if row.chance is not None
    }
    return figure.LINE.join(sentence + weak.get(reason, "") for reason, sentence in wording.said_once(rows))


def _committee(rows: list[Any]) -> str:
    """The last period and its course: each level that fell by its name, how many rose, how many stand as before."""
    if not rows:
        return "nothing recorded"
    fell = [
        f"{row.title} fell from {row.level_before} to {row.level}" for row in rows if row.course == "fell"
    ]
    counts = {
        words: len([row for row in rows if row.course == words]) for words in ("rose", "as before", "first")
    }
    said = [*fell, *(f"{count} {words}" for words, count in counts.items() if count)]
    return figure.LINE.join([max(row.period for row in rows), *said])


def _worth_of_reasons(frame: pd.DataFrame) -> None:
    with st.expander("How often would a reason arise for nobody's fault?"):
        if frame["chance_meeting"].isna().all():
            figure.say("Not worked out for these settings yet: run `calibrate` on the store.")
        figure.plain_table(
            pd.DataFrame(
                {
                    "kind": frame["title"],
                    "rule": frame["rule"],
                    "names somebody at one meeting": [
                        _chance(row, "chance_meeting") for row in queries.records(frame)
                    ],
                    "finds it, where it is so": [_chance(row, "power") for row in queries.records(frame)],
                }
            ),
            "How often would a reason arise for nobody's fault?",
        )


def _chance(row: Any, name: str) -> str:
    if not row.is_chance:
        return "a plain fact"
    value = getattr(row, name)
    return "not known" if value is None else wording.share_text(value, 1)


@figure.part(_counts_are_theirs)
def _volume(view: View) -> None:
    st.header("Who has reached which minimum?")
    only_open = st.toggle("Only what is behind", key="only_open")
    frame = view.in_order(queries.volume(view.snapshot, view.viewer.scope, view.people))
    if only_open:
        behind = frame[
            frame["counted_cases"] < frame["earlier"].fillna(frame["minimum"]).clip(upper=frame["minimum"])
        ]
        frame = frame[
            frame["requirement_ref"].isin(behind["requirement_ref"])
            & frame["trainee"].isin(behind["trainee"])
        ]
    if frame.empty:
        figure.nothing(
            "Nobody shown has fewer cases than half of the completed classes had at this month.",
            "A met minimum is a floor, not a finding of competence.",
        )
        return
    frame = frame.assign(requirement=_labels(frame), mark=_marks(frame))
    chosen = figure.draw(
        "volume_grid",
        frame,
        key="volume",
        lines=view.late_lines(frame),
        step=column_width(frame),
        select=True,
    )
    figure.table(
        frame.pivot(index=["requirement", "minimum"], columns="trainee", values="mark")
        .loc[_order(frame)]
        .reset_index()
    )
    refs = dict(zip(frame["requirement"], frame["requirement_ref"], strict=True))
    if chosen:
        label = chosen.get("requirement")
        figure_ref = f"requirement:{refs[label]}" if label in refs else None
        opening.go("cases" if figure_ref else "trainee", chosen["trainee"], figure_ref)


def column_width(frame: pd.DataFrame) -> int:
    """The width of a column: as much as there is room for, and so much that two cells side by side do not touch."""
    people = list(dict.fromkeys(frame["trainee"]))
    widths: dict[str, dict[str, float]] = {}
    for requirement, trainee, mark in zip(frame["requirement"], frame["trainee"], frame["mark"], strict=True):
        line = mark.partition(", ")[2]
        letter = WIDE_LETTER if line.endswith("confirmed") else LETTER
        widths.setdefault(requirement, {})[trainee] = len(line) * letter
    touching = max(
        (of.get(person, 0) + of.get(beside, 0)) / 2
        for of in widths.values()
        for person, beside in zip_longest(people, people[1:])
    )
    fits = min(GRID_STEP, GRID_ROOM // (len(people) + 1))
    return int(max(GRID_NARROWEST, fits, touching))


def _labels(frame: pd.DataFrame) -> list[str]:
    return [wording.requirement_text(row) for row in queries.records(frame)]


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
    scope = view.viewer.scope
    complications = queries.outcomes_of(view.snapshot, scope, view.group)
    if complications.empty:
        figure.nothing(
            "The specialty names no outcome of these procedures.", "Choose other procedures above."
        )
        return
    titles = dict(zip(complications["complication_ref"], complications["title"], strict=True))
    left, right = st.columns(2)
    with left:
        complication = st.selectbox("Complication", list(titles), format_func=titles.__getitem__)
    with right:
        attribution = opening.choose_attribution(view.snapshot, scope, "attribution")
    # One axis, whosever cases are chosen.
    frames = {
        whose: view.in_order(queries.rates(view.snapshot, scope, view.people, complication, whose))
        for whose in opening.attributions(view.snapshot, scope)
    }
    frame = frames[attribution]
    rows = queries.records(frame)
    frame = frame.assign(label=[wording.rate_line(row, row.expected) for row in rows])
    from_others = [row.trainee for row in rows if row.known_outcomes and not wording.is_self_reported(row)]
    self_reported = f"Self-reported, but for {', '.join(from_others)}." if from_others else "Self-reported."
    figure.say(wording.ATTRIBUTION_MEANS[attribution], kind="quiet")
    whose = opening.attributions(view.snapshot, scope)[attribution]
    together = pd.concat([each.dropna(axis=1, how="all") for each in frames.values()])
    enough = together[together["known_outcomes"] >= wording.FEW_CASES]
    end = charts.axis_top(frame if enough.empty else enough)
    chosen = figure.draw(
        "complication_intervals",
        frame,
        key="rates",
        title=f"{titles[complication]}: {whose}",
        lines=[self_reported, *view.late_lines(frame)],
        top=end,
        width=HALF_WIDTH,
        select=True,
    )
    figure.ends_of_lines(frame["trainee"], charts.line_ends(frame, end))
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
    said = [
        f"{wording.rate_sentence(row)} {wording.from_others_sentence(row)}".strip()
        for row in queries.records(frame)
    ]
    return pd.DataFrame({"trainee": frame["trainee"], title: said})


def quarter_text(quarter: object) -> str:
    """A quarter of training, or each person's latest."""
    return "latest quarter" if quarter == LATEST else f"quarter {quarter}"


@figure.part(_rates_are_theirs)
def _supervision(view: View) -> None:
    st.header("How close did the supervisor stand?")
    group, scope = view.group, view.viewer.scope
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
    of_people = frame.drop_duplicates("trainee")
    figure.ends_of_lines(of_people["trainee"], charts.bands_ends(of_people, of_latest))
    figure.supervision_tables(every, queries.levels(view.snapshot, scope, view.people, group))
    if chosen:
        opening.go("trainee", chosen["trainee"])


@figure.part(_rates_are_theirs)
def _technique(view: View) -> None:
    st.header("Which steps were scored, and how?")
    frame = view.in_order(
        queries.technique_of_everybody(view.snapshot, view.viewer.scope, view.people, view.group)
    )
    if frame.empty:
        figure.nothing(
            "No operation of these trainees was reviewed step by step.", "Bring in a file of reviews."
        )
        return
    scored = frame[frame["training_quarter"].notna()]["trainee"].unique()
    unscored = [ref for ref in view.people if ref not in scored]
    frame = frame[frame["trainee"].isin(scored)]
    if unscored:
        figure.say(f"Not scored: {', '.join(unscored)}.")
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
