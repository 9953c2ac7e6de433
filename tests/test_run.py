"""run.py: a machine with only Python gets from nothing to the command, or is told plainly what is missing.

Every set-up here is real (venv, pip, a wheel with its hash), but happens in a scratch checkout whose lock
names one tiny wheel beside it, so that nothing is fetched.
"""

from __future__ import annotations

import ast
import errno
import hashlib
import os
import shutil
import subprocess
import sys
import time
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

import run

RUN_PY = Path(run.__file__)
WHEEL = "tiny-1.0-py3-none-any.whl"
COMMAND = """
import json, os, sys
import tiny
says = dict(arguments=sys.argv[1:], folder=os.getcwd(), process=os.getpid(), path=sys.path[0])
says["settings"] = [os.environ["GX_ANALYTICS_ENABLED"], os.environ["STREAMLIT_BROWSER_GATHER_USAGE_STATS"]]
print(json.dumps(says))
sys.exit(int(sys.argv[1]))
"""
SETTING_UP = "Setting up in .venv; this happens once and takes about a minute.\n"
PYTEST = "import os, sys; print(os.getcwd(), sys.argv[1:]); sys.exit(5)"


def make_checkout(folder: Path) -> Path:
    """A checkout with the real run.py, a lock of one wheel, and stand-ins for `pipelines` and `pytest`."""
    (folder / "pipelines").mkdir(parents=True)
    shutil.copy(RUN_PY, folder)
    (folder / "pipelines" / "__main__.py").write_text(COMMAND)
    (folder / "pytest.py").write_text(PYTEST)
    with zipfile.ZipFile(folder / WHEEL, "w") as wheel:
        wheel.writestr("tiny.py", "")
        wheel.writestr("tiny-1.0.dist-info/METADATA", "Metadata-Version: 2.1\nName: tiny\nVersion: 1.0\n")
        wheel.writestr(
            "tiny-1.0.dist-info/WHEEL", "Wheel-Version: 1.0\nRoot-Is-Purelib: true\nTag: py3-none-any\n"
        )
        wheel.writestr("tiny-1.0.dist-info/RECORD", "")
    lock(folder, hashlib.sha256((folder / WHEEL).read_bytes()).hexdigest())
    return folder


def lock(checkout: Path, sha256: str) -> None:
    (checkout / "requirements.lock").write_text(f"./{WHEEL} --hash=sha256:{sha256}\n")


def environment(**more: str) -> dict[str, str]:
    return {name: value for name, value in os.environ.items() if name != "PYTHONPATH"} | more


def started(checkout: Path, *arguments: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, str(checkout / "run.py"), *arguments],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=environment(),
    )


def start(checkout: Path, *arguments: str, folder: Path | None = None) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, str(checkout / "run.py"), *arguments],
        capture_output=True,
        text=True,
        check=False,
        cwd=folder,
        env=environment(),
    )


def start_where(
    condition: str, checkout: Path, *arguments: str, path: str | None = None
) -> subprocess.CompletedProcess[str]:
    """Start run.py in a Python where `condition`, a line of code, has come true first."""
    run_py = str(checkout / "run.py")
    driver = f"""
import errno, os, pathlib, runpy, sys
{condition}
sys.argv = {[run_py, *arguments]!r}
runpy.run_path({run_py!r}, run_name="__main__")
"""
    return subprocess.run(
        [sys.executable, "-c", driver],
        capture_output=True,
        text=True,
        check=False,
        env=environment(PATH=path or os.environ["PATH"]),
    )


