"""The workbook of the volume summary: rules, intakes and cautions in it; nothing can run, everything can be printed."""

from __future__ import annotations

import datetime
import io
import json
import re
import shutil
from pathlib import Path

import openpyxl
import pytest

from pipelines.contract.cautions import CAUTION, CAUTIONS, NOT_YET_CHECKED, WHO_MAY_READ
from pipelines.summary.pages import Column, Cover, Page, Table
from pipelines.summary.sheets import in_print, sheet_names, workbook
from tests.stores import run_well, set_programme, write_csv
from tests.summed import AS_OF, book_of, counts, summed, summed_store, table_of


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return summed_store(tmp_path_factory.getbasetemp())


# ---- rules, intakes, cautions


def test_every_rule_in_force_stands_with_its_source_and_whether_it_was_checked(
    store: Path, tmp_path: Path
) -> None:
    rules = counts(book_of(store, tmp_path)["Rules"], "rules")
    audit = "Audit of cases in a row"
    # The rule of former classes is not among them.
    assert list(rules) == ["=Lens surgery", "Lid surgery, total", "Lid cyst", "Lid repair", audit]
    checked = {title: row[4] for title, row in rules.items()}
    assert checked == {"=Lens surgery": "checked on 2026-11-24"} | dict.fromkeys(
        list(rules)[1:], NOT_YET_CHECKED
    )
    assert {row[5] for row in rules.values()} == {"made up"}
    assert [row[0] for row in rules.values()] == [3, 3, 2, 1, None]
    assert rules[audit][1] == "Surgeon or Assistant"
    assert rules[audit][2].startswith(
        "An audit of 2 consecutive cases within 3 years as Surgeon or Assistant"
    )
    assert rules["Lid cyst"][2] == (
        "At least 2 procedures as Surgeon: Lid cyst; part of Lid surgery, total; not elsewhere."
    )


def test_each_intake_balances_and_what_was_left_out_is_told_by_rule(store: Path, tmp_path: Path) -> None:
    sheet = book_of(store, tmp_path)["Files taken in"]
    intakes = {(row[0], row[1]): row[4:8] for row in table_of(sheet, "files")[1:]}
    # The captain's row of ten; the roster has four rows, then five, and the later one holds for all.
    assert intakes == {
        ("cases.csv", "cases"): [10, 9, 1, "yes"],
        ("roster.csv", "roster"): [5, 5, 0, "yes"],
    }
    assert table_of(sheet, "findings")[1:] == [
        ["a word that the specialty does not know", "row left out", 1, 1]
    ]


def test_every_row_of_a_file_is_accounted_for_by_trainee(store: Path, tmp_path: Path) -> None:
    heads, *rows = table_of(book_of(store, tmp_path)["Rows of files"], "accounts")
    lines = {(row[0], row[1]): dict(zip(heads[2:], row[2:], strict=True)) for row in rows}
    # By hand, the second file: C001 to C006 as before, the captain's C008 left out, C009 new.
    assert lines["T01", "cases.csv"] == {
        "Rows": 8, "Accepted": 7, "Left out": 1, "Held back": 0, "In use before": 6, "As before": 6, "Changed": 0,
        "As before, new row left out": 0, "Gone": 0, "Not in the file": 0, "New": 1, "In use now": 7, "Balances": "yes",
    }  # fmt: skip
    assert {trainee for trainee, _ in lines} == {"-T03", "T01", "T02", "T04"}
    assert {line["Balances"] for line in lines.values()} == {"yes"}


def test_how_good_each_log_is_stands_as_counts(store: Path, tmp_path: Path) -> None:
    heads, *rows = table_of(book_of(store, tmp_path)["Logs"], "logs")
    sheet = book_of(store, tmp_path)["Logs"]
    shown = {row[0].value: row[1:] for row in list(sheet[sheet.tables["logs"].ref])[1:]}
    said = [
        f"{cell.value}{cell.number_format[2:-1]}" if cell.value is not None else "" for cell in shown["T01"]
    ]
    # By hand, of T01: no file says when it was logged; one of seven as assistant; C001, C004 and C009 confirmed; of the ten
    # months from July 2024 to April 2025 four have a case.
    assert dict(zip(heads[1:], said, strict=True)) == {
        "Entered within 45 days": "", "Most entered on one day": "", "In an operating role": "6 of 7",
        "Of those, confirmed": "3 of 6", "Procedure not known": "0 of 7", "Case reference used twice": "0 of 7",
        "Months without a case": "6 of 10",
    }  # fmt: skip
    assert [row[0] for row in rows] == ["-T03", "T01", "T02", "T04"]


