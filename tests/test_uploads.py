"""An upload stays in memory: what a file holds of patients never reaches a disk, nor a file that is deleted already.

Asked of the real server, which says through its open files and its folder for temporary ones what it has written.
"""

from __future__ import annotations

import socket
import stat
import time
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest

from dashboard.server import LARGEST_UPLOAD_MB
from tests.browser import demo_store
from tests.serving import Answer, Server, Tab, serving, signed_in, tab

MARKER = b"Q7-marker-of-a-patient-on-2026-03-04;"
MEGABYTE = 1024 * 1024
FILE = MARKER * (6 * MEGABYTE // len(MARKER))
BOUNDARY = b"the-boundary-of-this-test"
BODY = (
    b"--" + BOUNDARY + b'\r\nContent-Disposition: form-data; name="file"; filename="cases.csv"\r\n'
    b"Content-Type: text/csv\r\n\r\n" + FILE + b"\r\n--" + BOUNDARY + b"--\r\n"
)


@pytest.fixture(scope="module")
def temporary(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("temporary")


@pytest.fixture(scope="module")
def demo(temporary: Path) -> Iterator[Server]:
    with serving(demo_store(), "--demo", TMPDIR=str(temporary)) as server:
        yield server


def _token(server: Server, cookie: str) -> str:
    """The library's token against requests from other sites: it sets a cookie, and wants the same in a header."""
    set_cookies = Answer(server.address, "/_stcore/health", cookie=cookie).headers.get_all("set-cookie", [])
    return (
        next(each for each in set_cookies if each.startswith("_streamlit_xsrf="))
        .split("=", 1)[1]
        .split(";")[0]
    )


def _put(server: Server, cookie: str, of: Tab, length: int, body: bytes) -> socket.socket:
    """Begin an upload of `length` bytes into a tab, with as much as `body` holds."""
    token = _token(server, cookie)
    there = socket.create_connection(("127.0.0.1", urlsplit(server.address).port or 0), timeout=30)
    there.sendall(
        (
            f"PUT /_stcore/upload_file/{of.name}/a-file HTTP/1.1\r\nHost: {urlsplit(server.address).netloc}\r\n"
            f"Origin: {server.address}\r\n"
            f"Cookie: {cookie}; _streamlit_xsrf={token}\r\nX-Xsrftoken: {token}\r\n"
            f"Content-Type: multipart/form-data; boundary={BOUNDARY.decode()}\r\nContent-Length: {length}\r\n"
            "Connection: close\r\n\r\n"
        ).encode()
        + body
    )
    return there


def _written(server: Server, temporary: Path) -> list[str]:
    """Where the marker stands: files the process holds open, those without a name included, and temporary ones."""
    open_files = list(Path(f"/proc/{server.process.pid}/fd").iterdir())
    assert len(open_files) > 5
    places = open_files + [path for path in temporary.rglob("*") if path.is_file()]
    return [str(path) for path in places if stat.S_ISREG(path.stat().st_mode) and MARKER in path.read_bytes()]


def _memory_holds_it(server: Server) -> bool:
    """Whether the process has as much as the half that was sent in its memory: else nothing was held, and shown."""
    with (
        Path(f"/proc/{server.process.pid}/maps").open() as maps,
        Path(f"/proc/{server.process.pid}/mem").open("rb", 0) as memory,
    ):
        for line in maps:
            if "rw" not in line or "[v" in line:
                continue
            low, high = (int(end, 16) for end in line.split(" ")[0].split("-"))
            memory.seek(low)
            try:
                if MARKER * 1000 in memory.read(high - low):
                    return True
            except OSError:
                continue
    return False


def test_no_byte_of_an_upload_is_in_a_file_while_and_after_it_comes_in(demo: Server, temporary: Path) -> None:
    cookie = signed_in(demo.address, "coordinator")
    with tab(demo.address, cookie) as coordinator:
        coordinator.rerun()
        half = len(BODY) // 2
        with _put(demo, cookie, coordinator, len(BODY), BODY[:half]) as upload:
            deadline = time.monotonic() + 30
            while not (held := _memory_holds_it(demo)) and time.monotonic() < deadline:
                time.sleep(0.2)
            assert held
            assert _written(demo, temporary) == []
            upload.sendall(BODY[half:])
            assert upload.recv(1000).startswith(b"HTTP/1.1 204")
        assert _memory_holds_it(demo)
        assert _written(demo, temporary) == []


def test_an_upload_above_the_limit_is_refused(demo: Server) -> None:
    cookie = signed_in(demo.address, "coordinator")
    with tab(demo.address, cookie) as coordinator:
        coordinator.rerun()
        largest = LARGEST_UPLOAD_MB * MEGABYTE
        with _put(demo, cookie, coordinator, largest + 1, b"") as upload:
            assert upload.recv(1000).startswith(b"HTTP/1.1 413")
