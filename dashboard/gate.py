"""A gate in front of the app: no session, no page, no websocket, no download; nothing for another site's pages.

The gate looks up the session that a request's cookie names, removes any viewer that the request claims to be, and sets
the one that the session stands for now. It asks again at every message of a websocket and every part of a download.
What it refuses never reaches the library behind it.
"""

from __future__ import annotations

import asyncio
import re
from collections.abc import Callable, Hashable, Iterator
from dataclasses import dataclass
from email.message import Message as MailMessage
from urllib.parse import urlsplit

from starlette.datastructures import Headers
from starlette.requests import HTTPConnection, Request
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from dashboard.access import Viewer, can_take_exports
from dashboard.headers import with_headers
from dashboard.sessions import HEADER, Sessions, Who, cookie_name, write_viewer
from dashboard.tabs import NO_SESSION, OpenTab

DOWNLOADS = "/media/"
UPLOADS = "/_stcore/upload_file/"
# An answer is handed on in parts of so many bytes, so that it can end with its session.
PART_BYTES = 65536
# What changes nothing (RFC 9110, 9.2.1); whatever else a browser asks, it says from which site.
SAFE_METHODS = {"GET", "HEAD", "OPTIONS"}


@dataclass(frozen=True)
class Site:
    """How the app is reached: at one address, its `origin`, or, where that is blank, at any name of this machine.

    `open_paths` is a pattern of the paths that are open without a session. A page asked for without one opens one for
    `first`, or else is that of `sign_in`, or else says `closed`.
    """

    origin: str = ""
    open_paths: str = ""
    first: Hashable = None
    sign_in: str = ""
    closed: str = "There is no session."

    @property
    def secure(self) -> bool:
        return self.origin.startswith("https://")


class Gate:
    """ASGI middleware: closed without a session, but for the paths on which one is opened.

    `exported` is called before a download is answered, with whom it goes to and the name of the file; where it raises,
    nothing is answered.
    """

    def __init__(
        self,
        app: ASGIApp,
        sessions: Sessions,
        site: Site,
        exported: Callable[[Who, str], None] = lambda _who, _name: None,
    ) -> None:
        self.app, self.sessions, self.site, self.exported = app, sessions, site, exported

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        name = session_name(HTTPConnection(scope), self.site)
        who = self.sessions.viewer(name)
        scope = _as_viewer(scope, who)
        headers = Headers(scope=scope)
        if scope["type"] == "http":
            send = with_headers(send, scope["path"], headers.get("host", ""), self.site.secure)
        if not self._same_origin(scope, headers):
            await _refuse(scope, receive, send, "Another site asks.")
        elif scope["type"] == "http" and re.fullmatch(self.site.open_paths, scope["path"]):
            await self.app(scope, receive, send)
        elif who is None:
            await self._without_session(scope, receive, send)
        elif scope["type"] == "websocket":
            await OpenTab(self.sessions, str(name), who, receive, send).run(self.app, scope)
        else:
            await self._answer(str(name), who, scope, receive, send)

    def _same_origin(self, scope: Scope, headers: Headers) -> bool:
        """Whether no page of another site asks. A browser names the page's site at every websocket and every change."""
        origins = headers.getlist("origin")
        if not origins:
            return scope["type"] == "http" and scope["method"] in SAFE_METHODS
        if self.site.origin:
            return origins == [self.site.origin]
        return all(urlsplit(origin).netloc == headers.get("host") for origin in origins)

    async def _without_session(self, scope: Scope, receive: Receive, send: Send) -> None:
        a_page = scope["type"] == "http" and "text/html" in Headers(scope=scope).get("accept", "")
        if a_page and self.site.first is not None:
            response = session_response(Request(scope), self.sessions, self.site.first, self.site)
            await response(scope, receive, send)
        elif a_page and self.site.sign_in:
            await RedirectResponse(self.site.sign_in, status_code=303)(scope, receive, send)
        else:
            await _refuse(scope, receive, send, self.site.closed)

    async def _answer(self, name: str, who: Who, scope: Scope, receive: Receive, send: Send) -> None:
        """Run the app on a request, unless it asks for a file of somebody else; nothing goes out after the session."""
        self.sessions.asked(name)
        if scope["path"].startswith(UPLOADS) and not can_take_exports(Viewer(*who)):
            await _refuse(scope, receive, send, "With this session you may not bring exports in.")
            return
        if scope["path"].startswith(DOWNLOADS):
            if not self.sessions.is_offered(name, scope["path"]) or scope["method"] != "GET":
                await _refuse(
                    scope, receive, send, "This file was not made for this session, or was fetched before."
                )
                return
            if Headers(scope=scope).get("sec-fetch-mode") == "cors":
                # A script of the library's page asks first whether there is a file, and throws away what it gets.
                await Response(status_code=204)(scope, receive, send)
                return
            self.sessions.fetched(name, scope["path"])
            scope, send = _without_ranges(scope), self._written_down(who, send)

        async def send_until_the_end(message: Message) -> None:
            for part in _parts(message):
                if self.sessions.viewer(name) == who:
                    await send(part)

        await self.app(scope, receive, send_until_the_end)

    def _written_down(self, who: Who, send: Send) -> Send:
        async def send_once_written(message: Message) -> None:
            if message["type"] == "http.response.start" and message["status"] == 200:
                await asyncio.to_thread(self.exported, who, _file_name(message))
            await send(message)

        return send_once_written


