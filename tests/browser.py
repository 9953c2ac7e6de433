"""Plumbing of the browser tests: the demo's store, served; and a window of one person, which keeps what it heard.

The store is made once a run of tests from seed_data by the real commands; Chromium opens the real dashboard.
"""

from __future__ import annotations

import functools
import os
import re
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, ConsoleMessage, Error, Locator, Page, Response, WebSocket, expect

from tests.pictures import browsing, open_screen, served, settle
from tests.stores import at_the_end, new_store, run_well, set_programme, shared

ROOT = Path(__file__).parents[1]
EXPORTS = ROOT / "seed_data" / "exports"
SHOTS = ROOT / ".shots"
WIDE, NARROW, HIGH = 1280, 400, 900

# Web Content Accessibility Guidelines 2.2, levels A and AA, as axe-core tags its rules.
WCAG_22_AA = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]

# A table or chart is cut off where a part around it clips what lies beyond its right edge.
CUT_OFF = """main => [...main.querySelectorAll('table, [data-testid=stVegaLiteChart] svg.marks')].filter(each => {
    const right = each.getBoundingClientRect().right;
    for (let part = each.parentElement; part && part !== main; part = part.parentElement) {
        const hides = ['hidden', 'clip'].includes(getComputedStyle(part).overflowX);
        if (hides && right > part.getBoundingClientRect().right + 2) return true;
    }
    return false;
}).map(each => each.textContent.slice(0, 60))"""

# Who has which screens, by the names in the navigation.
CASES = "Cases behind a number"
SCREENS = {
    "director": ["Cohort", "Trainee", "Cases behind a number", "Intake", "Volume summary", "Methods"],
    "committee": ["Cohort", "Trainee", "Cases behind a number", "Methods"],
    "coordinator": ["Cohort", "Trainee", "Cases behind a number", "Intake", "Volume summary", "Methods"],
    "reviewer": ["My reviews", "Methods"],
    "trainee-T22": ["My standing", "Cases behind a number", "Methods"],
    "trainee-T29": ["My standing", "Cases behind a number", "Methods"],
}


def demo_store() -> Path:
    """The demo's store: read it, never write into it."""
    return shared("demo", _make_demo_store) / "store"


def _make_demo_store(folder: Path) -> None:
    store = new_store(folder, programme="Saltmarsh Eye Residency")
    set_programme(store, programme_ref="saltmarsh-eye", as_of="2026-11-15", demo=True, basis="Made-up data.")
    shutil.copytree(EXPORTS.parent / "calibration", store / "calibration")
    run_well("intake", *sorted(EXPORTS.glob("*.csv")), "--store", store)


def demo_copy(folder: Path, name: str = "store") -> Path:
    """A copy of the demo's store to write into."""
    copy = folder / name
    shutil.copytree(demo_store(), copy)
    return copy


@functools.cache
def demo_address() -> str:
    """Where the demo's store is served until the tests end, for all files of a process: their screens only read."""
    return at_the_end.enter_context(served(demo_store()))


