"""Every screen of every person in a real browser: quiet, readable, equal to `show`, open to keyboard and mouse."""

from __future__ import annotations

import csv
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import NamedTuple

import pytest
from playwright.sync_api import Browser

from dashboard.pictures import browsing, served
from tests.browser import EXPORTS, NARROW, ROOT, SCREENS, WIDE, Window, demo_copy, demo_store, expect
from tests.stores import rows_of, run, run_well

CASES = "Cases behind a number"


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with browsing() as opened:
        yield opened


@pytest.fixture(scope="module")
def address() -> Iterator[str]:
    with served(demo_store()) as served_at:
        yield served_at


@pytest.fixture
def window(browser: Browser, address: str, request: pytest.FixtureRequest) -> Iterator[Window]:
    """The window of the person that the test names, else of the director."""
    opened = Window(browser, address, getattr(request, "param", "director"))
    yield opened
    assert opened.faults() == []
    opened.close()


# ---- every screen, as every person


@pytest.mark.parametrize("person", SCREENS)
def test_every_screen_is_quiet_and_readable_in_light_and_dark_wide_and_narrow(
    browser: Browser, address: str, person: str
) -> None:
    window = Window(browser, address, person)
    assert window.links() == SCREENS[person]
    for theme in ("light", "dark"):
        window.page.emulate_media(color_scheme=theme)
        for screen in reversed(SCREENS[person]):
            window.open(screen)
            assert window.violations() == [], (screen, theme, WIDE)
            window.shoot(f"{person}-{screen}-{WIDE}-{theme}")
            window.page.set_viewport_size({"width": NARROW, "height": 900})
            window.settle()
            if theme == "light":
                assert window.violations() == [], (screen, theme, NARROW)
            window.shoot(f"{person}-{screen}-{NARROW}-{theme}")
            window.page.set_viewport_size({"width": WIDE, "height": 900})
            window.settle()
            assert window.faults() == [], (screen, theme)
    window.close()


def test_a_narrow_page_folds_the_navigation_and_opens_every_screen(browser: Browser, address: str) -> None:
    window = Window(browser, address, "trainee-T22", NARROW)
    for screen in SCREENS["trainee-T22"]:
        window.open(screen)
    assert window.faults() == []
    window.close()


def test_a_chart_is_drawn_in_the_colours_of_the_page(window: Window) -> None:
    for theme in ("light", "dark"):
        window.page.emulate_media(color_scheme=theme)
        window.open("Trainee")
        window.open("Cohort")
        page = window.page.get_by_test_id("stApp").evaluate("e => getComputedStyle(e).backgroundColor")
        charts = window.page.locator("[data-testid=stVegaLiteChart] svg")
        papers = charts.evaluate_all("all => all.map(e => getComputedStyle(e).backgroundColor)")
        assert set(papers) == {page}, theme


# ---- the figures are those of `show`


class Figure(NamedTuple):
    """A figure of a screen: the view and the row that holds it, and the words that the screen says of it."""

    view: str
    where: dict[str, str]
    words: str  # columns of the row in braces


T22 = {"trainee_ref": "T22"}
CATARACT = T22 | {"requirement_ref": "cataract"}
RUPTURE = T22 | {"complication_ref": "capsule_rupture", "attribution": "as_started"}
RATE = "{events} of {known_outcomes} known"
WHOLE_RATE = "{unknown_outcomes} not recorded, {not_yet_due} not yet due"

ON_SCREENS: dict[tuple[str, str], list[Figure]] = {
    ("director", "Cohort"): [
        Figure("case_volume", CATARACT, "T22, Cataract {minimum}: {counted_cases}"),
        Figure("complication_rate", RUPTURE, f"T22: {RATE}"),
        Figure("complication_rate", RUPTURE, WHOLE_RATE),
        Figure("complication_rate", RUPTURE | {"trainee_ref": "T24"}, f"T24: {RATE}"),
    ],
    ("committee", "Cohort"): [
        Figure("case_volume", CATARACT, "T22, Cataract {minimum}: {counted_cases}"),
        Figure("complication_rate", RUPTURE, f"T22: {RATE}"),
        Figure("complication_rate", RUPTURE, WHOLE_RATE),
    ],
    ("coordinator", "Cohort"): [
        Figure("case_volume", CATARACT, "T22, Cataract {minimum}: {counted_cases}"),
        Figure("case_volume", CATARACT | {"trainee_ref": "T29"}, "T29, Cataract {minimum}: {counted_cases}"),
        Figure("case_volume", T22 | {"requirement_ref": "strabismus"}, "{requirement_title} {minimum}: {counted_cases}"),
    ],
    ("director", "Trainee"): [
        Figure("case_volume", CATARACT, "{counted_cases} of {minimum}, {remaining_cases} still to come"),
        Figure("complication_rate", RUPTURE, RATE),
        Figure("complication_rate", RUPTURE, WHOLE_RATE),
    ],
    ("committee", "Trainee"): [
        Figure("case_volume", CATARACT, "{counted_cases} of {minimum}, {remaining_cases} still to come"),
        Figure("complication_rate", RUPTURE, RATE),
        Figure("complication_rate", RUPTURE, WHOLE_RATE),
    ],
    ("trainee-T22", "My standing"): [
        Figure("case_volume", CATARACT, "{counted_cases} of {minimum}, {remaining_cases} still to come"),
        Figure("complication_rate", RUPTURE, RATE),
        Figure("complication_rate", RUPTURE, WHOLE_RATE),
    ],
}


