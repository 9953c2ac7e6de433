"""The gate in front of the app: no session, no page, no websocket, no download; nobody says who they are.

Asked of the real server, over its socket. Source of the codes: RFC 9110, 15.5.4 (403), 15.4.4 (303), 15.5.1 (400);
of the cookie's attributes: RFC 6265 and its revision (SameSite).
"""

from __future__ import annotations

import asyncio
import http.client
import json
import re
import subprocess
import sys
from collections.abc import Iterator
from http.cookies import Morsel, SimpleCookie
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from starlette.types import Message, Receive, Scope, Send
from websockets.exceptions import InvalidStatus
from websockets.sync.client import connect

from dashboard.server import demo_app
from dashboard.sessions import COOKIE, HEADER, LONGEST_SECONDS, Gate, Sessions, read_viewer
from pipelines.contract.errors import WrongUsage
from tests.browser import ROOT, demo_copy, demo_store
from tests.pictures import served
from tests.stores import set_programme

T22 = ("trainee", "saltmarsh-eye", "T22")
T23 = ("trainee", "saltmarsh-eye", "T23")


@pytest.fixture(scope="module")
def address() -> Iterator[str]:
    with served(demo_store()) as at:
        yield at


class Answer:
    """What the server answered to one request, redirections not followed."""

    def __init__(self, address: str, path: str, method: str = "GET", **headers: str) -> None:
        connection = http.client.HTTPConnection(urlsplit(address).netloc, timeout=20)
        connection.request(
            method, path, headers={name.replace("_", "-"): value for name, value in headers.items()}
        )
        response = connection.getresponse()
        self.status, self.headers, self.body = response.status, response.headers, response.read()
        connection.close()

    @property
    def cookie(self) -> Morsel[str]:
        return SimpleCookie(self.headers["set-cookie"])[COOKIE]


def _signed_in(address: str, person: str = "trainee-T22") -> str:
    """The cookie of a new session, as a browser sends it."""
    return f"{COOKIE}={Answer(address, f'/as/{person}').cookie.value}"


CLOSED = [
    "/",
    "/cohort",
    "/media/0123456789abcdef.csv",
    "/_stcore/health",
    "/_stcore/host-config",
    "/_stcore/metrics",
    "/_stcore/upload_file/a/b",
    "/_stcore/agent/interact",
    "/_stcore/agent/openapi.json",
    "/static/index.html",
    "/peoplex",
    "/people/",
    "/people/_stcore/health",
    "/as/",
    "/as/director/x",
    "/as/_stcore/health",
]


@pytest.mark.parametrize("path", CLOSED)
@pytest.mark.parametrize("method", ["GET", "POST"])
def test_without_a_session_every_path_but_the_picker_is_closed(address: str, path: str, method: str) -> None:
    assert Answer(address, path, method).status == 403


def test_with_a_session_the_page_and_its_parts_are_open(address: str) -> None:
    cookie = _signed_in(address)
    for path in ("/", "/_stcore/health", "/_stcore/host-config"):
        assert Answer(address, path, cookie=cookie).status == 200, path


def test_a_page_asked_for_by_a_browser_without_a_session_opens_the_demos_director(address: str) -> None:
    answer = Answer(address, "/", accept="text/html")
    assert (answer.status, answer.headers["location"]) == (303, "/")
    assert answer.cookie.value


def test_the_websocket_is_closed_without_a_session_and_open_with_one(address: str) -> None:
    stream = address.replace("http", "ws") + "/_stcore/stream"
    for headers in ({}, {"cookie": f"{COOKIE}=made-up"}, {HEADER: json.dumps(T22)}):
        with pytest.raises(InvalidStatus) as refused:
            connect(stream, additional_headers=headers, origin=address)  # type: ignore[arg-type] - an origin is text
        assert refused.value.response.status_code == 403
    with connect(stream, additional_headers={"cookie": _signed_in(address)}, origin=address):  # type: ignore[arg-type] - the same
        pass


def test_no_script_reads_the_cookie_and_no_other_site_sends_it(address: str) -> None:
    cookie = Answer(address, "/as/director").cookie
    assert cookie["httponly"] is True
    assert cookie["samesite"].lower() == "strict"
    assert cookie["path"] == "/"
    assert 0 < int(cookie["max-age"]) <= LONGEST_SECONDS
    assert len(cookie.value) >= 32  # 24 random bytes or more, in base 64


def test_signing_out_closes_the_session_on_the_server(address: str) -> None:
    cookie = _signed_in(address)
    assert Answer(address, "/_stcore/health", cookie=cookie).status == 200
    Answer(address, "/people", cookie=cookie)
    assert Answer(address, "/_stcore/health", cookie=cookie).status == 403


def test_becoming_somebody_else_closes_the_session_before(address: str) -> None:
    cookie = _signed_in(address)
    Answer(address, "/as/director", cookie=cookie)
    assert Answer(address, "/_stcore/health", cookie=cookie).status == 403


