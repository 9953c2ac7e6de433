"""Fixtures of several files."""

from __future__ import annotations

import pytest

from pipelines.intake import judging

# The longest files, so that no process is left with one of them at the end.
FIRST = ("test_browser", "test_oracle", "test_privacy", "test_ended_halfway", "test_awkward")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The longest files first, in the order above; the others as they come."""
    items.sort(
        key=lambda item: next(
            (at for at, name in enumerate(FIRST) if item.path.stem.startswith(name)), len(FIRST)
        )
    )


@pytest.fixture
def without_the_suite(monkeypatch: pytest.MonkeyPatch) -> None:
    """Other tests see that suite and findings count the same; here it would only take its time at every intake."""
    monkeypatch.setattr(judging, "validate", lambda *_: None)
