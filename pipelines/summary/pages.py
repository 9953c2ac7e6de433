"""What the volume summary is made of, whatever it is printed as: pages with lines of text, tables, and their cells."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from decimal import ROUND_HALF_UP, Decimal
from typing import Any, NamedTuple

NARROWEST, WIDEST = 8, 60
# A page of A4 holds so many characters across at two thirds of their size; smaller is not read on paper.
ACROSS_A_PAGE, NARROW_TEXT = 200, 24


class Cover(NamedTuple):
    """What a file says of itself, and what stands at the head and foot of each of its pages. `day`: as of which, no clock."""

    title: str
    programme: str
    about: str
    moment: str
    remarks: str
    day: datetime.datetime
    foot: str = "Names every trainee. Confidential; see Cautions."
    author: str = "Cohort Standing"


class Shown(NamedTuple):
    """A value with the way it is shown: what stands before and after a number, or how deep a text stands below another.

    `room` is what other numbers of the column have after them: as much is left empty, so that digits stand in line.
    """

    value: object
    before: str = ""
    after: str = ""
    room: str = ""
    decimals: int = 0
    signed: bool = False
    depth: int = 0
    at_right: bool = False

    @property
    def text(self) -> str:
        """As it is read: `102 (81) ✓`, `+4`, `93.5`; nothing for None."""
        return f"{self.before}{self._alone}{self.after}"

    @property
    def _alone(self) -> str:
        if self.value is None:
            return ""
        if isinstance(self.value, (str, bool)):
            return str(self.value)
        if self.signed and self.value:
            return f"{self.value:+}"
        # Halves upwards, as spreadsheets show them.
        return str(Decimal(repr(self.value)).quantize(Decimal(1).scaleb(-self.decimals), ROUND_HALF_UP))


class Column(NamedTuple):
    """A column of a table; its width in characters follows the content within these bounds."""

    head: str
    is_number: bool = False
    widest: int = WIDEST
    narrowest: int = NARROWEST


class Table(NamedTuple):
    """Rows of values (or Shown) under columns. One that is `plain` keeps to one line a row and can be filtered."""

    name: str
    columns: Sequence[Column]
    rows: Sequence[Sequence[Any]]
    plain: bool = False

    def widths(self) -> list[int]:
        """Of each column in characters: as its widest cell, within its bounds; the widest texts give way to a page's width."""
        found = [_head_width(each) for each in self.columns]
        for cells in self.rows:
            found = [max(width, _width(as_shown(cell))) for width, cell in zip(found, cells, strict=True)]
        # The button of a filter covers the end of a head.
        room = 5 if self.plain else 2
        widths = [
            max(min(width + room, each.widest), each.narrowest)
            for width, each in zip(found, self.columns, strict=True)
        ]
        while not self.plain and sum(widths) > ACROSS_A_PAGE and max(widths) > NARROW_TEXT:
            widths[widths.index(max(widths))] -= 1
        return widths


class Page(NamedTuple):
    """A sheet, or a section: (style, text) lines over a table, and what stands below it; an empty text is left out.

    The first `frozen_columns` say what a row is about. A page that is `for_machines` is in no file that is printed;
    one with a `chart` shows the class in one picture.
    """

    name: str
    lines: Sequence[tuple[str, str]]
    table: Table | None = None
    frozen_columns: int = 1
    pages_across: int = 1
    below: str = ""
    table_below: Table | None = None
    for_machines: bool = False
    chart: bool = False


def as_shown(cell: object) -> Shown:
    return cell if isinstance(cell, Shown) else Shown(cell)


def _head_width(column: Column) -> int:
    """A head may stand on several lines, a word may not."""
    return max(len(word) for word in column.head.split())


def _width(shown: Shown) -> int:
    return len(shown.text) + len(shown.room) + 2 * shown.depth
