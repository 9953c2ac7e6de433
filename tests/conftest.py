"""Which tests --quick leaves out, which come first, and fixtures of several files."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from pipelines.intake import suite
from tests import stores
from tests.some_sql import builds_of
from tests.standing import VIEWS

VALIDATE = suite.validate

# The longest files, so that no process is left with one of them at the end.
FIRST = ("test_browser", "test_oracle", "test_privacy", "test_ended_halfway", "test_awkward")
# Files whose tests wait for a browser, a server, a process that is killed, a full disk, a set-up or another engine,
# draw many charts, or give commands to a store, of which each takes a second or more; test_case_refs alone stays, as
# one walk through the commands. A single slow test of another file is marked `slow`.
SLOW = (
    *(
        "test_browser",
        "test_gate",
        "test_department",
        "test_proxy",
        "test_loopback",
        "test_small_counts",
        "test_ended_halfway",
        "test_full_disk",
        "test_run",
        "test_spark",
        "test_screen",
    ),
    *(
        "test_oracle",
        "test_pandas_check",
        "test_published_rates",
        "test_suite_agrees",
        "test_seed",
        "test_chart_looks",
    ),
    *(
        "test_awkward",
        "test_edges",
        "test_everybody",
        "test_privacy",
        "test_store_safety",
        "test_native_files",
    ),
    *(
        "test_append",
        "test_check_command",
        "test_file_names",
        "test_history",
        "test_holding",
        "test_receipts",
    ),
    *("test_replacement", "test_reviews_taken", "test_settings", "test_show", "test_summary"),
    *(
        "test_answers",
        "test_calibration",
        "test_general_surgery",
        "test_write_a_specialty",
        "test_hostile_files",
        "test_mapping",
        "test_official_tally",
        "test_open",
    ),
    # Each of these makes all views again and again, or draws, or asks many questions; one of a kind stays.
    *(
        "test_access",
        "test_case_sequence",
        "test_charts",
        "test_grammar",
        "test_identifiers",
        "test_nothing_identifying_stored",
        "test_pace",
        "test_reconciliation",
        "test_stores_of_before",
        "test_what_others_say",
    ),
    *(
        "test_sql_bands",
        "test_sql_comparison",
        "test_sql_expected",
        "test_sql_milestones",
        "test_sql_opened",
        "test_sql_rates",
        "test_sql_record",
        "test_sql_standing_views",
        "test_sql_supervision",
        "test_sql_technique",
        "test_sql_volume",
    ),
    *(
        "test_own_programme",
        "test_reached",
        "test_split_commands",
        "test_traces",
        "test_two_programmes",
        "test_undo",
    ),
)


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--quick", action="store_true", help="leave out what tests/conftest.py calls slow")


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """With --quick a slow file is not even imported."""
    return True if config.getoption("quick") and collection_path.stem.startswith(SLOW) else None


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """The longest files first, in the order above; the others as they come."""
    items.sort(
        key=lambda item: next(
            (at for at, name in enumerate(FIRST) if item.path.stem.startswith(name)), len(FIRST)
        )
    )
    if config.getoption("quick"):
        slow = [item for item in items if item.get_closest_marker("slow")]
        config.hook.pytest_deselected(items=slow)
        items[:] = [item for item in items if item not in slow]


@pytest.fixture(scope="session", autouse=True)
def _share_and_clear_up(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """The processes of one run find what they share in the folder of the run, which pytest removes later."""
    own = tmp_path_factory.getbasetemp()
    stores.shared_folder = own.parent if "PYTEST_XDIST_WORKER" in os.environ else own
    yield
    stores.at_the_end.close()


@pytest.fixture(scope="session", autouse=True)
def _without_the_suite() -> Iterator[None]:
    """Great Expectations takes seconds to import; the tests marked `suite`, and every command run by run.py, have it."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(suite, "validate", lambda *_: {})
        patch.setattr(suite, "load_meanwhile", lambda: None)
        yield


@pytest.fixture(scope="module")
def builds_of_the_log() -> Iterator[None]:
    """For files whose tests give many commands and look at rows, findings and counts alone."""
    with builds_of("case_record", "live_intake", *VIEWS):
        yield


@pytest.fixture(autouse=True)
def _with_the_suite(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    if "suite" in request.keywords:
        monkeypatch.setattr(suite, "validate", VALIDATE)
