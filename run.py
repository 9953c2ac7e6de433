#!/usr/bin/env python3
"""Start Cohort Standing on a machine that has only Python: set up once, then hand over.

    python3 run.py COMMAND ...         a command of `pipelines`, in the caller's folder
    python3 run.py test [ARGUMENT ...] the tests, through pytest; --quick leaves out the slow ones

The first start makes `.venv` beside this file and installs `requirements.lock` into it, and `test` adds
`tests/requirements.lock`; every start after that goes straight to the command. Whatever this file says goes
to stderr: stdout belongs to the command.

The file keeps to the grammar of Python 3.6, so that an older Python reads far enough to be told its age.
"""

import ast
import errno
import hashlib
import os
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import IO, Any, Callable, NamedTuple, Sequence

OLDEST_PYTHON = (3, 11)
CHECKOUT = Path(os.path.realpath(__file__)).parent
VENV = CHECKOUT / ".venv"
VENV_PYTHON = VENV / "bin" / "python"
LOCK = CHECKOUT / ".venv.lock"
# What the tests need besides packages of Python: Debian's package, and the commands by which it is known.
PROGRAMS = {"chromium": ("chromium", "chromium-browser"), "nginx-light": ("nginx",)}
QUICK = "--quick"
# A process a core; the tests of one file share what they made; files are taken in the order of tests/conftest.py.
IN_PARALLEL = ("-n", "logical", "--dist", "loadfile", "--no-loadscope-reorder")
PIP_INSTALL = (
    "install",
    "--disable-pip-version-check",
    "--no-input",
    "--progress-bar=off",
    "--require-hashes",
    # A source package would fetch build tools that the lock does not name.
    "--only-binary=:all:",
)
# Of pip's settings, those that say from where packages are fetched, and how. Others would send an install
# elsewhere: a target, a prefix, the home folder.
HOW_TO_FETCH = (
    *("index_url", "extra_index_url", "find_links", "no_index", "trusted_host", "proxy", "cert", "client_cert"),
    *("keyring_provider", "cache_dir", "no_cache_dir", "timeout", "retries", "use_feature", "use_deprecated"),
)  # fmt: skip
# Without a network nobody wants to wait long to be told so.
FEW_TRIES = {"retries": "1", "timeout": "15"}
# What pip of different ages prints when it gets no connection.
NO_NETWORK = ("Retrying (Retry(", "Max retries exceeded", "NewConnectionError", "ConnectTimeoutError")
SECONDS_BETWEEN_LINES = 10
# Run by the Python of `.venv`: names each requirement that is not there, or whose modules it cannot find.
NOT_IMPORTABLE = r"""
import sys
from importlib import metadata, util
from pip._vendor.packaging.requirements import Requirement

modules = {}
for module, packages in metadata.packages_distributions().items():
    for package in packages:
        modules.setdefault(package, []).append(module)
with open(sys.argv[1], encoding="utf-8") as lines:
    wanted = [Requirement(line.split(" --hash")[0].rstrip("\\\n ")) for line in lines if line[0].isalnum()]
for each in wanted:
    if each.marker and not each.marker.evaluate():
        continue
    try:
        package = metadata.distribution(each.name)
    except metadata.PackageNotFoundError:
        print(each.name)
        continue
    names = [name for name in modules.get(package.metadata["Name"], []) if name.isidentifier()]
    if package.version not in each.specifier or not all(map(util.find_spec, names)):
        print(each.name)
"""


class Packages(NamedTuple):
    """What is installed together: its lock, and the file in `.venv` that says it is complete."""

    lock: Path
    marker: Path


FOR_USE = Packages(CHECKOUT / "requirements.lock", VENV / "set-up-complete")
FOR_TESTS = Packages(CHECKOUT / "tests" / "requirements.lock", VENV / "set-up-for-tests-complete")


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


def marker_text(packages: Packages) -> str:
    """What a finished set-up is good for: these requirements, this Python, this machine, this folder."""
    digest = hashlib.sha256(packages.lock.read_bytes()).hexdigest()
    return "\n".join([digest, sys.implementation.cache_tag, sys.platform, os.uname().machine, str(VENV), ""])


def is_set_up(packages: Packages) -> bool:
    """Whether `.venv` was finished for what is asked of it now, and its Python is still there."""
    try:
        finished_for = packages.marker.read_text(encoding="utf-8")
    except (FileNotFoundError, NotADirectoryError):
        return False
    return finished_for == marker_text(packages) and os.access(str(VENV_PYTHON), os.X_OK)


def set_up(*wanted: Packages) -> None:
    """Make `.venv` unless it is complete; of two starts at once the second waits for the first."""
    if all(map(is_set_up, wanted)):
        return
    with LOCK.open("w", encoding="utf-8") as lock:
        wait_for(lock)
        if all(map(is_set_up, wanted)):
            return
        if not is_set_up(FOR_USE):
            make_venv(lock.fileno())
        for packages in wanted:
            if not is_set_up(packages):
                install(packages, lock.fileno())
        say("Set-up complete.")


