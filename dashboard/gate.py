"""A gate in front of the app: no session, no page, no websocket, no download; nothing for another site's pages.

The gate looks up the session that a request's cookie names, removes any viewer that the request claims to be, and sets
the one that the session says. What it refuses never reaches the library behind it.
"""

from __future__ import annotations

import asyncio
import base64
import hashlib
import re
from pathlib import Path
from urllib.parse import urlsplit

import streamlit
from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import HTTPConnection, Request
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from dashboard.sessions import HEADER, LONGEST_SECONDS, Sessions, Who, cookie_name, write_viewer

# Every answer but the library's own scripts and styles, which are the same for everybody: each has a hash of its content
# in its name.
NOT_KEPT = "no-store"
LIBRARY = "/static/"
KEPT = "private, immutable, max-age=31536000"
# The websocket's close code where there is no session, or none any more: 4000 to 4999 are an application's own.
NO_SESSION = 4403


class Gate:
    """ASGI middleware: closed without a session, but for the paths (a pattern) on which one is opened.

    `first` is the viewer of a page asked for without a session; without it such a page says `closed`.
    """

    def __init__(
        self,
        app: ASGIApp,
        sessions: Sessions,
        first: Who | None = None,
        open_paths: str = "",
        closed: str = "There is no session.",
    ) -> None:
        self.app, self.sessions, self.first = app, sessions, first
        self.open_paths, self.closed = open_paths, closed

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        name = session_name(HTTPConnection(scope))
        who = self.sessions.viewer(name)
        scope = _as_viewer(scope, who)
        headers = Headers(scope=scope)
        if scope["type"] == "http":
            send = _with_headers(send, scope["path"], content_policy(headers.get("host", "")))
        if not _same_origin(scope, headers):
            await _refuse(scope, receive, send, "Another site asks.")
        elif who is not None and scope["type"] == "websocket":
            await self._while_open(str(name), scope, receive, send)
        elif who is not None or re.fullmatch(self.open_paths, scope["path"]):
            await self.app(scope, receive, send)
        elif self.first is not None and "text/html" in headers.get("accept", ""):
            await session_response(Request(scope), self.sessions, self.first)(scope, receive, send)
        else:
            await _refuse(scope, receive, send, self.closed)

    async def _while_open(self, name: str, scope: Scope, receive: Receive, send: Send) -> None:
        """Run the app on a websocket until it ends or the session does; after that nothing passes either way."""
        ended, loop = asyncio.Event(), asyncio.get_running_loop()

        async def receive_until_the_end() -> Message:
            message, end = asyncio.ensure_future(receive()), asyncio.ensure_future(ended.wait())
            try:
                await asyncio.wait((message, end), return_when=asyncio.FIRST_COMPLETED)
                if self.sessions.viewer(name) is not None:
                    return await message
            finally:
                message.cancel()
                end.cancel()
            await send({"type": "websocket.close", "code": NO_SESSION})
            return {"type": "websocket.disconnect", "code": NO_SESSION}

        async def send_until_the_end(message: Message) -> None:
            if self.sessions.viewer(name) is not None:
                await send(message)

        def end_it() -> None:
            loop.call_soon_threadsafe(ended.set)

        with self.sessions.watched(name, end_it):
            await self.app(scope, receive_until_the_end, send_until_the_end)


def session_name(connection: HTTPConnection) -> str | None:
    """The session's name in a request's cookie."""
    return connection.cookies.get(cookie_name(_port(connection.scope)))


def session_response(request: Request, sessions: Sessions, who: Who, secure: bool = False) -> Response:
    """Open a session and go to the app with it."""
    response = RedirectResponse("/", status_code=303)
    keep_session(response, request, sessions.open(who), secure)
    return response


def keep_session(response: Response, request: Request, name: str, secure: bool = False) -> None:
    """Hand the session's name to the browser."""
    response.set_cookie(
        cookie_name(_port(request.scope)),
        name,
        max_age=LONGEST_SECONDS,
        httponly=True,
        samesite="strict",
        secure=secure,
    )


def content_policy(host: str) -> str:
    """What the pages may load, as a content security policy: only what this server sends, to nobody else.

    The library draws charts by functions made from text ('unsafe-eval') and sets styles from its scripts
    ('unsafe-inline', for styles alone); its page has a script of its own, allowed by the hash of its text.
    """
    return "; ".join(
        (
            "default-src 'none'",
            f"script-src 'self' {_INLINE_SCRIPTS}",
            "style-src 'self' 'unsafe-inline'",
            "img-src 'self' data: blob:",
            "font-src 'self' data:",
            f"connect-src 'self' ws://{host} wss://{host}",
            "manifest-src 'self'",
            "base-uri 'none'",
            "form-action 'self'",
            "frame-ancestors 'none'",
        )
    )


def _hashes_of_inline_scripts() -> str:
    page = (Path(streamlit.__file__).parent / "static" / "index.html").read_text(encoding="utf-8")
    scripts = re.findall(r"<script>(.*?)</script>", page, re.DOTALL)
    digests = [hashlib.sha256(script.encode()).digest() for script in scripts]
    return " ".join(f"'sha256-{base64.b64encode(digest).decode()}'" for digest in digests)


_INLINE_SCRIPTS = _hashes_of_inline_scripts()


def _as_viewer(scope: Scope, who: Who | None) -> Scope:
    """The request with one viewer, the session's, whomever it claimed to be; with none where there is no session."""
    kept = [(name, value) for name, value in scope["headers"] if name.lower() != HEADER.encode()]
    ours = [(HEADER.encode(), write_viewer(who).encode())] if who is not None else []
    return {**scope, "headers": [*kept, *ours]}


def _port(scope: Scope) -> int:
    return int(scope["server"][1])


def _same_origin(scope: Scope, headers: Headers) -> bool:
    """Whether no page of another site asks. A browser names the page's site at every websocket."""
    origins = headers.getlist("origin")
    if not origins:
        return bool(scope["type"] == "http")
    return all(urlsplit(origin).netloc == headers.get("host") for origin in origins)


async def _refuse(scope: Scope, receive: Receive, send: Send, why: str) -> None:
    if scope["type"] == "websocket":
        await send({"type": "websocket.close", "code": NO_SESSION})
        return
    await PlainTextResponse(why, status_code=403)(scope, receive, send)


def _with_headers(send: Send, path: str, policy: str) -> Send:
    async def send_with_headers(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            lasting = path.startswith(LIBRARY) and "immutable" in headers.get("cache-control", "")
            headers["cache-control"] = KEPT if lasting else NOT_KEPT
            headers["x-content-type-options"] = "nosniff"
            headers["referrer-policy"] = "no-referrer"
            headers["content-security-policy"] = policy
        await send(message)

    return send_with_headers
