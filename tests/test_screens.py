"""Where there is little or nothing to show, a screen says what is missing and how to bring it in."""

from __future__ import annotations

import html
import re
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from streamlit.testing.v1 import AppTest

from dashboard.__main__ import main
from dashboard.access import Viewer
from dashboard.screens import cases, cohort, intake, methods, reviews, summary, trainee
from pipelines.store import Store
from tests.browser import demo_store
from tests.stores import new_store, run_well, set_programme, write_csv

PROGRAMME = "harbour-eye"
DIRECTOR = Viewer("director", PROGRAMME)
T01 = Viewer("trainee", PROGRAMME, "T01")
REVIEWER = Viewer("reviewer", PROGRAMME, "S01")

ROSTER = """\
trainee_ref,cohort,started,expected_completion
T01,2026-27,2024-07,2027-06
"""
LONG_AGO = """\
case_ref,trainee_ref,operated_on,procedure,role
C001,T01,2025-01-14,phaco_iol,surgeon
"""


@pytest.fixture(scope="module")
def empty(tmp_path_factory: pytest.TempPathFactory) -> Store:
    """A store right after `init`."""
    return Store(new_store(tmp_path_factory.mktemp("empty")))


@pytest.fixture(scope="module")
def without_cases(tmp_path_factory: pytest.TempPathFactory) -> Store:
    """One trainee in the roster, and nothing else."""
    folder = tmp_path_factory.mktemp("without-cases")
    store = new_store(folder)
    run_well("intake", write_csv(folder / "roster.csv", ROSTER), "--store", store)
    return Store(store)


@pytest.fixture(scope="module")
def long_ago(tmp_path_factory: pytest.TempPathFactory) -> Store:
    """One trainee with one case, without supervision, complications or reviews; nobody is current."""
    folder = tmp_path_factory.mktemp("long-ago")
    store = new_store(folder)
    set_programme(store, as_of="2026-11-15")
    roster, log = write_csv(folder / "roster.csv", ROSTER), write_csv(folder / "cases.csv", LONG_AGO)
    run_well("intake", roster, log, "--store", store)
    return Store(store)


def run(show, viewer, store) -> None:  # noqa: ANN001 - its text alone is run, where no type is known
    show(viewer, store)


def opened(screen: Any, viewer: Viewer, store: Store) -> AppTest:
    """The screen, run once; an exception in it fails the test."""
    app = AppTest.from_function(run, args=(screen.show, viewer, store), default_timeout=60).run()
    assert [each.message for each in app.exception] == []
    return app


def said(app: AppTest) -> str:
    """What the screen says outside tables and charts."""
    told = [*app.title, *app.header, *app.info, *app.markdown, *app.warning, *app.success]
    return " ".join(str(each.value) for each in told)


SAYS: dict[str, list[tuple[Any, Viewer, list[str]]]] = {
    "empty": [
        (cohort, DIRECTOR, ["Nobody is in the roster yet.", "roster and case exports"]),
        (trainee, DIRECTOR, ["Nobody is in the roster yet.", "roster and case exports"]),
        (cases, DIRECTOR, ["Nobody is in the roster yet.", "roster and case exports"]),
        (intake, DIRECTOR, ["Bring exports in", "Nobody is in the roster yet.", "Nothing was left out"]),
        (summary, DIRECTOR, ["Nobody is in the roster yet.", "roster and case exports"]),
        (methods, DIRECTOR, ["Cautions", "Nobody has written it down yet", "How is each number made?"]),
        (reviews, REVIEWER, ["You have not reviewed an operation yet.", "brings in files of reviews"]),
        (trainee, T01, ["Nobody is in the roster yet.", "roster and case exports"]),
        (cases, T01, ["Nobody is in the roster yet.", "roster and case exports"]),
        (methods, T01, ["Cautions"]),
    ],
    "without_cases": [
        (
            cohort,
            DIRECTOR,
            ["T01: no data yet", "late logs are not missing operations", "No level of supervision"],
        ),
        (cohort, DIRECTOR, ["No operation of these trainees was reviewed", "Bring in a file of reviews"]),
        (trainee, DIRECTOR, ["T01: no data yet", "No level of supervision is recorded"]),
        (trainee, DIRECTOR, ["There is no month of training with data yet", "No operation was reviewed"]),
        (cases, DIRECTOR, ["0 of 86", "Counted: 0 cases", "Not counted: 0 cases"]),
        (intake, DIRECTOR, ["T01: no data yet", "Nothing was left out"]),
        (summary, DIRECTOR, ["Preview: class of 2026–27"]),
        (trainee, T01, ["My standing", "T01: no data yet", "No level of supervision is recorded"]),
        (trainee, T01, ["No operation was reviewed", "brings the scores in"]),
        (cases, T01, ["Counted: 0 cases"]),
    ],
    "long_ago": [
        (
            cohort,
            DIRECTOR,
            ["T01: data through January 2025, more than 45 days", "late logs are not missing"],
        ),
        (
            cohort,
            DIRECTOR,
            ["No level of supervision is recorded", "No operation of these trainees was reviewed"],
        ),
        (trainee, DIRECTOR, ["data through January 2025, more than 45 days", "No operation was reviewed"]),
        (intake, DIRECTOR, ["T01: data through January 2025, more than 45 days"]),
        (
            trainee,
            T01,
            ["data through January 2025, more than 45 days", "No level of supervision is recorded"],
        ),
        (cases, T01, ["1 of 86", "Counted: 1 case"]),
    ],
}
PLACES = [(store, *each) for store, screens in SAYS.items() for each in screens]


