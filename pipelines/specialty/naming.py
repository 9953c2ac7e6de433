"""Faults of names: one that leads nowhere, one that stands twice."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator

Fault = tuple[str, str]  # path inside the file; what is wrong and what is allowed


def unknown(path: str, named: Iterable[str], allowed: Iterable[str], what: str) -> Iterator[Fault]:
    """Each name that is none of those allowed."""
    known = list(allowed)
    choice = f"Use one of: {', '.join(known)}" if known else "The file names none"
    for name in named:
        if name not in known:
            yield path, f'"{name}" is not {what} of this file. {choice}'


def named_twice(path: str, names: Iterable[str]) -> Iterator[Fault]:
    """Each name that stands more than once."""
    for name, times in Counter(names).items():
        if times > 1:
            yield path, f'"{name}" is named {times} times; once is allowed'