def test_a_rule_that_asks_for_no_number_says_how_far_each_trainee_is(store: Path, tmp_path: Path) -> None:
    rows = table_of(book_of(store, tmp_path)["Other rules"], "other_rules")[1:]
    said = {row[0]: row[1:4] for row in rows}
    # The audit asks for two cases in a row of which it is recorded what happened; no file of this store records it.
    title = "Audit of cases in a row"
    assert said["T01"] == [title, "0 of 2 in a row, each with a record of what happened", "no"]
    assert list(said) == ["-T03", "T01", "T02", "T04"]


def test_the_cautions_stand_in_the_book_and_in_the_receipt(store: Path, tmp_path: Path) -> None:
    files = summed(store, tmp_path)
    book = openpyxl.load_workbook(files["xlsx"])
    told = [row[0].value for row in book["Cautions"].iter_rows(max_col=1) if row[0].value]
    receipt = json.loads(files["json"].read_text("utf-8"))
    assert len(CAUTIONS) >= 9
    assert set(CAUTIONS) <= set(told)
    assert receipt["cautions"] == list(CAUTIONS)
    assert WHO_MAY_READ in told
    assert receipt["who_may_read"] == WHO_MAY_READ
    for sheet in book:
        assert "Confidential" in sheet.oddFooter.left.text


def test_the_book_holds_counts_and_nothing_of_an_outcome_which_who_makes_it_may_not_see(
    store: Path, tmp_path: Path
) -> None:
    # Source: the project's own rule, who may see what: a coordinator sees counts and no rate.
    book = book_of(store, tmp_path)
    texts = [
        str(cell).lower()
        for sheet in book
        if sheet.title != "Cautions"  # they speak of rates, and hold none
        for row in sheet.iter_rows(values_only=True)
        for cell in row
        if cell not in (None, CAUTION)
    ]
    outcome = re.compile(r"%|\brates?\b|interval|complication|rupture|supervision level|score|expected rate")
    assert len(texts) > 100
    assert [text for text in texts if outcome.search(text)] == []


# ---- nothing can run, everything can be printed


def test_no_cell_is_a_formula_or_a_link_whatever_a_title_or_a_name_begins_with(
    store: Path, tmp_path: Path
) -> None:
    labels = write_csv(
        tmp_path / "labels.csv", 'trainee_ref,shown name\nT01,"=HYPERLINK(""http://x"")"\nT02,+B\n'
    )
    book = book_of(store, tmp_path, "--labels", labels, "--since", 2)
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row]
    assert {cell.data_type for cell in cells} == {"n", "s"}
    assert [cell for cell in cells if cell.hyperlink] == []
    assert (
        sum(cell.value == "=Lens surgery" for cell in cells) == 1 + 1 + 1 + 1 + 2 * 4 + 1 + 4
    )  # every sheet with titles
    assert "T01 =HYPERLINK(\"http://x\")" in {cell.value for cell in cells}  # fmt: skip