@pytest.fixture(scope="module")
def ready(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A checkout that is set up."""
    checkout = make_checkout(tmp_path_factory.mktemp("ready") / "checkout")
    first = start(checkout, "0")
    assert (first.returncode, first.stderr) == (0, SETTING_UP + "Set-up complete.\n")
    return checkout


@pytest.fixture
def bare(tmp_path: Path) -> Path:
    """A checkout that has never been started."""
    return make_checkout(tmp_path / "checkout")


# ---- what a started command gets


def test_the_command_gets_its_arguments_and_its_exit_code_comes_back(ready: Path) -> None:
    done = start(ready, "14", "intake", "--by", "A B")
    assert done.returncode == 14
    assert '"arguments": ["14", "intake", "--by", "A B"]' in done.stdout


def test_a_second_start_says_nothing_of_its_own(ready: Path) -> None:
    done = start(ready, "0")
    assert done.stderr == ""
    assert done.stdout.count("\n") == 1


def test_the_caller_stays_in_the_callers_folder_and_nothing_there_is_imported(
    ready: Path, tmp_path: Path
) -> None:
    for name in ("pipelines.py", "tiny.py", "json.py"):
        (tmp_path / name).write_text("raise SystemExit('a stray file was run')")
    done = start(ready, "0", folder=tmp_path)
    assert done.returncode == 0
    assert f'"folder": "{tmp_path}"' in done.stdout
    assert f'"path": "{ready}"' in done.stdout


def test_the_command_is_the_process_that_was_started_so_signals_reach_it(ready: Path) -> None:
    with started(ready, "0") as process:
        answer, _ = process.communicate()
    assert f'"process": {process.pid},' in answer


def test_libraries_that_send_usage_data_are_told_not_to(ready: Path) -> None:
    assert '"settings": ["false", "false"]' in start(ready, "0").stdout


def test_a_start_after_the_first_costs_less_than_half_a_second(ready: Path) -> None:
    def seconds() -> float:
        before = time.perf_counter()
        start(ready, "0")
        return time.perf_counter() - before

    assert min(seconds() for _ in range(5)) < 0.5


# ---- set-up


def test_of_two_starts_at_once_the_second_waits_and_both_answer(bare: Path) -> None:
    with started(bare, "3") as first:
        assert first.stderr is not None
        assert first.stderr.readline() == SETTING_UP
        second = start(bare, "4")
        answer, _ = first.communicate()
    assert (first.returncode, second.returncode) == (3, 4)
    assert second.stderr == "Another start is setting up in this folder; waiting for it to finish.\n"
    assert '"arguments": ["3"]' in answer
    assert '"arguments": ["4"]' in second.stdout


def test_a_set_up_that_was_killed_is_made_anew(bare: Path) -> None:
    with started(bare, "3") as first:
        assert first.stderr is not None
        assert first.stderr.readline() == SETTING_UP
        first.kill()
    assert not (bare / ".venv" / run.MARKER.name).exists()
    second = start(bare, "4")
    assert second.returncode == 4
    assert SETTING_UP in second.stderr


def test_an_installer_left_behind_by_a_killed_start_still_holds_the_lock(tmp_path: Path) -> None:
    with (tmp_path / "lock").open("w") as held:
        # Fails, and so raises, where the installer did not inherit the open lock.
        run.run_installer([sys.executable, "-c", f"import os; os.fstat({held.fileno()})"], held.fileno())


def lose_the_marker(checkout: Path) -> None:
    (checkout / ".venv" / run.MARKER.name).unlink()


def lose_the_python(checkout: Path) -> None:
    python = checkout / ".venv" / "bin" / "python"
    python.unlink()
    python.symlink_to("/nowhere/python")


@pytest.mark.parametrize("spoil", [lose_the_marker, lose_the_python])
def test_a_half_made_or_broken_set_up_is_made_anew(spoil: Callable[[Path], None], ready: Path) -> None:
    left_over = ready / ".venv" / "left-over"
    left_over.write_text("")
    spoil(ready)
    done = start(ready, "0")
    assert (done.returncode, done.stderr) == (0, SETTING_UP + "Set-up complete.\n")
    assert not left_over.exists()


def test_another_lock_is_installed_anew_and_a_package_whose_hash_differs_is_refused(ready: Path) -> None:
    good = (ready / "requirements.lock").read_text()
    lock(ready, "0" * 64)
    refused = start(ready, "0")
    assert (refused.returncode, refused.stdout) == (1, "")
    assert "Setting up failed. The installer's last lines:" in refused.stderr
    assert "0" * 64 in refused.stderr
    assert "Traceback" not in refused.stderr
    (ready / "requirements.lock").write_text(good)
    mended = start(ready, "0")
    assert (mended.returncode, mended.stderr) == (0, SETTING_UP + "Set-up complete.\n")


# ---- clear words


def test_an_older_python_can_read_the_file() -> None:
    ast.parse(RUN_PY.read_text(encoding="utf-8"), feature_version=(3, 6))


NO_VENV = "so .venv cannot be made.\nOn Debian and Ubuntu: apt-get install python3-venv"
WRITING_FAILS = """
def fails(*_, **__):
    raise OSError(number, os.strerror(number))
pathlib.Path.open = fails
"""
NOT_STARTED = [
    ("sys.version_info = (3, 10, 9, 'final', 0)", "needs Python 3.11 or newer; this is Python 3.10."),
    ("sys.modules['ensurepip'] = None", f"no ensurepip module, {NO_VENV}"),
    ("sys.modules['venv'] = None", f"no venv module, {NO_VENV}"),
    (f"number = errno.ENOSPC\n{WRITING_FAILS}", "The disk is full."),
    (f"number = errno.EROFS\n{WRITING_FAILS}", "No permission to write in"),
    (f"number = errno.EACCES\n{WRITING_FAILS}", "No permission to write in"),
]


@pytest.mark.parametrize(("condition", "words"), NOT_STARTED)
def test_what_is_missing_is_said_in_two_lines_at_most(condition: str, words: str, bare: Path) -> None:
    done = start_where(condition, bare, "0")
    assert (done.returncode, done.stdout) == (1, "")
    assert words in done.stderr
    assert len(done.stderr.splitlines()) <= 2
    assert "Traceback" not in done.stderr
    assert not (bare / ".venv").exists()


def test_windows_is_sent_to_wsl(monkeypatch: pytest.MonkeyPatch) -> None:
    with monkeypatch.context() as windows:
        windows.setattr("os.name", "nt")
        with pytest.raises(run.SetUpFailed, match="inside WSL"):
            run.check_machine()


@pytest.mark.parametrize(
    ("output", "words"),
    [
        # What pip 23 and ensurepip print on a full and on a read-only disk.
        ("ERROR: Could not install packages: [Errno 28] No space left on device", "disk is full"),
        ("PermissionError: [Errno 13] Permission denied: 'x'", "No permission to write"),
        ("Error: [Errno 30] Read-only file system: '/x/.venv'", "No permission to write"),
        ("/x/.venv/bin/python: No module named pip", "without pip"),
        ("\n".join(f"line {number}" for number in range(20)), "line 12\nline 13\nline 14"),
    ],
)  # fmt: skip
def test_an_installers_trouble_is_put_into_words(output: str, words: str) -> None:
    assert words in run.why_it_failed(output)
    assert "line 11" not in run.why_it_failed(output)


def test_an_unforeseen_error_number_has_no_words_of_its_own() -> None:
    assert run.words_for(errno.ELOOP) == ""


# ---- the tests' own start


def tools(folder: Path, **scripts: str) -> str:
    """A PATH that holds only these commands."""
    folder.mkdir()
    for name, script in scripts.items():
        (folder / name).write_text(f"#!/bin/sh\n{script}\n")
        (folder / name).chmod(0o755)
    return str(folder)


ROOT, SOMEBODY = "os.geteuid = lambda: 0", "os.geteuid = lambda: 1000"


@pytest.mark.parametrize("browser", ["chromium", "chromium-browser"])
def test_test_passes_its_arguments_to_pytest_in_the_checkout(
    browser: str, ready: Path, tmp_path: Path
) -> None:
    path = tools(tmp_path / "bin", **{browser: ""})
    done = start_where(ROOT, ready, "test", "-k", "volume", path=path)
    assert (done.returncode, done.stdout) == (5, f"{ready} ['-k', 'volume']\n")
    assert done.stderr == ""


def test_root_on_debian_gets_a_browser_without_a_word_on_stdout(ready: Path, tmp_path: Path) -> None:
    script = 'echo "$DEBIAN_FRONTEND $@"'
    done = start_where(ROOT, ready, "test", path=tools(tmp_path / "bin", **{"apt-get": script}))
    assert (done.returncode, done.stdout) == (5, f"{ready} {list(run.EVERY_TEST)}\n")
    assert done.stderr.splitlines() == [
        "Installing Chromium for the browser tests.",
        "noninteractive -qq -o DPkg::Lock::Timeout=300 update",
        "noninteractive -qq -o DPkg::Lock::Timeout=300 install -y chromium",
    ]


@pytest.mark.parametrize(
    ("who", "scripts", "words"),
    [
        (SOMEBODY, {"apt-get": "exit 0"}, "The browser tests need Chromium: install it"),
        (ROOT, {}, "The browser tests need Chromium: install it"),
        (ROOT, {"apt-get": "exit 100"}, "`apt-get install -y chromium` failed"),
    ],
)
def test_without_a_browser_the_tests_still_start_and_are_told(
    who: str, scripts: dict[str, str], words: str, ready: Path, tmp_path: Path
) -> None:
    done = start_where(who, ready, "test", path=tools(tmp_path / "bin", **scripts))
    assert (done.returncode, done.stdout) == (5, f"{ready} {list(run.EVERY_TEST)}\n")
    assert words in done.stderr
