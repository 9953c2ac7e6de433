"""The gate in front of the app: no session, no page, no websocket, no download; nobody says who they are.

Asked of the real server, over its socket. Source of the codes: RFC 9110, 15.5.4 (403), 15.4.4 (303), 15.5.1 (400);
of the cookie's attributes: RFC 6265 and its revision (SameSite).
"""

from __future__ import annotations

import asyncio
import json
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from starlette.types import Message, Receive, Scope, Send
from streamlit import config
from websockets.exceptions import InvalidStatus
from websockets.sync.client import connect

from dashboard import server
from dashboard.gate import PART_BYTES, Gate, Site
from dashboard.sessions import HEADER, LONGEST_SECONDS, Limits, Sessions, Who, cookie_name, read_viewer
from dashboard.tabs import NO_SESSION
from pipelines.contract.errors import WrongUsage
from pipelines.store.store import Store
from tests.browser import ROOT, demo_copy, demo_store
from tests.serving import Answer, Tab, cookie_of, everything, serving, signed_in, tab
from tests.stores import set_programme

T22 = Who("trainee", "saltmarsh-eye", "T22")
T23 = Who("trainee", "saltmarsh-eye", "T23")


@pytest.fixture(scope="module")
def address() -> Iterator[str]:
    with serving(demo_store(), "--demo") as demo:
        yield demo.address


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
    cookie = signed_in(address)
    for path in ("/", "/_stcore/health", "/_stcore/host-config"):
        assert Answer(address, path, cookie=cookie).status == 200, path


def test_a_page_asked_for_by_a_browser_without_a_session_opens_the_demos_director(address: str) -> None:
    answer = Answer(address, "/", accept="text/html")
    assert (answer.status, answer.headers["location"]) == (303, "/")
    assert answer.cookie.value


def test_the_websocket_is_closed_without_a_session_and_open_with_one(address: str) -> None:
    stream = address.replace("http", "ws") + "/_stcore/stream"
    for headers in ({}, {"cookie": f"{cookie_of(address)}=made-up"}, {HEADER: json.dumps(T22)}):
        with pytest.raises(InvalidStatus) as refused:
            connect(stream, additional_headers=headers, origin=address)  # type: ignore[arg-type] - an origin is text
        assert refused.value.response.status_code == 403
    with connect(stream, additional_headers={"cookie": signed_in(address)}, origin=address):  # type: ignore[arg-type] - the same
        pass


def test_no_script_reads_the_cookie_and_no_other_site_sends_it(address: str) -> None:
    cookie = Answer(address, "/as/director").cookie
    assert cookie["httponly"] is True
    assert cookie["samesite"].lower() == "strict"
    assert cookie["path"] == "/"
    assert 0 < int(cookie["max-age"]) <= LONGEST_SECONDS
    assert len(cookie.value) >= 32  # 24 random bytes or more, in base 64


def test_signing_out_closes_the_session_on_the_server(address: str) -> None:
    cookie = signed_in(address)
    assert Answer(address, "/_stcore/health", cookie=cookie).status == 200
    Answer(address, "/people", cookie=cookie)
    assert Answer(address, "/_stcore/health", cookie=cookie).status == 403


def test_becoming_somebody_else_closes_the_session_before(address: str) -> None:
    cookie = signed_in(address)
    Answer(address, "/as/director", cookie=cookie)
    assert Answer(address, "/_stcore/health", cookie=cookie).status == 403


def test_nobody_of_that_name_gets_no_session(address: str) -> None:
    answer = Answer(address, "/as/trainee-T99")
    assert answer.status == 404
    assert answer.headers["set-cookie"] is None


@pytest.mark.parametrize("host", ["example.org", "192.0.2.7", "127.0.0.1.example.org", "other-host"])
def test_only_this_machines_own_name_is_answered(address: str, host: str) -> None:
    # A name of somebody else's that leads to this machine is how a web page would reach the demo.
    cookie = signed_in(address)
    for path in ("/", "/people", "/as/director"):
        answer = Answer(address, path, cookie=cookie, host=host)
        assert answer.status == 400, path
        assert answer.headers["set-cookie"] is None


HEADERS = {
    "cache-control": "no-store",
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
}


