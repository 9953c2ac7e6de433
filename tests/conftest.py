"""Fixtures of several files."""

from __future__ import annotations

import pytest

from pipelines import judging


@pytest.fixture
def without_the_suite(monkeypatch: pytest.MonkeyPatch) -> None:
    """Other tests see that suite and findings count the same; here it would only take its time at every intake."""
    monkeypatch.setattr(judging, "validate", lambda *_: None)