def test_nobody_of_that_name_gets_no_session(address: str) -> None:
    answer = Answer(address, "/as/trainee-T99")
    assert answer.status == 404
    assert answer.headers["set-cookie"] is None


@pytest.mark.parametrize("host", ["example.org", "192.0.2.7", "127.0.0.1.example.org", "other-host"])
def test_only_this_machines_own_name_is_answered(address: str, host: str) -> None:
    # A name of somebody else's that leads to this machine is how a web page would reach the demo.
    cookie = _signed_in(address)
    for path in ("/", "/people", "/as/director"):
        answer = Answer(address, path, cookie=cookie, host=host)
        assert answer.status == 400, path
        assert answer.headers["set-cookie"] is None


HEADERS = {
    "cache-control": "no-store",
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "content-security-policy": "frame-ancestors 'none'",
}


@pytest.mark.parametrize("path", ["/", "/people", "/as/director", "/_stcore/health"])
def test_an_answer_is_not_kept_not_framed_and_not_guessed_at(address: str, path: str) -> None:
    answer = Answer(address, path, cookie=_signed_in(address))
    assert {name: answer.headers[name] for name in HEADERS} == HEADERS


def test_only_the_librarys_own_scripts_are_kept_by_the_browser(address: str) -> None:
    cookie = _signed_in(address)
    page = Answer(address, "/", cookie=cookie).body.decode()
    scripts = re.findall(r'"\./(static/[^"]+)"', page)
    assert len(scripts) >= 2
    for path in scripts:
        assert re.search(r"\.[\w-]{8,}\.(js|css|woff2)$", path), path
        kept = Answer(address, f"/{path}", cookie=cookie).headers["cache-control"]
        assert kept == "private, immutable, max-age=31536000", path
    missing = Answer(address, "/static/js/none.js", cookie=cookie).headers["cache-control"]
    assert missing == "no-store"


# ---- the gate by itself


def _passed_on(sent: list[tuple[str, str]], sessions: Sessions, kind: str = "http") -> str | None:
    """The viewer that the app behind the gate is told; None if the request is refused.

    Header names are lower case, as the ASGI specification (HTTP connection scope) promises.
    """
    told: list[str | None] = []

    async def app(scope: Scope, _receive: Receive, _send: Send) -> None:
        values = [value.decode() for name, value in scope["headers"] if name.decode() == HEADER]
        told.append(" and ".join(values))

    async def receive() -> Message:
        return {"type": "http.request"}

    async def send(_message: Message) -> None:
        return

    headers = [(name.encode(), value.encode()) for name, value in sent]
    scope = {"type": kind, "path": "/", "headers": headers, "method": "GET"}
    asyncio.run(Gate(app, sessions)(scope, receive, send))
    return told[0] if told else None


@pytest.mark.parametrize("kind", ["http", "websocket"])
def test_a_viewer_that_a_request_claims_to_be_is_replaced_by_the_sessions(kind: str) -> None:
    sessions = Sessions()
    name = sessions.open(T22)
    cookie = ("cookie", f"{COOKIE}={name}")
    forged = (HEADER, json.dumps(T23))
    for headers in ([cookie, forged], [forged, cookie], [forged, cookie, forged]):
        assert read_viewer(_passed_on(headers, sessions, kind)) == T22


def test_a_claim_without_a_session_reaches_nothing() -> None:
    assert _passed_on([(HEADER, json.dumps(T22))], Sessions()) is None


def test_a_session_ends_when_it_is_too_old(monkeypatch: pytest.MonkeyPatch) -> None:
    now = [1000.0]
    monkeypatch.setattr("dashboard.sessions.time.monotonic", lambda: now[0])
    sessions = Sessions()
    cookie = [("cookie", f"{COOKIE}={sessions.open(T22)}")]
    now[0] += LONGEST_SECONDS - 1
    assert read_viewer(_passed_on(cookie, sessions)) == T22
    now[0] += 1
    assert _passed_on(cookie, sessions) is None


def test_two_sessions_have_two_names_and_close_apart() -> None:
    sessions = Sessions()
    first, second = sessions.open(T22), sessions.open(T23)
    sessions.close(first)
    assert first != second
    assert (sessions.viewer(first), sessions.viewer(second)) == (None, T23)


# ---- only the demo is served


def test_a_store_that_is_not_marked_demo_is_not_served(tmp_path: Path) -> None:
    store = demo_copy(tmp_path)
    set_programme(store, demo=False)
    with pytest.raises(WrongUsage):
        demo_app(store)
    done = _dashboard("--demo", "--store", store)
    assert done.returncode == 2
    assert "Traceback" not in done.stderr


def test_without_demo_nothing_is_served() -> None:
    done = _dashboard("--store", demo_store())
    assert done.returncode == 2
    assert "sign-in" in done.stderr


def _dashboard(*arguments: Any) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "dashboard", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, check=False, cwd=ROOT, timeout=60)
