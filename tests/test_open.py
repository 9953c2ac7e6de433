"""`open`: the dashboard of a real store for the one person who can read its folder, by a link that works once."""

from __future__ import annotations

import os
import re
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from unittest.mock import patch

import pytest

from dashboard.own_store import check_folder
from dashboard.sessions import LINK_SECONDS, OneTimeKey
from pipelines.contract.errors import WrongUsage
from pipelines.store.store import Store
from tests.browser import demo_copy
from tests.serving import ROOT, Answer, Server, cookie_of, everything, serving, tab
from tests.stores import Result, set_programme


@pytest.fixture(scope="module")
def own(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store that is no demo, in a folder as `init` makes it."""
    store = demo_copy(tmp_path_factory.mktemp("own"))
    set_programme(store, demo=False, title="Own <b>Eye</b> ![seen](x)")
    return store


@pytest.fixture(scope="module")
def opened(own: Path) -> Iterator[Server]:
    with serving(own, "--as", "coordinator") as server:
        yield server


def _entered(server: Server) -> str:
    """The cookie that the link gives, as a browser sends it."""
    answer = Answer(server.address, server.link.removeprefix(server.address))
    assert answer.status == 200, answer.body
    # A page of ours goes on to the front page: it, not another site, then sends the new cookie.
    assert b'http-equiv="refresh"' in answer.body
    assert answer.cookie["samesite"].lower() == "strict"
    assert answer.cookie["httponly"] is True
    return f"{cookie_of(server.address)}={answer.cookie.value}"


def test_the_link_opens_once_for_one_person_with_one_role(opened: Server) -> None:
    path = opened.link.removeprefix(opened.address)
    for wrong in (path[:-1], f"{path}x", path[:-43], "/open/", "/people", "/as/director", "/"):
        assert Answer(opened.address, wrong, accept="text/html").status == 403, wrong
    cookie = _entered(opened)
    again = Answer(opened.address, path)
    assert (again.status, again.headers["set-cookie"]) == (403, None)
    assert b"run.py open" in again.body
    assert Answer(opened.address, "/", cookie=cookie).status == 200
    for picker in ("/people", "/as/director"):
        assert b"Look as" not in Answer(opened.address, picker, cookie=cookie).body
    with tab(opened.address, cookie) as coordinator:
        screen = everything(coordinator.rerun())
        assert b"T22" in screen
        assert b"Look as somebody else" not in screen
        # The quiet line, the title in it as it was written.
        assert b"Own &lt;b&gt;Eye&lt;/b&gt; ![seen](x), opened as coordinator" in screen
        assert b"<b>Eye" not in screen
        assert re.search(rb"Intake.*Volume summary", screen, re.DOTALL)


def test_the_key_stands_in_no_command_line_no_environment_and_no_log(own: Path, tmp_path: Path) -> None:
    with (tmp_path / "log").open("w+") as log, serving(own, "--as", "director", stderr=log) as server:
        key = server.link.rsplit("/", 1)[1]
        assert len(key) >= 43  # 32 random bytes in base 64
        _entered(server)
        Answer(server.address, f"/open/{key}")
        for place in ("cmdline", "environ"):
            assert key not in Path(f"/proc/{server.process.pid}/{place}").read_bytes().decode()
        log.seek(0)
        assert key not in log.read()


def test_the_link_is_printed_when_the_port_answers_on_this_machine_alone(opened: Server) -> None:
    assert opened.address.startswith("http://127.0.0.1:")
    assert Answer(opened.address, "/_stcore/health").status == 403
    listening = subprocess.run(["cat", "/proc/net/tcp"], capture_output=True, text=True, check=True).stdout
    port = f":{int(opened.address.rsplit(':', 1)[1]):04X} "
    local = {line.split()[1] for line in listening.splitlines() if port in line and line.split()[3] == "0A"}
    assert local == {f"0100007F{port.strip()}"}  # 127.0.0.1, low byte first


def test_ctrl_c_ends_everything_though_a_tab_is_open(own: Path) -> None:
    with serving(own, "--as", "director") as server:
        cookie = _entered(server)
        with tab(server.address, cookie) as director:
            director.rerun()
            began = time.monotonic()
            assert server.stop() == 0
            assert time.monotonic() - began < 15
        with socket.socket() as probe:
            assert probe.connect_ex(("127.0.0.1", int(server.address.rsplit(":", 1)[1]))) != 0


def test_a_key_opens_once_and_within_its_time() -> None:
    now = [0.0]
    first, late = OneTimeKey(lambda: now[0]), OneTimeKey(lambda: now[0])
    assert first.text != late.text
    assert not first.use("")
    assert not first.use("é")
    assert not first.use(late.text)
    now[0] = LINK_SECONDS - 1
    assert [first.use(first.text), first.use(first.text)] == [True, False]
    now[0] = LINK_SECONDS
    assert not late.use(late.text)


# ---- refused


def _refused(*arguments: object) -> Result:
    """How the real command ends; it must not serve."""
    done = subprocess.run(
        [sys.executable, "-P", "-m", "pipelines", "open", *map(str, arguments)],
        capture_output=True,
        text=True,
        check=False,
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        timeout=60,
    )
    assert "Traceback" not in done.stderr
    assert done.stdout == ""
    return Result(done.returncode, done.stdout, done.stderr)


@pytest.fixture
def empty(tmp_path: Path) -> Path:
    """A folder as a store's, at a place that only its owner changes."""
    store = tmp_path / "above" / "store"
    store.mkdir(mode=0o700, parents=True)
    return store


def test_a_folder_of_ones_own_passes(empty: Path) -> None:
    check_folder(empty)


@pytest.mark.parametrize("mode", [0o710, 0o701, 0o740, 0o704, 0o720, 0o702, 0o750, 0o755, 0o777])
def test_a_folder_in_which_others_have_any_right_is_refused(empty: Path, mode: int) -> None:
    empty.chmod(mode)
    with pytest.raises(WrongUsage, match=f"chmod 700 {empty}"):
        check_folder(empty)


@pytest.mark.parametrize("mode", [0o770, 0o707, 0o775, 0o777])
def test_a_folder_that_others_could_exchange_is_refused(empty: Path, mode: int) -> None:
    empty.parent.chmod(mode)
    with pytest.raises(WrongUsage, match=f"chmod go-w {empty.parent}"):
        check_folder(empty)


@pytest.mark.parametrize("mode", [0o755, 0o1777])
def test_a_folder_in_which_only_owners_rename_is_no_danger(empty: Path, mode: int) -> None:
    empty.parent.chmod(mode)
    check_folder(empty)


def test_another_users_folder_and_a_folder_below_another_users_are_refused(empty: Path) -> None:
    somebody_else = os.geteuid() + 4321
    with patch("dashboard.own_store.os.geteuid", return_value=somebody_else):
        with pytest.raises(WrongUsage, match="only its owner can open it"):
            check_folder(empty)
        if os.geteuid() == 0:
            os.chown(empty, somebody_else, -1)
            check_folder(empty)  # above it only root's folders stand
    if os.geteuid() == 0:
        os.chown(empty, 0, -1)
        os.chown(empty.parent, somebody_else, -1)
        with pytest.raises(WrongUsage, match="above the store, belongs to another user"):
            check_folder(empty)


def test_a_link_to_a_folder_is_judged_by_where_it_leads(empty: Path, tmp_path: Path) -> None:
    empty.chmod(0o755)
    (tmp_path / "link").symlink_to(empty)
    with pytest.raises(WrongUsage, match="chmod 700"):
        check_folder(tmp_path / "link")


def test_open_says_why_it_refuses_and_ends_with_2(own: Path, tmp_path: Path) -> None:
    store = tmp_path / "store"
    shutil.copytree(own, store)
    store.chmod(0o755)
    done = _refused("--store", store)
    assert (done.code, "chmod 700" in done.err) == (2, True)
    assert _refused("--store", tmp_path / "none").code == 2
    assert _refused("--store", store, "--as", "trainee").code == 2
    store.chmod(0o700)
    (store / "CURRENT").unlink()
    done = _refused("--store", store)
    assert (done.code, "damaged" in done.err) == (13, True)


def test_a_taken_port_is_named(own: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        done = _refused("--store", own, "--port", port)
    assert (done.code, f"{port} is taken" in done.err) == (2, True)


def _as_built_by_another_version(store: Path) -> None:
    manifest = Store(store).current()
    manifest.hashes.sql = "0" * 64
    (store / "snapshots" / manifest.file_name).write_text(manifest.text(), encoding="utf-8")


def test_a_snapshot_of_another_version_asks_to_be_built_anew(own: Path, tmp_path: Path) -> None:
    store = tmp_path / "store"
    shutil.copytree(own, store)
    _as_built_by_another_version(store)
    done = _refused("--store", store)
    assert done.code == 2
    assert f"run.py build --store {store}" in done.err


def test_a_screen_that_meets_a_snapshot_of_another_version_says_so(own: Path, tmp_path: Path) -> None:
    store = tmp_path / "store"
    shutil.copytree(own, store)
    with serving(store, "--as", "director") as server, tab(server.address, _entered(server)) as director:
        assert b"T22" in everything(director.rerun())
        _as_built_by_another_version(store)
        screen = everything(director.rerun())
        assert b"run.py build --store" in screen
        assert b"T22" not in screen
