"""What a person chooses: by keyboard alone, by a click on a mark, in two steps from a figure to its cases and rule."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect

from tests.browser import CASES, SCREENS, Window, address, browser, demo_store, window, windows
from tests.stores import rows_of

__all__ = ["address", "browser", "window", "windows"]

CATARACT = {"trainee_ref": "T22", "requirement_ref": "cataract"}
RUPTURE = {"trainee_ref": "T22", "complication_ref": "capsule_rupture", "attribution": "as_started"}


# ---- keyboard and mouse


@pytest.mark.parametrize("screen", SCREENS["director"])
def test_the_keyboard_alone_reaches_every_choice(window: Window, screen: str) -> None:
    window.open(screen)
    window.main.evaluate("main => main.setAttribute('tabindex', '-1') || main.focus()")
    reached = "const at = document.activeElement; at.dataset.reached = 'yes'; return at !== document.body"
    for _ in range(200):
        window.page.keyboard.press("Tab")
        if not window.page.evaluate(f"() => {{ {reached} }}"):
            break
    missed = window.main.locator(
        ":is(a[href], button, summary, input, textarea, [role=combobox])"
        ":not(:disabled, [type=file], [tabindex='-1'], [data-reached])"
    )
    assert [
        words.strip()[:80]
        for words in missed.evaluate_all("all => all.filter(e => e.checkVisibility()).map(e => e.outerHTML)")
    ] == []


def _tab_to(window: Window, role: str, name: str) -> None:
    """Press Tab until the focus is on it."""
    wanted = window.main.get_by_role(role, name=re.compile(name)).first  # type: ignore[arg-type] - a role is a word
    for _ in range(120):
        window.page.keyboard.press("Tab")
        if wanted.evaluate("element => element === document.activeElement"):
            return
    pytest.fail(f"Tab does not reach {role} {name}.")


def test_two_steps_of_the_keyboard_lead_from_the_cohort_to_the_cases_and_their_rule(window: Window) -> None:
    window.open("Cohort")
    for box, typed in (("Trainee", "T22"), ("Figure", "Counted cases: Cataract")):
        _tab_to(window, "combobox", box)
        window.page.keyboard.type(typed)
        window.page.keyboard.press("Enter")
        window.settle()
    _tab_to(window, "button", "Open the cases behind the figure")
    window.page.keyboard.press("Enter")
    _on_the_cases_of_t22(window)


def test_two_steps_of_the_mouse_lead_from_the_cohort_to_the_cases_and_their_rule(window: Window) -> None:
    window.open("Cohort")
    window.mark("T22, Cataract").first.click()
    _on_the_cases_of_t22(window)


def test_a_mark_of_an_interval_opens_the_cases_of_that_outcome(window: Window) -> None:
    (rate,) = rows_of(demo_store(), "complication_rate", **RUPTURE)
    window.open("Cohort")
    window.mark(f"T22: {rate['events']} of").first.click()
    expect(window.page.get_by_role("heading", level=1, name=CASES)).to_be_visible()
    window.settle()
    assert f"{rate['events']} of {rate['known_outcomes']} known" in window.text()
    assert "Source:" in window.text()


def _on_the_cases_of_t22(window: Window) -> None:
    expect(window.page.get_by_role("heading", level=1, name=CASES)).to_be_visible()
    window.settle()
    (volume,) = rows_of(demo_store(), "case_volume", **CATARACT)
    said = window.text()
    assert f"{volume['counted_cases']} of {volume['minimum']}" in said
    assert f"Edition {volume['edition']}" in said and "Source:" in said
    assert len(window.rows("Counted:")) == int(volume["counted_cases"])


def test_a_mark_of_the_supervision_opens_the_trainee(window: Window) -> None:
    window.open("Cohort")
    window.mark("T24: supervisor present").first.click()
    expect(window.page.get_by_role("heading", level=1, name="Trainee")).to_be_visible()
    window.settle()
    assert "T24, class of" in window.text()


def test_back_on_the_cohort_the_choice_is_asked_again(window: Window) -> None:
    window.open("Cohort")
    window.mark("T22, Cataract").first.click()
    expect(window.page.get_by_role("heading", level=1, name=CASES)).to_be_visible()
    window.open("Cohort")
    expect(window.page.get_by_role("heading", level=1, name="Cohort")).to_be_visible()


def test_only_what_is_not_yet_met_leaves_away_what_everybody_has_reached(window: Window) -> None:
    window.open("Cohort")
    window.choose("Class", "2026-27")
    window.main.get_by_text("Only what is not yet met").click()
    window.settle()
    rows = rows_of(demo_store(), "case_volume", cohort="2026-27")
    unmet = {row["requirement_title"] for row in rows if row["met"] == "false"}
    named = {each.split(", ", 1)[1].rsplit(": ", 1)[0] for each in _grid(window)}
    titles = {re.sub(r"^– | \d+$", "", each) for each in named}
    assert unmet
    assert titles == unmet


def _grid(window: Window) -> list[str]:
    spoken = window.mark("T").evaluate_all("all => all.map(e => e.getAttribute('aria-label'))")
    return [each for each in spoken if re.match(r"T\d\d, .* \d+: ", each)]
