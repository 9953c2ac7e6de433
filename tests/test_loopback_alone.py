"""Nothing is sent anywhere: the whole main job in a network that has nothing but this machine itself.

In a network namespace of its own there is no way out; and an audit hook of Python (PEP 578) in every process writes down
whatever asks for another machine all the same: a name looked up, a connection, a datagram.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

from tests.department import department_store
from tests.serving import ROOT

HOOK = """
import os, sys

def is_here(address):
    host = address[0] if isinstance(address, tuple) else address
    if isinstance(host, bytes):
        host = host.decode("utf-8", "replace")
    return host in (None, "", "localhost", "::1") or str(host).startswith(("127.", "/"))

def hook(event, arguments):
    asked = {"socket.connect": 1, "socket.sendto": 1, "socket.getaddrinfo": 0, "socket.gethostbyname": 0}.get(event)
    if asked is not None and not is_here(arguments[asked]):
        with open(os.environ["ASKED_FOR"], "a") as file:
            file.write(f"{event} {arguments[asked]}\\n")

sys.addaudithook(hook)
"""
JOB = """
import fcntl, socket, struct, sys
from pathlib import Path

with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as any_socket:
    fcntl.ioctl(any_socket, 0x8914, struct.pack("16sH14s", b"lo", 0x49, b""))  # SIOCSIFFLAGS: lo is up

from pipelines.cli.commands import main
from tests.department import department, sign_in
from tests.serving import everything, tab

folder = Path(sys.argv[1])
root = folder / "store"
for command in (
    ["intake", str(folder / "more.csv"), "--append"],
    ["show", "case_volume"],
    ["summary", "--cohort", "2027", "--out", str(folder / "files")],
):
    code = main([*command, "--store", str(root)])
    assert code == 0, (command, code)
with department(root) as server, tab(server.address, sign_in(server.address, "director")) as own:
    own.rerun()
    for screen in ("intake", "summary"):
        own.open(screen)
    assert b"T02" in everything(own.messages)
print("the job is done")
"""
CASES = "case_ref,trainee_ref,operated_on,procedure,role\nC900,T02,2026-05-04,phaco_iol,surgeon\n"


def _alone(folder: Path, script: str) -> subprocess.CompletedProcess[str]:
    unshare = shutil.which("unshare")
    assert unshare, "This test needs Linux with the command unshare."
    (folder / "hook").mkdir()
    (folder / "hook" / "sitecustomize.py").write_text(HOOK)
    return subprocess.run(
        [unshare, "--net", sys.executable, "-P", "-c", script, str(folder)],
        capture_output=True,
        text=True,
        check=False,
        cwd=ROOT,
        env={
            **{name: value for name, value in os.environ.items() if "ANALYTICS" not in name},
            "PYTHONPATH": f"{folder / 'hook'}:{ROOT}",
            "ASKED_FOR": str(folder / "asked"),
        },
        timeout=300,
    )


def test_the_main_job_needs_no_other_machine_and_asks_for_none(tmp_path: Path) -> None:
    department_store(tmp_path)
    (tmp_path / "more.csv").write_text(CASES)
    done = _alone(tmp_path, JOB)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "the job is done" in done.stdout
    assert not (tmp_path / "asked").exists(), (tmp_path / "asked").read_text()


def test_what_asks_for_another_machine_would_be_seen(tmp_path: Path) -> None:
    ask = "import socket\ntry:\n    socket.create_connection(('192.0.2.1', 80), 1)\nexcept OSError:\n    pass"
    _alone(tmp_path, ask)
    assert "192.0.2.1" in (tmp_path / "asked").read_text()
