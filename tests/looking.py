"""Plumbing of the screens' tests: a screen, run for a viewer as if the session in front of the app had said so."""

from __future__ import annotations

import contextlib
import html
import re
from collections.abc import Iterator
from typing import Any
from unittest.mock import patch

import pytest
from streamlit.testing.v1 import AppTest

from dashboard import access
from dashboard.access import Viewer
from pipelines.store.store import Store

# Whom the session stands for: the library's test of an app sends no headers.
SESSION: dict[str, Viewer] = {}


@contextlib.contextmanager
def session_of(viewer: Viewer | None = None) -> Iterator[None]:
    """Let a rerun, of a whole screen or of a part, find this viewer, or the one for whom a screen was opened last."""
    SESSION.update({"viewer": viewer} if viewer else {})
    with patch.object(access, "read_viewer", _viewer):
        yield
    SESSION.clear()


@pytest.fixture(autouse=True)
def session() -> Iterator[None]:
    with session_of():
        yield


def _viewer(_header: str | None) -> tuple[str, str, str | None] | None:
    looks = SESSION.get("viewer")
    return (looks.role, looks.programme_ref, looks.person_ref) if looks else None


def run(show, viewer, store) -> None:  # noqa: ANN001 - its text alone is run, where no type is known
    show(viewer, store)


def opened_as(screen: Any, viewer: Viewer, store: Store, **chosen: str) -> AppTest:
    """The screen, run once for a viewer, whether or not it is in their navigation, on what another has opened."""
    SESSION["viewer"] = viewer
    app = AppTest.from_function(run, args=(screen.show, viewer, store), default_timeout=60)
    for what, ref in chosen.items():
        app.session_state[f"opened_{what}"] = ref
    return app.run()


PARAGRAPH = re.compile(r"<(?:p|h2|li)\b[^>]*>(.*?)</(?:p|h2|li)>", re.DOTALL)
WORDS = {"title", "header", "info", "markdown", "warning", "success", "error"}


def said(app: AppTest) -> str:
    """What the screen says outside tables and charts, from its top to its end."""
    return " ".join(words for each in app.main for words in _words(each))


def _words(each: Any) -> list[str]:
    if each.type == "html":
        return [html.unescape(words) for words in PARAGRAPH.findall(str(each.value))]
    return [str(each.value)] if each.type in WORDS else []


def headings(app: AppTest) -> list[str]:
    """The heads of the sections, from the top."""
    heads = []
    for each in app.main:
        if each.type == "header":
            heads.append(str(each.value))
        elif each.type == "html":
            heads += [html.unescape(words) for words in re.findall(r"<h2>(.*?)</h2>", str(each.value))]
    return heads


def tables(app: AppTest) -> list[list[list[str]]]:
    """The cells of each table that the screen shows, its head first, as a reader sees them."""
    shown = [str(each.value) for each in app.get("html") if "<table" in str(each.value)]
    return [
        [
            [html.unescape(cell) for cell in re.findall(r"<t[dh][^>]*>(.*?)</t[dh]>", row, re.DOTALL)]
            for row in re.findall(r"<tr[^>]*>(.*?)</tr>", table, re.DOTALL)
        ]
        for table in shown
    ]
