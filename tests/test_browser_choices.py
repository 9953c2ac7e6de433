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
    # Of choices in one row Tab reaches one, and the arrows the others.
    in_reach = "e.closest('[role=radiogroup]')?.querySelector('[data-reached]')"
    left = missed.evaluate_all(
        f"all => all.filter(e => e.checkVisibility() && !{in_reach}).map(e => e.outerHTML)"
    )
    assert [words.strip()[:80] for words in left] == []


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
        window.page.wait_for_timeout(500)  # until the screen begins to be made anew
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
    window.mark(f"T22: {rate['events']} in").first.click()
    expect(window.page.get_by_role("heading", level=1, name=CASES)).to_be_visible()
    window.settle()
    assert f"{rate['events']} of {rate['known_outcomes']} case" in window.text()
    assert "Source:" in window.text()


def _on_the_cases_of_t22(window: Window) -> None:
    expect(window.page.get_by_role("heading", level=1, name=CASES)).to_be_visible()
    window.settle()
    (volume,) = rows_of(demo_store(), "case_volume", **CATARACT)
    said = window.text()
    assert f"{volume['counted_cases']} of {volume['minimum']}" in said
    assert f"Edition {volume['edition']}" in said and "Source:" in said
    # Those that wait for confirmation stand in a table before the others.
    tables = [len(window.rows("Counted:", place)) for place in (1, 2)]
    assert sum(tables) == int(volume["counted_cases"]), tables


def test_a_reason_opens_what_it_is_about_by_one_click(window: Window) -> None:
    reasons = rows_of(demo_store(), "discussion_reason")
    volume = next(row for row in reasons if row["reason"] == "pace_behind" and row["trainee_ref"] == "T22")
    title = next(
        row["requirement_title"]
        for row in rows_of(demo_store(), "case_volume", trainee_ref="T22")
        if row["requirement_ref"] == volume["subject"]
    )
    window.open("Cohort")
    window.main.get_by_role("radio", name=f"T22: {title}").click()
    _heading(window, CASES)
    assert f"{title}: 0 of 5" in window.text()
    # What stands on the trainee's own page comes first on it; and back on the cohort nothing opens by itself.
    window.open("Cohort")
    _tab_to(window, "radio", "T21")
    log = window.main.get_by_role("radio", name="T27: log")
    for _ in range(40):
        if log.evaluate("e => e === document.activeElement"):
            break
        window.page.keyboard.press("ArrowRight")
    window.page.keyboard.press("Enter")
    _heading(window, "Trainee")
    heads = window.main.get_by_role("heading", level=2).all_inner_texts()
    assert heads[:2] == ["To discuss", "What is waiting in the log?"]
    window.open("Cohort")
    _heading(window, "Cohort")


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


def test_only_what_is_behind_leaves_away_what_everybody_has_reached(window: Window) -> None:
    window.open("Cohort")
    window.choose("Class", "2026-27")
    window.main.get_by_text("Only what is behind").click()
    window.settle()
    rows = rows_of(demo_store(), "case_volume", cohort="2026-27")
    open_still = {row["requirement_title"] for row in rows if row["reached"] == "false"}
    named = {each.split(", ", 1)[1].rsplit(": ", 1)[0] for each in _grid(window)}
    titles = {re.sub(r"^(– )+", "", each) for each in named}
    assert titles
    assert titles <= open_still


def _grid(window: Window) -> list[str]:
    """What is said of each cell of the grid of counts; the grid of steps is said in the same form."""
    titles = {row["requirement_title"] for row in rows_of(demo_store(), "case_volume")}
    spoken = window.mark("T").evaluate_all("all => all.map(e => e.getAttribute('aria-label'))")
    cells = [re.match(r"T\d\d, (?:– )*(.*?): ", each) for each in spoken]
    return [cell.string for cell in cells if cell and cell[1] in titles]


# ---- choices one after the other


def _heading(window: Window, name: str) -> None:
    expect(window.page.get_by_role("heading", level=1, name=name, exact=True)).to_be_visible()
    window.settle()


