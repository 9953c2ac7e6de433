"""Some views without the others: all of them take a second to make."""

from __future__ import annotations

import contextlib
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

from pipelines.build import build as building


@contextlib.contextmanager
def builds_of(*views: str) -> Iterator[None]:
    """Builds in this process make these views alone, what they read, and the audits of these; none named: all."""
    if not views:
        yield
        return
    paths, tables = _what_is_made(views)
    fitted = {
        place: {name: make for name, make in made.items() if name in tables}
        for place, made in building.FITTED.items()
    }
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(building, "sql_files", lambda _=None: list(paths))
        patch.setattr(building, "FITTED", fitted)
        yield


@cache
def _what_is_made(views: tuple[str, ...]) -> tuple[list[Path], set[str]]:
    """The files of sql/ in their order, and the fitted tables that they read."""
    paths = building.sql_files()
    definitions = {building.view_name(path): path for path in paths if path.name[0] != "0"}
    needed, more = set[str](), set(views)
    while more:
        needed |= more
        more = {name for view in more for name in _words(definitions[view]) & definitions.keys()} - needed
    fitted = {name for made in building.FITTED.values() for name in made}
    tables = {name for view in needed for name in _words(definitions[view]) & fitted}
    chosen = [
        path
        for path in paths
        if path.name[0] == "0"
        or building.view_name(path) in needed
        or (path.name[0] == "9" and _words(path) & (definitions.keys() | fitted) <= needed | tables)
    ]
    return chosen, tables


@cache
def _words(path: Path) -> frozenset[str]:
    """The words of a file's SQL, without its comments."""
    text = re.sub(r"(?m)^\s*--.*$", "", path.read_text(encoding="utf-8"))
    return frozenset(re.findall(r"\w+", text.partition("comment on ")[0]))