def wait_for(lock: "IO[str]") -> None:
    """Hold `lock` until this process and the installers it started have ended."""
    import fcntl  # Windows has none, and was told so before this line

    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        say("Another start is setting up in this folder; waiting for it to finish.")
        fcntl.flock(lock, fcntl.LOCK_EX)


def make_venv(lock: int) -> None:
    """Make `.venv` anew, with pip and nothing else: its marker goes first, so that nothing counts as installed."""
    check_can_make_venv()
    say("Setting up in .venv; this happens once and takes a few minutes.")
    if FOR_USE.marker.exists():
        FOR_USE.marker.unlink()
    # Inside a virtual environment, maybe the one to be cleared, the Python beneath it must do the work.
    python = getattr(sys, "_base_executable", None) or sys.executable
    run_installer([python, "-I", "-m", "venv", "--clear", "--without-pip", str(VENV)], lock)
    # A step of its own: venv would keep to itself why pip did not get in.
    run_installer([str(VENV_PYTHON), "-I", "-m", "ensurepip", "--default-pip"], lock)


def install(packages: Packages, lock: int) -> None:
    """Install what the lock names into `.venv`; the marker comes last, when all of it is there."""
    name = packages.lock.relative_to(CHECKOUT)
    say(f"Installing {name}: {len(requirements(packages))} packages.")
    pip = [str(VENV_PYTHON), "-I", "-m", "pip"]
    settings = fetching(run_installer([*pip, "config", "list"], lock, environment_without("PYTHON")))
    run_installer(
        [*pip, *PIP_INSTALL, "-r", str(packages.lock)],
        lock,
        dict(installers_environment(), **settings),
        lambda output: progress(packages, output),
    )
    say(f"Checking {name}.")
    missing = run_installer([str(VENV_PYTHON), "-I", "-c", NOT_IMPORTABLE, str(packages.lock)], lock).split()
    if missing:
        raise SetUpFailed(
            f"Setting up failed: pip reported no error, but .venv lacks {', '.join(missing)}.\n"
            "A setting of pip may send packages elsewhere; `python3 -m pip config list` prints them."
        )
    write_marker(packages)


def requirements(packages: Packages) -> "list[str]":
    """The lines of the lock that name a package; the others hold its hashes."""
    lines = packages.lock.read_text(encoding="utf-8").splitlines()
    return [line for line in lines if line[:1].isalnum()]


def fetching(listed: str) -> "dict[str, str]":
    """Of pip's settings, as `pip config list` prints them, those of HOW_TO_FETCH, as environment variables."""
    settings = dict(FEW_TRIES)
    found = re.findall(r"^(global|install|:env:)\.([\w.-]+)=(.*)$", listed, re.MULTILINE)
    # Of a setting that is made twice, pip takes the one that stands last in this order.
    for section in ("global", "install", ":env:"):
        for at, key, value in found:
            name = key.strip(".").lower().replace("-", "_").replace("default_timeout", "timeout")
            if at == section and name in HOW_TO_FETCH:
                settings[name] = ast.literal_eval(value)
    return {f"PIP_{name.upper()}": value for name, value in settings.items()}


def plain(package: str) -> str:
    """One way of writing for every way in which a package's name is written."""
    return re.sub(r"[-_.]+", "-", package).lower()


def progress(packages: Packages, output: str) -> str:
    """How far pip has come, in words."""
    left_out = len(re.findall(r"^Ignoring ", output, re.MULTILINE))
    unpacking = re.search(r"^Installing collected packages: (.*)$", output, re.MULTILINE)
    if not unpacking:
        fetched = len(re.findall(r"^Collecting |^Requirement already satisfied", output, re.MULTILINE))
        return f"Fetching packages: {fetched} of {len(requirements(packages)) - left_out}."
    wanted = {plain(package) for package in unpacking.group(1).split(", ")}
    there = {plain(path.name.split("-")[0]) for path in VENV.glob("lib/*/site-packages/*.dist-info")}
    return f"Unpacking packages: {len(wanted & there)} of {len(wanted)}."


def check_can_make_venv() -> None:
    """Raise SetUpFailed where Python lacks the modules that make `.venv`, or something else has its name."""
    try:
        from ensurepip import bootstrap  # noqa: F401 - asks only whether it is there
        from venv import create  # noqa: F401 - asks only whether it is there
    except ImportError as error:
        raise SetUpFailed(
            f"This Python has no {error.name} module, so .venv cannot be made.\n"
            f"On Debian and Ubuntu: apt-get install python3-venv (or python{dotted(sys.version_info)}-venv)"
        ) from None
    if os.path.lexists(str(VENV)) and not VENV.is_dir():
        raise SetUpFailed(f"{VENV} is not a folder. Move it away or delete it, then start again.")