def _box(window: Window, label: str) -> str:
    """What a box shows as chosen."""
    box = window.page.get_by_role("combobox", name=re.compile(label)).first
    return str(box.evaluate("box => box.value || box.closest('[data-baseweb=select]').innerText"))


def test_the_last_of_several_choices_of_a_trainee_is_the_one_that_opens(window: Window) -> None:
    window.open("Cohort")
    for ref in ("T24", "T25", "T23"):
        window.choose("Trainee", ref)
        assert ref in _box(window, "Trainee")
    window.main.get_by_role("button", name="Open the trainee").click()
    _heading(window, "Trainee")
    assert "T23, class of" in window.text()
    for ref in ("T24", "T25", "T26"):
        window.choose("Trainee", ref)
        assert f"{ref}, class of" in window.text()
    window.open(CASES)
    assert "T26" in _box(window, "Trainee")


def test_the_last_of_several_choices_of_a_figure_is_the_one_that_opens(window: Window) -> None:
    window.open("Cohort")
    for title in ("Keratoplasty", "Strabismus", "Globe trauma"):
        window.choose("Figure", f"Counted cases: {title}")
        assert title in _box(window, "Figure")
    window.main.get_by_role("button", name="Open the cases behind the figure").click()
    _heading(window, CASES)
    for title in ("Globe trauma", "Keratoplasty", "Strabismus", "Cataract"):
        if title != "Globe trauma":
            window.choose("Figure", f"Counted cases: {title}")
        heading = window.main.get_by_role("heading", level=2).first
        expect(heading).to_contain_text(f"{title}: ")


def test_what_is_opened_on_one_screen_is_chosen_on_the_next_and_back(window: Window) -> None:
    window.open("Trainee")
    window.choose("Trainee", "T25")
    window.open("Cohort")
    assert "T25" in _box(window, "Trainee")
    window.mark("T22, Cataract").first.click()
    _on_the_cases_of_t22(window)
    window.open("Trainee")
    assert "T22, class of" in window.text()
    window.choose("Trainee", "T28")
    window.open(CASES)
    assert "T28" in _box(window, "Trainee") and "Cataract" in _box(window, "Figure")


def test_a_chosen_trainee_who_is_not_of_the_chosen_class_gives_way_to_its_first(window: Window) -> None:
    window.open("Cohort")
    window.choose("Class", "2026-27")
    window.choose("Trainee", "T24")
    window.choose("Class", "2027-28")
    assert "T25" in _box(window, "Trainee")
    window.choose("Trainee", "T26")
    window.choose("Trainee", "T28")
    window.main.get_by_role("button", name="Open the trainee").click()
    _heading(window, "Trainee")
    assert "T28, class of" in window.text()


# ---- the same people and the same colours, whatever is chosen

CUT = "all => all.map(e => e.textContent).filter(words => words.includes('…'))"
BOX = "xpath=//*[self::h2][contains(., '{}')]/following::*[@data-testid='stVegaLiteChart'][1]"


def _texts(window: Window, heading: str) -> list[str]:
    """Every text of the first chart after the heading."""
    chart = window.page.locator(BOX.format(heading))
    texts: list[str] = chart.locator("svg text").evaluate_all("all => all.map(e => e.textContent)")
    return texts


def test_no_word_of_a_chart_is_cut_when_another_class_is_chosen(window: Window) -> None:
    window.open("Cohort")
    for chosen in ("2026-27", "2028-29", "2025-26", "All classes", "Current classes"):
        window.choose("Class", chosen)
        texts = window.page.locator("[data-testid=stVegaLiteChart] svg text")
        assert texts.count() > 20
        assert texts.evaluate_all(CUT) == [], chosen
        assert window.cut_off() == [], chosen