@pytest.mark.parametrize(
    ("store", "screen", "viewer", "words"),
    PLACES,
    ids=[f"{store}-{screen.__name__.rsplit('.')[-1]}-{viewer.role}" for store, screen, viewer, _ in PLACES],
)
def test_a_screen_with_little_to_show_says_what_is_missing_and_how_to_bring_it_in(
    request: pytest.FixtureRequest, store: str, screen: Any, viewer: Viewer, words: list[str]
) -> None:
    told = said(opened(screen, viewer, request.getfixturevalue(store)))
    assert [each for each in words if each not in told] == [], told


@pytest.mark.parametrize("screen", [cohort, trainee, summary])
def test_a_screen_that_compares_people_carries_the_caution(without_cases: Store, screen: Any) -> None:
    # The words of the caution are the project's own promise; the screens must not lose them.
    told = said(opened(screen, DIRECTOR, without_cases))
    assert "A met minimum is an accreditation floor, not a finding of competence." in told


def tables(app: AppTest) -> list[list[list[str]]]:
    """The cells of each table that the screen shows, its head first, as a reader sees them."""
    shown = [re.findall(r"<tr>(.*?)</tr>", str(each.value), re.DOTALL) for each in app.get("html")]
    return [
        [
            [html.unescape(cell) for cell in re.findall(r"<t[dh][^>]*>(.*?)</t[dh]>", row, re.DOTALL)]
            for row in rows
        ]
        for rows in shown
    ]


def test_a_rate_of_which_nothing_is_known_is_said_so_and_not_as_none(long_ago: Store) -> None:
    head, *outcomes = next(table for table in tables(opened(trainee, T01, long_ago)) if "outcome" in table[0])
    assert outcomes and all("nothing known" in row[head.index("known")] for row in outcomes)


@pytest.mark.parametrize("screen", [cohort, trainee])
def test_no_table_behind_a_chart_is_empty(screen: Any) -> None:
    shown = tables(opened(screen, Viewer("director", "saltmarsh-eye"), Store(demo_store())))
    assert len(shown) >= 4
    assert [rows[0] for rows in shown if len(rows) < 2] == []


def of_a_table(frame) -> None:  # noqa: ANN001 - its text alone is run, where no type is known
    from dashboard import figure

    figure.plain_table(frame)


def test_a_cell_of_a_file_is_text_and_never_markup() -> None:
    cells = ["<img src=x onerror=alert(1)>", "![seen](http://elsewhere.example/a.png)", "a < b & **c** | d"]
    app = AppTest.from_function(of_a_table, args=(pd.DataFrame({"a_comment": cells, "n": [1, 2, 3]}),)).run()
    (table,) = tables(app)
    assert table == [["a comment", "n"], *([cell, str(n)] for n, cell in enumerate(cells, 1))]
    assert "<img" not in str(app.get("html")[0].value)
    assert [*app.markdown] == []


def test_a_class_of_which_nobody_is_in_training_can_still_be_chosen(tmp_path: Path) -> None:
    root = new_store(tmp_path)
    done = ROSTER.replace("completion\n", "completion,completed\n").replace("2027-06\n", "2027-06,2026-10\n")
    run_well("intake", write_csv(tmp_path / "roster.csv", done), "--store", root)
    app = opened(cohort, DIRECTOR, Store(root))
    assert "Nobody of the roster is in training now." in said(app)
    app.selectbox(key="class").select("2026-27").run()
    assert not app.exception
    assert "Who has reached which minimum?" in said(app)


def test_the_dashboard_without_demo_ends_with_2(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--store", str(tmp_path)]) == 2
    assert "sign-in" in capsys.readouterr().err
