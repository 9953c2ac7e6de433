"""What came in shows at the next rerun; an upload ends as the command `intake` ends."""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import NamedTuple

import pytest
from playwright.sync_api import Browser, expect

from pipelines.store.store import Store, writing
from tests.browser import EXPORTS, Window, browser, demo_copy
from tests.pictures import served
from tests.stores import Result, rows_of, run, run_well

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
    expect(desk.window.mark(f"T22, Cataract 86: {before}")).to_have_count(1)
    file = _export(tmp_path, "T22", _one_more)
    for store in (desk.store, desk.twin):
        run_well("intake", file, "--store", store)
    desk.window.main.get_by_text("Only what is not yet reached").click()
    desk.window.settle()
    expect(desk.window.mark(f"T22, Cataract 86: {before + 1}")).to_have_count(1)
    # Only one part was asked for, but no screen shows two snapshots.
    assert f"snapshot {Store(desk.store).current().snapshot}." in desk.window.text()


def _upload(window: Window, file: Path) -> None:
    window.page.locator("input[type=file]").set_input_files(file)
    take = window.page.get_by_role("button", name="Take these exports")
    expect(take).to_be_enabled()
    window.settle()
    take.click()
    expect(window.main.get_by_test_id("stCode").first).to_be_visible(timeout=60_000)
    window.settle()


def _one_line(text: str) -> str:
    return " ".join(text.split())


def _says_what_was_printed(window: Window, done: Result) -> str:
    """How it ended, as the screen says it; that, and each line of the screen's receipt, the command printed too."""
    window.settle()
    ended = _one_line(window.main.get_by_test_id("stAlert").first.inner_text())
    receipt = window.main.get_by_test_id("stCode").first.inner_text().splitlines()
    printed = _one_line(done.out + done.err)
    assert receipt
    assert [line for line in (ended, *receipt) if _one_line(line) not in printed] == []
    assert "--accept-withdrawals" not in window.text()
    return ended


VIEWS = ("case_volume", "case_credit", "complication_rate", "finding")


def _same_stores(desk: Desk) -> bool:
    return all(rows_of(desk.store, view) == rows_of(desk.twin, view) for view in VIEWS)


def _rows(file: Path) -> int:
    with file.open(encoding="utf-8", newline="") as lines:
        return sum(1 for _ in csv.DictReader(lines))


def test_an_upload_ends_as_the_command_ends(desk: Desk, tmp_path: Path) -> None:
    file = _export(tmp_path, "T24", _one_more)
    done = run_well("intake", file, "--store", desk.twin)
    _upload(desk.window, file)
    rows = _rows(file)
    assert _says_what_was_printed(desk.window, done) == f"Stored: {rows:,} of {rows:,} rows."
    assert rows_of(desk.store, "case_credit", case_ref="N3W1T24")
    assert _same_stores(desk)
    assert desk.window.violations() == []

    live = Store(desk.store).current().snapshot
    desk.window.page.get_by_role("button", name="Take these exports").click()
    expect(desk.window.main.get_by_text("Nothing changed: ")).to_be_visible(timeout=60_000)
    assert "Stored" not in desk.window.text()
    assert Store(desk.store).current().snapshot == live


def test_an_upload_says_how_many_rows_were_left_out(desk: Desk, tmp_path: Path) -> None:
    file = _export(
        tmp_path, "T25", lambda rows: [*rows, rows[-1] | {"case_ref": "N3W1T25", "role": "barber"}]
    )
    done = run_well("intake", file, "--store", desk.twin)
    _upload(desk.window, file)
    rows = _rows(file)
    ended = _says_what_was_printed(desk.window, done)
    assert ended == f"Stored: {rows - 1:,} of {rows:,} rows; 1 left out."
    assert _same_stores(desk)


def test_an_upload_of_which_nothing_was_accepted_stores_nothing_and_says_so(
    desk: Desk, tmp_path: Path
) -> None:
    before = Store(desk.store).current().snapshot
    file = _export(tmp_path, "T26", lambda rows: [row | {"trainee_ref": "T99"} for row in rows])
    done = run("intake", file, "--store", desk.twin)
    _upload(desk.window, file)
    assert done.code == 10
    ended = _says_what_was_printed(desk.window, done)
    assert ended == "No row of cases was accepted, so nothing of this command was stored."
    assert Store(desk.store).current().snapshot == before


def test_an_upload_with_an_identifier_is_refused_as_by_the_command(desk: Desk, tmp_path: Path) -> None:
    before = rows_of(desk.store, "case_volume")
    file = _export(
        tmp_path, "T23", lambda rows: [row | {"remark": "ask a.person@example.org"} for row in rows]
    )
    done = run("intake", file, "--store", desk.twin)
    _upload(desk.window, file)
    assert done.code == 12
    desk.window.settle()
    refusal = _one_line(desk.window.main.get_by_test_id("stCode").first.inner_text())
    assert refusal
    assert refusal in _one_line(done.err)
    assert "Refused: " in desk.window.text()
    assert "a.person@example.org" not in desk.window.text()
    assert rows_of(desk.store, "case_volume") == before


def test_an_upload_that_is_held_is_taken_on_a_persons_word(desk: Desk, tmp_path: Path) -> None:
    file = _export(tmp_path, "T21", lambda rows: rows[: len(rows) // 2])
    held = run("intake", file, "--store", desk.twin)
    _upload(desk.window, file)
    assert held.code == 14
    assert _says_what_was_printed(desk.window, held).startswith("Held: ")
    assert _same_stores(desk)
    assert desk.window.violations() == []

    word = ("--accept-withdrawals", "--by", "the director", "--reason", "the log was kept twice")
    done = run_well("intake", file, *word, "--store", desk.twin)
    desk.window.page.get_by_label("Who", exact=True).fill("the director")
    desk.window.page.get_by_label("Why", exact=True).fill("the log was kept twice")
    desk.window.page.get_by_role("button", name="Accept and take").click()
    expect(desk.window.main.get_by_text("Stored: ")).to_be_visible(timeout=60_000)
    assert _says_what_was_printed(desk.window, done).startswith("Stored: ")
    assert _same_stores(desk)


def test_an_upload_while_somebody_else_writes_says_so_and_stores_nothing(desk: Desk, tmp_path: Path) -> None:
    file = _export(tmp_path, "T27", _one_more)
    before = Store(desk.store).current().snapshot
    with writing(Store(desk.store)):
        desk.window.page.locator("input[type=file]").set_input_files(file)
        take = desk.window.page.get_by_role("button", name="Take these exports")
        expect(take).to_be_enabled()
        desk.window.settle()
        take.click()
        expect(desk.window.main.get_by_text("Nothing was stored. The store is being written")).to_be_visible(
            timeout=60_000
        )
    assert Store(desk.store).current().snapshot == before