def test_who_has_no_case_of_the_group_keeps_their_row_and_the_ladder_its_words(window: Window) -> None:
    window.open("Cohort")
    window.choose("Class", "Current classes")
    window.choose("Procedures", "Glaucoma")
    expect(window.page.get_by_text("no case in an operating role").first).to_be_attached()
    said = " ".join(_texts(window, "How close did the supervisor stand?"))
    current = [f"T{number}" for number in range(21, 33)]
    assert [ref for ref in current if ref not in said] == []
    of_group = rows_of(demo_store(), "supervision_band", procedure_group="glaucoma")
    without = set(current) - {row["trainee_ref"] for row in of_group}
    assert without and said.count("no case in an operating role") == len(without)
    for band in ("jointly", "with guidance", "supervisor present", "supervisor available"):
        assert band in said
    window.choose("Procedures", "Cataract")


def test_each_line_says_its_quarter_and_each_chart_whose_data_end_early(window: Window) -> None:
    window.open("Cohort")
    window.choose("Class", "Current classes")
    rows = rows_of(demo_store(), "supervision_band", trainee_ref="T21", procedure_group="cataract")
    last = max(int(row["training_quarter"]) for row in rows)
    known = {row["known_cases"] for row in rows if int(row["training_quarter"]) == last}
    # T21 began in July 2023, the data run through November 2026: 41 months, 6 of them leave: month 35, in quarter 12.
    assert last == 12
    supervised = " ".join(_texts(window, "How close did the supervisor stand?"))
    assert f"{known.pop()} cases, quarter 12 so far" in supervised
    # None of T27's operations of this group was scored: they have no line in the chart of the steps.
    assert re.search(r"Not scored:[^.]*T27", window.text())
    for heading in ("Who has reached", "How often did it", "How close did"):
        assert "T27: log ends July 2026, 3 months not entered." in " ".join(_texts(window, heading)), heading


def test_who_has_no_upright_line_is_named_with_the_reason(window: Window) -> None:
    window.open("Cohort")
    window.choose("Class", "All classes")
    rates = rows_of(
        demo_store(), "expected_rate", complication_ref="capsule_rupture", attribution="as_started"
    )
    reasons: dict[str, list[str]] = {}
    for row in rates:
        if not row["expected"]:
            reasons.setdefault(row["why_none"], []).append(row["trainee_ref"])
    assert len(reasons) == 2
    for why, people in reasons.items():
        assert f"No upright line for {', '.join(people)}: {why}." in window.text()
    window.choose("Class", "Current classes")


def test_the_tables_behind_the_charts_have_heads_in_words_and_shares_in_percent(window: Window) -> None:
    window.open("Cohort")
    window.choose("Class", "2026-27")
    window.unfold()
    heads = window.main.locator("table.plain thead tr").all_inner_texts()
    said = " ".join(heads)
    assert "quarter of training" in said and "of cases with a level" in said
    for word in ("order", "latest", "group", "ref", "score mean", "low", "high"):
        assert not re.search(rf"\b{word}\b", said), word
    (row,) = [
        row
        for row in rows_of(demo_store(), "supervision_band", trainee_ref="T21", procedure_group="cataract")
        if row["training_quarter"] == "12" and row["band"] == "supervisor present"
    ]
    share = f"{100 * int(row['cases']) / int(row['known_cases']):.0f} %"
    cells = ["T21", "12", "supervisor present", row["cases"], row["known_cases"], share]
    shown = [[cell.replace("\u00a0", " ") for cell in each] for each in window.rows("How close did")]
    assert cells in shown
    scores = {tuple(each) for each in window.rows("Which steps were")}
    (step,) = [
        row
        for row in rows_of(demo_store(), "technique_step", trainee_ref="T21", procedure_group="cataract")
        if row["training_quarter"] == "12" and row["step"] == "draping"
    ]
    mean, low, high = (float(step[name]) for name in ("score_mean", "score_low", "score_high"))
    told = f"{step['scored']} scored: mean {mean:.1f} of 5 (95 % interval {low:.1f}–{high:.1f})"
    assert ("T21", "12", "opening", "Draping", told) in scores
    window.choose("Class", "Current classes")
