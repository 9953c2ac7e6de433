"""run.py: a machine with only Python gets from nothing to the command, or is told plainly what is missing.

Every set-up here is real (venv, pip, wheels with their hashes), but happens in a scratch checkout whose locks name
two tiny wheels in a folder beside it, the only place where pip is told to look, so that nothing is fetched.
"""

from __future__ import annotations

import ast
import contextlib
import errno
import hashlib
import os
import shutil
import socket
import subprocess
import sys
import threading
import time
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

import run

RUN_PY = Path(run.__file__)
COMMAND = """
import json, os, sys
import tiny
says = dict(arguments=sys.argv[1:], folder=os.getcwd(), process=os.getpid(), path=sys.path[0])
says["settings"] = [os.environ["GX_ANALYTICS_ENABLED"], os.environ["STREAMLIT_BROWSER_GATHER_USAGE_STATS"]]
print(json.dumps(says))
sys.exit(int(sys.argv[1]))
"""
MARKER, TESTS_MARKER = run.FOR_USE.marker.name, run.FOR_TESTS.marker.name
SETTING_UP = "Setting up in .venv; this happens once and takes a few minutes.\n"
INSTALLING = "Installing requirements.lock: 1 packages.\nChecking requirements.lock.\n"
INSTALLING_TESTS = "Installing tests/requirements.lock: 2 packages.\nChecking tests/requirements.lock.\n"
COMPLETE = "Set-up complete.\n"
PYTEST = "import os, sys; print(os.getcwd(), sys.argv[1:]); sys.exit(5)"


def make_checkout(folder: Path) -> Path:
    """A checkout with the real run.py, a stand-in for `pipelines`, and two wheels, `tiny` and a `pytest` of our own."""
    for below in ("pipelines", "tests", "wheels"):
        (folder / below).mkdir(parents=True)
    shutil.copy(RUN_PY, folder)
    (folder / "pipelines" / "__main__.py").write_text(COMMAND)
    tiny = make_wheel(folder, "tiny", "")
    lock(folder, tiny)
    lock(folder / "tests", tiny, make_wheel(folder, "pytest", PYTEST))
    return folder


def make_wheel(checkout: Path, package: str, code: str) -> str:
    """A wheel of one module, as the line of a lock."""
    path = checkout / "wheels" / f"{package}-1.0-py3-none-any.whl"
    about = f"{package}-1.0.dist-info"
    files = {
        f"{package}.py": code,
        f"{about}/METADATA": f"Metadata-Version: 2.1\nName: {package}\nVersion: 1.0\n",
        f"{about}/WHEEL": "Wheel-Version: 1.0\nRoot-Is-Purelib: true\nTag: py3-none-any\n",
    }
    record = "".join(f"{name},,\n" for name in [*files, f"{about}/RECORD"])
    with zipfile.ZipFile(path, "w") as wheel:
        for name, content in {**files, f"{about}/RECORD": record}.items():
            wheel.writestr(name, content)
    return f"{package}==1.0 \\\n    --hash=sha256:{hashlib.sha256(path.read_bytes()).hexdigest()}\n"


def lock(folder: Path, *lines: str) -> None:
    (folder / "requirements.lock").write_text("".join(lines))


def environment(checkout: Path, **more: str) -> dict[str, str]:
    """This one, without settings of Python and pip but that packages lie in the checkout and nowhere else."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("PYTHON", "PIP_"))}
    offline = {"PIP_CONFIG_FILE": os.devnull, "PIP_NO_INDEX": "1", "PIP_FIND_LINKS": str(checkout / "wheels")}
    return kept | offline | more


def started(checkout: Path, *arguments: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, str(checkout / "run.py"), *arguments],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=environment(checkout),
    )


def start(
    checkout: Path, *arguments: str, folder: Path | None = None, **variables: str
) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, str(checkout / "run.py"), *arguments],
        capture_output=True,
        text=True,
        check=False,
        cwd=folder,
        env=environment(checkout, **variables),
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
        env=environment(checkout, PATH=path or os.environ["PATH"]),
    )


@pytest.fixture(scope="module")
def ready(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A checkout that is set up."""
    checkout = make_checkout(tmp_path_factory.mktemp("ready") / "checkout")
    first = start(checkout, "0")
    assert (first.returncode, first.stderr) == (0, SETTING_UP + INSTALLING + COMPLETE)
    return checkout


@pytest.fixture(scope="module")
def with_tests(ready: Path) -> Path:
    """The same, with the tools of the tests added."""
    first = start_where(ROOT, ready, "test", "--quick")
    assert (first.returncode, first.stderr) == (5, INSTALLING_TESTS + COMPLETE)
    return ready


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
    assert not (bare / ".venv" / MARKER).exists()
    second = start(bare, "4")
    assert second.returncode == 4
    assert SETTING_UP in second.stderr


def test_an_installer_left_behind_by_a_killed_start_still_holds_the_lock(tmp_path: Path) -> None:
    with (tmp_path / "lock").open("w") as held:
        # Fails, and so raises, where the installer did not inherit the open lock.
        run.run_installer([sys.executable, "-c", f"import os; os.fstat({held.fileno()})"], held.fileno())


