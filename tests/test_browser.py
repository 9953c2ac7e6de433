"""Every screen of every person in a real browser: quiet, readable, equal to `show`, open to keyboard and mouse."""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Callable
from typing import NamedTuple

import pytest
from playwright.sync_api import Browser

from dashboard import labels, wording
from tests.browser import (
    CASES,
    EXPORTS,
    NARROW,
    SCREENS,
    WIDE,
    Window,
    address,
    browser,
    demo_store,
    window,
    windows,
)
from tests.stores import rows_of

__all__ = ["address", "browser", "window", "windows"]

# ---- every screen, as every person


@pytest.mark.parametrize("person", SCREENS)
def test_every_screen_is_quiet_and_readable_in_light_and_dark_wide_and_narrow(
    windows: Callable[[str], Window], person: str
) -> None:
    window = windows(person)
    assert window.links() == SCREENS[person]
    # The committee's and the coordinator's screens are the director's or parts of them, T29's are T22's: each is seen in
    # one theme. axe-core looks at each screen in both themes and in both widths, not at each pair of the two.
    seen_whole = person in ("director", "reviewer", "trainee-T22")
    for theme in ("light", "dark"):
        window.page.emulate_media(color_scheme=theme)
        for place, screen in enumerate(reversed(SCREENS[person])):
            if not seen_whole and (place % 2 == 0) == (theme == "dark"):
                continue
            window.open(screen)
            if theme == "dark":
                assert window.violations() == [], (screen, theme, WIDE)
            assert window.cut_off() == [], (screen, theme, WIDE)
            window.shoot(f"{person}-{screen}-{WIDE}-{theme}")
            window.page.set_viewport_size({"width": NARROW, "height": 900})
            window.settle()
            assert window.cut_off() == [], (screen, theme, NARROW)
            if theme == "light":
                assert window.violations() == [], (screen, theme, NARROW)
            window.shoot(f"{person}-{screen}-{NARROW}-{theme}")
            window.page.set_viewport_size({"width": WIDE, "height": 900})
            window.settle()
            assert window.faults() == [], (screen, theme)
    window.page.emulate_media(color_scheme="light")


def test_a_narrow_page_folds_the_navigation_and_opens_every_screen(browser: Browser, address: str) -> None:
    window = Window(browser, address, "trainee-T22", NARROW)
    for screen in SCREENS["trainee-T22"]:
        window.open(screen)
    assert window.faults() == []
    window.close()


def test_the_keyboard_moves_a_wide_chart(browser: Browser, address: str) -> None:
    window = Window(browser, address, "trainee-T22", NARROW)
    window.open("My standing")
    wide = "e => e.matches('.stVegaLiteChart') && e.scrollWidth > e.clientWidth"
    for _ in range(200):
        window.page.keyboard.press("Tab")
        if window.page.locator(":focus").evaluate_all(f"all => all.some({wide})"):
            break
    chart = window.page.locator(":focus")
    assert chart.evaluate(wide)
    window.page.keyboard.press("ArrowRight")
    # The policy of the page lets no text be evaluated in it, so it is asked again and again.
    for _ in range(50):
        if chart.evaluate("e => e.scrollLeft") > 0:
            break
        window.page.wait_for_timeout(100)
    assert chart.evaluate("e => e.scrollLeft") > 0
    window.close()


