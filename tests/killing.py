"""Starts commands in processes of their own and kills them: `python -m tests.killing`, one order a line.

An order is JSON: `argv` of the command, and `after`, the seconds from the moment when it says that it is storing
to its end by SIGKILL. The answer is a line: how it ended, as its exit code, or -9 where it was killed.
"""

from __future__ import annotations

import contextlib
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from pipelines.cli.commands import main


@contextlib.contextmanager
def killer() -> Iterator[Callable[[list[object], float], int]]:
    """A function that starts a command and kills it; its first call waits until the libraries are there."""
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.killing"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        cwd=Path(__file__).parents[1],
    )
    assert process.stdin is not None and process.stdout is not None
    told, answers = process.stdin, process.stdout

    def ended(argv: list[object], after: float) -> int:
        told.write(json.dumps({"argv": [str(word) for word in argv], "after": after}) + "\n")
        told.flush()
        return int(answers.readline())

    with process:
        yield ended
        told.close()
        process.wait()


def serve() -> None:
    # Imported once, before any order: a child inherits them, so a kill does not hit the import.
    import great_expectations  # noqa: F401 - imported for what comes after the fork

    from pipelines.intake import suite, take  # noqa: F401 - the same

    for line in sys.stdin:
        order = json.loads(line)
        print(how_it_ended(order["argv"], order["after"]), flush=True)


def how_it_ended(argv: list[str], after: float) -> int:
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        run_and_end(argv, writing)
    os.close(writing)
    with os.fdopen(reading, encoding="utf-8") as said:
        heard = []
        for line in said:
            heard.append(line)
            if line.startswith("Storing"):
                break
        time.sleep(after)
        os.kill(child, signal.SIGKILL)
        code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    if code > 0:
        sys.stderr.writelines(heard)
    return code


def run_and_end(argv: list[str], stderr: int) -> None:
    os.dup2(stderr, 2)
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    os._exit(main(argv))


if __name__ == "__main__":
    serve()
