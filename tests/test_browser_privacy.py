"""As a trainee, nobody else is in any byte that the browser receives: websocket frames, pages, downloads."""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterable
from pathlib import Path
from urllib.parse import urlsplit

import pytest
import streamlit

from tests.browser import CASES, EXPORTS, SCREENS, Window, address, browser, demo_store, windows
from tests.stores import rows_of

__all__ = ["address", "browser", "windows"]

# The library's own files, the same for everybody.
ITS_OWN = Path(streamlit.__file__).parent / "static"
REFS = ("trainee_ref", "case_ref", "supervisor_ref", "reviewer_ref", "review_ref", "site_ref")


def _cells(pattern: str) -> list[dict[str, str]]:
    rows: list[dict[str, str]] = []
    for path in sorted(EXPORTS.glob(pattern)):
        with path.open(encoding="utf-8", newline="") as file:
            rows += csv.DictReader(file)
    return rows


def _refs(rows: Iterable[dict[str, str]], columns: Iterable[str] = REFS) -> set[str]:
    return {row[column] for row in rows for column in columns if row.get(column)}


EVERYTHING = _cells("*.csv")


def _of_others(trainee: str) -> set[str]:
    """Every reference in the exports that stands in no row of this trainee."""
    return _refs(EVERYTHING) - _refs(row for row in EVERYTHING if row.get("trainee_ref") == trainee)


def _found(refs: Iterable[str], received: Iterable[bytes]) -> list[str]:
    whole = b"\n".join(received)
    return sorted(ref for ref in refs if ref.encode() in whole or ref.encode("utf-16-le") in whole)


def _walk(window: Window) -> None:
    """Every screen; other choices of every select box, by keyboard; every closed part; the opened cases."""
    for screen in SCREENS[window.person]:
        window.open(screen)
        boxes = window.main.get_by_role("combobox")
        for at in range(boxes.count()):
            for further in (1, 3):
                boxes.nth(at).focus()
                for key in [*["ArrowDown"] * further, "Enter"]:
                    window.page.keyboard.press(key)
                window.settle()
        window.unfold()
        for name in ("Open the cases behind this count", "Open the cases behind this rate"):
            button = window.main.get_by_role("button", name=name)
            if button.is_visible():
                button.click()
                window.settle()
                window.open(screen)


def _pages(window: Window) -> dict[str, bytes]:
    """What came over HTTP, but for the library's own files, which are compared byte by byte."""
    answers = {}
    for url, body in window.bodies().items():
        own = ITS_OWN / urlsplit(url).path.lstrip("/")
        if not (own.is_file() and own.read_bytes() == body):
            answers[url] = body
    return answers


@pytest.mark.parametrize("trainee", ["T22", "T29"])
def test_no_reference_of_anybody_else_reaches_a_trainees_browser(
    windows: Callable[[str], Window], trainee: str
) -> None:
    window = windows(f"trainee-{trainee}")
    _walk(window)
    window.open(CASES)
    window.choose("Figure", "Counted cases: Laser: capsulotomy")
    received = [*window.frames, *_pages(window).values()]
    others = _of_others(trainee)
    own = {row["case_ref"] for row in rows_of(demo_store(), "case_credit", trainee_ref=trainee)}
    assert len(others) > 5000
    assert {"T23", "T01"} <= others and not others & own
    # Enough was read to find somebody: the trainee, and a case of theirs.
    assert _found([trainee], received) == [trainee]
    assert _found(own, received)
    assert _found(others, received) == []


def test_the_same_reading_finds_everybody_in_the_directors_browser(windows: Callable[[str], Window]) -> None:
    window = windows("director")
    window.open("Cohort")
    window.open(CASES)
    received = [*window.frames, *_pages(window).values()]
    current = {row["trainee_ref"] for row in rows_of(demo_store(), "case_volume", cohort="2026-27")}
    assert set(_found(current, received)) == current
    assert _found(_refs(_cells("T21-cases.csv"), ["case_ref"]), received)


def test_a_trainee_is_not_led_to_another_trainees_page_by_an_address(
    windows: Callable[[str], Window],
) -> None:
    window = windows("trainee-T22")
    for path in ("/?trainee=T23", "/?trainee_ref=T23&opened_trainee=T23", "/#T23"):
        window.page.goto(window.page.url.split("/", 3)[0] + "//" + urlsplit(window.page.url).netloc + path)
        window.settle()
        assert "T23" not in window.text()
        assert "T22" in window.text()