def session_name(connection: HTTPConnection, site: Site) -> str | None:
    """The session's name in a request's cookie."""
    return connection.cookies.get(_cookie(connection, site))


def session_response(request: Request, sessions: Sessions, identity: Hashable, site: Site) -> Response:
    """Open a session and go to the app with it."""
    response = RedirectResponse("/", status_code=303)
    keep_session(response, request, sessions, sessions.open(identity), site)
    return response


def keep_session(response: Response, request: Request, sessions: Sessions, name: str, site: Site) -> None:
    """Hand the session's name to the browser, for as long as the session may last.

    At an address of its own people come by links, in mail for instance: there the cookie is sent with the first request
    of such a visit, which changes nothing. On one's own machine no other site leads here.
    """
    response.set_cookie(
        _cookie(request, site),
        name,
        max_age=int(sessions.limits.age),
        httponly=True,
        samesite="lax" if site.origin else "strict",
        secure=site.secure,
    )


def forget_session(response: Response, request: Request, site: Site) -> None:
    """Take the session's name out of the browser."""
    response.delete_cookie(_cookie(request, site), secure=site.secure, httponly=True, samesite="lax")


def _cookie(connection: HTTPConnection, site: Site) -> str:
    return cookie_name(int(connection.scope["server"][1]), site.secure)


def _as_viewer(scope: Scope, who: Who | None) -> Scope:
    """The request with one viewer, the session's, whomever it claimed to be; with none where there is no session."""
    kept = [(name, value) for name, value in scope["headers"] if name.lower() != HEADER.encode()]
    ours = [(HEADER.encode(), write_viewer(who).encode())] if who is not None else []
    return {**scope, "headers": [*kept, *ours]}


def _without_ranges(scope: Scope) -> Scope:
    """The request for the whole of a file: a part of one would be a second fetch."""
    return {
        **scope,
        "headers": [(name, value) for name, value in scope["headers"] if name.lower() != b"range"],
    }


def _parts(message: Message) -> Iterator[Message]:
    body = message.get("body", b"") if message["type"] == "http.response.body" else b""
    if len(body) <= PART_BYTES:
        yield message
        return
    for start in range(0, len(body), PART_BYTES):
        more = message.get("more_body", False) or start + PART_BYTES < len(body)
        yield {**message, "body": body[start : start + PART_BYTES], "more_body": more}


def _file_name(message: Message) -> str:
    """The name under which an answer is to be saved."""
    read = MailMessage()
    read["content-disposition"] = Headers(raw=message["headers"]).get("content-disposition", "")
    return read.get_filename("a file")


async def _refuse(scope: Scope, receive: Receive, send: Send, why: str) -> None:
    if scope["type"] == "websocket":
        await send({"type": "websocket.close", "code": NO_SESSION})
        return
    await PlainTextResponse(why, status_code=403)(scope, receive, send)
