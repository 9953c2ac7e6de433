"""Two people of one hospital, programmes x and y in one store: nothing of y reaches x by a screen, file or message."""

from __future__ import annotations

import io
import zipfile
from typing import Any

import pytest

from dashboard.access import Viewer
from dashboard.screens import cases, cohort, intake, methods, reviews, summary, trainee
from pipelines.store.store import Store
from tests.looking import opened_as, session
from tests.paper import Paper
from tests.planted import X, Y, two_programmes

__all__ = ["session"]

STAFF = [cohort, trainee, cases, methods]
SCREENS: dict[Viewer, list[Any]] = {
    Viewer("director", X): [*STAFF, intake, summary],
    Viewer("committee_member", X): STAFF,
    Viewer("coordinator", X): [*STAFF, intake, summary],
    Viewer("reviewer", X, "S01"): [reviews, methods],
    Viewer("trainee", X, "T01"): [trainee, cases, methods],
}
PLACES = [(viewer, screen) for viewer, screens in SCREENS.items() for screen in screens]


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    return two_programmes(tmp_path_factory.mktemp("two"))


def received(app: Any) -> str:
    """All that a screen sends to the browser, whether it is shown or not."""
    return "\n".join(str(each.proto) for each in app.main).lower()


def unpacked(content: bytes) -> bytes:
    if content.startswith(b"%PDF"):
        return Paper(content).text.encode()
    if not content.startswith(b"PK"):
        return content
    with zipfile.ZipFile(io.BytesIO(content)) as book:
        return b"\n".join(book.read(name) for name in book.namelist())


@pytest.mark.parametrize(
    ("viewer", "screen"), PLACES, ids=[f"{who.role}-{at.__name__.split('.')[-1]}" for who, at in PLACES]
)
def test_nothing_of_another_programme_is_on_a_screen(viewer: Viewer, screen: Any, store: Store) -> None:
    app = opened_as(screen, viewer, store, trainee="ZYX1")
    assert [each.message for each in app.exception] == []
    assert "zyx" not in received(app)
    for box in range(len(app.selectbox)):
        as_opened = app.selectbox[box].value
        for option in app.selectbox[box].options[:4]:
            app.selectbox[box].select(option)
            app.run()
            assert not app.exception and "zyx" not in received(app)
        # A choice may leave nothing more to choose: the boxes after this one come back with what was chosen first.
        app.selectbox[box].set_value(as_opened).run()


@pytest.mark.parametrize("screen", [cohort, trainee, cases, intake, summary])
def test_the_marks_that_are_looked_for_are_there_for_the_programme_that_they_are_of(
    screen: Any, store: Store
) -> None:
    said = received(opened_as(screen, Viewer("director", Y), store))
    assert "zyx1" in said
    assert "t01" not in said and "t02" not in said and "own_role" not in said and "own.csv" not in said


def test_a_reviewer_of_both_programmes_sees_the_reviews_of_one(store: Store) -> None:
    assert "zyx" not in received(opened_as(reviews, Viewer("reviewer", X, "S01"), store))
    assert "zyx comment" in received(opened_as(reviews, Viewer("reviewer", Y, "S01"), store))


@pytest.mark.parametrize(("programme", "theirs"), [(X, False), (Y, True)])
def test_the_files_of_a_summary_name_the_people_of_one_programme(
    programme: str, theirs: bool, store: Store
) -> None:
    app = opened_as(summary, Viewer("coordinator", programme), store)
    next(button for button in app.button if button.label == "Make the files").click()
    app.run()
    _, files = app.session_state["summary"]
    assert len(files.contents) == 4
    for name, content in files.contents.items():
        assert (b"ZYX1" in unpacked(content)) == theirs, name
        assert (b"T01" in unpacked(content)) != theirs, name
        assert (b"zyx" in unpacked(content).lower()) == theirs, name


def test_methods_says_on_what_basis_only_to_the_programme_of_the_settings(store: Store) -> None:
    assert "consent." in received(opened_as(methods, Viewer("director", X), store))
    assert "consent." not in received(opened_as(methods, Viewer("director", Y), store))