class Window:
    """A window of one person: what its console said, and every byte that it received."""

    def __init__(self, browser: Browser, address: str, person: str, width: int = WIDE) -> None:
        self.person = person
        self.context = browser.new_context(viewport={"width": width, "height": HIGH}, color_scheme="light")
        self.page: Page = self.context.new_page()
        self.said: list[str] = []
        self.frames: list[bytes] = []
        self._responses: list[Response] = []
        self.page.on("console", self._hear)
        self.page.on("pageerror", self._fail)
        self.page.on("websocket", self._listen)
        self.page.on("response", self._keep)
        self.page.goto(f"{address}/as/{person}")
        settle(self.page)

    def _hear(self, message: ConsoleMessage) -> None:
        self.said.append(f"{message.type}: {message.text}")

    def _fail(self, error: Error) -> None:
        self.said.append(f"page error: {error}")

    def _listen(self, socket: WebSocket) -> None:
        socket.on("framereceived", self._receive)

    def _receive(self, frame: bytes | str) -> None:
        self.frames.append(frame if isinstance(frame, bytes) else frame.encode())

    def _keep(self, response: Response) -> None:
        self._responses.append(response)

    def bodies(self) -> dict[str, bytes]:
        """The body of every response by its address; a redirection has none."""
        return {each.url: each.body() for each in self._responses if not 300 <= each.status < 400}

    @property
    def main(self) -> Locator:
        return self.page.get_by_test_id("stMain")

    def links(self) -> list[str]:
        """The screens in the navigation."""
        return self.page.locator(
            "[data-testid=stTopNavLink], [data-testid=stSidebarNavLink]"
        ).all_inner_texts()

    def open(self, screen: str) -> None:
        open_screen(self.page, screen)

    def settle(self) -> None:
        settle(self.page)

    def choose(self, label: str, option: str) -> None:
        """Choose in a select box by typing: what is typed narrows the list, Enter takes the first."""
        box = self.page.get_by_role("combobox", name=re.compile(re.escape(label))).first
        box.click()
        box.fill(option)
        box.press("Enter")
        self.settle()

    def unfold(self) -> None:
        """Open every closed part of the screen."""
        # All at once: a part that opens moves those below it, and a click waits for its target to stand still.
        closed = self.main.get_by_test_id("stExpander").locator("details:not([open]) > summary")
        closed.evaluate_all("all => all.forEach(each => each.click())")
        expect(closed).to_have_count(0)
        self.settle()

    def text(self) -> str:
        """Everything the screen shows, with single spaces."""
        return " ".join(self.main.inner_text().split())

    def rows(self, heading: str, place: int = 1) -> list[list[str]]:
        """The cells of the first table after the heading, or of the table at that place, without its head."""
        after = (
            f"xpath=//*[self::h1 or self::h2][contains(., '{heading}')]/following::table[{place}]//tbody/tr"
        )
        return [row.locator("td, th").all_inner_texts() for row in self.page.locator(after).all()]

    def mark(self, words: str) -> Locator:
        """A mark of a chart by the beginning of its description."""
        return self.page.locator(f'[data-testid=stVegaLiteChart] [aria-label^="{words}"]')

    def faults(self) -> list[str]:
        """What must never be on a screen: an exception, and anything that the console heard since the last time."""
        shown = self.page.locator("[data-testid=stException], [data-testid=stAlertContentError]")
        heard, self.said = self.said, []
        return heard + [f"shown: {each}" for each in shown.all_inner_texts()]

    def cut_off(self) -> list[str]:
        """Tables and charts that reach out of a part which hides what is outside of it."""
        found: list[str] = self.main.evaluate(CUT_OFF)
        return found

    def violations(self) -> list[str]:
        """What axe-core finds, as rule and element.

        Its rule on parts that move sideways wants something inside them to take the focus. The browsers give it to the
        part itself where nothing inside takes it; `test_the_keyboard_moves_a_wide_chart` holds that for our charts.
        """
        found = Axe().run(self.page, options={"runOnly": WCAG_22_AA, "resultTypes": ["violations"]})
        return [
            f"{each['id']}: {node['html'][:200]}"
            for each in found.response["violations"]
            for node in each["nodes"]
            if (each["id"], "stVegaLiteChart" in node["html"]) != ("scrollable-region-focusable", True)
        ]

    def shoot(self, name: str) -> None:
        """A picture of the whole screen, for eyes, where the environment asks for it: drawing it takes a second or two."""
        if not os.environ.get("COHORT_SHOTS"):
            return
        SHOTS.mkdir(exist_ok=True)
        size = self.page.viewport_size or {"width": WIDE, "height": HIGH}
        high = self.main.locator("> *").first.evaluate("element => element.scrollHeight")
        self.page.set_viewport_size({"width": size["width"], "height": min(int(high) + 120, 5000)})
        self.page.screenshot(path=SHOTS / f"{name}.png", animations="disabled")
        self.page.set_viewport_size(size)

    def close(self) -> None:
        self.context.close()


# ---- fixtures, for the modules that name them


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with browsing() as opened:
        yield opened


@pytest.fixture(scope="module")
def address() -> str:
    return demo_address()


@pytest.fixture(scope="module")
def windows(browser: Browser, address: str) -> Callable[[str], Window]:
    """One window a person, opened when first asked for."""
    return functools.cache(lambda person: Window(browser, address, person))


@pytest.fixture
def window(windows: Callable[[str], Window], request: pytest.FixtureRequest) -> Iterator[Window]:
    """The window of the person that the test names, else of the director, at a screen without choices."""
    opened = windows(getattr(request, "param", "director"))
    opened.open("Methods")
    yield opened
    assert opened.faults() == []