def lose_the_marker(checkout: Path) -> None:
    (checkout / ".venv" / MARKER).unlink()


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
    assert (done.returncode, done.stderr) == (0, SETTING_UP + INSTALLING + COMPLETE)
    assert not left_over.exists()


def test_another_lock_is_installed_anew_and_a_package_whose_hash_differs_is_refused(ready: Path) -> None:
    good = (ready / "requirements.lock").read_text()
    lock(ready, f"tiny==1.0 --hash=sha256:{'0' * 64}\n")
    refused = start(ready, "0")
    assert (refused.returncode, refused.stdout) == (1, "")
    assert "Setting up failed. The installer's last lines:" in refused.stderr
    assert "0" * 64 in refused.stderr
    assert "Traceback" not in refused.stderr
    (ready / "requirements.lock").write_text(good)
    mended = start(ready, "0")
    assert (mended.returncode, mended.stderr) == (0, SETTING_UP + INSTALLING + COMPLETE)


# ---- what the caller's machine has set for itself


def test_settings_that_send_packages_elsewhere_do_not_reach_the_set_up_and_those_that_bring_them_do(
    bare: Path, tmp_path: Path
) -> None:
    elsewhere = f"{tmp_path}/elsewhere"
    (tmp_path / "pip").mkdir()
    (tmp_path / "pip" / "pip.conf").write_text(
        f"[global]\nuser = true\nno_index = true\nfind_links = {bare}/wheels\n[install]\ntarget = {elsewhere}\n"
    )
    variables = {
        "XDG_CONFIG_HOME": str(tmp_path),
        **{f"PIP_{name}": elsewhere for name in ("TARGET", "PREFIX", "ROOT")},
        **{f"PIP_{name}": "1" for name in ("USER", "DRY_RUN")},
        **{f"PYTHON{name}": elsewhere for name in ("HOME", "PATH", "USERBASE", "PLATLIBDIR")},
    }
    # A Python with another home would not start at all: the variables come when run.py is already at work.
    condition = f"""
for name in [name for name in os.environ if name.startswith("PIP_")]: del os.environ[name]
os.environ.update({variables!r})
"""
    done = start_where(condition, bare, "0")
    assert (done.returncode, done.stderr) == (0, SETTING_UP + INSTALLING + COMPLETE)
    assert not (tmp_path / "elsewhere").exists()


def test_a_registry_that_the_callers_pip_is_told_of_is_asked() -> None:
    listed = """
:env:.default_timeout='180'
:env:.find_links='/wheels'
global.extra_index_url='file:///one file:///two'
global.find_links='/overruled'
global.proxy='http://localhost:3128'
global.target='/elsewhere'
install.proxy='http://localhost:3129'
freeze.timeout='1'
""".replace("_", "-")
    assert run.fetching(listed) == {
        "PIP_RETRIES": "1",
        "PIP_TIMEOUT": "180",
        "PIP_FIND_LINKS": "/wheels",
        "PIP_EXTRA_INDEX_URL": "file:///one file:///two",
        "PIP_PROXY": "http://localhost:3129",
    }


PIP_INSTALLS_NOTHING = """
import subprocess
class Popen(subprocess.Popen):
    def __init__(self, command, **settings):
        super().__init__(["true"] if "install" in command else command, **settings)
subprocess.Popen = Popen
"""


def test_what_pip_did_not_put_into_the_venv_is_named_and_nothing_counts_as_complete(bare: Path) -> None:
    done = start_where(PIP_INSTALLS_NOTHING, bare, "0")
    assert (done.returncode, done.stdout) == (1, "")
    assert "pip reported no error, but .venv lacks tiny.\n" in done.stderr
    assert not (bare / ".venv" / MARKER).exists()


def test_a_package_whose_module_is_gone_is_not_taken_for_installed(ready: Path) -> None:
    (module,) = ready.glob(".venv/lib/*/site-packages/tiny.py")
    kept = module.rename(module.with_suffix(".away"))
    python = str(ready / ".venv" / "bin" / "python")
    command = [python, "-I", "-c", run.NOT_IMPORTABLE, str(ready / "requirements.lock")]
    assert subprocess.run(command, capture_output=True, text=True, check=True).stdout == "tiny\n"
    kept.rename(module)
    assert subprocess.run(command, capture_output=True, text=True, check=True).stdout == ""


def test_a_requirement_of_another_machine_is_not_asked_for(ready: Path, tmp_path: Path) -> None:
    lock(
        tmp_path,
        "tiny==1.0 \\\n    --hash=sha256:0\n",
        "absent==1 ; sys_platform == 'win32' \\\n    --hash=sha256:0\n",
    )
    python = str(ready / ".venv" / "bin" / "python")
    command = [python, "-I", "-c", run.NOT_IMPORTABLE, str(tmp_path / "requirements.lock")]
    assert subprocess.run(command, capture_output=True, text=True, check=True).stdout == ""


