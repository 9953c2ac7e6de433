#!/usr/bin/env python3
"""Start Cohort Standing on a machine that has only Python: set up once, then hand over.

    python3 run.py COMMAND ...         a command of `pipelines`, in the caller's folder
    python3 run.py test [ARGUMENT ...] the tests, through pytest

The first start makes `.venv` beside this file and installs `requirements.lock` into it; every start after
that goes straight to the command. Whatever this file says goes to stderr: stdout belongs to the command.

The file keeps to the grammar of Python 3.6, so that an older Python reads far enough to be told its age.
"""

import errno
import hashlib
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import IO, Any, Sequence

OLDEST_PYTHON = (3, 11)
CHECKOUT = Path(os.path.realpath(__file__)).parent
REQUIREMENTS = CHECKOUT / "requirements.lock"
VENV = CHECKOUT / ".venv"
VENV_PYTHON = VENV / "bin" / "python"
MARKER = VENV / "set-up-complete"
LOCK = CHECKOUT / ".venv.lock"
BROWSERS = ("chromium", "chromium-browser")
# A process a core; the tests of one file share what they made; files are taken in the order of tests/conftest.py.
EVERY_TEST = ("-n", "auto", "--dist", "loadfile", "--no-loadscope-reorder")
PIP_INSTALL = (
    "install",
    "--disable-pip-version-check",
    "--no-input",
    "--quiet",
    "--require-hashes",
    # A source package would fetch build tools that the lock does not name.
    "--only-binary=:all:",
)


class SetUpFailed(Exception):
    """Why the command cannot start, in words that say what to do."""


def say(words: str) -> None:
    """One line on stderr."""
    print(words, file=sys.stderr, flush=True)


def dotted(version: "Sequence[Any]") -> str:
    """`3.11` of (3, 11, 2, ...)."""
    return ".".join(str(part) for part in version[:2])


def check_machine() -> None:
    """Raise SetUpFailed on Windows and on a Python that is too old."""
    if os.name == "nt":
        raise SetUpFailed("Cohort Standing runs on Linux and macOS. On Windows, start it inside WSL.")
    if sys.version_info[:2] < OLDEST_PYTHON:
        oldest, this = dotted(OLDEST_PYTHON), dotted(sys.version_info)
        raise SetUpFailed(
            f"Cohort Standing needs Python {oldest} or newer; this is Python {this}.\n"
            "Install a newer one and start run.py with it, such as: python3.12 run.py"
        )


def marker_text() -> str:
    """What a finished set-up is good for: these requirements, this Python, this machine, this folder."""
    digest = hashlib.sha256(REQUIREMENTS.read_bytes()).hexdigest()
    return "\n".join([digest, sys.implementation.cache_tag, sys.platform, os.uname().machine, str(VENV), ""])


def is_set_up() -> bool:
    """Whether `.venv` was finished for what is asked of it now, and its Python is still there."""
    try:
        finished_for = MARKER.read_text(encoding="utf-8")
    except FileNotFoundError:
        return False
    return finished_for == marker_text() and os.access(str(VENV_PYTHON), os.X_OK)


def set_up() -> None:
    """Make `.venv` unless it is complete; of two starts at once the second waits for the first."""
    if is_set_up():
        return
    with LOCK.open("w", encoding="utf-8") as lock:
        wait_for(lock)
        if not is_set_up():
            install(lock.fileno())


def wait_for(lock: "IO[str]") -> None:
    """Hold `lock` until this process and the installers it started have ended."""
    import fcntl  # Windows has none, and was told so before this line

    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        say("Another start is setting up in this folder; waiting for it to finish.")
        fcntl.flock(lock, fcntl.LOCK_EX)


def install(lock: int) -> None:
    """Make `.venv` anew. The marker goes first and comes last: without it nothing counts as installed."""
    check_can_make_venv()
    say("Setting up in .venv; this happens once and takes about a minute.")
    if MARKER.exists():
        MARKER.unlink()
    # Inside a virtual environment, maybe the one to be cleared, the Python beneath it must do the work.
    python = getattr(sys, "_base_executable", None) or sys.executable
    run_installer([python, "-I", "-m", "venv", "--clear", "--without-pip", str(VENV)], lock)
    # A step of its own: venv would keep to itself why pip did not get in.
    run_installer([str(VENV_PYTHON), "-I", "-m", "ensurepip", "--default-pip"], lock)
    run_installer([str(VENV_PYTHON), "-I", "-m", "pip", *PIP_INSTALL, "-r", str(REQUIREMENTS)], lock)
    write_marker()
    say("Set-up complete.")


