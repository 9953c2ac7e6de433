"""What `check` takes for files that are small to hand over and large to read: python -m tests.benchmarks.hostile.

For each: how it ended, the seconds of the processor and the peak of memory of a process of its own. Nothing is asserted.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from multiprocessing import Process
from pathlib import Path

from tests.hostile_files import HOSTILE

ROOT = Path(__file__).parents[2]


def main() -> None:
    print("file, size, ended with, processor, peak memory (aims: 20 s, 1,000 MB)")
    with tempfile.TemporaryDirectory() as scratch:
        for hostile in HOSTILE:
            path = Path(scratch) / hostile.name
            # Made by another process: a child's peak is at least what its parent takes.
            maker = Process(target=hostile.write, args=(Path(scratch), 1))
            maker.start()
            maker.join()
            words = [sys.executable, "-m", "pipelines", "check", path, "--specialty", "ophthalmology"]
            child = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, cwd=ROOT)
            _, status, used = os.wait4(child.pid, 0)
            child.returncode = os.waitstatus_to_exitcode(status)
            peak = used.ru_maxrss * (1 if sys.platform == "darwin" else 1024) / 1e6
            print(
                f"{path.name}, {path.stat().st_size / 1e6:.1f} MB, {child.returncode},"
                f" {used.ru_utime + used.ru_stime:.1f} s, {peak:,.0f} MB",
                flush=True,
            )
            path.unlink()


if __name__ == "__main__":
    main()
