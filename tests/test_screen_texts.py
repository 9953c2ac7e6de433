"""A text that is not the project's own is text on every screen: no link, no picture, no markup comes of it."""

from __future__ import annotations

import ast
import html
import re
from typing import Any

import pytest

from dashboard.screens import cases, methods, reviews, trainee
from pipelines.store.store import Store
from tests.browser import ROOT
from tests.looking import opened_as, session
from tests.planted import ELSEWHERE, IN_A_COMMENT, MARKUP, two_programmes, write_marked
from tests.test_two_programmes import PLACES

__all__ = ["session"]

# What the library reads as Markdown: text of its own elements, and the labels of its widgets.
READ_AS_MARKDOWN = {
    *("button", "caption", "checkbox", "download_button", "error", "exception", "expander"),
    *("file_uploader", "form_submit_button", "header", "info", "latex", "markdown", "metric"),
    *("multiselect", "pills", "popover", "radio", "selectbox", "slider", "status", "subheader"),
    *("success", "tabs", "text_area", "text_input", "title", "toast", "toggle"),
    *("warning", "write"),
}
# The one label that is not a literal stands for two: `Trainee` and `Figure`.
CHOSEN_LABELS = {("dashboard/opening.py", "what.capitalize()")}


def literal(node: ast.expr, constants: set[str]) -> bool:
    if isinstance(node, ast.IfExp):
        return literal(node.body, constants) and literal(node.orelse, constants)
    if isinstance(node, ast.Name):
        return node.id in constants
    if isinstance(node, ast.Subscript):
        return literal(node.value, constants)
    return isinstance(node, ast.Constant)


def calls_with_a_text_of_others() -> list[tuple[str, str]]:
    """Each call of a part of the library that reads Markdown, with a text that is not written in the call itself."""
    found = []
    for path in sorted((ROOT / "dashboard").rglob("*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        constants = {
            target.id
            for node in tree.body
            if isinstance(node, ast.Assign)
            for target in node.targets
            if isinstance(target, ast.Name) and not any(isinstance(x, ast.Call) for x in ast.walk(node.value))
        }
        for node in ast.walk(tree):
            if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.args):
                continue
            if node.func.attr in READ_AS_MARKDOWN and not literal(node.args[0], constants):
                found.append((path.relative_to(ROOT).as_posix(), ast.unparse(node.args[0])))
    return found


def test_the_library_is_given_no_text_but_what_is_written_in_the_call() -> None:
    # A name of a view of ours heads its definition; a label of a table is written where the table is drawn.
    ours = CHOSEN_LABELS | {
        ("dashboard/figure.py", "title"),  # of a screen: a literal where it is drawn
        ("dashboard/figure.py", "without_markup(label)"),
        ("dashboard/owed.py", "label"),  # of without_markup, in the line before
        ("dashboard/screens/bring_in.py", "label"),  # of without_markup, in the line before
        ("dashboard/screens/methods.py", "str(view).replace('_', ' ')"),
    }
    assert set(calls_with_a_text_of_others()) - ours == set()


@pytest.fixture(scope="module")
def marked(tmp_path_factory: pytest.TempPathFactory) -> Store:
    folder = tmp_path_factory.mktemp("marked")
    return two_programmes(folder, write_marked(folder))


PLAIN = {"html", "vega_lite_chart", "selectbox", "iframe", "code"}


@pytest.mark.parametrize(
    ("viewer", "screen"), PLACES, ids=[f"{who.role}-{at.__name__.split('.')[-1]}" for who, at in PLACES]
)
def test_markup_in_a_text_of_others_is_shown_and_does_nothing(
    viewer: Any, screen: Any, marked: Store
) -> None:
    app = opened_as(screen, viewer, marked)
    assert not app.exception
    for each in app.main:
        if each.type not in PLAIN:
            assert ELSEWHERE not in str(each.proto), each.type
        if each.type == "selectbox":
            assert ELSEWHERE not in each.label
    written = [str(each.value) for each in app.get("html")]
    assert [tag for text in written for tag in re.findall(r"<(?:img|a)\b", text)] == []
    assert not any('"href"' in str(each.proto.spec) for each in app.get("vega_lite_chart"))


@pytest.mark.parametrize("screen", [trainee, cases, methods])
def test_the_markup_that_is_looked_for_is_on_the_screen_as_it_was_written(screen: Any, marked: Store) -> None:
    viewer = next(who for who, at in PLACES if at is screen)
    shown = " ".join(str(each.value) for each in opened_as(screen, viewer, marked).get("html"))
    assert html.escape(MARKUP) in shown or html.escape(MARKUP, quote=False) in shown


@pytest.mark.parametrize("screen", [reviews, trainee])
def test_a_comment_is_shown_as_it_was_written(screen: Any, marked: Store) -> None:
    viewer = next(who for who, at in PLACES if at is screen)
    shown = " ".join(str(each.value) for each in opened_as(screen, viewer, marked).get("html"))
    assert html.escape(IN_A_COMMENT, quote=False) in shown


def test_the_rule_above_would_see_a_text_of_others() -> None:
    call = ast.parse('st.markdown(f"{row.title}")').body[0]
    assert isinstance(call, ast.Expr) and isinstance(call.value, ast.Call)
    assert not literal(call.value.args[0], set())
