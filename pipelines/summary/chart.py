"""The class in one picture: for each requirement and trainee a bar, as long as the share of the minimum that counts.

Drawn from the rows of the summary; nothing is counted here. It reads without colour: what is reached is pale and full,
what is open is dark and says how many cases are to go.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from html import escape
from typing import NamedTuple

INK, SECONDARY, RULE = "#1d2733", "#55626f", "#c9d0d7"
OPEN, REACHED = "#1f5f8b", "#d3e1ec"
LABEL, BAR, WORD, GAP = 250, 62, 46, 14
LINE, HEAD = 19, 24
# More lines, or people, go into another picture: letters stay large enough to read.
LINES_DOWN, PEOPLE_ACROSS = 26, 7
TALLEST = 145  # millimetres: with its heading it fits a page
TITLE = "How much of each minimum is counted"
KEY = "Pale and full: reached. Dark: the share of the minimum that is counted, and how many cases are to go."
ALT = (
    "For each requirement and trainee a bar as long as the share of the minimum that is counted: pale and full where"
    " the requirement is reached, dark with the number of cases to go where it is not. The numbers stand in the table above."
)


class Bar(NamedTuple):
    """One cell: `counted` of `minimum`; `remaining` cases to go."""

    counted: int
    minimum: int
    remaining: int
    reached: bool


class Chart(NamedTuple):
    svg: str
    width: int
    height: int

    def said(self) -> dict[str, str | float]:
        """The picture with its title, its key, and what is read out in its place."""
        return {"svg": self.svg, "title": TITLE, "key": KEY, "alt": ALT}

    def width_on(self, across: float) -> float:
        """Millimetres, so that it is neither wider than the page nor taller than fits."""
        return round(min(across, TALLEST * self.width / self.height, self.width * 0.3), 2)


def bars(people: Sequence[str], rows: Sequence[tuple[str, int, Sequence[Bar]]]) -> list[Chart]:
    """As many charts as people and rows need; a row is a title, how deep it stands, and a bar for each person."""
    return [
        _chart(people[across], [(title, depth, cells[across]) for title, depth, cells in rows[down]])
        for across in _pieces(len(people), PEOPLE_ACROSS)
        for down in _pieces(len(rows), LINES_DOWN)
    ]


def _pieces(number: int, size: int) -> list[slice]:
    return [slice(first, first + size) for first in range(0, number, size)]


def _chart(people: Sequence[str], lines: Sequence[tuple[str, int, Sequence[Bar]]]) -> Chart:
    width, height = LABEL + len(people) * (BAR + WORD + GAP), HEAD + LINE * len(lines) + 4
    drawn = [_text(LABEL + number * (BAR + WORD + GAP), 14, name, INK) for number, name in enumerate(people)]
    for place, (title, depth, cells) in enumerate(lines):
        top = HEAD + LINE * place
        drawn.append(_text(14 * depth, top + 13, title, INK))
        for number, bar in enumerate(cells):
            drawn += _bar(LABEL + number * (BAR + WORD + GAP), top + 4, bar)
    body = "\n".join(drawn)
    return Chart(
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" viewBox="0 0 {width} {height}">'
        f"\n{body}\n</svg>",
        width,
        height,
    )


def _bar(left: int, top: int, bar: Bar) -> Iterator[str]:
    # The length of a bar is a scale, as on any axis; every number beside it is one of the rows.
    length = BAR if bar.counted >= bar.minimum else BAR * bar.counted / bar.minimum
    fill = REACHED if bar.reached else OPEN
    yield f'<rect x="{left}" y="{top}" width="{length:.2f}" height="11" fill="{fill}"/>'
    yield f'<rect x="{left}" y="{top}" width="{BAR}" height="11" fill="none" stroke="{SECONDARY}" stroke-width="0.6"/>'
    said = "✓" if bar.reached else f"{bar.remaining} to go" if bar.remaining else "parts"
    yield _text(left + BAR + 5, top + 9, said, SECONDARY if bar.reached else INK)


def _text(left: int, base: int, text: str, fill: str) -> str:
    family = "Libertinus Serif, DejaVu Sans Mono"
    return f'<text x="{left}" y="{base}" font-family="{family}" font-size="12" fill="{fill}">{escape(text)}</text>'
