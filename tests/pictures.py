"""Pictures of the screens for the README, taken from the demo: python -m tests.pictures.

A command of contributors: it needs Chromium, which the tests use too. What it serves and opens here, the tests
of the screens serve and open in the same way.
"""

from __future__ import annotations

import contextlib
import io
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

from PIL import Image
from playwright.sync_api import Browser, Page, expect, sync_playwright

from tests.serving import serving

CHECKOUT = Path(__file__).parents[1]
PICTURES = CHECKOUT / "dashboard" / "pictures"
WIDE, HIGH, COLOURS = 1280, 1000, 64
expect.set_options(timeout=60_000)  # a busy machine is slow, not wrong
CHROMIUM = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking"]

# The screen is at rest when the script has ended, the connection stands, and both stay so for a while.
AT_REST = """() => new Promise(done => {
    const rest = '[data-testid=stApp][data-test-script-state=notRunning][data-test-connection-state=CONNECTED]';
    let looks = 0;
    const look = () => {
        looks = document.querySelector(rest) && !document.querySelector('[data-stale=true]') ? looks + 1 : 0;
        return looks === 5 ? done(true) : setTimeout(look, 50);
    };
    look();
})"""

# Of each picture: the screen's name in the navigation, and the words of the heading it begins with, if not the top.
SHOWN: dict[str, tuple[str, str | None]] = {
    "cohort": ("Cohort", None),
    "trainee": ("Trainee", None),
    "cases": ("Cases behind a number", None),
    "intake": ("Intake", None),
    "summary": ("Volume summary", None),
    "methods": ("Methods", None),
}


def main() -> None:
    """Make the demo, open it as its director, and take every picture anew."""
    subprocess.run(
        [sys.executable, "-m", "pipelines", "demo", "--no-serve"], check=True, cwd=CHECKOUT, stdout=sys.stderr
    )
    PICTURES.mkdir(exist_ok=True)
    with served(CHECKOUT / ".demo" / "store") as address, browsing() as browser:
        page = browser.new_page(viewport={"width": WIDE, "height": HIGH}, color_scheme="light")
        page.goto(f"{address}/as/director")
        settle(page)
        for name, (screen, heading) in SHOWN.items():
            open_screen(page, screen)
            _begin_with(page, heading)
            path = PICTURES / f"{name}.png"
            path.write_bytes(small(page.screenshot(animations="disabled")))
            print(f"{path.relative_to(CHECKOUT)}: {path.stat().st_size // 1024} kB")


@contextlib.contextmanager
def served(store: Path) -> Iterator[str]:
    """The dashboard of a demo store in a process of its own, as its address; it ends with the block."""
    with serving(store, "--demo") as server:
        yield server.address


@contextlib.contextmanager
def browsing() -> Iterator[Browser]:
    """Chromium: the machine's own where there is one, else the one that Playwright has installed."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=CHROMIUM)
        yield browser
        browser.close()


def settle(page: Page) -> None:
    """Wait until the screen is at rest."""
    page.evaluate(AT_REST)


def open_screen(page: Page, screen: str) -> None:
    """Follow the navigation to a screen; on a narrow page it is folded away."""
    page.get_by_test_id("stHeader").wait_for()
    folded = page.get_by_test_id("stExpandSidebarButton")
    if folded.is_visible():
        folded.click()
    page.get_by_role("link", name=screen, exact=True).click()
    expect(page.get_by_role("heading", level=1, name=screen, exact=True)).to_be_visible()
    fold = page.get_by_test_id("stSidebarCollapseButton").get_by_role("button")
    if page.get_by_test_id("stSidebar").is_visible() and fold.is_visible():
        fold.click()
    settle(page)


def _begin_with(page: Page, heading: str | None) -> None:
    if heading:
        page.get_by_role("heading", name=heading).evaluate("element => element.scrollIntoView()")


def small(picture: bytes) -> bytes:
    """The same picture in few colours: a quiet page loses nothing by it."""
    made = io.BytesIO()
    with Image.open(io.BytesIO(picture)) as image:
        image.convert("RGB").quantize(COLOURS).save(made, "PNG", optimize=True)
    return made.getvalue()


if __name__ == "__main__":
    main()
