"""Who may see what: the truth table of the rule, the screens that ask it, the rows that a scope leaves."""

from __future__ import annotations

import contextlib
import importlib
import inspect
import pkgutil
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, get_args

import duckdb
import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from dashboard import access, navigation, queries
from dashboard.access import NotYours, Role, Scope, Viewer
from dashboard.queries import Snapshot
from dashboard.queries.live import select
from dashboard.queries.tables import ROWS, RULES
from dashboard.screens import cases, cohort, intake, reviews, summary, trainee
from pipelines.store.snapshot import LOCKED
from pipelines.store.store import Store
from tests.browser import demo_store
from tests.looking import SESSION, headings, opened_as, said, session

__all__ = ["session"]

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
    see_owed            | yes      |           | yes         |          | yes |
    export_summary      | yes      |           | yes         |          |     |
    see_methods         | yes      | yes       | yes         | yes      | yes | yes
    see_access_log      | yes      |           |             |          |     |
    see_own_log         |          |           |             |          | yes | yes
"""
# Its answer is part of see_trainee, which has the check.
ASKED_WITHOUT_A_CHECK = {"see_own_standing"}


def _cells(text: str) -> Iterator[tuple[str, str, str]]:
    head, _, *lines = [[cell.strip() for cell in line.split("|")] for line in text.strip().splitlines()]
    for question, *answers in lines:
        yield from ((question, who, answer) for who, answer in zip(head[1:], answers, strict=True))


ANSWERS = [(question, who, answer == "yes") for question, who, answer in _cells(TRUTH)]
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
    assert {viewer.role for viewer in WHO.values()} == set(get_args(Role)) == set(access.WHOSE)


def test_a_request_without_a_session_has_no_viewer(monkeypatch: pytest.MonkeyPatch) -> None:
    class NoHeaders:
        headers: dict[str, str] = {}  # noqa: RUF012 - stands for an attribute of the library

    monkeypatch.setattr(st, "context", NoHeaders)
    with pytest.raises(NotYours):
        access.viewer()


# ---- screens


@pytest.fixture(scope="module")
def snapshot() -> Snapshot:
    return queries.live_snapshot(Store(demo_store()))


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
    return opened_as(screen, viewer, Store(demo_store()))


@pytest.mark.parametrize(("screen", "who"), CLOSED, ids=lambda each: getattr(each, "__name__", each))
def test_a_screen_that_is_not_theirs_refuses_and_shows_nothing(screen: Any, who: str) -> None:
    app = opened(screen, WHO[who])
    assert [each.proto.type for each in app.exception] == ["dashboard.access.NotYours"]
    assert [*app.get("html"), *app.selectbox, *app.get("vega_lite_chart")] == []


def test_the_coordinator_sees_volumes_and_no_rates() -> None:
    for screen in (cohort, trainee):
        app = opened(screen, WHO["coordinator"])
        heads = " ".join(headings(app))
        assert not app.exception
        assert "minimum" in heads.lower()
        assert not any(
            word in heads for word in ("How often", "Outcomes", "Supervision", "steps", "Technique")
        )
    assert not any(
        "they began" in option
        for box in opened(cases, WHO["coordinator"]).selectbox
        for option in box.options
    )


def test_a_part_asks_anew_who_looks() -> None:
    app = opened(cohort, WHO["director"])
    assert "How often did it happen" in said(app) and len(app.get("vega_lite_chart")) >= 3
    # The director's screen, resumed by the session of another: each of its parts runs again.
    for who in ("T22", "coordinator", "committee"):
        SESSION["viewer"] = WHO[who]
        app.toggle(key="only_open").set_value(True)
        app.run()
        assert said(app).count("made for another session") == len(parts_of(cohort)) == 6
        assert [*app.get("vega_lite_chart"), *headings(app)] == []
        # The choices above the parts name classes and procedures, and nobody.
        assert [box.label for box in app.selectbox] == ["Class", "Procedures"]
        SESSION["viewer"] = WHO["director"]
        app.run()
    SESSION.clear()
    app.run()
    assert said(app).count("There is no session") == 6


def parts_of(screen: Any) -> dict[str, Any]:
    return {name: function for name, function in vars(screen).items() if hasattr(function, "__wrapped__")}


PARTS = [
    (screen, name, who)
    for screen, who in [(cohort, "coordinator"), (cohort, "T22"), (trainee, "coordinator"), (trainee, "T23")]
    for name in parts_of(screen)
]
# What a coordinator may see of a person or of the cohort.
OF_COUNTS = {"_volume", "_open_by_keyboard", "_minimums", "_course"}


@pytest.mark.parametrize(("screen", "name", "who"), PARTS)
def test_every_part_checks_the_permission_of_its_screen_again(
    screen: Any, name: str, who: str, snapshot: Snapshot
) -> None:
    viewer, store = WHO[who], Store(demo_store())
    roster = queries.trainees(snapshot, WHO["director"].scope)
    given = (
        cohort.View(store, snapshot, viewer, roster, "cataract")
        if screen is cohort
        else trainee.Person(store, snapshot, viewer, "T22", None, "cataract")
    )
    SESSION["viewer"] = viewer

    def run(part, given) -> None:  # noqa: ANN001 - its text alone is run, where no type is known
        part(given)

    app = AppTest.from_function(run, args=(parts_of(screen)[name], given), default_timeout=60).run()
    assert not app.exception
    refused = "you may not see" in said(app)
    assert refused == (name not in OF_COUNTS or who != "coordinator")
    assert not refused or [*app.get("vega_lite_chart"), *app.selectbox, *headings(app)] == []


# ---- rows and columns

# What each query finds for each viewer: everyone's rows, those about T22 alone, the rules of the specialty, or - where
# the tables are not theirs - nothing at all: the query is refused. Source: the project's own rule, who may see what.
FINDS = """
    query                  | director | committee | coordinator | reviewer | T22
    -----------------------+----------+-----------+-------------+----------+------
    trainees               | everyone | everyone  | everyone    |          | own
    volume                 | everyone | everyone  | everyone    |          | own
    course                 | everyone | everyone  | everyone    |          | own
    marks                  | everyone | everyone  | everyone    |          | own
    feedback               | everyone | everyone  |             |          | own
    course_bands           | bands    | bands     | bands       |          | bands
    cases_of_requirement   | everyone | everyone  | everyone    |          | own
    cases_toward_nothing   | none     | none      | none        |          | none
    composition            | everyone | everyone  | everyone    |          | own
    parts                  | everyone | everyone  | everyone    |          | own
    rates                  | everyone | everyone  |             |          |
    own_rates              | everyone | everyone  |             |          | own
    cases_of_outcome       | everyone | everyone  |             |          | own
    cases_to_code          | everyone | everyone  |             |          | own
    disagreements          | everyone | everyone  |             |          | own
    bands                  | everyone | everyone  |             |          | own
    bands_of_quarter       | everyone | everyone  |             |          | own
    levels                 | everyone | everyone  |             |          | own
    ladder                 | rules    | rules     |             |          | rules
    technique              | everyone | everyone  |             |          | own
    technique_of_everybody | everyone | everyone  |             |          | own
    milestones             | everyone | everyone  |             |          | own
    comparison             | everyone | everyone  |             |          |
    reasons                | everyone | everyone  |             |          | own
    months                 | everyone | everyone  |             |          | own
    recorded_levels        | everyone | everyone  |             |          | own
    false_alarms           | rules    | rules     |             |          |
    next_steps             | everyone | everyone  |             |          | own
    case_sequence          | everyone | everyone  |             |          |
    signal                 | everyone | everyone  |             |          |
    recent_rates           | everyone | everyone  |             |          | own
    pace                   | everyone | everyone  |             |          | own
    waiting                | everyone | everyone  |             |          | own
    findings               | everyone | everyone  | everyone    |          | own
    logs                   | everyone |           | everyone    |          |
    left_out               | everyone |           | everyone    |          |
    intakes                | everyone |           | everyone    |          |
    reconciliation         | everyone |           | everyone    |          |
    owed                   | everyone |           | everyone    |          | own
    owed_by_trainee        | everyone |           | everyone    |          | own
    owed_by_supervisor     | everyone |           | everyone    |          | own
    log_quality            | everyone | everyone  | everyone    |          | own
    volume_summary         | everyone |           | everyone    |          |
    not_final              | everyone |           | everyone    |          |
    official_tally         | everyone |           | everyone    |          |
    own_reviews            |          |           |             | own      |
    listed                 | rules    | rules     | rules       | rules    | rules
    roles_of               | rules    | rules     | rules       | rules    | rules
    outcomes_of            | rules    | rules     | rules       | rules    | rules
    rules_without_count    | none     | none      | none        |          | none
    framework              | rules    | rules     | rules       | rules    | rules
    unverified             | rules    | rules     | rules       | rules    | rules
    definitions            | rules    | rules     | rules       | rules    | rules
    names_another_programme | flag    | flag      | flag        |          |
