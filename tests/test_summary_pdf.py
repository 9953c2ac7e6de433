"""The PDF of the volume summary: what it declares is there, it says what the workbook says, and it can be sent.

Declared is PDF/UA-1 (ISO 14289-1); the structure is read back with pikepdf and pypdf, which made none of it. What the
standard asks for is from memory of it: tagged, a language, a title that is shown, figures with an alternative, headings
that skip no level, tables of rows with heads, fonts embedded.
"""

from __future__ import annotations

import ast
import datetime
import io
import re
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from pipelines.store.store import Store
from pipelines.summary.chart import Bar, bars
from pipelines.summary.files import Options, summary_files
from pipelines.summary.pages import Column, Cover, Page, Shown, Table
from pipelines.summary.pdf import REPLACED, TEMPLATE, pdf
from tests.paper import Paper
from tests.stores import write_csv
from tests.summed import summed_store

ROOT = Path(__file__).resolve().parent.parent
COVER = Cover(
    "A title: draft",
    "Harbour Eye",
    "class of 2026-27 · draft",
    "snapshot 3",
    "Remarks.",
    datetime.datetime(2025, 5, 31),
)


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    return Store(summed_store(tmp_path_factory.getbasetemp()))


@pytest.fixture(scope="module")
def files(store: Store) -> dict[str, bytes]:
    return summary_files(store, "harbour-eye", "2027", Options(since=2, final_by="A. Quay")).contents


@pytest.fixture(scope="module")
def paper(files: dict[str, bytes]) -> Paper:
    return Paper(files["volume-2027.pdf"])


# ---- what it declares


def test_it_declares_pdf_ua_and_has_what_that_asks_for(paper: Paper) -> None:
    root = paper.pdf.Root
    with paper.pdf.open_metadata() as declared:
        assert declared["pdfuaid:part"] == "1"
        assert declared["dc:title"] == "Accreditation volume summary, class of 2026-27: provisional"
    assert (bool(root.MarkInfo.Marked), str(root.Lang)) == (True, "en-GB")
    assert bool(root.ViewerPreferences.DisplayDocTitle)
    assert str(paper.pdf.docinfo["/Title"]).endswith(": provisional")
    assert str(paper.pdf.docinfo["/CreationDate"]).startswith("D:20250531000000")


def test_its_headings_skip_no_level_and_its_figure_has_an_alternative(paper: Paper) -> None:
    roles = [each.role for each in paper.root.below]
    assert roles[0] == "Title"
    levels = [int(role[1]) for role in roles if re.fullmatch(r"H\d", role)]
    assert levels[0] == 1 and set(levels) == {1, 2}
    (figure,) = paper.root.all("Figure")
    assert figure.alt.startswith("For each requirement and trainee a bar")


def test_every_table_is_made_of_rows_with_as_many_cells_as_heads(paper: Paper) -> None:
    assert len(paper.root.all("Table")) == 3 + 2 + 2 * 4 + 1 + 1 + 2 + 2
    for table in paper.root.all("Table"):
        (head,), (body,) = table.all("THead"), table.all("TBody")
        assert {cell.role for row in head.all("TR") for cell in row.below} == {"TH"}
        assert {cell.scope for row in head.all("TR") for cell in row.below} == {"Column"}
        assert {cell.role for row in body.all("TR") for cell in row.below} == {"TD"}
        assert len({len(row.below) for row in table.all("TR")}) == 1


def test_every_font_is_in_the_file(paper: Paper) -> None:
    fonts = [font for page in paper.pdf.pages for font in page.Resources.get("/Font", {}).values()]
    below = [each for font in fonts for each in font.get("/DescendantFonts", [font])]
    assert below
    for font in below:
        assert {"/FontFile", "/FontFile2", "/FontFile3"} & set(font.FontDescriptor.keys())


# ---- what it says


def read_as(cell: Any) -> str:
    """A cell of the workbook as a spreadsheet shows it."""
    if cell.value is None or isinstance(cell.value, str):
        return cell.value or ""
    form = cell.number_format
    if form == "+0;-0;0":
        return f"{cell.value:+d}" if cell.value else "0"
    before, digits, after = re.fullmatch(
        r'(?:"(.*?)")?(General|0(?:\.0+)?)(?:"(.*?)")?(?:_.)*', form
    ).groups()
    decimals = len(digits.partition(".")[2])
    return f"{before or ''}{cell.value:.{decimals}f}{after or ''}"


def test_every_table_says_what_the_workbook_says(files: dict[str, bytes], paper: Paper) -> None:
    book = openpyxl.load_workbook(io.BytesIO(files["volume-2027.xlsx"]))
    expected = [
        [[" ".join(read_as(cell).split()) for cell in row] for row in sheet[table.ref]]
        for sheet in book
        if sheet.title != "Lines"
        for table in sheet.tables.values()
    ]
    assert paper.tables() == expected
    assert ["=Lens surgery", "3", "0 (0)", "3 (2) ✓*", "1 (0)", "0 (0)"] in expected[0]


def test_every_line_above_a_table_stands_in_it_too(files: dict[str, bytes], paper: Paper) -> None:
    book = openpyxl.load_workbook(io.BytesIO(files["volume-2027.xlsx"]))
    lines = [
        row[0]
        for sheet in book
        if sheet.title != "Lines"
        for row in sheet.iter_rows(
            max_row=16 if sheet.title == "Cautions" else 4, max_col=1, values_only=True
        )
        if row[0]
    ]
    assert len(lines) > 30
    assert [line for line in lines if " ".join(line.split()) not in paper.root.text] == []


