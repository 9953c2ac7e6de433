"""The pages of the volume summary as a workbook: tables, print set-up, and names that a spreadsheet takes.

Every cell is written by its type. No text can become a formula or a link, whatever it begins with.
"""

from __future__ import annotations

import io
import re
import textwrap
from collections.abc import Iterable, Sequence
from typing import Any

import xlsxwriter

from pipelines.summary.pages import Column, Cover, Page, Shown, Table, as_shown

PAPER, INK, SECONDARY, RULE, WARM = "#fbfaf7", "#1d2733", "#5d6b7a", "#d9dee3", "#b4531a"
A4 = 9
LONGEST_SHEET_NAME = 31
# Names that a spreadsheet keeps for itself.
RESERVED = ("History",)
LONGEST_IN_PRINT = 80
LINE_HEIGHT = 15
# The width of a sheet of text without a table.
ALONE = 110
# What a page of A4 holds in full size: characters across, points down. What is a little longer is printed smaller.
ACROSS, DOWN = 135, 480
SMALLER = 0.75

SAFE = {
    "in_memory": True,
    "strings_to_formulas": False,
    "strings_to_urls": False,
    "strings_to_numbers": False,
}
STYLES: dict[str, dict[str, Any]] = {
    "title": {"bold": True, "font_size": 14, "text_wrap": True, "valign": "top"},
    "text": {"text_wrap": True, "valign": "top"},
    "quiet": {"text_wrap": True, "valign": "top", "font_color": SECONDARY},
    "state": {"text_wrap": True, "valign": "top", "bold": True},
    "warning": {"text_wrap": True, "valign": "top", "bold": True, "font_color": WARM},
    "head": {"bold": True, "text_wrap": True, "bottom": 1, "bottom_color": INK, "bg_color": PAPER},
    "cell": {"text_wrap": True, "valign": "top", "bottom": 1, "bottom_color": RULE},
    "line": {"valign": "top", "bottom": 1, "bottom_color": RULE},
}


def workbook(cover: Cover, pages: Iterable[Page]) -> bytes:
    """The XLSX; the same cover and pages give the same bytes."""
    book = Book(cover)
    for page in pages:
        book.add(page)
    return book.finished()


class Book:
    """A workbook in memory; `finished` gives its bytes."""

    def __init__(self, cover: Cover) -> None:
        self._bytes = io.BytesIO()
        self._workbook = xlsxwriter.Workbook(self._bytes, SAFE)
        self._workbook.set_properties(_properties(cover))
        self._formats: dict[tuple[str, str, int, bool], Any] = {}
        self._header = f"&L{in_print(cover.programme)}, {cover.about}&R{cover.moment}"
        self._footer = f"&L{in_print(cover.foot)}&RPage &P of &N"

    def add(self, page: Page) -> None:
        """A new sheet; its heads stay in view, and stand on every page that is printed."""
        sheet = self._workbook.add_worksheet(page.name)
        self._set_up(sheet)
        across = page.table.widths() if page.table else [ALONE]
        for number, width in enumerate(across):
            sheet.set_column(number, number, width)
        lines = [line for line in page.lines if line[1]]
        for row, (style, text) in enumerate(lines):
            self._text(sheet, row, text, style, across)
        # A blank row between lines and table.
        head_row = len(lines) + 1 if lines and page.table else 0
        sheet.freeze_panes(head_row + 1, page.frozen_columns if page.table else 0)
        sheet.repeat_rows(head_row)
        if page.frozen_columns > 1 and lines:
            sheet.repeat_columns(0, page.frozen_columns - 1)
        after = self._table(sheet, head_row, page.table, across) if page.table else len(lines)
        if page.below:
            self._text(sheet, after + 1, page.below, "text", across)
        if page.table_below:
            self._table(sheet, after + 3, page.table_below, across)
        scale = min(SMALLER, ACROSS * page.pages_across / sum(across))
        sheet.fit_to_pages(page.pages_across, 1 if _height(page, across) <= DOWN / scale else 0)

    def _set_up(self, sheet: Any) -> None:
        sheet.hide_gridlines(2)
        sheet.set_landscape()
        sheet.set_paper(A4)
        sheet.set_margins(left=0.4, right=0.4, top=0.8, bottom=0.7)
        sheet.set_header(self._header)
        sheet.set_footer(self._footer)

    def _text(self, sheet: Any, row: int, text: str, style: str, across: Sequence[int]) -> None:
        """A line of text over columns of these widths, as high as it needs."""
        sheet.set_row(row, _text_height(text, style, across))
        if len(across) > 1:
            sheet.merge_range(row, 0, row, len(across) - 1, "", self._form(style))
        sheet.write_string(row, 0, text, self._form(style))

    def _table(self, sheet: Any, first_row: int, table: Table, across: Sequence[int]) -> int:
        """A real table with its heads in `first_row`; returns the row after it. No rows: the heads alone."""
        forms = [self._head_form(number, each) for number, each in enumerate(table.columns)]
        if table.rows:
            place = (first_row, 0, first_row + len(table.rows), len(table.columns) - 1)
            heads = [
                {"header": each.head, "header_format": form}
                for each, form in zip(table.columns, forms, strict=True)
            ]
            look = {"name": table.name, "style": None, "autofilter": table.plain, "columns": heads}
            sheet.add_table(*place, look)
        for number, (column, form) in enumerate(zip(table.columns, forms, strict=True)):
            sheet.write_string(first_row, number, column.head, form)
        style = "line" if table.plain else "cell"
        for row, cells in enumerate(table.rows, start=first_row + 1):
            for number, cell in enumerate(cells):
                self._write(sheet, (row, number), as_shown(cell), style)
        # Not every program finds out for itself how high a row is.
        for row, height in enumerate(_heights(table, across), start=first_row):
            if height > LINE_HEIGHT:
                sheet.set_row(row, height)
        return first_row + len(table.rows) + 1

    def _head_form(self, number: int, column: Column) -> Any:
        depth = 0 if column.is_number else _gap(number)
        return self._form("head", depth=depth, at_right=column.is_number)

    def _write(self, sheet: Any, place: tuple[int, int], shown: Shown, style: str) -> None:
        is_text = isinstance(shown.value, str) and not shown.at_right
        depth = shown.depth + (_gap(place[1]) if is_text else 0)
        form = self._form(style, number_format(shown), depth, at_right=shown.at_right)
        if shown.value is None:
            sheet.write_blank(*place, None, form)
        elif isinstance(shown.value, bool):
            sheet.write_boolean(*place, shown.value, form)
        elif isinstance(shown.value, (int, float)):
            sheet.write_number(*place, shown.value, form)
        else:
            sheet.write_string(*place, str(shown.value), form)

    def _form(self, style: str, numbers: str = "", depth: int = 0, *, at_right: bool = False) -> Any:
        """A cell format; a spreadsheet has few, so each is made once."""
        key = (style, numbers, depth, at_right)
        if key not in self._formats:
            form = self._workbook.add_format({"font_color": INK} | STYLES[style])
            if numbers:
                form.set_num_format(numbers)
            if depth:
                form.set_align("left")
                form.set_indent(depth)
            if at_right:
                form.set_align("right")
            self._formats[key] = form
        return self._formats[key]

    def finished(self) -> bytes:
        self._workbook.close()
        return self._bytes.getvalue()


