"""The volume summary: what stands in its files is what `show` prints, counted again by hand."""

from __future__ import annotations

import hashlib
import io
import json
import shutil
import tomllib
from pathlib import Path

import duckdb
import openpyxl
import pytest

from pipelines.build.show import cell_text
from pipelines.contract.cautions import NOT_YET_CHECKED
from pipelines.store.store import Store
from pipelines.summary.files import Options, plain_cell, short_cohort, summary_files, write_summary
from tests.drawn import example
from tests.stores import read_csv, rows_of, run, run_well, set_programme, write_csv
from tests.summed import (
    AS_OF,
    EARLIER,
    HEADER,
    LATER,
    book_of,
    counts,
    roles_of,
    summed,
    summed_store,
    table_of,
)  # fmt: skip

ROOT = Path(__file__).resolve().parent.parent


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return summed_store(tmp_path_factory.getbasetemp())


# ---- the class


SAME = {
    "Trainee": "trainee_ref", "Completed": "completed", "Left": "left", "Requirement": "requirement_title",
    "Minimum": "minimum", "Counted": "counted_cases", "Confirmed by a supervisor": "confirmed_cases",
    "Remaining": "remaining_cases", "Parts": "parts_total", "Parts not reached": "parts_short", "Held": "held_cases",
    "Edition": "edition", "Data run through": "data_through",
}  # fmt: skip


def test_every_line_of_the_csv_says_what_show_prints(store: Path, tmp_path: Path) -> None:
    found = read_csv(summed(store, tmp_path)["csv"])
    shown = rows_of(store, "volume_summary", cohort="2026-27")
    assert len(found) == len(shown) == 4 * 4  # four trainees, four counted rules in force
    assert list(found[0]) == list(shown[0])
    by_key = {(row["trainee_ref"], row["requirement_ref"]): row for row in shown}
    for row in found:
        # A text that looks like a formula has an apostrophe before it.
        plain = {name: cell.removeprefix("'") for name, cell in row.items()}
        line = by_key[plain["trainee_ref"], plain["requirement_ref"]]
        assert plain == line | {"source": line["source"].removesuffix("; number and roles from memory")}
    assert (
        sum(cell.startswith("'") for row in found for cell in row.values()) == 4 + 4
    )  # titles; rows of -T03


def test_the_sheet_of_the_lines_is_the_csv_with_words_for_heads_and_numbers_as_numbers(
    store: Path, tmp_path: Path
) -> None:
    files = summed(store, tmp_path)
    head, *rows = table_of(openpyxl.load_workbook(files["xlsx"])["Lines"], "lines")
    found = read_csv(files["csv"])
    assert len(rows) == len(found)
    for row, line in zip(rows, found, strict=True):
        said = dict(zip(head, map(cell_text, row), strict=True))
        same = {name: line[column].removeprefix("'") for name, column in SAME.items()}
        assert {name: said[name] for name in SAME} == same
        assert said["Minimum met"] == {"true": "yes", "false": "no"}[line["met"]]
        assert said["Reached"] == {"true": "yes", "false": "no"}[line["reached"]]
        assert said["Source"] == line["source"]
    for name in ("Minimum", "Counted", "Remaining", "Confirmed by a supervisor", "Held"):
        assert {type(row[head.index(name)]) for row in rows} == {int}


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1"])
def test_a_text_that_begins_a_formula_is_marked_in_the_csv(text: str) -> None:
    # The beginnings are those of OWASP's page on CSV injection, from memory.
    assert plain_cell(text) == f"'{text}"
    assert [plain_cell(each) for each in (-1, "1-1", "", None, True)] == [-1, "1-1", "", None, True]


# ---- the overview