def test_without_a_network_the_set_up_gives_up_after_two_tries_and_says_so(bare: Path) -> None:
    tries = []
    with socket.create_server(("127.0.0.1", 0)) as server:

        def hang_up() -> None:
            with contextlib.suppress(OSError):  # the test has ended
                while True:
                    connection, who = server.accept()
                    tries.append(who)
                    connection.close()

        threading.Thread(target=hang_up, daemon=True).start()
        registry = f"http://127.0.0.1:{server.getsockname()[1]}/simple"
        done = start(bare, "0", PIP_NO_INDEX="0", PIP_FIND_LINKS="", PIP_INDEX_URL=registry)
    assert (done.returncode, done.stdout) == (1, "")
    assert "No package registry can be reached, so nothing can be installed." in done.stderr
    assert len(done.stderr.splitlines()) == 4
    assert len(tries) == 2


# ---- how far it has come


def test_the_set_up_says_how_far_it_has_come(bare: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    here = run.Packages(bare / "tests" / "requirements.lock", bare / ".venv" / TESTS_MARKER)
    monkeypatch.setattr(run, "VENV", bare / ".venv")
    assert run.progress(here, "") == "Fetching packages: 0 of 2."
    output = "Ignoring pytest: markers do not match\nCollecting tiny==1.0 (from x)\n  Downloading tiny\n"
    assert run.progress(here, output) == "Fetching packages: 1 of 1."
    (bare / ".venv" / "lib" / "python3" / "site-packages" / "ruamel_yaml-1.0.dist-info").mkdir(parents=True)
    output += "Installing collected packages: tiny, ruamel.yaml, XlsxWriter\n"
    assert run.progress(here, output) == "Unpacking packages: 1 of 3."


def test_words_about_progress_come_while_a_step_is_at_work(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(run, "SECONDS_BETWEEN_LINES", 0.05)
    step = "import time\nfor at in range(3): print(at, flush=True); time.sleep(0.3)"
    with (tmp_path / "lock").open("w") as held:
        output = run.run_installer(
            [sys.executable, "-c", step], held.fileno(), None, lambda said: said[-2:].strip()
        )
    assert output == "0\n1\n2\n"
    assert capsys.readouterr().err.split() == ["0", "1", "2"]


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


def a_file(venv: Path) -> None:
    venv.write_text("")


def a_dangling_link(venv: Path) -> None:
    venv.symlink_to(venv.with_name("gone"))


@pytest.mark.parametrize("put", [a_file, a_dangling_link])
def test_something_else_in_the_place_of_the_venv_is_left_alone_and_named(
    put: Callable[[Path], None], bare: Path
) -> None:
    put(bare / ".venv")
    done = start(bare, "0")
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr == f"{bare / '.venv'} is not a folder. Move it away or delete it, then start again.\n"
    assert os.path.lexists(bare / ".venv")


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
    browser: str, with_tests: Path, tmp_path: Path
) -> None:
    path = tools(tmp_path / "bin", **{browser: "", "nginx": ""})
    done = start_where(ROOT, with_tests, "test", "-k", "volume", path=path)
    assert (done.returncode, done.stdout) == (5, f"{with_tests} {[*run.IN_PARALLEL, '-k', 'volume']}\n")
    assert done.stderr == ""


def test_the_quick_tests_need_no_browser(with_tests: Path, tmp_path: Path) -> None:
    done = start_where(ROOT, with_tests, "test", "--quick", path=tools(tmp_path / "bin"))
    assert (done.returncode, done.stdout) == (5, f"{with_tests} {[*run.IN_PARALLEL, '--quick']}\n")
    assert done.stderr == ""


def test_root_on_debian_gets_a_browser_without_a_word_on_stdout(with_tests: Path, tmp_path: Path) -> None:
    script = 'echo "$DEBIAN_FRONTEND $@"'
    done = start_where(
        ROOT, with_tests, "test", path=tools(tmp_path / "bin", nginx="", **{"apt-get": script})
    )
    assert (done.returncode, done.stdout) == (5, f"{with_tests} {list(run.IN_PARALLEL)}\n")
    assert done.stderr.splitlines() == [
        "Installing chromium for the tests.",
        "noninteractive -qq -o DPkg::Lock::Timeout=300 update",
        "noninteractive -qq -o DPkg::Lock::Timeout=300 install -y chromium",
    ]


@pytest.mark.parametrize(
    ("who", "scripts", "words"),
    [
        (SOMEBODY, {"apt-get": "exit 0"}, "The tests need chromium: install what is missing"),
        (ROOT, {}, "The tests need chromium: install what is missing"),
        (ROOT, {"apt-get": "exit 100"}, "`apt-get install -y chromium` failed"),
    ],
)
def test_without_a_browser_the_tests_still_start_and_are_told(
    who: str, scripts: dict[str, str], words: str, with_tests: Path, tmp_path: Path
) -> None:
    done = start_where(who, with_tests, "test", path=tools(tmp_path / "bin", nginx="", **scripts))
    assert (done.returncode, done.stdout) == (5, f"{with_tests} {list(run.IN_PARALLEL)}\n")
    assert words in done.stderr
