"""Fixtures of several files."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from pipelines.intake import suite

VALIDATE = suite.validate

# The longest files, so that no process is left with one of them at the end.
FIRST = ("test_browser", "test_oracle", "test_privacy", "test_ended_halfway", "test_awkward")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The longest files first, in the order above; the others as they come."""
    items.sort(
        key=lambda item: next(
            (at for at, name in enumerate(FIRST) if item.path.stem.startswith(name)), len(FIRST)
        )
    )


@pytest.fixture(scope="session", autouse=True)
def _without_the_suite() -> Iterator[None]:
    """Great Expectations takes seconds to import; the tests marked `suite`, and every command run by run.py, have it."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(suite, "validate", lambda *_: {})
        yield


@pytest.fixture(autouse=True)
def _with_the_suite(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    if "suite" in request.keywords:
        monkeypatch.setattr(suite, "validate", VALIDATE)