def test_the_overview_holds_counts_and_marks_what_is_reached(store: Path, tmp_path: Path) -> None:
    sheet = book_of(store, tmp_path)["Overview"]
    # By hand: T01 has C001, C002 and C009 in lens (C003 was as assistant), C004 to C006 in lid.
    assert table_of(sheet, "overview") == [
        ["Requirement", "Minimum", "-T03", "T01", "T02", "T04"],
        ["=Lens surgery", 3, 0, 3, 1, 0],
        ["Lid surgery, total", 3, 0, 3, 0, 0],
        ["parts not reached", None, 2, 1, 2, 2],
        ["Lid cyst", 2, 0, 3, 0, 0],
        ["Lid repair", 1, 0, 0, 0, 0],
        ["Data run through", None, "no data", "2025-04", "2025-01, not current", "no data"],
    ]


def test_a_requirement_whose_parts_are_short_bears_no_mark(store: Path, tmp_path: Path) -> None:
    sheet = book_of(store, tmp_path)["Overview"]
    shown = {
        row[0].value: [cell.number_format for cell in row[2:]] for row in sheet[sheet.tables["overview"].ref]
    }
    # Beside the counted cases the confirmed ones; an asterisk where they are fewer than the minimum. Without the mark its
    # width is left empty.
    without = '0" (0)"_ _✓_*'
    assert shown["=Lens surgery"] == [without, '0" (2) ✓*"', without, without]
    assert shown["Lid surgery, total"] == [
        without,
        '0" (1)"_ _✓_*',
        without,
        without,
    ]  # T01 lacks a lid repair
    assert shown["Lid cyst"] == [without, '0" (1) ✓*"', without, without]


def test_a_class_without_a_rule_in_force_is_told_so(store: Path, tmp_path: Path) -> None:
    other = shutil.copytree(store, tmp_path / "other")
    rules = {"lens": {"cohorts": {"from": 2028}}}
    (other / "specialty.yaml").write_bytes(example(rules))
    run_well("build", "--store", other)
    book = book_of(other, tmp_path / "out")
    assert "No requirement with a minimum is in force" in book["Overview"]["A3"].value
    assert book["Lines"].tables == book["Class"].tables == {}
    assert len(read_csv(tmp_path / "out" / "volume-2027.csv")) == 0


def test_a_requirement_is_reached_with_its_parts(tmp_path: Path, store: Path) -> None:
    mended = shutil.copytree(store, tmp_path / "mended")
    cases = HEADER + EARLIER + LATER + "C011,T01,2025-04-23,lid_repair,surgeon,\n"
    run_well("intake", write_csv(tmp_path / "cases.csv", cases), "--store", mended)
    book = book_of(mended, tmp_path / "out")
    assert counts(book["T01"], "trainee_2")["Lid surgery, total"][4] == "✓, but 1 of 4 confirmed"
    assert counts(book["Overview"], "overview")["parts not reached"] == [None, 2, 0, 2, 2]


def test_each_trainee_has_a_sheet_with_the_numbers_of_the_view(store: Path, tmp_path: Path) -> None:
    book = book_of(store, tmp_path)
    assert counts(book["T01"], "trainee_2") == {
        # minimum, counted, confirmed (C001 and C009; C004), remaining, reached, held
        "=Lens surgery": [3, 3, 2, 0, "✓, but 2 of 3 confirmed", 0, "First", "checked on 2026-11-24"],
        "Lid surgery, total": [3, 3, 1, 0, "1 of 2 parts not reached", 0, "First", NOT_YET_CHECKED],
        "Lid cyst": [2, 3, 1, 0, "✓, but 1 of 3 confirmed", 0, "First", NOT_YET_CHECKED],
        "Lid repair": [1, 0, 0, 1, None, 0, "First", NOT_YET_CHECKED],
    }
    assert counts(book["-T03"], "trainee_1")["=Lens surgery"][:4] == [3, 0, 0, 3]
    assert "2025-01, not current. Later months are not entered." in book["T02"]["A2"].value
    assert "not entered" not in book["T01"]["A2"].value


# ---- the receipt