def check_can_make_venv() -> None:
    """Raise SetUpFailed where Python comes without the modules that make `.venv`."""
    try:
        from ensurepip import bootstrap  # noqa: F401 - asks only whether it is there
        from venv import create  # noqa: F401 - asks only whether it is there
    except ImportError as error:
        raise SetUpFailed(
            f"This Python has no {error.name} module, so .venv cannot be made.\n"
            f"On Debian and Ubuntu: apt-get install python3-venv (or python{dotted(sys.version_info)}-venv)"
        ) from None


def run_installer(command: "list[str]", lock: int) -> None:
    """Run one step of the set-up quietly. Raises SetUpFailed with its last lines if it fails.

    The step inherits the lock: should this process be killed, nobody clears `.venv` under a step at work.
    """
    # pip takes its settings from the environment; one for installs into the home folder would go wrong here.
    environment = dict(os.environ, PIP_USER="0")
    step = subprocess.run(
        command,
        cwd=str(CHECKOUT),
        env=environment,
        pass_fds=(lock,),
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        check=False,
    )
    if step.returncode != 0:
        raise SetUpFailed(why_it_failed(step.stdout.decode("utf-8", "replace")))


def why_it_failed(output: str) -> str:
    """The cause in plain words where it is a known one, else the installer's last lines."""
    for number in (errno.ENOSPC, errno.EDQUOT, errno.EACCES, errno.EROFS):
        if os.strerror(number) in output:
            return words_for(number)
    if "No module named pip" in output:
        return (
            "This Python makes a .venv without pip, so nothing can be installed.\n"
            "Start run.py with a complete Python (on Debian and Ubuntu: apt-get install python3-venv)."
        )
    last_lines = [line for line in output.splitlines() if line.strip()][-8:]
    return "\n".join(["Setting up failed. The installer's last lines:", *last_lines])


def words_for(number: "int | None") -> str:
    """What to do about an error number of the operating system; blank for one that is not foreseen."""
    if number in (errno.ENOSPC, errno.EDQUOT):
        return f"The disk is full. Setting up takes about 2 GB in {CHECKOUT}; make room and start again."
    if number in (errno.EACCES, errno.EPERM, errno.EROFS):
        return f"No permission to write in {CHECKOUT}. Start as its owner, or copy it to a folder of yours."
    return ""


def write_marker() -> None:
    """Declare `.venv` complete, in one step that either happened or did not."""
    unfinished = MARKER.with_suffix(".new")
    unfinished.write_text(marker_text(), encoding="utf-8")
    unfinished.replace(MARKER)


def provide_browser() -> None:
    """Install Chromium for the browser tests where this is root on Debian; elsewhere say what to install."""
    if any(shutil.which(name) for name in BROWSERS):
        return
    if os.geteuid() != 0 or not shutil.which("apt-get"):
        say("The browser tests need Chromium: install it, with `chromium` or `chromium-browser` on the PATH.")
        return
    say("Installing Chromium for the browser tests.")
    environment = dict(os.environ, DEBIAN_FRONTEND="noninteractive")
    for step in (["update"], ["install", "-y", "chromium"]):
        command = ["apt-get", "-qq", "-o", "DPkg::Lock::Timeout=300", *step]
        if subprocess.call(command, env=environment, stdin=subprocess.DEVNULL, stdout=sys.stderr) != 0:
            say(f"`apt-get {' '.join(step)}` failed; the browser tests need Chromium.")


def hand_over(arguments: "list[str]") -> None:
    """Become the Python of `.venv`: same process, same folder, its exit code and its signals.

    The caller's folder stays off the import path (-P): a stray calendar.py beside the exports must not run.
    """
    environment = dict(
        os.environ,
        PYTHONPATH=str(CHECKOUT),
        GX_ANALYTICS_ENABLED="false",
        STREAMLIT_BROWSER_GATHER_USAGE_STATS="false",
    )
    sys.stdout.flush()
    os.execve(str(VENV_PYTHON), [str(VENV_PYTHON), "-P", *arguments], environment)


def main(arguments: "list[str]") -> None:
    """Set up, then become the command; returns only by raising."""
    check_machine()
    set_up()
    if arguments[:1] == ["test"]:
        os.chdir(str(CHECKOUT))
        provide_browser()
        hand_over(["-m", "pytest", *(arguments[1:] or EVERY_TEST)])
    hand_over(["-m", "pipelines", *arguments])


if __name__ == "__main__":
    try:
        main(sys.argv[1:])
    except SetUpFailed as failure:
        sys.exit(str(failure))
    except OSError as failure:
        sys.exit(words_for(failure.errno) or f"Setting up failed: {failure}")
    except KeyboardInterrupt:
        say("Stopped. What was not finished is made anew at the next start.")
        sys.exit(130)
