"""How a sheet of the volume summary looks: tables, print set-up, and names that a spreadsheet takes.

Every cell is written by its type. No text can become a formula or a link, whatever it begins with.
"""

from __future__ import annotations

import io
import re
import textwrap
from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

import xlsxwriter

PAPER, INK, SECONDARY, RULE, WARM = "#fbfaf7", "#1d2733", "#5d6b7a", "#d9dee3", "#b4531a"
A4 = 9
LONGEST_SHEET_NAME = 31
# Names that a spreadsheet keeps for itself.
RESERVED = ("History",)
LONGEST_HEADER = 80
NARROWEST, WIDEST = 8, 60
LINE_HEIGHT = 15

STYLES: dict[str, dict[str, Any]] = {
    "title": {"bold": True, "font_size": 14, "text_wrap": True, "valign": "top"},
    "text": {"text_wrap": True, "valign": "top"},
    "quiet": {"text_wrap": True, "valign": "top", "font_color": SECONDARY},
    "warning": {"text_wrap": True, "valign": "top", "bold": True, "font_color": WARM},
    "head": {
        "bold": True,
        "text_wrap": True,
        "valign": "bottom",
        "bottom": 1,
        "bottom_color": INK,
        "bg_color": PAPER,
    },
    "cell": {"text_wrap": True, "valign": "top", "bottom": 1, "bottom_color": RULE},
}


class Shown(NamedTuple):
    """A value with the way it is shown: a number format, how deep a text stands below another, or at the right."""

    value: object
    number_format: str = ""
    depth: int = 0
    at_right: bool = False


class Column(NamedTuple):
    """A column of a table; its width follows the content up to `widest` characters."""

    head: str
    is_number: bool = False
    widest: int = WIDEST
    narrowest: int = NARROWEST


