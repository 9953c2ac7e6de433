"""Disks of a test's own, mounted where only its own processes see them."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
# A line of a script: `cohort WORD…` is a command of the project; how it ended and what it said go to files.
SCRIPT = """\
set -u
python=$1 out=$2 place=$3 store=$4
shift 4
cohort() { "$python" -m pipelines "$@" >"$out/$step.out" 2>"$out/$step.err"; echo $? >"$out/$step.code"; }
"""


class Ended:
    """How the steps of a script ended, by their names."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def code(self, step: str) -> int:
        return int((self.folder / f"{step}.code").read_text())

    def out(self, step: str) -> str:
        return (self.folder / f"{step}.out").read_text(encoding="utf-8")

    def err(self, step: str) -> str:
        return (self.folder / f"{step}.err").read_text(encoding="utf-8")


def in_own_mounts(folder: Path, store: Path, script: str, *words: object) -> Ended:
    """Runs a script that may mount at "$place"; fails the test where this machine does not let it."""
    place, out = folder / "place", folder / "ended"
    place.mkdir()
    out.mkdir()
    mount = f'mount -t tmpfs -o size=1m tmpfs "{place}"'
    try:
        allowed = subprocess.run(
            ["unshare", "--mount", "sh", "-c", mount], capture_output=True, text=True, check=False
        )
    except FileNotFoundError:
        pytest.fail("This test mounts a disk of its own: it needs Linux with the command unshare.")
    if allowed.returncode:
        pytest.fail(
            "This test mounts a disk of its own: run it as root, where unshare and mount are permitted (a container"
            f" needs the capability SYS_ADMIN). Here: {allowed.stderr.strip()}"
        )
    given = [sys.executable, out, place, store, *words]
    done = subprocess.run(
        ["unshare", "--mount", "bash", "-c", SCRIPT + script, "bash", *map(str, given)],
        capture_output=True,
        text=True,
        check=False,
        cwd=ROOT,
    )
    assert done.returncode == 0, done.stderr
    return Ended(out)
