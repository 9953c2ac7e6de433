"""What came in shows at the next rerun; an upload is tried, then taken as the command takes it, and can be undone."""

from __future__ import annotations

import csv
import re
import shutil
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import NamedTuple

import pytest
import yaml
from playwright.sync_api import Browser, expect

from pipelines.files.reading import ExportFile
from pipelines.mapping.answered import questions_about
from pipelines.store.store import Store, writing
from tests.browser import EXPORTS, Window, browser, demo_copy
from tests.pictures import served
from tests.resident_workbook import ANSWERS, PEOPLE, resident_workbook
from tests.stores import new_store, rows_of, run_well, set_programme, write_csv

__all__ = ["browser"]

CATARACT = {"trainee_ref": "T22", "requirement_ref": "cataract"}

# ---- what came in shows


class Desk(NamedTuple):
    """A store to write into, a twin store for the command, and the Intake screen of the first."""

    store: Path
    twin: Path
    window: Window


@pytest.fixture(scope="module")
def stores(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, Path, str]]:
    """Two copies of the demo's store, and the address of the first; each test takes a trainee of its own."""
    folder = tmp_path_factory.mktemp("desk")
    store, twin = demo_copy(folder), demo_copy(folder, "twin")
    with served(store) as at:
        yield store, twin, at


@pytest.fixture
def desk(browser: Browser, stores: tuple[Path, Path, str]) -> Iterator[Desk]:
    store, twin, at = stores
    window = Window(browser, at, "director")
    window.open("Intake")
    yield Desk(store, twin, window)
    assert window.faults() == []
    window.close()


def _export(
    folder: Path, trainee: str, change: Callable[[list[dict[str, str]]], list[dict[str, str]]]
) -> Path:
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
    case = next(
        row
        for row in reversed(rows)
        if row["procedure"] == "phaco_iol"
        and row["role"] == "surgeon"
        and row["takeover"] != "yes"
        and row["supervisor_agreed"] == "yes"
    )
    return [*rows, case | {"case_ref": f"N3W1{case['trainee_ref']}"}]


def test_a_new_intake_shows_at_the_next_rerun(desk: Desk, tmp_path: Path) -> None:
    before = int(rows_of(desk.store, "case_volume", **CATARACT)[0]["counted_cases"])
    desk.window.open("Cohort")
    expect(desk.window.mark(f"T22, Cataract: {before}")).to_have_count(1)
    file = _export(tmp_path, "T22", _one_more)
    for store in (desk.store, desk.twin):
        run_well("intake", file, "--store", store)
    desk.window.main.get_by_text("Only what is behind").click()
    desk.window.settle()
    expect(desk.window.mark(f"T22, Cataract: {before + 1}")).to_have_count(1)
    # Only one part was asked for, but no screen shows two snapshots.
    live = f"snapshot {Store(desk.store).current().snapshot}."
    expect(desk.window.main.get_by_text(live)).to_be_visible()
    assert desk.window.text().count("snapshot ") == 1


VIEWS = ("case_volume", "case_credit", "complication_rate", "finding")


def _same_stores(desk: Desk) -> bool:
    return all(rows_of(desk.store, view) == rows_of(desk.twin, view) for view in VIEWS)


def _choose(window: Window, file: Path) -> None:
    """Choose a file and wait until it was tried."""
    window.page.locator("input[type=file]").set_input_files(file)
    expect(window.main.get_by_role("status").first).to_be_visible()
    window.settle()


def _press(window: Window, label: str, then: str) -> None:
    """Press a button with the keyboard alone, and wait for what is said then."""
    button = window.page.get_by_role("button", name=label, exact=True)
    expect(button).to_be_enabled()
    button.focus()
    window.page.keyboard.press("Enter")
    expect(window.main.get_by_text(then)).to_be_visible()
    window.settle()


def _row_of(window: Window, first: str) -> list[str]:
    """The cells of the first row of a table that begins with this text."""
    row = window.main.locator("tr").filter(has=window.page.locator("td:first-child", has_text=first)).first
    return row.locator("td").all_inner_texts()