def test_every_sheet_is_set_up_to_be_read_and_printed(store: Path, tmp_path: Path) -> None:
    book = book_of(store, tmp_path, "--since", 2)
    assert book.sheetnames == [
        "Overview", "Change since", "Why", "Class", "-T03", "T01", "T02", "T04", "Other rules", "Rules",
        "Files taken in", "Rows of files", "Logs", "Cautions", "Lines",
    ]  # fmt: skip
    for sheet in book:
        assert sheet.page_setup.orientation == "landscape"
        assert sheet.sheet_properties.pageSetUpPr.fitToPage
        assert "Harbour Eye, class of 2026-27 · draft" in sheet.oddHeader.left.text
        assert f"snapshot 3, as of {AS_OF}" in sheet.oddHeader.right.text
        assert "Page &P of &N" in sheet.oddFooter.right.text
        assert sheet.freeze_panes
        assert sheet.print_title_rows
    for sheet in book.worksheets:
        if sheet.title == "Cautions":
            continue
        head_row = int(sheet.print_title_rows.strip("$").partition(":")[0])
        first = next(iter(sheet.tables.values()))
        assert first.ref.startswith(f"A{head_row}:")
        assert sheet.freeze_panes.endswith(str(head_row + 1))


def test_a_sheet_is_printed_on_one_page_unless_that_makes_it_small() -> None:
    # 480 points of A4 on its side, less the margins, at three quarters: a dozen rows fit, forty do not.
    short, long = (
        Page(
            name,
            [("title", "What is counted?")],
            Table(name, [Column("Requirement"), Column("Counted", True)], rows),
        )
        for name, rows in (("Short", [("Cataract", 1)] * 30), ("Long", [("Cataract", 1)] * 45))
    )
    read = openpyxl.load_workbook(
        io.BytesIO(
            workbook(
                Cover("Volume", "Eye", "draft", "now", "", datetime.datetime(2026, 11, 2)), [short, long]
            )
        )
    )
    # One page is what a workbook that says nothing means.
    assert [sheet.page_setup.fitToHeight for sheet in read] == [None, 0]


def test_texts_give_way_until_a_page_is_read_on_paper() -> None:
    words = "not checked against the document " * 9
    table = Table(
        "Rules",
        [
            Column("Requirement"),
            Column("What counts"),
            Column("Source"),
            Column("Checked"),
            Column("Where", widest=80),
        ],
        [(words,) * 5],
    )
    assert sum(table.widths()) == 200 and min(table.widths()) >= 24
    assert sum(table._replace(plain=True).widths()) > 200


def test_every_table_has_the_heads_that_stand_in_its_cells(store: Path, tmp_path: Path) -> None:
    book = book_of(store, tmp_path, "--since", 2)
    tables = [(sheet, table) for sheet in book for table in sheet.tables.values()]
    assert len({table.displayName for _, table in tables}) == len(tables) == 3 + 2 + 2 * 4 + 2 + 2 + 2 + 1
    for sheet, table in tables:
        heads = [cell.value for cell in sheet[table.ref][0]]
        assert [column.name for column in table.tableColumns] == heads
        assert len({head.casefold() for head in heads}) == len(heads)


def test_sheet_names_are_short_safe_and_not_given_twice() -> None:
    # Excel: at most 31 signs, none of []:*?/\, no apostrophe at an end, "History" kept; case is no difference.
    wanted = ["T01", "t01", "Class", "history", "A" * 40, "A" * 50, "a/b", "'x'"]
    assert sheet_names(wanted, ["Class"]) == [
        "T01", "t01 (2)", "Class (2)", "history (2)", "A" * 31, "A" * 27 + " (2)", "a_b", "_x_",
    ]  # fmt: skip


def test_a_title_with_an_ampersand_is_printed_as_it_is() -> None:
    # In the printed head & begins a code, and && is one (from memory of the format).
    assert in_print("Eye & Ear") == "Eye && Ear"
    assert len(in_print("&" * 200)) == 160


def test_the_academic_year_is_that_of_the_programme(store: Path, tmp_path: Path) -> None:
    def overview(of: Path) -> str:
        return str(
            [row[0].value for row in book_of(of, tmp_path)["Overview"].iter_rows(max_col=1, max_row=6)]
        )

    assert "Academic year: July 2026 to June 2027." in overview(store)
    copy = shutil.copytree(store, tmp_path / "copy")
    for starts, months in ((9, "September 2026 to August 2027"), (1, "January 2027 to December 2027")):
        set_programme(copy, academic_year_starts=starts)
        run_well("build", "--store", copy)
        assert f"Academic year: {months}." in overview(copy)