@pytest.mark.parametrize("place", ON_SCREENS, ids=" sees ".join)
def test_figures_of_a_screen_are_those_that_show_prints(
    browser: Browser, address: str, place: tuple[str, str]
) -> None:
    person, screen = place
    window = Window(browser, address, person)
    window.open(screen)
    if screen == "Trainee":
        window.choose("Trainee", "T22")
    window.unfold()
    spoken = window.mark("T").evaluate_all("all => all.map(e => e.getAttribute('aria-label'))")
    said = " ".join([window.text(), *spoken])
    for figure in ON_SCREENS[place]:
        (row,) = [row for row in rows_of(demo_store(), figure.view, **figure.where) if row.get("procedure_group") != "all"]
        words = figure.words.format(**row)
        assert re.search(rf"(?<!\w){re.escape(words)}(?!\d)", said), words
    window.close()


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
    assert _column_of_refs(window, "Counted:") == credited
    assert _column_of_refs(window, "Not counted:") == others


def test_the_cases_of_a_rate_are_as_many_as_the_rate_says(window: Window) -> None:
    (rate,) = rows_of(demo_store(), "complication_rate", **RUPTURE)
    window.open(CASES)
    window.choose("Trainee", "T22")
    window.choose("Figure", "Capsule rupture, as started")
    headings = window.main.get_by_role("heading", level=2).all_inner_texts()
    counted = {words.split(":")[0]: int(words.split(": ")[1].split()[0]) for words in headings if ": " in words and "known (" not in words}
    assert f"{rate['events']} of {rate['known_outcomes']} known" in headings[0]
    assert sum(counted.values()) == int(rate["eligible_cases"]), counted
    assert int(rate["events"]) in counted.values(), counted


def _column_of_refs(window: Window, heading: str) -> list[str]:
    refs = re.compile(r"[A-Z]\d[A-Z]\d[A-Z]\d[A-Z]\d")
    return sorted(ref for row in window.rows(heading) for cell in row if (ref := cell) and refs.fullmatch(cell))


def test_the_intake_screen_says_through_when_and_how_many_rows(window: Window) -> None:
    window.open("Intake")
    said = window.rows("Through when")
    logs = {row["trainee_ref"]: row for row in rows_of(demo_store(), "trainee_log")}
    shown = {ref: row for row in said for ref in logs if ref in row}
    assert "T27" in shown and "T22" in shown
    for ref, row in shown.items():
        for column in ("data_through", "accepted_rows", "left_out_rows"):
            assert logs[ref][column] in row, (ref, column)
    for rule in rows_of(demo_store(), "left_out_rule"):
        wanted = [rule["trainee_ref"], rule["rule"], rule["severity"], rule["findings"]]
        assert any(set(wanted) <= set(row) for row in window.rows("What was left out")), wanted


def test_the_volume_summary_is_the_view_of_the_class(window: Window) -> None:
    window.open("Volume summary")
    window.choose("Class", "2026-27")
    rows = rows_of(demo_store(), "volume_summary", cohort="2026-27")
    said = window.rows("Preview")
    assert len(said) == len(rows)
    for row in rows:
        wanted = [row["trainee_ref"], row["requirement_title"], row["minimum"], row["counted_cases"], row["remaining_cases"]]
        assert any(cells[:5] == wanted for cells in said), wanted


@pytest.mark.parametrize("window", ["reviewer"], indirect=True)
def test_a_reviewer_sees_as_many_reviews_as_were_written(window: Window) -> None:
    with (EXPORTS / "reviews.csv").open(encoding="utf-8", newline="") as file:
        own = [row for row in csv.DictReader(file) if row["reviewer_ref"] == "S01" and row["self_review"] != "yes"]
    refs = sorted({row["review_ref"] for row in own})
    first = [row["score"] for row in own if row["review_ref"] == refs[0] and row["score"]]
    assert f"{len(refs)} reviews in all" in window.text()
    window.choose("Review", refs[0])
    scores = [cell for row in window.rows("My reviews") for cell in row if cell.isdigit()]
    assert sorted(scores) == sorted(first)


def test_methods_lists_every_rule_that_is_not_yet_confirmed(window: Window) -> None:
    window.open("Methods")
    unverified = rows_of(demo_store(), "unverified_item")
    assert unverified
    assert len(window.rows("What still has to be confirmed")) == len(unverified)


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
        ":is(a[href], button, summary, input, textarea, [role=combobox]):not(:disabled, [type=file], [data-reached])"
    )
    assert [words.strip()[:80] for words in missed.evaluate_all("all => all.filter(e => e.checkVisibility()).map(e => e.outerHTML)")] == []


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


# ---- what came in shows