def test_the_receipt_says_from_what_the_files_were_made(store: Path, tmp_path: Path) -> None:
    files = summed(store, tmp_path)
    receipt = json.loads(files["json"].read_text("utf-8"))
    for suffix in ("xlsx", "pdf", "csv"):
        digest = hashlib.sha256(files[suffix].read_bytes()).hexdigest()
        assert receipt["files"][f"volume-2027.{suffix}"] == digest
    manifest = json.loads((store / "snapshots" / "snap-000003.json").read_text("utf-8"))
    live = {entry["intake_id"] for line in manifest["live"] for entry in line["intakes"]}
    assert set(receipt["intakes"]) == live
    assert {each.partition("-")[0] for each in live} >= {
        hashlib.sha256((HEADER + EARLIER + LATER).encode()).hexdigest()
    }
    for name in ("programme", "specialty"):
        assert receipt["hashes"][name] == hashlib.sha256((store / f"{name}.yaml").read_bytes()).hexdigest()
    assert receipt["hashes"]["sql"] == manifest["hashes"]["sql"]
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    assert (receipt["snapshot"], receipt["as_of"], receipt["version"]) == (3, AS_OF, project["version"])
    assert (receipt["cohort"], receipt["rows"], receipt["since"], receipt["through"]) == (
        "2026-27", 16, None, None,
    )  # fmt: skip
    assert [(each["trainee_ref"], each["data_through"]) for each in receipt["trainees"]] == [
        ("-T03", None), ("T01", "2025-04"), ("T02", "2025-01"), ("T04", None),
    ]  # fmt: skip


def test_the_same_snapshot_gives_the_same_bytes_whatever_the_clock_or_the_settings_say_now(
    store: Path, tmp_path: Path
) -> None:
    first = summary_files(Store(store), "harbour-eye", "2027", Options(since=2)).contents
    copy = shutil.copytree(store, tmp_path / "copy")
    set_programme(copy, title="Another name since", demo=True)
    second = summary_files(Store(copy), "harbour-eye", "2027", Options(snapshot=3, since=2)).contents
    assert list(first) == [f"volume-2027.{suffix}" for suffix in ("xlsx", "pdf", "csv", "json")]
    assert first == second
    made = openpyxl.load_workbook(io.BytesIO(first["volume-2027.xlsx"])).properties.created
    assert made.isoformat() == f"{AS_OF}T00:00:00"


# ---- which class, which snapshot, which cases


def test_a_class_is_named_in_both_forms_and_the_files_as_typed(store: Path, tmp_path: Path) -> None:
    short, long = summed(store, tmp_path), summed(store, tmp_path, cohort="2026-27")
    assert short["csv"].read_bytes() == long["csv"].read_bytes()
    assert short["xlsx"].read_bytes() == long["xlsx"].read_bytes()
    other = summed(store, tmp_path, cohort="2028")
    assert {row["trainee_ref"] for row in read_csv(other["csv"])} == {"T09"}


def test_only_cases_operated_through_a_month_are_counted_and_the_files_say_so(
    store: Path, tmp_path: Path
) -> None:
    files = summed(store, tmp_path, "--through", "2025-02")
    rows = {(row["trainee_ref"], row["requirement_title"]): row for row in read_csv(files["csv"])}
    names = ("counted_cases", "remaining_cases", "met", "confirmed_cases")
    # By hand: C001 and C002 of lens, C004 of lid; C001 and C004 are confirmed.
    assert [rows["T01", "'=Lens surgery"][name] for name in names] == ["2", "1", "false", "1"]
    assert [rows["T01", "Lid surgery, total"][name] for name in names] == ["1", "2", "false", "1"]
    assert [rows["T02", "'=Lens surgery"][name] for name in names] == ["1", "2", "false", "0"]
    assert {row["counted_through"] for row in rows.values()} == {"2025-02"}
    book = openpyxl.load_workbook(files["xlsx"])
    assert counts(book["Overview"], "overview")["=Lens surgery"] == [3, 0, 2, 1, 0]
    # Class and roles follow: of four graduates 0, 2, 1 and 0; C003 as assistant is of that month.
    assert counts(book["Class"], "class_lines")["=Lens surgery"] == [3, 4, 0, 4, 0, 0.75, 0.5, 0, 2]
    assert roles_of(book["T01"], "roles_2")["=Lens surgery"] == ["2 of 2", "0", "0 of 1", "0"]
    for name in ("Overview", "T01", "Cautions"):
        told = [row[0].value for row in book[name].iter_rows(max_col=1)]
        assert any("operated through 2025-02" in str(text) for text in told)
    assert json.loads(files["json"].read_text("utf-8"))["through"] == "2025-02"


