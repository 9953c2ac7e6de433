"""A part of a screen that is made anew alone when one of its own choices changes."""

from __future__ import annotations

import functools
from collections.abc import Callable
from typing import Any, Protocol, TypeVar

import streamlit as st

from dashboard import queries
from dashboard.queries import Snapshot
from pipelines.store.store import Store


class Shown(Protocol):
    """What a part is drawn from."""

    @property
    def store(self) -> Store: ...

    @property
    def snapshot(self) -> Snapshot: ...


Given = TypeVar("Given", bound=Shown)


def part(draw: Callable[[Given], None]) -> Callable[[Given], None]:
    """Let a function of a screen rerun without the rest of it: drawing every other chart again takes far longer.

    A part keeps what it was given when the whole screen was made. The viewer belongs to the connection and stays the
    same; where another snapshot is live by now, the whole screen is made anew, never one part of it.
    """

    @functools.wraps(draw)
    def unless_outdated(given: Given) -> None:
        if queries.live_snapshot(given.store) != given.snapshot:
            st.rerun()
        draw(given)

    alone: Callable[[Given], Any] = st.fragment(unless_outdated)
    return alone
