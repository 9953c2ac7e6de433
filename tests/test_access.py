"""Who may see what: the truth table of the rule, the screens that ask it, the rows that a scope leaves."""

from __future__ import annotations

import inspect
from collections.abc import Callable, Iterator
from typing import Any, get_args

import pandas as pd
import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from dashboard import access, navigation, queries
from dashboard.access import NotYours, Role, Scope, Viewer
from dashboard.queries import Snapshot
from dashboard.screens import cases, cohort, intake, reviews, summary, trainee
from pipelines.store.store import Store
from tests.browser import demo_store

PROGRAMME = "saltmarsh-eye"
WHO = {
    "director": Viewer("director", PROGRAMME),
    "committee": Viewer("committee_member", PROGRAMME),
    "coordinator": Viewer("coordinator", PROGRAMME),
    "reviewer": Viewer("reviewer", PROGRAMME, "S01"),
    "T22": Viewer("trainee", PROGRAMME, "T22"),
    "T23": Viewer("trainee", PROGRAMME, "T23"),
}

# Source: the project's own rule, who may see what. Every question; those about one trainee are asked about T22.
TRUTH = """
    question            | director | committee | coordinator | reviewer | T22 | T23
    --------------------+----------+-----------+-------------+----------+-----+----
    see_cohort          | yes      | yes       |             |          |     |
    see_counts          | yes      | yes       | yes         |          |     |
    see_trainee         | yes      | yes       |             |          | yes |
    see_volume          | yes      | yes       | yes         |          | yes |
    see_own_standing    |          |           |             |          | yes |
    see_own_reviews     |          |           |             | yes      |     |
    take_exports        | yes      |           | yes         |          |     |
    export_summary      | yes      |           | yes         |          |     |
"""
# Its answer is part of see_trainee, which has the check.
ASKED_WITHOUT_A_CHECK = {"see_own_standing"}


def _table(text: str) -> Iterator[tuple[str, str, bool]]:
    head, _, *lines = [[cell.strip() for cell in line.split("|")] for line in text.strip().splitlines()]
    for question, *answers in lines:
        yield from ((question, who, answer == "yes") for who, answer in zip(head[1:], answers, strict=True))


ANSWERS = list(_table(TRUTH))
CHECKED = [each for each in ANSWERS if each[0] not in ASKED_WITHOUT_A_CHECK]


def _ask(name: str, viewer: Viewer) -> Any:
    question: Callable[..., Any] = getattr(access, name)
    about = ("T22",) if "trainee_ref" in inspect.signature(question).parameters else ()
    return question(viewer, *about)


@pytest.mark.parametrize(("question", "who", "allowed"), ANSWERS)
def test_the_rule_answers_as_the_table_says(question: str, who: str, allowed: bool) -> None:
    assert _ask(f"can_{question}", WHO[who]) is allowed


@pytest.mark.parametrize(("question", "who", "allowed"), CHECKED)
def test_a_check_raises_exactly_where_the_answer_is_no(question: str, who: str, allowed: bool) -> None:
    if allowed:
        _ask(f"check_can_{question}", WHO[who])
        return
    with pytest.raises(NotYours):
        _ask(f"check_can_{question}", WHO[who])


def test_the_table_holds_every_question_and_every_role() -> None:
    asked = {name.removeprefix("can_") for name in dir(access) if name.startswith("can_")}
    checked = {name.removeprefix("check_can_") for name in dir(access) if name.startswith("check_can_")}
    assert asked == {question for question, _, _ in ANSWERS}
    assert asked - checked == ASKED_WITHOUT_A_CHECK
    assert {viewer.role for viewer in WHO.values()} == set(get_args(Role))


def test_a_request_without_a_session_has_no_viewer(monkeypatch: pytest.MonkeyPatch) -> None:
    class NoHeaders:
        headers: dict[str, str] = {}  # noqa: RUF012 - stands for an attribute of the library

    monkeypatch.setattr(st, "context", NoHeaders)
    with pytest.raises(NotYours):
        access.viewer()


# ---- screens

SCREENS = {
    "director": "cohort trainee cases intake summary methods",
    "committee": "cohort trainee cases methods",
    "coordinator": "cohort trainee cases intake summary methods",
    "reviewer": "reviews methods",
    "T22": "trainee cases methods",
}


@pytest.mark.parametrize("who", SCREENS)
def test_the_navigation_has_the_screens_of_the_role_and_no_other(who: str) -> None:
    assert " ".join(navigation.screens_of(WHO[who])) == SCREENS[who]


CLOSED = [
    (cohort, "reviewer"),
    (cohort, "T22"),
    (intake, "committee"),
    (intake, "reviewer"),
    (intake, "T22"),
    (summary, "committee"),
    (summary, "reviewer"),
    (summary, "T22"),
    (reviews, "director"),
    (reviews, "coordinator"),
    (reviews, "T22"),
    (trainee, "reviewer"),
    (cases, "reviewer"),
]


def opened(screen: Any, viewer: Viewer) -> AppTest:
    """A screen, run for a viewer whether or not it is in their navigation."""

    def run(show, viewer, store) -> None:  # noqa: ANN001 - its text alone is run, where no type is known
        show(viewer, store)

    app = AppTest.from_function(run, args=(screen.show, viewer, Store(demo_store())), default_timeout=60)
    return app.run()