def test_through_a_month_after_every_case_nothing_changes_but_the_column_that_says_so(
    store: Path, tmp_path: Path
) -> None:
    whole = read_csv(summed(store, tmp_path / "whole")["csv"])
    through = read_csv(summed(store, tmp_path / "through", "--through", "2025-04")["csv"])
    assert [row | {"counted_through": "2025-04"} for row in whole] == through


def test_the_change_since_a_snapshot_is_what_came_in_between(store: Path, tmp_path: Path) -> None:
    sheet = book_of(store, tmp_path, "--since", 2)["Change since"]
    # By hand: C009 came in between, and T04, who has no case.
    assert table_of(sheet, "change_since") == [
        ["Requirement", "Minimum", "-T03", "T01", "T02", "T04"],
        ["=Lens surgery", 3, 0, 1, 0, 0],
        ["Lid surgery, total", 3, 0, 0, 0, 0],
        ["Lid cyst", 2, 0, 0, 0, 0],
        ["Lid repair", 1, 0, 0, 0, 0],
    ]
    forms = [cell.number_format for cell in sheet[sheet.tables["change_since"].ref][1][2:]]
    assert forms == ["+0;-0;0"] * 3 + ['"new: "0']


def test_change_and_month_together_compare_like_with_like(store: Path, tmp_path: Path) -> None:
    # C009 is of April: of the cases through March nothing has changed.
    book = book_of(store, tmp_path, "--since", 2, "--through", "2025-03")
    assert counts(book["Change since"], "change_since")["=Lens surgery"] == [3, 0, 0, 0, 0]


def test_an_earlier_snapshot_is_summed_up_as_it_was(store: Path, tmp_path: Path) -> None:
    files = summed(store, tmp_path, "--snapshot", 2)
    counted = {(row["trainee_ref"], row["requirement_title"]): row for row in read_csv(files["csv"])}
    assert counted["T01", "'=Lens surgery"]["counted_cases"] == "2"
    assert {trainee for trainee, _ in counted} == {"'-T03", "T01", "T02"}
    receipt = json.loads(files["json"].read_text("utf-8"))
    assert receipt["snapshot"] == 2


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--cohort", "2031"], "no trainee is in the class of 2030-31. There are: 2026-27, 2027-28."),
        (["--cohort", "next"], "--cohort next: write the academic year"),
        (["--cohort", "2026-28"], "--cohort 2026-28: write the academic year"),
        (["--cohort", "2027", "--snapshot", "7"], "Snapshot 7 is not there."),
        (["--cohort", "2027", "--snapshot", "0"], "Snapshot 0 is not there."),
        (["--cohort", "2027", "--since", "0"], "Snapshot 0 is not there."),
        (["--cohort", "2027", "--since", "3"], "--since 3: give a snapshot before snapshot 3"),
        (["--cohort", "2027", "--through", "2025-13"], "--through: write YYYY-MM."),
        (["--cohort", "2027", "--through", "April"], "--through: write YYYY-MM."),
        (["--cohort", "2027", "--labels", "none.csv"], "--labels: none.csv is not there."),
        (["--cohort", "2027", "--final"], "--final: say with --by who answers for the counts."),
        (["--cohort", "2027", "--final", "--by", " "], "--final: say with --by who answers"),
        (["--cohort", "2027", "--by", "D. Harbour"], "--by says who answers for final counts."),
    ],
)
def test_what_is_not_there_is_said_and_nothing_is_written(
    store: Path, tmp_path: Path, options: list[str], words: str
) -> None:
    done = run("summary", "--store", store, "--out", tmp_path / "out", *options)
    assert (done.code, done.out) == (2, "")
    assert words in done.err
    assert not (tmp_path / "out").exists()