@pytest.mark.parametrize("path", ["/", "/people", "/as/director", "/_stcore/health", "/media/none.csv"])
def test_an_answer_is_not_kept_and_not_guessed_at(address: str, path: str) -> None:
    for cookie in ("", signed_in(address)):
        answer = Answer(address, path, cookie=cookie)
        assert {name: answer.headers[name] for name in HEADERS} == HEADERS


@pytest.mark.parametrize("path", ["/", "/people", "/static/js/none.js"])
def test_pages_load_from_this_host_alone_and_stand_in_no_frame(address: str, path: str) -> None:
    policy = Answer(address, path, cookie=signed_in(address)).headers["content-security-policy"]
    rules = dict(rule.split(" ", 1) for rule in policy.split("; "))
    stream = address.removeprefix("http://")
    assert rules["default-src"] == rules["base-uri"] == rules["frame-ancestors"] == "'none'"
    assert rules["img-src"] == "'self' data: blob:"
    assert rules["connect-src"] == f"'self' ws://{stream} wss://{stream}"
    assert "unsafe-inline" not in rules["script-src"]
    # No rule names a scheme of the open net, or every host.
    assert not re.search(r"https?:|\*", policy)


def test_only_the_librarys_own_scripts_are_kept_by_the_browser(address: str) -> None:
    cookie = signed_in(address)
    page = Answer(address, "/", cookie=cookie).body.decode()
    scripts = re.findall(r'"\./(static/[^"]+)"', page)
    assert len(scripts) >= 2
    for path in scripts:
        assert re.search(r"\.[\w-]{8,}\.(js|css|woff2)$", path), path
        kept = Answer(address, f"/{path}", cookie=cookie).headers["cache-control"]
        assert kept == "private, immutable, max-age=31536000", path
    missing = Answer(address, "/static/js/none.js", cookie=cookie).headers["cache-control"]
    assert missing == "no-store"


# ---- a session and the library's tabs


def test_a_trainee_who_names_the_directors_tab_gets_none_of_it(address: str) -> None:
    """Source of the case: an outside trial received the director's cohort in this way."""
    trainee_cookie, director_cookie = signed_in(address), signed_in(address, "director")

    def receives_nothing_of(director: Tab) -> None:
        with tab(address, trainee_cookie, resume=director.name) as trainee:
            trainee.ask(director.fragments()[0])
            received = everything(trainee.rerun())
            assert trainee.name != director.name
            assert b"T22" in received
            assert b"T23" not in received

    with tab(address, director_cookie) as director:
        assert b"T23" in everything(director.rerun())
        receives_nothing_of(director)
        assert b"T23" in everything(director.rerun(director.fragments()[0]))
    receives_nothing_of(director)
    # The tab was still there to be resumed, by its own viewer.
    with tab(address, director_cookie, resume=director.name) as again:
        again.rerun()
        assert again.name == director.name


def test_the_library_still_has_the_hidden_setting_that_ties_a_tab_to_its_viewer() -> None:
    server.settle()
    assert config.get_option("server.trustedUserHeaders") == {HEADER: "viewer"}


def test_signing_out_closes_every_open_websocket_of_the_session_and_no_other(address: str) -> None:
    cookie, others = signed_in(address), signed_in(address)
    with tab(address, cookie) as first, tab(address, cookie) as second, tab(address, others) as other:
        for each in (first, second, other):
            each.rerun()
        Answer(address, "/people", cookie=cookie)
        assert (first.closed_with(), second.closed_with()) == (NO_SESSION, NO_SESSION)
        assert b"T22" in everything(other.rerun())


def test_another_sites_page_is_refused_before_the_library_sees_it(address: str) -> None:
    cookie = signed_in(address)
    for origin in ("http://example.org", "null", address.replace("127.0.0.1", "localhost"), f"{address}1"):
        for path in ("/", "/_stcore/health", "/_stcore/upload_file/a/b", "/people", "/as/director"):
            assert Answer(address, path, cookie=cookie, origin=origin).status == 403, (origin, path)
        with pytest.raises(InvalidStatus) as refused, tab(address, cookie, origin=origin):
            pass
        assert refused.value.response.status_code == 403
    assert Answer(address, "/_stcore/health", cookie=cookie, origin=address).status == 200
    # What would change something names its site; a browser always does.
    assert Answer(address, "/_stcore/upload_file/a/b", "DELETE", cookie=cookie).status == 403