def test_a_trainee_is_printed_on_two_pages_without_controls(window: Window) -> None:
    window.open("Trainee")
    window.choose("Trainee", "T23")  # of whom most is to be discussed
    paper = window.page.pdf(prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b", paper)) == 2
    window.page.emulate_media(media="print")
    controls = window.page.locator(":is(button, input, summary, [role=combobox], [role=radio], nav, a)")
    seen = controls.evaluate_all(
        "all => all.filter(e => e.checkVisibility()).map(e => e.outerHTML.slice(0, 80))"
    )
    kept = ["What is met" not in window.text(), "Minimums: what is reached" in window.text()]
    charts = window.main.locator("[data-testid=stVegaLiteChart] svg.marks")
    drawn = charts.evaluate_all("all => all.filter(e => e.checkVisibility()).length")
    window.page.emulate_media(media="screen")
    # The line that opens the caution stands open, and does nothing on paper.
    assert [each for each in seen if not each.startswith("<summary>This supports")] == []
    assert all(kept) and drawn == 4


def test_a_chart_is_drawn_in_the_colours_of_the_page(window: Window) -> None:
    for theme in ("light", "dark"):
        window.page.emulate_media(color_scheme=theme)
        window.open("Methods")
        window.open("Cohort")
        page = window.page.get_by_test_id("stApp").evaluate("e => getComputedStyle(e).backgroundColor")
        charts = window.page.locator("[data-testid=stVegaLiteChart] svg")
        papers = charts.evaluate_all("all => all.map(e => getComputedStyle(e).backgroundColor)")
        assert set(papers) == {page}, theme
    window.page.emulate_media(color_scheme="light")


# ---- the figures are those of `show`


class Figure(NamedTuple):
    """A figure of a screen: the view and the row that holds it, and the words that the screen says of it."""

    view: str
    where: dict[str, str]
    words: str  # columns of the row in braces


T22 = {"trainee_ref": "T22"}
CATARACT = T22 | {"requirement_ref": "cataract"}
RUPTURE = T22 | {"complication_ref": "capsule_rupture", "attribution": "as_started"}
RATE = "{events} of {known_outcomes} case"
IN_A_CHART = "{events} in {known_outcomes} case"
WHOLE_RATE = "{unknown_outcomes} not known, {not_yet_due} not yet due"

ON_SCREENS: dict[tuple[str, str], list[Figure]] = {
    ("director", "Cohort"): [
        Figure("case_volume", CATARACT, "T22, Cataract: {counted_cases}"),
        Figure("complication_rate", RUPTURE, f"T22: {IN_A_CHART}"),
        Figure("complication_rate", RUPTURE, WHOLE_RATE),
        Figure("complication_rate", RUPTURE | {"trainee_ref": "T24"}, f"T24: {IN_A_CHART}"),
    ],
    ("committee", "Cohort"): [
        Figure("case_volume", CATARACT, "T22, Cataract: {counted_cases}"),
        Figure("complication_rate", RUPTURE, f"T22: {IN_A_CHART}"),
        Figure("complication_rate", RUPTURE, WHOLE_RATE),
    ],
    ("coordinator", "Cohort"): [
        Figure("case_volume", CATARACT, "T22, Cataract: {counted_cases}"),
        Figure("case_volume", CATARACT | {"trainee_ref": "T29"}, "T29, Cataract: {counted_cases}"),
        Figure(
            "case_volume",
            T22 | {"requirement_ref": "strabismus"},
            "{requirement_title}: {counted_cases}",
        ),
    ],
    ("director", "Trainee"): [
        Figure(
            "case_volume", CATARACT, "Cataract {counted_cases} {minimum} {remaining_cases} {confirmed_cases}"
        ),
        Figure("complication_rate", RUPTURE, RATE),
        Figure("complication_rate", RUPTURE, WHOLE_RATE),
    ],
    ("committee", "Trainee"): [
        Figure(
            "case_volume", CATARACT, "Cataract {counted_cases} {minimum} {remaining_cases} {confirmed_cases}"
        ),
        Figure("complication_rate", RUPTURE, RATE),
        Figure("complication_rate", RUPTURE, WHOLE_RATE),
    ],
    ("trainee-T22", "My standing"): [
        Figure(
            "case_volume", CATARACT, "Cataract {counted_cases} {minimum} {remaining_cases} {confirmed_cases}"
        ),
        Figure("complication_rate", RUPTURE, RATE),
        Figure("complication_rate", RUPTURE, WHOLE_RATE),
    ],
}


@pytest.mark.parametrize(
    ("window", "screen"), ON_SCREENS, ids=[" sees ".join(place) for place in ON_SCREENS], indirect=["window"]
)
def test_figures_of_a_screen_are_those_that_show_prints(window: Window, screen: str) -> None:
    window.open(screen)
    if screen == "Trainee":
        window.choose("Trainee", "T22")
    window.unfold()
    spoken = window.mark("T").evaluate_all("all => all.map(e => e.getAttribute('aria-label'))")
    said = " ".join([window.text(), *spoken])
    for figure in ON_SCREENS[window.person, screen]:
        (row,) = [
            row
            for row in rows_of(demo_store(), figure.view, **figure.where)
            if row.get("procedure_group") != "all"
        ]
        words = figure.words.format(**row)
        assert re.search(rf"(?<!\w){re.escape(words)}(?!\d)", said), words


def test_the_cases_of_a_count_are_the_rows_of_case_credit(window: Window) -> None:
    rows = rows_of(demo_store(), "case_credit", **CATARACT)
    credited = sorted(row["case_ref"] for row in rows if row["credited"] == "true")
    others = sorted(row["case_ref"] for row in rows if row["credited"] == "false")
    (volume,) = rows_of(demo_store(), "case_volume", **CATARACT)
    window.open(CASES)
    window.choose("Trainee", "T22")
    window.choose("Figure", "Counted cases: Cataract")
    assert f"Counted: {volume['counted_cases']} cases" in window.text()
    assert len(credited) == int(volume["counted_cases"])
    assert _refs_below(window, "Counted:") == credited
    assert _refs_below(window, "Not counted:") == others
    # The refused, and who waits for a word, stand apart from the rest, each with its count.
    reasons = Counter(row["reason"] for row in rows)
    for reason, words in (
        ("supervisor_disagreed", "Role refused by the supervisor"),
        ("takeover_to_confirm", "Waiting for confirmation of the role after a takeover"),
    ):
        said = f"{words}: {wording.cases_text(reasons[reason])}"
        assert (said in window.text()) == (reasons[reason] > 0)
    waiting = len(credited) - int(volume["confirmed_cases"])
    assert f"Waiting for confirmation: {wording.cases_text(waiting)}" in window.text()


def test_the_cases_of_a_rate_are_as_many_as_the_rate_says(window: Window) -> None:
    (rate,) = rows_of(demo_store(), "complication_rate", **RUPTURE)
    window.open(CASES)
    window.choose("Trainee", "T22")
    window.choose("Figure", "Capsule rupture: all operations they began")
    headings = window.main.get_by_role("heading", level=2).all_inner_texts()
    # The many without an event are opened on demand.
    headings += window.main.locator("[data-testid=stExpander] summary").all_inner_texts()
    counted = {
        words.split(":")[0]: int(words.split(": ")[1].split()[0])
        for words in headings
        if ": " in words and "known outcome (" not in words
    }
    assert f"{rate['events']} of {rate['known_outcomes']} case" in headings[0]
    assert sum(counted.values()) == int(rate["eligible_cases"]), counted
    assert int(rate["events"]) in counted.values(), counted


def _refs_below(window: Window, heading: str) -> list[str]:
    """The references in every table between this heading and the next."""
    refs = re.compile(r"[A-Z]\d[A-Z]\d[A-Z]\d[A-Z]\d")
    below = f"xpath=//h2[contains(., '{heading}')]/following::table[preceding::h2[1][contains(., '{heading}')]]//td"
    return sorted(cell for cell in window.page.locator(below).all_inner_texts() if refs.fullmatch(cell))


def test_the_intake_screen_says_through_when_and_how_many_rows(window: Window) -> None:
    window.open("Intake")
    said = window.rows("How current")
    logs = {row["trainee_ref"]: row for row in rows_of(demo_store(), "trainee_log")}
    shown = {ref: row for row in said for ref in logs if ref in row}
    assert "T27" in shown and "T22" in shown
    for ref, row in shown.items():
        for column in ("data_through", "accepted_rows", "left_out_rows"):
            assert logs[ref][column] in row, (ref, column)
    for rule in rows_of(demo_store(), "left_out_rule"):
        words = [labels.rule_text(rule["rule"]), labels.severity_text(rule["severity"])]
        wanted = [rule["trainee_ref"], *words, rule["findings"]]
        assert any(set(wanted) <= set(row) for row in window.rows("What was left out,")), wanted


def test_the_volume_summary_is_the_view_of_the_class(window: Window) -> None:
    window.open("Volume summary")
    window.choose("Class", "2026-27")
    rows = rows_of(demo_store(), "volume_summary", cohort="2026-27")
    said = {cells[0]: cells for cells in window.rows("Preview")}
    people = sorted({row["trainee_ref"] for row in rows})
    assert len(said) == len({row["requirement_ref"] for row in rows}) + 1
    for row in rows:
        cells = next(said[title] for title in said if title.lstrip("– ") == row["requirement_title"])
        assert cells[1] == row["minimum"]
        assert row["counted_cases"] in re.findall(r"\d+", cells[2 + people.index(row["trainee_ref"])])
    assert [said["data through"][2 + place] for place in range(len(people))] == [
        next(row["data_through"] for row in rows if row["trainee_ref"] == ref) for ref in people
    ]


@pytest.mark.parametrize("window", ["reviewer"], indirect=True)
def test_a_reviewer_sees_as_many_reviews_as_were_written(window: Window) -> None:
    with (EXPORTS / "reviews.csv").open(encoding="utf-8", newline="") as file:
        own = [
            row
            for row in csv.DictReader(file)
            if row["reviewer_ref"] == "S01" and row["self_review"] != "yes"
        ]
    cases: dict[str, set[str]] = {}
    for row in own:
        cases.setdefault(row["case_ref"], set()).add(row["review_ref"])
    case = next(ref for ref, reviews in cases.items() if len(reviews) == 1)
    first = [row["score"] for row in own if row["case_ref"] == case and row["score"]]
    window.open("My reviews")
    assert f"{len({row['review_ref'] for row in own})} reviews in all" in window.text()
    window.choose("Review", case)
    scores = [cell for row in window.rows("My reviews") for cell in row if cell.isdigit()]
    assert sorted(scores) == sorted(first)


def test_methods_lists_every_rule_that_is_not_yet_confirmed(window: Window) -> None:
    window.open("Methods")
    unverified = rows_of(demo_store(), "unverified_item")
    assert unverified
    assert len(window.rows("What still has to be confirmed")) == len(unverified)