"""
# The arguments after the scope. Of T22 and T23 alike: what a viewer may not see is asked for, and must not come.
BOTH = ("T22", "T23")
ASKED: dict[str, list[tuple[Any, ...]]] = {
    "volume": [(BOTH,)],
    "course": [("T22", "cataract"), ("T23", "cataract")],
    "marks": [("T22",), ("T23",)],
    "feedback": [("T22",), ("T23",)],
    "course_bands": [("cataract",)],
    "cases_of_requirement": [("T22", "cataract"), ("T23", "cataract")],
    "cases_toward_nothing": [("T22",), ("T23",)],
    "composition": [("T22", "cataract"), ("T23", "cataract")],
    "parts": [("T22", "oculoplastic_total"), ("T23", "oculoplastic_total")],
    "rates": [(BOTH, "capsule_rupture", "as_started")],
    "own_rates": [("T22",), ("T23",)],
    "cases_of_outcome": [(ref, "capsule_rupture", "as_started") for ref in BOTH],
    "cases_to_code": [("T22",), ("T23",)],
    "disagreements": [("T22",), ("T23",)],
    "bands": [(BOTH, "all")],
    "bands_of_quarter": [(BOTH, "all", None)],
    "levels": [(BOTH, "cataract")],
    "technique": [(BOTH, "cataract")],
    "technique_of_everybody": [(BOTH, "cataract")],
    "milestones": [("T22",), ("T23",)],
    "comparison": [("T22",), ("T23",)],
    "reasons": [(BOTH,)],
    "months": [(BOTH,)],
    "recorded_levels": [(BOTH,)],
    "next_steps": [("T22",), ("T23",)],
    "case_sequence": [(ref, "capsule_rupture") for ref in BOTH],
    "signal": [(ref, "capsule_rupture") for ref in BOTH],
    "recent_rates": [(ref, "capsule_rupture") for ref in BOTH],
    "pace": [("T22",), ("T23",)],
    "waiting": [("T22",), ("T23",)],
    "findings": [(None,)],
    "log_quality": [(BOTH,)],
    "volume_summary": [("2026-27",)],
    "not_final": [("2026-27",)],
    "official_tally": [("2026-27",)],
    "listed": [("requirement",)],
    "roles_of": [("cataract",)],
    "outcomes_of": [("cataract",)],
    "rules_without_count": [("T22",), ("T23",)],
}
ANSWERED = list(_cells(FINDS))
QUERIES = {query for query, _, _ in ANSWERED}
NOBODY = {
    "a role that is not one of ours": Viewer("rector", PROGRAMME, "T22").scope,
    "a trainee without a reference": Viewer("trainee", PROGRAMME).scope,
    "a reviewer without a reference": Viewer("reviewer", PROGRAMME, "").scope,
    "a director of no programme": Viewer("director", "").scope,
    "nothing said": Scope(),
    "a programme alone": Scope(PROGRAMME),
    "a programme and a role": Scope(PROGRAMME, role="director"),
    "everyone, and no role": Scope(PROGRAMME, "everyone"),
    "everyone, for a trainee": Scope(PROGRAMME, "everyone", role="trainee"),
    "a trainee, and not whom": Scope(PROGRAMME, "trainee", role="trainee"),
}


def query_functions() -> Iterator[tuple[str, Callable[..., Any]]]:
    """Every function of the package that reads a snapshot: it is known by its first argument."""
    for module in pkgutil.iter_modules(queries.__path__, f"{queries.__name__}."):
        for name, function in inspect.getmembers(importlib.import_module(module.name), inspect.isfunction):
            first = next(iter(inspect.signature(function).parameters.values()), None)
            if function.__module__ == module.name and first and first.annotation == "Snapshot":
                yield name, function


def answers(query: str, snapshot: Snapshot, scope: Scope) -> list[Any]:
    function = dict(query_functions())[query]
    return [function(snapshot, scope, *arguments) for arguments in ASKED.get(query, [()])]


def test_every_query_takes_a_scope_and_has_a_row_in_the_table() -> None:
    functions = dict(query_functions())
    assert set(functions) - {"select"} == QUERIES
    for name, function in functions.items():
        scope = list(inspect.signature(function).parameters.values())[1]
        assert (scope.annotation, scope.default) == ("Scope", inspect.Parameter.empty), name
    # The one way to the database: nothing else of the package hands a query over.
    assert "select" in functions


@pytest.mark.parametrize(("query", "who", "finds"), ANSWERED)
def test_a_query_finds_what_the_table_says(query: str, who: str, finds: str, snapshot: Snapshot) -> None:
    scope = WHO[who].scope
    if not finds:
        with pytest.raises(NotYours):
            answers(query, snapshot, scope)
        return
    of_director = answers(query, snapshot, WHO["director"].scope) if query != "own_reviews" else []
    found = answers(query, snapshot, scope)
    if finds in ("rules", "bands", "flag"):
        assert [str(each) for each in found] == [str(each) for each in of_director]
        assert len(found) == 1
        return
    if finds == "none":  # they may ask, and the demo has nothing of the kind
        assert [len(each) for each in found] == [0] * len(found)
        return
    refs = [ref for each in found if "trainee_ref" in each for ref in each["trainee_ref"].dropna()]
    if query == "own_reviews":
        assert len(found[0])
    elif finds == "everyone":
        assert [len(each) for each in found] == [len(each) for each in of_director]
        assert all(len(each) for each in found)
        assert not refs or len(set(refs)) > 1
    elif query in ABOUT_ONE:
        assert len(found[0]) == len(of_director[0]) > 0  # T22
        assert len(found[1]) == 0  # T23
    else:
        assert set(refs) == {"T22"}
        assert len(found[0]) == (of_director[0]["trainee_ref"] == "T22").sum()


ABOUT_ONE = {query for query, asked in ASKED.items() if len(asked) == 2}


@pytest.mark.parametrize("query", sorted(QUERIES - {"own_reviews"}))
def test_the_director_of_another_programme_finds_the_rules_and_nobody(query: str, snapshot: Snapshot) -> None:
    finds = next(finds for name, who, finds in ANSWERED if (name, who) == (query, "director"))
    found = answers(query, snapshot, Scope("another-programme", "everyone", role="director"))
    if finds == "flag":
        assert found == [True]
    elif query == "ladder":
        assert found
    else:
        assert [len(each) > 0 for each in found] == [finds == "rules"] * len(found)


def test_feedback_says_nothing_of_who_reviewed(snapshot: Snapshot) -> None:
    for who in ("director", "committee", "T22"):
        found = queries.feedback(snapshot, WHO[who].scope, "T22")
        assert len(found) > 20 and "reviewer_ref" not in found
        assert not {f"S{number:02d}" for number in range(1, 13)} & set(found.astype(str).to_numpy().ravel())
        with pytest.raises(duckdb.BinderException):
            select(snapshot, WHO[who].scope, "select reviewer_ref from feedback")


def test_a_reviewer_finds_no_review_of_another_or_of_another_programme(snapshot: Snapshot) -> None:
    own = queries.own_reviews(snapshot, WHO["reviewer"].scope)
    others = queries.own_reviews(snapshot, Viewer("reviewer", PROGRAMME, "S02").scope)
    assert len(others) and not set(own["review_ref"]) & set(others["review_ref"])
    assert queries.own_reviews(snapshot, Viewer("reviewer", "another-programme", "S01").scope).empty
    assert queries.own_reviews(snapshot, Viewer("reviewer", PROGRAMME, "T22").scope).empty


@pytest.mark.parametrize("query", sorted(QUERIES))
@pytest.mark.parametrize("scope", NOBODY.values(), ids=NOBODY)
def test_a_scope_that_leaves_something_out_is_nobodys(query: str, scope: Scope, snapshot: Snapshot) -> None:
    assert scope.whose == "nobody"
    with pytest.raises(NotYours):
        answers(query, snapshot, scope)


def test_who_is_nobody_may_see_nothing() -> None:
    nobodies = [Viewer("rector", PROGRAMME, "T22"), Viewer("trainee", PROGRAMME), Viewer("director", "")]
    for question, _, _ in ANSWERS:
        assert [_ask(f"can_{question}", viewer) for viewer in nobodies] == [False] * 3, question
    for viewer in nobodies:
        assert navigation.screens_of(viewer) == {}


# Words of the columns of rates, complications, supervision, scores and comments, wherever they stand in the snapshot.
NOT_A_COUNT = re.compile(
    r"rate|event|complication|outcome|share|supervision|level|band_|takeover|hands|follow|score|attempt|success|comment"
    r"|expected_?(known|$)|reference|value|rules_|milestone|committee|seconds|rationale|unclear|possible"
)


def test_no_query_of_a_coordinator_can_name_a_rate_or_a_comment(snapshot: Snapshot) -> None:
    scope = WHO["coordinator"].scope
    with duckdb.connect(snapshot.path, read_only=True, config=LOCKED) as connection:
        tables = connection.execute(
            "select distinct schema_name, table_name from duckdb_columns() where not internal"
        ).fetchall()
    read: dict[str, list[str]] = {}
    for schema, table in tables:
        for name in (table, f"{schema}.{table}", f'"{Path(snapshot.path).stem}".{schema}.{table}'):
            with contextlib.suppress(NotYours):
                read[name] = list(select(snapshot, scope, f"select * from {name} limit 0").columns)
    of_people = {name: columns for name, columns in read.items() if name in ROWS}
    assert {"case_volume", "case_opened", "finding"} <= set(of_people)
    assert {name for name in read if name not in ROWS} <= set(RULES)
    named = {column for columns in of_people.values() for column in columns}
    # `operated` holds "rate"; the level of a trainee is resident or fellow.
    assert {column for column in named if NOT_A_COUNT.search(column)} - {"operated_month", "level"} == set()


@pytest.mark.parametrize(
    "query",
    [
        "select * from main.complication_rate",
        "select * from definition.complication_rate",
        "select * from input.reviews",
        "select 1 where exists (select 1 from complication_rate)",
        "with rate as (select * from complication_rate) select * from rate",
        "select * from trainee, complication_rate",
        "select complications from case_opened",
        "select * from query_table('complication_rate')",
        "select * from query('select * from main.complication_rate')",
    ],
)
def test_a_query_reaches_no_table_around_its_scope(query: str, snapshot: Snapshot) -> None:
    with pytest.raises((NotYours, duckdb.Error)):
        select(snapshot, WHO["coordinator"].scope, query)


def test_no_table_of_a_query_hides_behind_a_name_of_its_own() -> None:
    # The name of a common table expression is no table, so it must not be the name of one.
    named = {
        name
        for module in pkgutil.iter_modules(queries.__path__)
        for text in [Path(queries.__path__[0], f"{module.name}.py").read_text(encoding="utf-8")]
        for name in re.findall(r"(?:with|,)\s+(\w+) as \(\n", text)
    }
    assert {"shown", "latest", "reviewed"} <= named
    assert named & {*ROWS, *RULES} == set()


def test_a_trainee_who_has_completed_reads_no_band_of_the_own_class(snapshot: Snapshot) -> None:
    completed = queries.trainees(snapshot, WHO["director"].scope).dropna(subset=["completed"])
    ref = completed["trainee_ref"].iloc[0]
    assert queries.course_bands(snapshot, Viewer("trainee", PROGRAMME, ref).scope, "cataract").empty
    assert len(queries.course_bands(snapshot, WHO["T22"].scope, "cataract"))


# Whose the tables about pace are, and which columns a trainee reads of the own rows; the contract and the issue's words.
THEIRS = """
    table                 | director | committee | coordinator | reviewer | T22
    pace                  | all      | all       |             |          | own
    pace_sentence         | all      | all       |             |          | own
    pace_backtest         | all      | all       |             |          |
    rotation_yield        | all      | all       |             |          |
    supervision_loosening | all      | all       |             |          |
    discussion_reason     | all      | all       |             |          | own
    false_alarm           | all      | all       |             |          |