class Book:
    """A workbook in memory; `finished` gives its bytes, the same for the same content and properties."""

    def __init__(self, properties: dict[str, Any], header: str, footer: str) -> None:
        self._bytes = io.BytesIO()
        safe = {
            "in_memory": True,
            "strings_to_formulas": False,
            "strings_to_urls": False,
            "strings_to_numbers": False,
        }
        self._workbook = xlsxwriter.Workbook(self._bytes, safe)
        self._workbook.set_properties(properties)
        self._formats: dict[tuple[str, str, int, bool], Any] = {}
        self._header, self._footer = header, footer

    def page(self, name: str) -> Any:
        """A new sheet, set up to be printed across."""
        sheet = self._workbook.add_worksheet(name)
        sheet.hide_gridlines(2)
        sheet.set_landscape()
        sheet.set_paper(A4)
        sheet.set_margins(left=0.4, right=0.4, top=0.8, bottom=0.7)
        sheet.fit_to_pages(1, 0)
        sheet.set_header(self._header)
        sheet.set_footer(self._footer)
        return sheet

    def text(self, sheet: Any, row: int, text: str, style: str, columns: Sequence[int]) -> None:
        """A line of text across columns of these widths, as high as it needs."""
        across = sum(columns)
        letters = 1.4 if style == "title" else 1.1
        lines = max(1, -(-int(len(text) * letters) // max(across, 1)))
        sheet.set_row(row, LINE_HEIGHT * lines * (1.3 if style == "title" else 1))
        form = self.form(style)
        if len(columns) > 1:
            sheet.merge_range(row, 0, row, len(columns) - 1, "", form)
        sheet.write_string(row, 0, text, form)

    def top(self, sheet: Any, columns: Sequence[int], *lines: tuple[str, str]) -> int:
        """Sets the widths, writes (style, text) lines, empty ones left out; returns the row for a table's heads."""
        set_widths(sheet, columns)
        told = [line for line in lines if line[1]]
        for row, (style, text) in enumerate(told):
            self.text(sheet, row, text, style, columns)
        return len(told) + 1

    def table(
        self, sheet: Any, first_row: int, name: str, columns: Sequence[Column], rows: Sequence[Sequence[Any]]
    ) -> int:
        """A real table with its heads in `first_row`; returns the row after it. No rows: the heads alone."""
        forms = [
            self.form("head", depth=0 if each.is_number else min(number, 1), at_right=each.is_number)
            for number, each in enumerate(columns)
        ]
        if rows:
            heads = [
                {"header": each.head, "header_format": form} for each, form in zip(columns, forms, strict=True)
            ]
            place = (first_row, 0, first_row + len(rows), len(columns) - 1)
            sheet.add_table(*place, {"name": name, "style": None, "autofilter": False, "columns": heads})
        for number, (column, form) in enumerate(zip(columns, forms, strict=True)):
            sheet.write_string(first_row, number, column.head, form)
        for row, cells in enumerate(rows, start=first_row + 1):
            for number, cell in enumerate(cells):
                self._write(sheet, row, number, cell)
        return first_row + len(rows) + 1

    def _write(self, sheet: Any, row: int, column: int, cell: object) -> None:
        shown = as_shown(cell)
        # A text beside a number needs room between: a number stands at the right of its column.
        gap = 1 if column and isinstance(shown.value, str) and not shown.at_right else 0
        form = self.form("cell", shown.number_format, shown.depth + gap, at_right=shown.at_right)
        if shown.value is None:
            sheet.write_blank(row, column, None, form)
        elif isinstance(shown.value, bool):
            sheet.write_boolean(row, column, shown.value, form)
        elif isinstance(shown.value, (int, float)):
            sheet.write_number(row, column, shown.value, form)
        else:
            sheet.write_string(row, column, str(shown.value), form)

    def form(self, style: str, number_format: str = "", depth: int = 0, *, at_right: bool = False) -> Any:
        """A cell format; a spreadsheet has few, so each is made once."""
        key = (style, number_format, depth, at_right)
        if key not in self._formats:
            form = self._workbook.add_format({"font_color": INK} | STYLES[style])
            if number_format:
                form.set_num_format(number_format)
            if depth:
                form.set_indent(depth)
            if at_right:
                form.set_align("right")
            self._formats[key] = form
        return self._formats[key]

    def finished(self) -> bytes:
        self._workbook.close()
        return self._bytes.getvalue()


def widths(columns: Sequence[Column], rows: Iterable[Sequence[Any]]) -> list[int]:
    """In characters: as wide as the widest cell, within the bounds of the column."""
    found = [_head_width(each) for each in columns]
    for cells in rows:
        found = [max(width, _width(cell)) for width, cell in zip(found, cells, strict=True)]
    return [
        min(max(width + 2, each.narrowest), max(each.widest, each.narrowest))
        for width, each in zip(found, columns, strict=True)
    ]


def _head_width(column: Column) -> int:
    """A head may stand on several lines, a word may not."""
    return max(len(word) for word in column.head.split() or [""])


def as_shown(cell: object) -> Shown:
    return cell if isinstance(cell, Shown) else Shown(cell)


def _width(cell: object) -> int:
    shown = as_shown(cell)
    unquoted = re.sub(r'"|_.', " ", shown.number_format.removeprefix("0"))
    return len("" if shown.value is None else str(shown.value)) + len(unquoted) + 2 * shown.depth


def set_widths(sheet: Any, columns: Sequence[int]) -> None:
    for number, width in enumerate(columns):
        sheet.set_column(number, number, width)


def set_heights(sheet: Any, first_row: int, across: Sequence[int], rows: Iterable[Sequence[Any]]) -> None:
    """As many lines as the longest text needs: not every program finds that out for itself."""
    for row, cells in enumerate(rows, start=first_row):
        lines = max(_lines(as_shown(cell), width) for cell, width in zip(cells, across, strict=False))
        if lines > 1:
            sheet.set_row(row, LINE_HEIGHT * lines)


def _lines(shown: Shown, width: int) -> int:
    room = max(width - 2 - 2 * shown.depth, 1)
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
    return text[:LONGEST_HEADER].replace("&", "&&")