@pytest.mark.parametrize(("screen", "who"), CLOSED, ids=lambda each: getattr(each, "__name__", each))
def test_a_screen_that_is_not_theirs_refuses_and_shows_nothing(screen: Any, who: str) -> None:
    app = opened(screen, WHO[who])
    assert [each.proto.type for each in app.exception] == ["dashboard.access.NotYours"]
    assert [*app.get("html"), *app.selectbox, *app.get("vega_lite_chart")] == []


def test_the_coordinator_sees_volumes_and_no_rates() -> None:
    for screen in (cohort, trainee):
        app = opened(screen, WHO["coordinator"])
        headings = " ".join(each.value for each in app.header)
        assert not app.exception
        assert "minimum" in headings.lower()
        assert not any(
            word in headings for word in ("How often", "Outcomes", "Supervision", "steps", "Technique")
        )
    assert not any(
        "as started" in option
        for box in opened(cases, WHO["coordinator"]).selectbox
        for option in box.options
    )


# ---- rows

SNAPSHOT_QUERIES: dict[str, Callable[[Snapshot, Scope], pd.DataFrame]] = {
    "trainees": queries.trainees,
    "volume": lambda at, scope: queries.volume(at, scope, ("T22", "T23")),
    "rates": lambda at, scope: queries.rates(at, scope, ("T22", "T23"), "capsule_rupture", "as_started"),
    "own_rates": lambda at, scope: queries.own_rates(at, scope, "T23"),
    "bands": lambda at, scope: queries.bands(at, scope, ("T22", "T23"), "all"),
    "bands_of_quarter": lambda at, scope: queries.bands_of_quarter(at, scope, ("T22", "T23"), "all", None),
    "levels": lambda at, scope: queries.levels(at, scope, ("T22", "T23"), "cataract"),
    "technique": lambda at, scope: queries.technique(at, scope, ("T22", "T23"), "cataract"),
    "technique_of_everybody": lambda at, scope: queries.technique_of_everybody(
        at, scope, ("T22", "T23"), "cataract"
    ),
    "milestones": lambda at, scope: queries.milestones(at, scope, "T23"),
    "course": lambda at, scope: queries.course(at, scope, "T23", "cataract"),
    "comparison": lambda at, scope: queries.comparison(at, scope, "T23"),
    "cases_of_requirement": lambda at, scope: queries.cases_of_requirement(at, scope, "T23", "cataract"),
    "cases_of_outcome": lambda at, scope: queries.cases_of_outcome(
        at, scope, "T23", "capsule_rupture", "as_started"
    ),
    "logs": queries.logs,
    "findings": lambda at, scope: queries.findings(at, scope, None),
    "left_out": queries.left_out,
    "volume_summary": lambda at, scope: queries.volume_summary(at, scope, "2026-27"),
}
ALL_TRAINEES = Scope(PROGRAMME)


@pytest.fixture(scope="module")
def snapshot() -> Snapshot:
    return queries.live_snapshot(Store(demo_store()))


@pytest.mark.parametrize("name", SNAPSHOT_QUERIES)
def test_a_query_gives_a_trainee_own_rows_and_another_programme_none(name: str, snapshot: Snapshot) -> None:
    ask = SNAPSHOT_QUERIES[name]
    everybody, own = ask(snapshot, ALL_TRAINEES), ask(snapshot, Scope(PROGRAMME, "T22"))
    assert len(everybody)
    assert ask(snapshot, Scope("another-programme")).empty
    if name in ("findings", "left_out"):
        return  # not everybody has one; see below
    if "trainee_ref" in everybody:
        assert {"T22", "T23"} <= set(everybody["trainee_ref"])
        assert set(own["trainee_ref"]) == {"T22"}
    else:
        assert own.empty


@pytest.mark.parametrize("name", ["findings", "left_out"])
def test_findings_of_others_are_in_no_trainees_scope(name: str, snapshot: Snapshot) -> None:
    ask: Any = getattr(queries, name)
    about = (None,) if name == "findings" else ()
    everybody, own = ask(snapshot, ALL_TRAINEES, *about), ask(snapshot, Scope(PROGRAMME, "T22"), *about)
    assert set(own["trainee_ref"]) <= {"T22"}
    assert set(everybody["trainee_ref"].dropna()) - {"T22"}


def test_another_programme_sees_no_file_and_no_review(snapshot: Snapshot) -> None:
    assert len(queries.intakes(snapshot, ALL_TRAINEES))
    assert queries.intakes(snapshot, Scope("another-programme")).empty
    reviewer = WHO["reviewer"].scope
    elsewhere = Scope("another-programme", reviewer_ref=reviewer.reviewer_ref)
    assert queries.own_reviews(snapshot, elsewhere).empty
    assert queries.names_another_programme(snapshot, Scope("another-programme"))
    assert not queries.names_another_programme(snapshot, ALL_TRAINEES)


def test_only_the_reviewer_who_wrote_a_review_sees_it(snapshot: Snapshot) -> None:
    assert not queries.own_reviews(snapshot, WHO["reviewer"].scope).empty
    for who in ("director", "T22"):
        assert queries.own_reviews(snapshot, WHO[who].scope).empty
