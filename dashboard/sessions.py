"""A gate in front of the app: no session, no page, no websocket, no download.

A session lives in this process. The browser holds a random name of it in a cookie that no script can read; the
gate looks the name up, removes any viewer that a request claims to be, and sets the one that the session says.
"""

from __future__ import annotations

import json
import re
import secrets
import time
from http.cookies import SimpleCookie
from typing import Any

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

HEADER = "x-standing-viewer"
COOKIE = "standing_session"
LONGEST_SECONDS = 8 * 3600

# What the pages may load: only what this server sends.
RESPONSE_HEADERS = {
    "cache-control": "no-store",
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "content-security-policy": "frame-ancestors 'none'",
}
# But the library's own scripts and styles, the same for everybody: each has a hash of its content in its name.
LIBRARY = "/static/"
KEEP = "private, immutable, max-age=31536000"

Told = tuple[str, str, str | None]


class Sessions:
    """The open sessions of this process: name → (role, programme_ref, person_ref) and when it was opened."""

    def __init__(self) -> None:
        self._open: dict[str, tuple[Told, float]] = {}

    def open(self, told: Told) -> str:
        """Open a session; returns its name."""
        name = secrets.token_urlsafe(32)
        self._open[name] = (told, time.monotonic())
        return name

    def close(self, name: str | None) -> None:
        """Sign out: the name opens nothing any more."""
        self._open.pop(name or "", None)

    def viewer(self, name: str | None) -> Told | None:
        """Whom a session stands for; None if it is unknown or too old."""
        told, opened = self._open.get(name or "", (None, 0.0))
        return told if told and time.monotonic() - opened < LONGEST_SECONDS else None


def write_viewer(told: Told) -> str:
    """The viewer as the header carries it."""
    return json.dumps(told)


def read_viewer(header: str | None) -> Any:
    """The viewer that the gate put into the header, as (role, programme_ref, person_ref); None without one."""
    return tuple(json.loads(header)) if header else None


def session_name(headers: Headers) -> str | None:
    """The session's name in a request's cookie."""
    cookie = SimpleCookie(headers.get("cookie", "")).get(COOKIE)
    return cookie.value if cookie else None


def session_response(sessions: Sessions, told: Told, secure: bool = False) -> Response:
    """Open a session and go to the app with it."""
    response = RedirectResponse("/", status_code=303)
    response.set_cookie(
        COOKIE, sessions.open(told), max_age=LONGEST_SECONDS, httponly=True, samesite="strict", secure=secure
    )
    return response


class Gate:
    """ASGI middleware: closed without a session, but for the paths (a pattern) on which one is opened.

    `first` is the viewer of a page asked for without a session; without it there is no such page.
    """

    def __init__(
        self, app: ASGIApp, sessions: Sessions, first: Told | None = None, open_paths: str = ""
    ) -> None:
        self.app, self.sessions, self.first, self.open_paths = app, sessions, first, open_paths

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        headers = MutableHeaders(scope=scope)
        told = self.sessions.viewer(session_name(headers))
        del headers[HEADER]
        if told is not None:
            headers[HEADER] = write_viewer(told)
        elif not re.fullmatch(self.open_paths, scope["path"]):
            await self._refuse(scope, receive, send)
            return
        await self.app(scope, receive, _with_headers(send, scope["path"]))

    async def _refuse(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": 4403})
            return
        asks_for_page = "text/html" in Request(scope).headers.get("accept", "")
        if self.first is not None and asks_for_page:
            await session_response(self.sessions, self.first)(scope, receive, send)
            return
        await PlainTextResponse("There is no session.", status_code=403)(scope, receive, send)


def _with_headers(send: Send, path: str) -> Send:
    async def send_with_headers(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            lasting = path.startswith(LIBRARY) and "immutable" in headers.get("cache-control", "")
            for name, value in RESPONSE_HEADERS.items():
                headers[name] = value
            if lasting:
                headers["cache-control"] = KEEP
        await send(message)

    return send_with_headers