"""
OF_THEIRS = list(_cells(THEIRS))
# What became of earlier trainees, and what is forecast from it, is not for trainees.
OF_OTHERS = re.compile(r"earlier|like|final|probability|p10|p90|why|weak|became|forecast")


@pytest.mark.parametrize(("table", "who", "reads"), OF_THEIRS)
def test_what_became_of_others_is_for_director_and_committee(
    table: str, who: str, reads: str, snapshot: Snapshot
) -> None:
    def read(viewer: Viewer) -> Any:
        return select(snapshot, viewer.scope, f"select * from {table}")

    if not reads:
        with pytest.raises(NotYours):
            read(WHO[who])
        return
    found, of_director = read(WHO[who]), read(WHO["director"])
    assert len(found) > 0
    if reads == "all":
        assert len(found) == len(of_director)
        assert read(Viewer(WHO[who].role, "another-programme")).empty
        return
    assert set(found["trainee_ref"]) == {"T22"}
    assert len(found) == (of_director["trainee_ref"] == "T22").sum()
    assert [name for name in found.columns if OF_OTHERS.search(name)] == []
    words = " ".join(
        str(value) for name in found.columns if found[name].dtype == object for value in found[name]
    )
    assert not re.search(r"earlier trainee|would be expected|Forecast", words)