class Desk(NamedTuple):
    """A store to write into, its dashboard open at the Intake screen, and a twin store for the command."""

    store: Path
    twin: Path
    window: Window


@pytest.fixture
def desk(browser: Browser, tmp_path: Path) -> Iterator[Desk]:
    store, twin = demo_copy(tmp_path), demo_copy(tmp_path, "twin")
    with served(store) as at:
        window = Window(browser, at, "director")
        window.open("Intake")
        yield Desk(store, twin, window)
        assert window.faults() == []
        window.close()


def _export(folder: Path, trainee: str, change: Callable[[list[dict[str, str]]], list[dict[str, str]]]) -> Path:
    """The trainee's export of the demo, changed."""
    with (EXPORTS / f"{trainee}-cases.csv").open(encoding="utf-8", newline="") as file:
        rows = change(list(csv.DictReader(file)))
    path = folder / f"{trainee}-later.csv"
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    return path


def _one_more(rows: list[dict[str, str]]) -> list[dict[str, str]]:
    """The last case that may count toward cataract again, as another operation."""
    case = next(row for row in reversed(rows) if row["procedure"] == "phaco_iol" and row["role"] == "surgeon" and row["takeover"] != "yes" and row["supervisor_agreed"] == "yes")
    return [*rows, case | {"case_ref": "N3W1C4S3"}]


def test_a_new_intake_shows_at_the_next_rerun(desk: Desk, tmp_path: Path) -> None:
    before = int(rows_of(desk.store, "case_volume", **CATARACT)[0]["counted_cases"])
    desk.window.open("Cohort")
    assert desk.window.mark(f"T22, Cataract 86: {before}").count() == 1
    file = _export(tmp_path, "T22", _one_more)
    command = [sys.executable, "-m", "pipelines", "intake", str(file), "--store", str(desk.store)]
    subprocess.run(command, check=True, cwd=ROOT, capture_output=True)
    desk.window.main.get_by_text("Only what is not yet met").click()
    desk.window.settle()
    expect(desk.window.mark(f"T22, Cataract 86: {before + 1}")).to_have_count(1)


def _upload(window: Window, file: Path) -> None:
    window.page.locator("input[type=file]").set_input_files(file)
    take = window.page.get_by_role("button", name="Take these exports")
    expect(take).to_be_enabled()
    window.settle()
    take.click()
    expect(window.main.get_by_test_id("stCode").first).to_be_visible(timeout=60_000)
    window.settle()


def _said(window: Window) -> str:
    return _one_line(window.main.get_by_test_id("stCode").first.inner_text())


def _one_line(text: str) -> str:
    return " ".join(text.split())


VIEWS = ("case_volume", "case_credit", "complication_rate", "finding")


def _same_stores(desk: Desk) -> bool:
    return all(rows_of(desk.store, view) == rows_of(desk.twin, view) for view in VIEWS)


def test_an_upload_ends_as_the_command_ends(desk: Desk, tmp_path: Path) -> None:
    file = _export(tmp_path, "T22", _one_more)
    done = run_well("intake", file, "--store", desk.twin)
    _upload(desk.window, file)
    assert _said(desk.window) == _one_line(done.out + done.err)
    assert "Taken." in desk.window.text()
    assert rows_of(desk.store, "case_credit", case_ref="N3W1C4S3")
    assert _same_stores(desk)
    assert desk.window.violations() == []


def test_an_upload_with_an_identifier_is_refused_as_by_the_command(desk: Desk, tmp_path: Path) -> None:
    before = rows_of(desk.store, "case_volume")
    file = _export(tmp_path, "T22", lambda rows: [row | {"remark": "ask a.person@example.org"} for row in rows])
    done = run("intake", file, "--store", desk.twin)
    _upload(desk.window, file)
    assert done.code == 12
    assert _said(desk.window) == _one_line(done.out + done.err)
    assert "Nothing was stored" in desk.window.text()
    assert "a.person@example.org" not in desk.window.text()
    assert rows_of(desk.store, "case_volume") == before


def test_an_upload_that_is_held_is_taken_on_a_persons_word(desk: Desk, tmp_path: Path) -> None:
    file = _export(tmp_path, "T22", lambda rows: rows[: len(rows) // 2])
    held = run("intake", file, "--store", desk.twin)
    _upload(desk.window, file)
    assert held.code == 14
    assert _said(desk.window) == _one_line(held.out + held.err)
    assert not rows_of(desk.store, "case_volume") == [] and _same_stores(desk)
    assert desk.window.violations() == []

    word = ("--accept-withdrawals", "--by", "the director", "--reason", "the log was kept twice")
    done = run_well("intake", file, *word, "--store", desk.twin)
    desk.window.page.get_by_label("Who", exact=True).fill("the director")
    desk.window.page.get_by_label("Why", exact=True).fill("the log was kept twice")
    desk.window.page.get_by_role("button", name="Accept and take").click()
    expect(desk.window.main.get_by_text("Taken.")).to_be_visible(timeout=60_000)
    desk.window.settle()
    assert _said(desk.window) == _one_line(done.out + done.err)
    assert _same_stores(desk)