def _properties(cover: Cover) -> dict[str, Any]:
    # No clock: the file says when its data were as they are, not when it was written.
    return {
        "title": cover.title,
        "subject": cover.programme,
        "author": cover.author,
        "comments": cover.remarks,
        "created": cover.day,
    }


def _gap(column: int) -> int:
    """A text beside a number needs room between: a number stands at the right of its column."""
    return 1 if column else 0


def number_format(shown: Shown) -> str:
    """How a spreadsheet shows the number, which stays a number; empty where it is shown as it is.

    Texts beside it are part of the format; an underscore leaves the width of a sign empty.
    """
    if shown.signed:
        return "+0;-0;0"
    digits = "0" + f".{'0' * shown.decimals}" * bool(shown.decimals)
    before, after = (f'"{text}"' if text else "" for text in (shown.before, shown.after))
    found = before + digits + after + "".join(f"_{sign}" for sign in shown.room)
    return "" if found == "0" else found


def _height(page: Page, across: Sequence[int]) -> float:
    """How high a sheet is, in points, its blank rows included."""
    texts = [*page.lines, ("text", page.below)]
    tables = [table for table in (page.table, page.table_below) if table]
    return (
        sum(_text_height(text, style, across) for style, text in texts if text)
        + sum(sum(_heights(table, across)) for table in tables)
        + LINE_HEIGHT * 2 * len(tables)
    )


def _text_height(text: str, style: str, across: Sequence[int]) -> float:
    large = 1.4 if style == "title" else 1
    return LINE_HEIGHT * large * len(textwrap.wrap(text, max(int(sum(across) * 0.9 / large), 10)))


def _heights(table: Table, across: Sequence[int]) -> list[int]:
    """Of the heads and of each row as many lines as its longest text needs, in points; a plain row has one."""
    rows = [[column.head for column in table.columns], *table.rows]
    return [
        LINE_HEIGHT
        * (
            1
            if table.plain and number
            else max(_lines(as_shown(cell), width) for cell, width in zip(cells, across, strict=False))
        )
        for number, cells in enumerate(rows)
    ]


def _lines(shown: Shown, width: int) -> int:
    room = max(int(width * 1.05) - 1 - 2 * shown.depth, 1)
    return len(textwrap.wrap(shown.value, room)) if isinstance(shown.value, str) else 1


def sheet_names(wanted: Iterable[str], taken: Iterable[str]) -> list[str]:
    """A name for each sheet that a spreadsheet takes: short enough, no forbidden sign, none twice in any case."""
    seen = {each.casefold() for each in (*taken, *RESERVED)}
    return [_free_name(re.sub(r"[\[\]:*?/\\']", "_", each), seen) for each in wanted]


def _free_name(name: str, seen: set[str]) -> str:
    found, number = name[:LONGEST_SHEET_NAME], 1
    while not found or found.casefold() in seen:
        number += 1
        ending = f" ({number})"
        found = name[: LONGEST_SHEET_NAME - len(ending)] + ending
    seen.add(found.casefold())
    return found


def in_print(text: str) -> str:
    """Text for a printed head or foot, where & begins a code, and where there is little room."""
    return text[:LONGEST_IN_PRINT].replace("&", "&&")
