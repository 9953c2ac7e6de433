"""How many files of ours one path through the program crosses: what a newcomer must open to follow it."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from types import FrameType
from typing import Any

import pytest

from tests.standing import EARLIER, ROSTER
from tests.stores import new_store, run_well, write_csv

ROOT = Path(__file__).parents[1]
OURS = (ROOT / "pipelines", ROOT / "dashboard")


def files_entered(path: Callable[[], Any]) -> set[str]:
    """The files of pipelines/ and dashboard/ of which a function is called; importing a module is no call."""
    entered: set[str] = set()

    def called(frame: FrameType, _event: str, _argument: object) -> None:
        code = frame.f_code
        if code.co_name != "<module>" and code.co_filename.startswith(str(ROOT)):
            file = Path(code.co_filename)
            if any(file.is_relative_to(folder) for folder in OURS):
                entered.add(str(file.relative_to(ROOT)))

    before = sys.gettrace()
    sys.settrace(called)
    try:
        path()
    finally:
        sys.settrace(before)
    return entered


@pytest.mark.suite
def test_one_row_from_its_file_to_the_store_crosses_at_most_14_files(tmp_path: Path) -> None:
    store = new_store(tmp_path)
    run_well("intake", write_csv(tmp_path / "roster.csv", ROSTER), "--store", store)
    header, row, *_ = EARLIER.splitlines(keepends=True)
    file = write_csv(tmp_path / "cases.csv", header + row)
    # Once before, so that no class is made and no module imported on the way.
    run_well("check", file, "--store", store)
    entered = files_entered(lambda: run_well("intake", file, "--store", store))
    # What comes after a row is stored: the build, which reads all that is live, and the words of the answer.
    after = (
        "pipelines/build/",
        "pipelines/cli/",
        "pipelines/intake/answers.py",
        "pipelines/store/access_log.py",
    )
    assert len([file for file in entered if not file.startswith(after)]) <= 14, sorted(entered)
    # One of the files of the build is the account, which compares the row stored with the receipt.
    assert len(entered) <= 26, sorted(entered)
