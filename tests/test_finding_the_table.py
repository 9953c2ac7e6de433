"""A table as people have it: under a title, over a total, on one sheet of several, in the dialects of CSV.

What a coordinator's workbook looks like: common practice, no source.
"""

from __future__ import annotations

import csv
import io
from datetime import date
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from openpyxl.worksheet.worksheet import Worksheet

from pipelines.contract.errors import FileRefused
from pipelines.files.headers import NO_MAPPING, TableMapping, place_of_header, proposed_columns
from pipelines.files.reading import ExportFile, Part, read_parts
from pipelines.specialty.load import load_specialty
from tests.stores import run

SPECIALTY = load_specialty("ophthalmology")
COLUMNS = ["case_ref", "trainee_ref", "operated_on", "procedure", "role"]
HEADER = ",".join(COLUMNS)
ROW = ["C0001", "T07", "2026-04-03", "phaco_iol", "surgeon"]


def rows_of(part: Part, *names: str) -> list[tuple[object, ...]]:
    rows = part.take_rows()
    return [(row["__source_row"], *(row[name] for name in names)) for row in rows.to_pylist()]


def one(text: str, mapping: TableMapping | None = None, name: str = "cases.csv") -> Part:
    (part,) = read_parts([ExportFile(name, text.encode())], SPECIALTY, False, mapping)
    return part


def refusals_of(data: bytes, name: str = "cases.csv", mapping: TableMapping | None = None) -> list[str]:
    with pytest.raises(FileRefused) as refused:
        read_parts([ExportFile(name, data)], SPECIALTY, False, mapping)
    return [finding.message for finding in refused.value.findings]


# A text


def test_lines_above_the_header_are_passed_over_and_named() -> None:
    part = one(f"Case log of Anna Muster\n\n{HEADER}\n{','.join(ROW)}\n")
    assert part.skipped == ("2 lines above the header in row 3: not read.",)
    assert rows_of(part, "case_ref") == [(4, "C0001")]


def test_a_title_with_commas_above_a_header_with_semicolons_does_not_decide() -> None:
    part = one(f"Log, June, 2026, all\n{HEADER.replace(',', ';')}\n{';'.join(ROW)}\n")
    assert rows_of(part, *COLUMNS) == [(3, *ROW)]


def test_quotes_below_a_title_are_read_alike() -> None:
    quoted = ",".join(f'"{cell}"' for cell in ROW)
    part = one(f'"Log, of ""all"""\n{HEADER}\n{quoted}\n')
    assert (rows_of(part, *COLUMNS), part.skipped) == (
        [(3, *ROW)], ("1 line above the header in row 2: not read.",),
    )  # fmt: skip


def test_rows_that_are_no_records_are_passed_over_and_named_each() -> None:
    table = [
        HEADER,  # 1
        "C0001,T07,2026-04-03,phaco_iol,surgeon",
        "C0002,T07,2026-04-04,phaco_iol,surgeon",
        "Page 2,,,,",  # 4
        HEADER,
        "C0003,T07,2026-04-05,phaco_iol,surgeon",
        "Subtotal,3,,,",  # 7
        "C0004,T07,2026-04-06,phaco_iol,surgeon",
        ",,,,",
        "TOTAL,,,4,",  # 10
        "Exported for the committee,,,,",
    ]
    part = one("\n".join(table))
    assert part.skipped == (
        "Row 5: the header again: not read.",
        "Rows 7 and 10: totals: not read.",
        "Row 4: the title of a page: not read.",
        "Row 11: a note below the table: not read.",
    )
    assert part.row_count == 4
    assert [row[0] for row in rows_of(part)] == [2, 3, 6, 8]


def test_a_row_that_only_lacks_a_cell_is_a_row() -> None:
    table = [
        HEADER,
        ",T07,2026-04-03,phaco_iol,surgeon",
        "C0002,,,phaco_iol,",
        "total_1,T07,,phaco_iol,surgeon",
    ]
    part = one("\n".join(table))
    assert (part.row_count, part.skipped) == (3, ())


def test_a_row_filled_only_under_unknown_headers_is_passed_over() -> None:
    part = one(f"{HEADER},legend\n{','.join(ROW)},x\n,,,,,S = surgeon\n{','.join(ROW)},y\n")
    assert part.skipped == ("Row 3: filled only in columns that are not read: passed over.",)
    assert part.row_count == 2


def test_many_rows_passed_over_are_counted_not_listed() -> None:
    part = one("\n".join([HEADER, *[",".join(ROW), HEADER] * 9]))
    assert part.skipped == ("Rows 3, 5, 7, 9, 11 and 4 more: the header again: not read.",)


@pytest.mark.parametrize(
    "word", ["TOTAL", "Grand total", "Sub-total:", "Summe", "Somme", "Итого", "合计", "المجموع"]
)
def test_a_total_is_known_in_other_languages(word: str) -> None:
    assert one(f"{HEADER}\n{','.join(ROW)}\n{word},,,1,\n").row_count == 1


# A book as coordinators have it