def test_no_program_drives_the_app_without_a_browser(address: str) -> None:
    cookie = signed_in(address, "director")
    for path, method, status in (
        ("interact", "POST", 403),
        ("mcp", "POST", 400),
        ("mcp", "GET", 405),
        ("x", "POST", 404),
    ):
        answer = Answer(address, f"/_stcore/agent/{path}", method, b"{}", cookie=cookie, origin=address)
        assert answer.status == status, (path, answer.body)
        assert b"T23" not in answer.body
    assert config.get_option("server.enableAgentApi") is False


def test_neither_the_environment_nor_a_settings_file_opens_the_app_further(tmp_path: Path) -> None:
    (tmp_path / ".streamlit").mkdir()
    (tmp_path / ".streamlit" / "config.toml").write_text("[server]\nenableXsrfProtection = false\n")
    asked = "server.settle(); print(*(config.get_option('server.' + name) for name in names))"
    done = subprocess.run(
        [
            sys.executable,
            "-c",
            "from streamlit import config; from dashboard import server; "
            f"names = ('enableAgentApi', 'enableCORS', 'enableXsrfProtection', 'enableStaticServing'); {asked}",
        ],
        capture_output=True,
        text=True,
        check=True,
        cwd=tmp_path,
        env={
            "PYTHONPATH": str(ROOT),
            "STREAMLIT_SERVER_ENABLE_AGENT_API": "true",
            "STREAMLIT_SERVER_ENABLE_CORS": "false",
            "STREAMLIT_SERVER_ENABLE_STATIC_SERVING": "true",
        },
    )
    assert done.stdout.split() == ["False", "True", "True", "False"]


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

    here = [("host", "127.0.0.1:80"), ("origin", "http://127.0.0.1:80")]
    headers = [(name.encode(), value.encode()) for name, value in (*here, *sent)]
    scope = {"type": kind, "path": "/", "headers": headers, "method": "GET", "server": ("127.0.0.1", 80)}
    asyncio.run(Gate(app, sessions, Site())(scope, receive, send))
    return told[0] if told else None


@pytest.mark.parametrize("kind", ["http", "websocket"])
def test_a_viewer_that_a_request_claims_to_be_is_replaced_by_the_sessions(kind: str) -> None:
    sessions = Sessions()
    name = sessions.open(T22)
    cookie = ("cookie", f"{cookie_name(80)}={name}")
    forged = (HEADER, json.dumps(T23))
    for headers in ([cookie, forged], [forged, cookie], [forged, cookie, forged]):
        assert read_viewer(_passed_on(headers, sessions, kind)) == T22


def test_a_claim_without_a_session_reaches_nothing() -> None:
    assert _passed_on([(HEADER, json.dumps(T22))], Sessions()) is None


def test_a_session_ends_when_it_is_too_old() -> None:
    now = [1000.0]
    sessions = Sessions(limits=Limits(age=100, idle=100), clock=lambda: now[0])
    name = sessions.open(T22)
    cookie = [("cookie", f"{cookie_name(80)}={name}")]
    now[0] += 99
    sessions.asked(name)
    assert read_viewer(_passed_on(cookie, sessions)) == T22
    now[0] += 1
    assert _passed_on(cookie, sessions) is None


def test_a_download_in_flight_ends_with_its_session() -> None:
    sessions, sent = Sessions(), list[Message]()
    name = sessions.open(T22)
    sessions.offer(name, "/media/a.csv")
    body = bytes(10 * PART_BYTES)

    async def app(_scope: Scope, _receive: Receive, send: Send) -> None:
        await send({"type": "http.response.start", "status": 200, "headers": []})
        await send({"type": "http.response.body", "body": body})

    async def receive() -> Message:
        return {"type": "http.request"}

    async def send(message: Message) -> None:
        sent.append(message)
        if len(sent) == 4:  # the head and three parts
            sessions.close(name)

    headers = [(b"host", b"127.0.0.1:80"), (b"cookie", f"{cookie_name(80)}={name}".encode())]
    scope = {
        "type": "http",
        "path": "/media/a.csv",
        "headers": headers,
        "method": "GET",
        "server": ("127.0.0.1", 80),
    }
    asyncio.run(Gate(app, sessions, Site())(scope, receive, send))
    assert [len(each.get("body", b"")) for each in sent] == [0, PART_BYTES, PART_BYTES, PART_BYTES]
    assert all(each["more_body"] for each in sent[1:])  # so that the browser knows that it is not whole