def test_an_out_that_is_a_file_or_lies_in_the_store_is_refused(store: Path, tmp_path: Path) -> None:
    file = write_csv(tmp_path / "out", "a file")
    for out, words in ((file, "is not a folder"), (store / "intake", "Give a folder outside it")):
        done = run("summary", "--store", store, "--cohort", "2027", "--out", out)
        assert (done.code, words in done.err) == (2, True)


def test_a_snapshot_whose_database_is_gone_or_holds_no_summary_says_so(store: Path, tmp_path: Path) -> None:
    copy = shutil.copytree(store, tmp_path / "copy")
    database = Store(copy).database(2)
    database.chmod(0o644)
    with duckdb.connect(str(database)) as connection:
        connection.execute("drop table volume_summary")
    asked = ("summary", "--store", copy, "--cohort", "2027", "--out", tmp_path / "out", "--since", 2)
    older = run(*asked)
    assert (older.code, "made by an earlier version" in older.err) == (2, True)
    database.unlink()
    pruned = run(*asked)
    assert (pruned.code, "Snapshot 2 is not there." in pruned.err) == (2, True)


# ---- names


def test_names_stand_beside_the_references_and_nowhere_else(store: Path, tmp_path: Path) -> None:
    labels = write_csv(tmp_path / "labels.csv", "Shown-Name;trainee_ref\nAda Quill;T01\nNot Here;T99\n")
    done = run_well("summary", "--store", store, "--cohort", 2027, "--out", tmp_path, "--labels", labels)
    rows = read_csv(tmp_path / "volume-2027.csv")
    assert {(row["trainee_ref"], row["shown_name"]) for row in rows if row["shown_name"]} == {
        ("T01", "Ada Quill")
    }
    book = openpyxl.load_workbook(tmp_path / "volume-2027.xlsx")
    assert table_of(book["Overview"], "overview")[0][2:] == ["-T03", "T01 Ada Quill", "T02", "T04"]
    assert book["T01"]["A1"].value == "T01 Ada Quill, class of 2026-27"
    for name, table in (("Rows of files", "accounts"), ("Logs", "logs")):
        assert {row[0] for row in table_of(book[name], table)[1:]} == {"-T03", "T01 Ada Quill", "T02", "T04"}
    said = done.out + done.err + (tmp_path / "volume-2027.json").read_text("utf-8")
    assert "Quill" not in said
    stored = [path.read_bytes() for path in store.rglob("*") if path.is_file()]
    assert not any(b"Quill" in content for content in stored)
    assert not any(
        "Not Here" in str(cell.value) for sheet in book for row in sheet.iter_rows() for cell in row
    )


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("trainee_ref\nT01\n", "has no column shown_name"),
        ("ref,name\nT01,Ada Quill\n", "has no column trainee_ref and no column shown_name"),
        ("", "has no column trainee_ref"),
        ("trainee_ref,shown_name\nT01,Ada Quill\nT01,Bo Quill\n", "row 3: this trainee_ref stands"),
    ],
)
def test_a_label_file_that_is_not_one_is_refused_without_a_word_of_it(
    store: Path, tmp_path: Path, content: str, words: str
) -> None:
    labels = write_csv(tmp_path / "labels.csv", content)
    done = run("summary", "--store", store, "--cohort", "2027", "--out", tmp_path, "--labels", labels)
    assert (done.code, words in done.err) == (2, True)
    assert "Quill" not in done.out + done.err


# ---- for a screen


def test_a_screen_gets_the_same_files_that_are_written(store: Path, tmp_path: Path) -> None:
    written, _ = write_summary(Store(store), "harbour-eye", "2027", tmp_path / "new" / "folder")
    assert {path.name: path.read_bytes() for path in written} == summary_files(
        Store(store), "harbour-eye", short_cohort("2026-27")
    ).contents
    assert sorted(path.name for path in (tmp_path / "new" / "folder").iterdir()) == sorted(
        path.name for path in written
    )