def resident_sheet(tab: Worksheet, cases: list[tuple[str, date]]) -> None:
    tab.append(["Surgical log 2026-27"])
    tab.merge_cells("A1:E1")
    tab.append([])
    tab.append(["Case ID", "Date of Surgery", "Procedure", "Role performed", "Eye", "Minutes"])
    for case, day in cases:
        tab.append([case, day, "Phaco + IOL OD", "Primary", "OD", 25])
    tab.append(["TOTAL", None, len(cases), None, None, f"=SUM(F4:F{3 + len(cases)})"])


def workbook() -> bytes:
    book = openpyxl.Workbook()
    first = book.active
    assert isinstance(first, Worksheet)
    first.title = "T07"
    resident_sheet(first, [("C0001", date(2026, 4, 3)), ("C0002", date(2026, 4, 9))])
    resident_sheet(book.create_sheet("T08"), [("C0003", date(2026, 4, 5))])
    legend = book.create_sheet("Legend")
    for line in (["Code", "Meaning"], ["Primary", "did more than half"]):
        legend.append(line)
    hidden = book.create_sheet("Notes")
    hidden.append(["Anna Muster is on leave until 3 March 2026"])
    hidden.sheet_state = "hidden"
    target = io.BytesIO()
    book.save(target)
    return target.getvalue()


OWN_WORDS = TableMapping(
    headers={
        "case id": "case_ref", "date of surgery": "operated_on", "procedure": "procedure",
        "role performed": "role", "eye": "side",
    },
    ignore=frozenset({"minutes"}),
    trainee_ref_from="sheet",
)  # fmt: skip


def test_a_workbook_with_a_sheet_a_resident_is_read_as_it_is() -> None:
    first, second = read_parts([ExportFile("residents.xlsx", workbook())], SPECIALTY, False, OWN_WORDS)
    above = "2 lines above the header in row 3: not read."
    assert first.skipped == (
        "The sheet Legend is no table of any kind and was not read.",
        "The hidden sheet Notes was not read.",
        above,
        "Row 6: totals: not read.",
    )
    assert second.skipped == (above, "Row 5: totals: not read.")
    assert (first.unknown_columns, first.warnings) == ([], ())
    names = ("trainee_ref", "case_ref", "operated_on", "procedure", "side")
    assert rows_of(first, *names) == [
        (4, "T07", "C0001", "2026-04-03", "Phaco + IOL OD", "OD"),
        (5, "T07", "C0002", "2026-04-09", "Phaco + IOL OD", "OD"),
    ]
    assert rows_of(second, *names) == [(4, "T08", "C0003", "2026-04-05", "Phaco + IOL OD", "OD")]


def test_without_a_mapping_each_missing_column_is_told_with_what_looks_like_it() -> None:
    messages = refusals_of(workbook(), "residents.xlsx")
    assert messages == [
        f"residents.xlsx [{sheet}]: There is no column case_ref. Case ID looks like it. There is no column trainee_ref."
        " There is no column operated_on. Date of Surgery looks like it. There is no column role."
        " Role performed looks like it."
        for sheet in ("T07", "T08")
    ]


def test_nothing_is_said_of_dates_in_a_column_that_only_wants_a_mapping() -> None:
    (message,) = refusals_of(
        b"case_ref,trainee_ref,date_of_surgery,procedure,role\nC001,T07,3 March 2026,x,y\n"
    )
    assert message == "cases.csv: There is no column operated_on. date_of_surgery looks like it."


def test_a_header_is_never_a_person() -> None:
    part = one(f"{HEADER},Anna Muster,Old Note\n{','.join(ROW)},x,y\n")
    assert part.unknown_columns == ["anna_muster", "old_note"]


def test_a_sheet_without_rows_or_with_notes_alone_does_not_stop_the_others() -> None:
    book = openpyxl.Workbook()
    tab = book.active
    assert isinstance(tab, Worksheet)
    tab.title = "cases"
    tab.append(COLUMNS)
    tab.append(ROW)
    book.create_sheet("May").append(COLUMNS)
    target = io.BytesIO()
    book.save(target)
    (part,) = read_parts([ExportFile("b.xlsx", target.getvalue())], SPECIALTY, False)
    assert part.skipped == ("The sheet May has no rows below its header.",)
    assert (part.shown, part.stored_as) == ("b.xlsx [cases]", "b.xlsx [cases]")


def test_a_workbook_of_hidden_sheets_is_refused() -> None:
    book = openpyxl.Workbook()
    tab = book.active
    assert isinstance(tab, Worksheet)
    tab.append(COLUMNS)
    tab.append(ROW)
    # A book whose every sheet is hidden cannot be saved by people, but by programs.
    book.create_sheet("May").append(["x"])
    tab.sheet_state = "veryHidden"
    target = io.BytesIO()
    book.save(target)
    assert refusals_of(target.getvalue(), "b.xlsx") == [
        "b.xlsx [Sheet]: the sheet is hidden, and no other one is a table.",
        "b.xlsx [May]: there are no rows below the header.",
    ]


# What a person said