def test_head_and_foot_of_each_page_say_whose_and_how_sure(paper: Paper) -> None:
    for number, page in enumerate(paper.pages, start=1):
        text = " ".join(page.extract_text().split())
        assert "Harbour Eye, class of 2026-27 · provisional snapshot 3, as of 2025-05-31" in text
        assert f"Names every trainee. Confidential; see Cautions. Page {number} of {len(paper.pages)}" in text


def test_bars_are_as_long_as_the_share_that_counts() -> None:
    row = ("Lens", 0, [Bar(1, 4, 3, reached=False), Bar(9, 4, 0, reached=True), Bar(5, 4, 0, reached=False)])
    (chart,) = bars(["T01", "T02", "T03"], [row])
    lengths = [
        float(length) for length in re.findall(r'<rect [^>]*width="([\d.]+)" height="11" fill="#', chart.svg)
    ]
    assert lengths == [62 / 4, 62, 62]
    assert re.findall(r">([^<>\n]+)</text>", chart.svg) == [
        "T01",
        "T02",
        "T03",
        "Lens",
        "3 to go",
        "✓",
        "parts",
    ]
    assert len(bars([f"T{number}" for number in range(17)], [("Lens", 0, [row[2][0]] * 17)] * 27)) == 3 * 2


# ---- whatever comes


def drawn(table: Table, **more: Any) -> Paper:
    page = Page("Sheet", [("title", "A question?"), ("quiet", "A caution.")], table, **more)
    return Paper(pdf(COVER, [page]))


def test_a_long_table_goes_on_over_pages_with_its_heads() -> None:
    rows = [[f"Requirement {number}", number] for number in range(150)]
    paper = drawn(Table("long", [Column("What"), Column("Counted", is_number=True)], rows))
    assert paper.tables() == [[["What", "Counted"], *([title, str(number)] for title, number in rows)]]
    assert len(paper.pages) > 3
    assert all("What Counted" in page.extract_text() for page in paper.pages)


def test_a_wide_table_is_cut_into_several_each_with_what_its_rows_are_about() -> None:
    columns = [
        Column("What"),
        Column("Minimum", is_number=True),
        *(Column(f"T{number:02d}", is_number=True) for number in range(25)),
    ]
    paper = drawn(Table("wide", columns, [["Lens", 3, *range(25)]]), frozen_columns=2)
    assert [len(table[0]) - 2 for table in paper.tables()] == [7, 7, 7, 4]
    assert [table[1][:2] for table in paper.tables()] == [["Lens", "3"]] * 4
    assert [cell for table in paper.tables() for cell in table[1][2:]] == [
        str(number) for number in range(25)
    ]


def test_no_text_is_markup_and_a_sign_without_a_letter_is_a_question_mark() -> None:
    text = '#pagebreak() *bold* _x_ $y$ <label> @ref \\ "quoted" &amp; = Head'
    columns = [Column("What"), Column("Name")]
    plain = drawn(Table("plain", columns, [[text, "Łukasz Ünğ Đặng Ελένη Олена"]]))
    assert plain.tables()[0][1] == [text, "Łukasz Ünğ Đặng Ελένη Олена"]
    assert REPLACED not in plain.root.text
    replaced = drawn(Table("replaced", columns, [["Lens", "T01 王小明 😀"]]))
    assert replaced.tables()[0][1] == ["Lens", "T01 ??? ?"]
    assert REPLACED in replaced.root.text


def test_a_long_name_of_a_file_goes_on_in_the_next_line() -> None:
    name = "operations_of_the_second_year_as_exported_on_friday.csv"
    columns = [Column("File"), *(Column(f"A head of {number} words", is_number=True) for number in range(12))]
    paper = drawn(Table("names", columns, [[name, *[1000000] * 12]]))
    assert paper.tables()[0][1][0].replace("\u200b", "").replace(" ", "") == name


def test_numbers_are_shown_to_the_digit_halves_upwards() -> None:
    # Source: how spreadsheets round what they show (common practice, no source).
    cells = [8.25, 0.25, 74.5, 9.75, 3.0]
    assert [Shown(cell, decimals=1).text for cell in cells] == ["8.3", "0.3", "74.5", "9.8", "3.0"]
    assert [Shown(cell, signed=True).text for cell in (2, 0, -3)] == ["+2", "0", "-3"]
    assert [Shown(None, after=" of 3").text, Shown(102, after=" (81) ✓").text] == [" of 3", "102 (81) ✓"]


def test_names_stand_in_it_where_they_were_asked_for(store: Store, tmp_path: Path) -> None:
    labels = write_csv(tmp_path / "labels.csv", "trainee_ref,shown_name\nT01,Ada Quill\n")
    made = summary_files(store, "harbour-eye", "2027", Options(labels=labels)).contents
    assert "T01 Ada Quill, class of 2026-27" in Paper(made["volume-2027.pdf"]).root.text


def test_it_is_made_without_the_network_and_imported_only_where_it_is_made() -> None:
    assert "@" not in TEMPLATE.read_text("utf-8")  # packages of others would be fetched
    for path in (ROOT / "pipelines").rglob("*.py"):
        at_the_top = ast.parse(path.read_text("utf-8")).body
        imported = [each for each in at_the_top if isinstance(each, (ast.Import, ast.ImportFrom))]
        assert not any("typst" in ast.unparse(each) for each in imported), path