def test_an_upload_is_tried_its_words_are_given_a_meaning_and_it_is_taken_as_by_the_command(
    desk: Desk, tmp_path: Path
) -> None:
    window, started = desk.window, Store(desk.store).current().snapshot
    cataract = int(
        rows_of(desk.store, "case_volume", trainee_ref="T24", requirement_ref="cataract")[0]["counted_cases"]
    )

    # Tried: what would change is said, and nothing is stored.
    file = _export(
        tmp_path, "T24", lambda rows: [*_one_more(rows), rows[-1] | {"case_ref": "N3W2", "role": "surgeons"}]
    )
    rows = len(file.read_text(encoding="utf-8").splitlines()) - 1
    _choose(window, file)
    assert f"Nothing is stored yet. Would be stored: {rows - 1} of {rows} rows. 1 has a word" in window.text()
    assert _row_of(window, file.name)[:5] == [file.name, "cases", str(rows), str(rows - 1), "1"]
    of_cataract = window.main.locator("tr", has_text="Cataract").filter(has_text="T24").first.locator("td")
    assert of_cataract.all_inner_texts() == ["T24", "Cataract", str(cataract), str(cataract + 1), "86"]
    assert 'role "surgeons"' in window.text()
    assert Store(desk.store).current().snapshot == started
    assert window.violations() == []

    # The word is given a meaning by keyboard, another than the one proposed, and the file is tried again.
    box = window.page.get_by_role("combobox", name=re.compile("role surgeons"))
    box.focus()
    window.page.keyboard.press("ArrowDown")
    expect(window.page.get_by_role("option", name="surgeon (proposed)")).to_be_visible()
    window.page.keyboard.type("assistant")
    window.page.keyboard.press("Enter")
    _press(window, "Save these meanings", f"Would be stored: {rows} of {rows} rows.")
    mapping = desk.store / "sources" / "main.yaml"
    said = yaml.safe_load(mapping.read_text(encoding="utf-8"))
    assert said["words"]["role"] == {"surgeons": "assistant"}
    assert [each["by"] for each in said["saved"]] == ["director"]
    (desk.twin / "sources").mkdir(exist_ok=True)
    shutil.copy(mapping, desk.twin / "sources")

    # Taken, by keyboard, as the command takes it.
    run_well("intake", file, "--store", desk.twin)
    with writing(Store(desk.store)):
        _press(window, "Take these exports", "Nothing was stored. The store is being written")
    assert Store(desk.store).current().snapshot == started
    window.open("Cohort")
    window.open("Intake")
    _choose(window, file)
    _press(window, "Take these exports", f"Stored: {rows} of {rows} rows.")
    assert _same_stores(desk)


def test_an_upload_that_is_held_can_be_added_instead_and_what_was_taken_undone(
    desk: Desk, tmp_path: Path
) -> None:
    window, started = desk.window, Store(desk.store).current().snapshot
    # Held: why, and what may be chosen; added instead, nothing goes.
    part = _export(tmp_path, "T21", lambda every: _one_more(every[: len(every) // 2]))
    before = {view: rows_of(desk.store, view) for view in VIEWS}
    _choose(window, part)
    assert "Held: something in use would go or say less" in window.text()
    assert "T21: " in window.text() and "not in the file" in window.text()
    expect(window.page.get_by_role("button", name="Take the rest")).to_have_count(0)  # nobody else is named
    _press(window, "Accept and take", "Both are needed.")
    _press(window, "Add these rows to those in use instead", "Would be stored:")
    _press(window, "Add these rows", "Stored:")
    run_well("intake", part, "--append", "--store", desk.twin)
    assert _same_stores(desk)

    # Undone.
    window.main.get_by_text("Take the last change back").click()
    window.page.get_by_role("button", name="Undo the last change").click()
    deadline = time.monotonic() + 60
    while Store(desk.store).current().snapshot < started + 2 and time.monotonic() < deadline:
        time.sleep(0.2)
    window.settle()
    assert {view: rows_of(desk.store, view) for view in VIEWS} == before

    # A file with an identifier is refused, and the identifier is nowhere on the page.
    named = _export(
        tmp_path, "T23", lambda every: [row | {"remark": "ask a.person@example.org"} for row in every]
    )
    _choose(window, named)
    assert "Refused: " in window.text()
    assert "a.person@example.org" not in window.text()
    expect(window.page.get_by_role("button", name="Take these exports")).to_have_count(0)


def test_the_workbook_of_a_programme_is_given_its_meanings_and_taken_by_keyboard(
    browser: Browser, tmp_path: Path
) -> None:
    store = new_store(tmp_path)
    set_programme(store, demo=True)
    people = "".join(f"{person},2026-27,2024-07,2027-06\n" for person in PEOPLE)
    roster = write_csv(tmp_path / "roster.csv", f"trainee_ref,cohort,started,expected_completion\n{people}")
    run_well("intake", roster, "--store", store)
    book = tmp_path / "log.xlsx"
    cases = resident_workbook(book)
    asked = questions_about([ExportFile(book.name, book.read_bytes())], Store(store), "main")
    with served(store) as at:
        window = Window(browser, at, "director")
        window.open("Intake")
        _choose(window, book)
        for question in asked:
            answer = ANSWERS.get(question.place[-1], next(iter(question.proposals), None))
            assert answer, question.word
            label = f"{question.what} {question.word}"
            box = window.page.get_by_role("combobox", name=label, exact=True)
            box.focus()
            window.page.keyboard.type(answer)
            window.page.keyboard.press("Enter")
            window.settle()
        window.shoot("director-Intake-meanings")
        _press(window, "Save these meanings", f"Would be stored: {len(cases)} of {len(cases) + 3} rows.")
        _press(window, "Take these exports", f"Stored: {len(cases)} of {len(cases) + 3} rows.")
        assert window.faults() == []
        window.close()
    live = {(row["case_ref"], row["trainee_ref"]) for row in rows_of(store, "case_credit")}
    assert live == {(case["case_ref"], case["trainee_ref"]) for case in cases}
