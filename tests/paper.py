"""A tagged PDF read back as who cannot see it has it read out: by its structure tree, with the text of each element.

The tree is walked with pikepdf; what stands at each marked place of a page is read with pypdf.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from functools import cached_property
from typing import Any, NamedTuple

import pikepdf
import pypdf

Place = tuple[int, int]  # object number of the page, number of the marked content on it


class Element(NamedTuple):
    role: str
    text: str
    alt: str
    scope: str  # of a head: what it is the head of
    below: tuple[Element, ...]

    def all(self, role: str) -> list[Element]:
        found = [self] if self.role == role else []
        return found + [each for child in self.below for each in child.all(role)]


class Paper:
    """One PDF."""

    def __init__(self, content: bytes) -> None:
        self.pdf = pikepdf.open(io.BytesIO(content))
        self.pages = pypdf.PdfReader(io.BytesIO(content)).pages

    @cached_property
    def marked(self) -> dict[Place, str]:
        found: dict[Place, str] = {}
        for ours, theirs in zip(self.pdf.pages, self.pages, strict=True):
            number = ours.obj.objgen[0]
            found |= {(number, place): text for place, text in _marked(theirs).items()}
        return found

    @cached_property
    def root(self) -> Element:
        (document,) = _children(self.pdf.Root.StructTreeRoot)
        return self._element(document)

    @cached_property
    def text(self) -> str:
        """Of all pages, their heads and feet too, with single spaces."""
        return " ".join(" ".join(page.extract_text().split()) for page in self.pages)

    def tables(self) -> list[list[list[str]]]:
        """Rows of cells of each table, its heads first."""
        return [
            [[cell.text for cell in row.below if cell.role in ("TH", "TD")] for row in table.all("TR")]
            for table in self.root.all("Table")
        ]

    def _element(self, node: Any, page: int = 0) -> Element:
        page = node.Pg.objgen[0] if "/Pg" in node else page
        texts, below = [], []
        for child in _children(node):
            if isinstance(child, int):
                texts.append(self.marked.get((page, child), ""))
            elif "/MCID" in child:
                place = child.Pg.objgen[0] if "/Pg" in child else page
                texts.append(self.marked.get((place, int(child.MCID)), ""))
            elif "/S" in child:
                below.append(self._element(child, page))
                texts.append(below[-1].text)
        text = " ".join("".join(texts).split())
        role, alt = str(node.S).removeprefix("/"), str(node.get("/Alt", ""))
        return Element(role, text, alt, _scope(node), tuple(below))


def _scope(node: Any) -> str:
    attributes = node.get("/A", [])
    listed = attributes if isinstance(attributes, pikepdf.Array) else [attributes]
    return "".join(str(each.Scope).removeprefix("/") for each in listed if "/Scope" in each)


def _children(node: Any) -> Iterator[Any]:
    kids = node.get("/K")
    if kids is None:
        return
    yield from kids if isinstance(kids, pikepdf.Array) else [kids]


def _marked(page: Any) -> dict[int, str]:
    """Marked content of a page by its number."""
    found: dict[int | None, list[str]] = {}
    open_marks: list[int | None] = [None]

    def before(operator: bytes, operands: list[Any], *_: Any) -> None:
        if operator in (b"BDC", b"BMC"):
            properties = operands[1] if len(operands) > 1 else {}
            open_marks.append(properties.get("/MCID") if hasattr(properties, "get") else None)
        elif operator == b"EMC":
            open_marks.pop()

    def text(part: str, *_: Any) -> None:
        found.setdefault(open_marks[-1], []).append(part)

    page.extract_text(visitor_operand_before=before, visitor_text=text)
    return {int(place): "".join(parts) for place, parts in found.items() if place is not None}
