"""Under the content policy the app works whole in a real browser, and nothing is fetched from anywhere else."""

from __future__ import annotations

import http.server
import json
import re
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, expect

from tests.browser import CASES, SCREENS, Window, address, browser, windows
from tests.planted import ELSEWHERE, IN_A_COMMENT, MARKUP, two_programmes, write_marked
from tests.serving import serving

__all__ = ["address", "browser", "windows"]


@pytest.fixture
def elsewhere() -> Iterator[tuple[str, list[str]]]:
    """Another server on this machine, and the paths that somebody asked it for."""
    asked: list[str] = []

    class Answers(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            asked.append(self.path)
            self.send_response(200)
            self.end_headers()

        def log_message(self, *_: Any) -> None:
            return

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Answers)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}", asked
    server.shutdown()
    server.server_close()
    thread.join()


@pytest.mark.parametrize("person", ["director", "trainee-T22", "reviewer"])
def test_every_screen_works_and_nothing_breaks_the_policy(
    windows: Callable[[str], Window], address: str, person: str
) -> None:
    window = windows(person)
    for screen in SCREENS[person]:
        window.open(screen)
        window.unfold()
    assert window.faults() == []  # a breach of the policy is an error of the console
    assert {response.url.split("/")[2] for response in window._responses} == {address.split("/")[2]}


def test_charts_are_drawn_and_letters_are_the_apps_own(windows: Callable[[str], Window]) -> None:
    window = windows("director")
    window.open("Cohort")
    assert window.page.locator("[data-testid=stVegaLiteChart] svg.marks path").count() > 50
    loaded = "[...document.fonts].filter(font => font.status === 'loaded').map(font => font.family)"
    assert any("Source Sans" in family for family in window.page.evaluate(loaded))


def test_files_can_be_downloaded(windows: Callable[[str], Window]) -> None:
    window = windows("director")
    window.open("Volume summary")
    window.page.get_by_role("button", name="Make the files").click()
    link = window.page.get_by_role("button", name="Download the receipt")
    expect(link).to_be_visible()
    window.settle()  # a button that is made anew while it is pressed does nothing
    with window.page.expect_download() as downloading:
        link.click()
    assert json.loads(downloading.value.path().read_bytes())["hashes"]["sql"]


PLANTS = {
    "picture": "new Image().src = url",
    "style": "document.body.style.backgroundImage = `url(${url})`",
    "request": "fetch(url).catch(() => 0)",
    "beacon": "navigator.sendBeacon(url, 'x')",
    "websocket": "try { new WebSocket(url.replace('http', 'ws')) } catch {}",
    "script": "document.head.append(Object.assign(document.createElement('script'), {src: url}))",
    "frame": "document.body.append(Object.assign(document.createElement('iframe'), {src: url}))",
    "sheet": "document.head.append(Object.assign(document.createElement('link'), {rel: 'stylesheet', href: url}))",
    "media": "document.body.append(Object.assign(document.createElement('video'), {src: url}))",
}


@pytest.mark.parametrize("what", PLANTS)
def test_a_planted_address_is_not_fetched(
    windows: Callable[[str], Window], elsewhere: tuple[str, list[str]], what: str
) -> None:
    other, asked = elsewhere
    window = windows("director")
    window.open(CASES)
    planted = f"""url => new Promise(done => {{
        document.addEventListener('securitypolicyviolation', breach => done(breach.effectiveDirective), {{once: true}});
        setTimeout(() => done('none'), 5000);
        {PLANTS[what]};
    }})"""
    directive = window.page.evaluate(planted, f"{other}/{what}")
    assert directive != "none", json.dumps(window.faults())
    assert asked == []
    window.faults()  # the console heard of the breach


def test_the_other_server_does_answer_whom_the_policy_does_not_bind(
    windows: Callable[[str], Window], elsewhere: tuple[str, list[str]]
) -> None:
    other, asked = elsewhere
    page = windows("director").context.new_page()
    page.goto(f"{other}/page")
    page.close()
    assert asked[0] == "/page"


def test_no_text_of_others_is_fetched_or_rendered(browser: Browser, tmp_path: Path) -> None:
    store = two_programmes(tmp_path, write_marked(tmp_path))
    rendered = f"[href*='{ELSEWHERE}'], [src*='{ELSEWHERE}'], [*|href*='{ELSEWHERE}'], .katex"
    asked: list[str] = []
    shown: set[str] = set()
    with serving(store.root, "--demo") as server:
        for person in ("director", "trainee-T01", "reviewer"):
            window = Window(browser, server.address, person)
            window.page.on("request", lambda request: asked.append(request.url))
            for screen in window.links():
                window.open(screen)
                window.unfold()
                assert window.main.locator(rendered).all() == [], screen
                assert (
                    window.main.locator("b, strong").filter(has_text=re.compile("^(bold|loud)$")).all() == []
                )
                shown |= {words for words in (MARKUP, IN_A_COMMENT) if words in window.text()}
            assert [line for line in window.faults() if ELSEWHERE in line or "Policy" in line] == []
            window.close()
    assert asked and [url for url in asked if not url.startswith(server.address)] == []
    # The texts were on the screens, as they were written.
    assert shown == {MARKUP, IN_A_COMMENT}