def environment_without(*beginnings: str) -> "dict[str, str]":
    """The caller's environment without the variables that begin so."""
    return {name: value for name, value in os.environ.items() if not name.startswith(beginnings)}


def installers_environment() -> "dict[str, str]":
    """An environment in which no setting of Python or pip is left that could send an install elsewhere."""
    return dict(environment_without("PIP_", "PYTHON"), PIP_CONFIG_FILE=os.devnull)


def run_installer(
    command: "list[str]",
    lock: int,
    environment: "dict[str, str] | None" = None,
    progress: "Callable[[str], str] | None" = None,
) -> str:
    """Run one step of the set-up and return its output. Raises SetUpFailed with its last lines if it fails.

    `progress` puts the output so far into words, said now and then. The step inherits the lock: should this
    process be killed, nobody clears `.venv` under a step at work.
    """
    with tempfile.TemporaryFile() as output:
        step = subprocess.Popen(
            command,
            cwd=str(CHECKOUT),
            env=environment or installers_environment(),
            pass_fds=(lock,),
            stdin=subprocess.DEVNULL,
            stdout=output,
            stderr=subprocess.STDOUT,
        )
        last_words = ""
        while True:
            try:
                failed = step.wait(SECONDS_BETWEEN_LINES)
                break
            except subprocess.TimeoutExpired:
                words = progress(printed(output)) if progress else ""
                if words != last_words:
                    say(words)
                last_words = words
        if failed:
            raise SetUpFailed(why_it_failed(printed(output)))
        return printed(output)


def printed(output: "IO[bytes]") -> str:
    """What a step has written so far; the place where it writes on stays as it is."""
    size = os.fstat(output.fileno()).st_size
    return os.pread(output.fileno(), size, 0).decode("utf-8", "replace")


def why_it_failed(output: str) -> str:
    """The cause in plain words where it is a known one, else the installer's last lines."""
    for number in (errno.ENOSPC, errno.EDQUOT, errno.EACCES, errno.EROFS):
        if os.strerror(number) in output:
            return words_for(number)
    if any(words in output for words in NO_NETWORK):
        return (
            "No package registry can be reached, so nothing can be installed. Connect this machine to the network;\n"
            "pip's own settings for a proxy or another registry hold here too (PIP_PROXY, PIP_INDEX_URL, pip.conf)."
        )
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


def write_marker(packages: Packages) -> None:
    """Declare these packages complete, in one step that either happened or did not."""
    unfinished = packages.marker.with_suffix(".new")
    unfinished.write_text(marker_text(packages), encoding="utf-8")
    unfinished.replace(packages.marker)


def provide_programs() -> None:
    """Install Chromium and nginx for the tests where this is root on Debian; elsewhere say what to install."""
    path = os.environ.get("PATH", os.defpath) + os.pathsep + "/usr/sbin"
    missing = [
        package
        for package, names in PROGRAMS.items()
        if not any(shutil.which(name, path=path) for name in names)
    ]
    if not missing:
        return
    needed = f"The tests need {' and '.join(missing)}"
    if os.geteuid() != 0 or not shutil.which("apt-get"):
        say(f"{needed}: install what is missing, with its command on the PATH.")
        return
    say(f"Installing {' and '.join(missing)} for the tests.")
    environment = dict(os.environ, DEBIAN_FRONTEND="noninteractive")
    for step in (["update"], ["install", "-y", *missing]):
        command = ["apt-get", "-qq", "-o", "DPkg::Lock::Timeout=300", *step]
        if subprocess.call(command, env=environment, stdin=subprocess.DEVNULL, stdout=sys.stderr) != 0:
            say(f"`apt-get {' '.join(step)}` failed. {needed}.")


def hand_over(arguments: "list[str]") -> None:
    """Become the Python of `.venv`: same process, same folder, its exit code and its signals.

    The caller's folder stays off the import path (-P): a stray calendar.py beside the exports must not run.
    """
    environment = dict(
        environment_without("PYTHONHOME", "PYTHONPLATLIBDIR"),  # they would lead away from .venv
        PYTHONPATH=str(CHECKOUT),
        GX_ANALYTICS_ENABLED="false",
        STREAMLIT_BROWSER_GATHER_USAGE_STATS="false",
    )
    sys.stdout.flush()
    os.execve(str(VENV_PYTHON), [str(VENV_PYTHON), "-P", *arguments], environment)


def main(arguments: "list[str]") -> None:
    """Set up, then become the command; returns only by raising."""
    check_machine()
    if arguments[:1] != ["test"]:
        set_up(FOR_USE)
        hand_over(["-m", "pipelines", *arguments])
    set_up(FOR_USE, FOR_TESTS)
    os.chdir(str(CHECKOUT))
    if QUICK not in arguments:
        provide_programs()
    hand_over(["-m", "pytest", *IN_PARALLEL, *arguments[1:]])


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
