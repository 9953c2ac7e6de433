"""How many files a reader opens to follow the Cohort screen from the session to the last chart."""

from __future__ import annotations

import sys
import threading
from pathlib import Path
from types import FrameType
from typing import Any

from dashboard import figure
from dashboard.access import Viewer
from dashboard.queries import live
from dashboard.screens import cohort
from pipelines.store.store import Store
from tests.browser import ROOT, demo_store
from tests.looking import opened_as, session

__all__ = ["session"]


def entered_files() -> set[str]:
    """Our files of which a function ran while the director's Cohort screen was made from nothing."""
    entered: set[str] = set()

    def enter(frame: FrameType, _event: str, _argument: Any) -> None:
        if frame.f_code.co_name != "<module>":
            entered.add(frame.f_code.co_filename)

    store = Store(demo_store())
    live._OPENED, figure._PICTURES = live.Kept(2), live.Kept(8)
    live._live.cache_clear()
    live._tables_named.cache_clear()
    before = sys.gettrace()
    # The library runs a script in a thread of its own.
    threading.settrace(enter)
    sys.settrace(enter)
    try:
        app = opened_as(cohort, Viewer("director", "saltmarsh-eye"), store)
    finally:
        sys.settrace(before)
        threading.settrace(before)
    assert not app.exception and len(app.get("vega_lite_chart")) == 4
    ours = [Path(name).resolve() for name in entered if name.endswith(".py")]
    return {
        path.relative_to(ROOT).as_posix()
        for path in ours
        if path.is_relative_to(ROOT) and not {"tests", ".venv"} & set(path.relative_to(ROOT).parts)
    }


def test_the_cohort_screen_is_followed_through_at_most_twelve_files() -> None:
    entered = entered_files()
    assert "dashboard/screens/cohort.py" in entered and "dashboard/charts/cohort.py" in entered
    assert len(entered) <= 12, "\n".join(sorted(entered))
