"""How long a rerun of the Cohort screen takes on a big store and on the demo's, and how soon the demo shows.

A real browser is asked: from the click on a switch until the screen is at rest with the numbers that belong to it.
Both stores in one run and in turns, so that a slow machine slows both.
"""

from __future__ import annotations

import contextlib
import io
import statistics
import subprocess
import sys
import time
from pathlib import Path

from playwright.sync_api import Browser, Error, Page

from dashboard.access import Viewer
from dashboard.screens import cohort
from pipelines.cli.commands import main as command
from pipelines.store.store import Store
from tests.browser import ROOT, Window, demo_store
from tests.looking import opened_as, session_of
from tests.pictures import browsing, served
from tests.stores import set_programme

RERUNS = 12
# From the moment of the click until the last change of the page, known by the quiet after it; the quiet is not counted.
CLICK_AND_WAIT = """(input) => new Promise(done => {
    const page = document.querySelector('[data-testid=stMain]');
    const started = performance.now();
    let last = started, changes = 0;
    const watch = new MutationObserver(() => { last = performance.now(); changes += 1; });
    watch.observe(page, {attributes: true, childList: true, characterData: true, subtree: true});
    const look = () => {
        const busy = document.querySelector('[data-testid=stApp]:not([data-test-script-state=notRunning])');
        const drawn = page.querySelector('[data-testid=stVegaLiteChart] svg');
        if (changes && drawn && !busy && performance.now() - last > 400) { watch.disconnect(); done(last - started); }
        else setTimeout(look, 50);
    };
    look();
    input.click();
})"""


def screen_figures(store: Path) -> None:
    """Print both figures; `store` becomes a demo of the programme that the made-up roster names."""
    set_programme(store, demo=True, programme_ref="saltmarsh-eye", as_of="2026-11-15")
    _quietly("build", "--store", str(store))
    with served(store) as big, served(demo_store()) as small, browsing() as browser:
        pages = {"big": _at_the_cohort(browser, big), "demo": _at_the_cohort(browser, small)}
        rounds = [{name: _rerun(page) for name, page in pages.items()} for _ in range(RERUNS + 1)][1:]
    middle = {name: statistics.median(each[name] for each in rounds) for name in pages}
    print(
        f"rerun of the Cohort screen, click to rest in a browser, median of {RERUNS}: {middle['big']:.0f} ms on the big "
        f"store (target 150), {middle['demo']:.0f} ms on the demo's: {middle['big'] / middle['demo']:.2f} (target 1.5)"
    )
    alone = {"big": _script_alone(store), "demo": _script_alone(demo_store())}
    print(
        f"the script of the whole screen alone, without a browser: {alone['big']:.0f} ms on the big store (target 150), "
        f"{alone['demo']:.0f} ms on the demo's: {alone['big'] / alone['demo']:.2f} (target 1.5)"
    )
    print(f"first picture after `demo`, second start: {_first_picture():.1f} s (target 4)")


def _at_the_cohort(browser: Browser, address: str) -> Page:
    window = Window(browser, address, "director")
    window.open("Cohort")
    return window.page


def _rerun(page: Page) -> float:
    """Milliseconds of one rerun."""
    switch = page.get_by_test_id("stCheckbox").first.locator("input")
    return float(switch.evaluate(CLICK_AND_WAIT))


def _script_alone(store: Path) -> float:
    """Milliseconds that the script takes to run the whole screen again, median."""

    director = Viewer("director", "saltmarsh-eye")
    with session_of(director):
        app = opened_as(cohort, director, Store(store))
        seconds = []
        for number in range(RERUNS + 2):
            app.toggle[0].set_value(number % 2 == 0)
            started = time.perf_counter()
            app.run()
            seconds.append(time.perf_counter() - started)
    if app.exception:
        sys.exit(app.exception[0].message)
    return 1000 * statistics.median(seconds[2:])


def _first_picture() -> float:
    """Seconds from the second start of the command until the first chart is drawn, in the browser of the first."""
    _demo("--no-serve")
    with browsing() as browser:
        page = browser.new_page()
        return [_start(page) for _ in range(2)][1]


def _start(page: Page) -> float:
    started = time.perf_counter()
    with subprocess.Popen(
        [sys.executable, "run.py", "demo"], cwd=ROOT, stdout=subprocess.PIPE, text=True
    ) as process:
        try:
            assert process.stdout is not None
            address = next(
                word for line in process.stdout for word in line.split() if word.startswith("http://")
            )
            _go_as_soon_as_possible(page, address)
            page.locator("[data-testid=stVegaLiteChart] svg").first.wait_for()
            return time.perf_counter() - started
        finally:
            process.terminate()


def _go_as_soon_as_possible(page: Page, address: str) -> None:
    deadline = time.perf_counter() + 60
    while True:
        with contextlib.suppress(Error):  # the server is not there yet
            page.goto(address)
            return
        if time.perf_counter() > deadline:
            raise TimeoutError(address)
        time.sleep(0.02)


def _demo(*arguments: str) -> None:
    subprocess.run(
        [sys.executable, "-m", "pipelines", "demo", *arguments], check=True, cwd=ROOT, capture_output=True
    )


def _quietly(*argv: str) -> None:
    said = io.StringIO()
    with contextlib.redirect_stdout(said), contextlib.redirect_stderr(said):
        code = command(argv)
    if code:
        sys.exit(f"{argv[0]} ended with {code}:\n{said.getvalue()}")