def test_a_file_is_not_answered_where_the_log_cannot_be_written() -> None:
    sessions, sent = Sessions(), list[Message]()
    name = sessions.open(T22)
    sessions.offer(name, "/media/a.csv")

    async def app(_scope: Scope, _receive: Receive, send: Send) -> None:
        disposition = (b"content-disposition", b'attachment; filename="volume-2027.csv"')
        await send({"type": "http.response.start", "status": 200, "headers": [disposition]})
        await send({"type": "http.response.body", "body": b"T22"})

    async def receive() -> Message:
        return {"type": "http.request"}

    async def send(message: Message) -> None:
        sent.append(message)

    def cannot(who: Who, file: str) -> None:
        assert (who, file) == (T22, "volume-2027.csv")
        raise OSError("no space left")

    headers = [(b"host", b"127.0.0.1:80"), (b"cookie", f"{cookie_name(80)}={name}".encode())]
    scope = {
        "type": "http",
        "path": "/media/a.csv",
        "headers": headers,
        "method": "GET",
        "server": ("127.0.0.1", 80),
    }
    with pytest.raises(OSError, match="no space"):
        asyncio.run(Gate(app, sessions, Site(), cannot)(scope, receive, send))
    assert sent == []


def test_two_sessions_have_two_names_and_close_apart() -> None:
    sessions = Sessions()
    first, second = sessions.open(T22), sessions.open(T23)
    sessions.close(first)
    assert first != second
    assert (sessions.viewer(first), sessions.viewer(second)) == (None, T23)


def test_a_session_that_ran_out_is_forgotten_and_its_websockets_are_closed_though_nobody_asks(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    now = [1000.0]
    monkeypatch.setattr("dashboard.sessions.SWEEP_SECONDS", 0.01)
    sessions = Sessions(limits=Limits(age=100), clock=lambda: now[0])
    short = sessions.open(T22)
    now[0] += 1
    sessions.open(T23)
    came: list[Message] = []
    sent: list[Message] = []

    async def app(_scope: Scope, receive: Receive, send: Send) -> None:
        while not came or came[-1]["type"] != "websocket.disconnect":
            came.append(await receive())
        await send({"type": "websocket.send", "bytes": b"too late"})

    async def nothing_comes() -> Message:
        await asyncio.sleep(60)
        raise AssertionError

    async def send(message: Message) -> None:
        sent.append(message)

    async def connected() -> None:
        headers = [
            (b"host", b"127.0.0.1:80"),
            (b"origin", b"http://127.0.0.1:80"),
            (b"cookie", f"{cookie_name(80)}={short}".encode()),
        ]
        scope = {"type": "websocket", "path": "/", "headers": headers, "server": ("127.0.0.1", 80)}
        async with sessions.swept(None):
            serving = asyncio.create_task(Gate(app, sessions, Site())(scope, nothing_comes, send))
            await asyncio.sleep(0.1)
            assert not came
            assert len(sessions) == 2
            now[0] += 99
            await asyncio.wait_for(serving, timeout=10)

    asyncio.run(connected())
    assert came == [{"type": "websocket.disconnect", "code": NO_SESSION}]
    assert sent == [
        {"type": "websocket.close", "code": NO_SESSION}
    ]  # no word before: it was not accepted yet
    assert len(sessions) == 1


# ---- only the demo is served


def test_a_store_that_is_not_marked_demo_is_not_served(tmp_path: Path) -> None:
    store = demo_copy(tmp_path)
    set_programme(store, demo=False)
    with pytest.raises(WrongUsage):
        server.demo_app(Store(store))
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