def test_a_mapped_header_is_that_column_and_a_dropped_one_is_not_looked_at() -> None:
    text = "Fall Nr;Trainee Ref;OP-Datum;Eingriff;Rolle;Kontakt;Notiz\nC0001;T07;2026-04-03;phaco_iol;surgeon;a@example.org;x\n"
    said = {"fall nr": "case_ref", "op datum": "operated_on", "eingriff": "procedure", "rolle": "role"}
    part = one(text, TableMapping(said, ignore=frozenset({"notiz"}), drop=frozenset({"kontakt"})))
    assert part.unknown_columns == []
    assert rows_of(part, *COLUMNS) == [(2, *ROW)]
    (message,) = refusals_of(text.encode(), mapping=TableMapping(said, ignore=frozenset({"kontakt"})))
    assert "row 2, column 6: the cell holds what looks like an email address" in message


def test_constants_and_the_name_of_the_file_fill_columns_that_the_table_does_not_have() -> None:
    mapping = TableMapping(trainee_ref_from="file", constants={"role": "surgeon", "procedure": "other"})
    part = one("case_ref,operated_on,procedure\nC0001,2026-04-03,phaco_iol\n", mapping, "T07.csv")
    assert rows_of(part, *COLUMNS) == [(2, *ROW)]


def test_of_two_kinds_that_fit_the_one_that_was_said_is_taken() -> None:
    text = "trainee_ref,cohort,started,expected_completion,from,kind,value\nT07,2027,2024-07,2027-06,2024-07,stage,x\n"
    assert one(text).kind.name == "trainees"
    assert one(text, TableMapping(kind="training")).kind.name == "training"
    assert one(text, TableMapping(kind="cases")).kind.name == "trainees"


# Which row, which column


@pytest.mark.parametrize(
    ("rows", "place"),
    [
        ([["Log"], ["", ""], ["Case ID", "Surgery date", "Eye"], ["C1", "2026", "OD"]], 2),
        ([["case_ref", "trainee_ref"], ["case_ref", "trainee_ref"]], 0),
        ([["Title"], ["A", "B", "C"], ["1", "2", "3"]], 1),
        ([["a", "b"], ["1", "2", "3"]], 0),
        ([["", ""], [" "]], None),
    ],
)  # fmt: skip
def test_the_header_is_the_row_with_the_most_columns(rows: list[list[str]], place: int | None) -> None:
    assert place_of_header(rows, NO_MAPPING) == place


@pytest.mark.parametrize(
    ("header", "columns"),
    [
        ("Date of Surgery", ["operated_on"]),
        ("DATE  of-surgery", ["operated_on"]),
        ("Surgery Dates", ["operated_on"]),
        ("Éye", ["side"]),
        ("Attending", []),
        ("Favourite colour", []),
        ("x", []),
    ],
)
def test_an_exact_synonym_decides_and_what_looks_alike_is_proposed(header: str, columns: list[str]) -> None:
    assert proposed_columns(header, ["operated_on", "side", "role"]) == columns


# Dialects

CELLS = [["C0001", "T07", "2026-04-03", "phaco_iol", "surgeon", "small_pupil;dense_cataract"],
         ["C0002", "T07", "2026-04-04", "phaco_iol", "surgeon", ""]]  # fmt: skip
NAMES = [*COLUMNS, "risk_factors"]


def dialect(**how: object) -> bytes:
    target = io.StringIO(newline="")
    csv.writer(target, **how).writerows([NAMES, *CELLS])  # type: ignore[arg-type] - the options of a dialect
    return target.getvalue().encode()


DIALECTS = {
    "pandas": pd.DataFrame(CELLS, columns=NAMES).to_csv(index=False).encode(),
    "pandas, all quoted, tab": pd.DataFrame(CELLS, columns=NAMES).to_csv(index=False, sep="\t", quoting=1).encode(),
    "Excel": dialect(dialect="excel"),
    "Excel, comma as decimal": dialect(delimiter=";", lineterminator="\r\n"),
    "Excel, UTF-8 with a mark": b"\xef\xbb\xbf" + dialect(dialect="excel"),
    "LibreOffice": dialect(lineterminator="\n", quoting=csv.QUOTE_MINIMAL),
    "LibreOffice, text quoted": dialect(lineterminator="\n", quoting=csv.QUOTE_NONNUMERIC),
}  # fmt: skip


@pytest.mark.parametrize("data", DIALECTS.values(), ids=list(DIALECTS))
def test_a_dialect_of_csv_changes_nothing(data: bytes) -> None:
    (part,) = read_parts([ExportFile("cases.csv", data)], SPECIALTY, False)
    assert rows_of(part, *NAMES) == [
        (row, *(cell or None for cell in cells)) for row, cells in enumerate(CELLS, start=2)
    ]


# Other alphabets


def test_a_word_of_another_alphabet_is_quoted_in_a_message(tmp_path: Path) -> None:
    path = tmp_path / "cases.csv"
    path.write_text(
        f"{HEADER}\nC0001,T07,2026-04-03,phaco_iol,\u0425\u0438\u0440\u0443\u0440\u0433\n", encoding="utf-8"
    )
    said = run("check", path, "--specialty", "ophthalmology", "--format", "csv")
    assert '""\u0445\u0438\u0440\u0443\u0440\u0433""' in said.out
