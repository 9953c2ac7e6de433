"""The app behind its gate: the demo, with the way to become any of its people; or one person's own store."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import streamlit as st
from altair.utils import schemapi
from starlette.formparsers import MultiPartParser
from starlette.middleware import Middleware
from starlette.middleware.trustedhost import TrustedHostMiddleware
from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, Response
from starlette.routing import Route
from streamlit import config

from dashboard import picker, theme
from dashboard.gate import Gate, Site, keep_session, session_name, session_response
from dashboard.people import demo_people
from dashboard.sessions import HEADER, OneTimeKey, Sessions, Who
from pipelines.contract.errors import WrongUsage
from pipelines.store.store import Store

SCRIPT = Path(__file__).with_name("app.py")
LARGEST_UPLOAD_MB = 200

SETTINGS: dict[str, object] = {
    # Nothing is reported to anybody, and nothing is fetched from anywhere.
    "browser.gatherUsageStats": False,
    "server.headless": True,
    "server.fileWatcherType": "none",
    "client.toolbarMode": "viewer",
    "client.showErrorDetails": "none",
    "logger.level": "error",
    # To look through all that the process holds after each click takes longer than most clicks.
    "runner.postScriptGC": False,
    "server.maxUploadSize": LARGEST_UPLOAD_MB,
    # The library's name of a tab resumes it for the same viewer alone, as the gate names the viewer.
    "server.trustedUserHeaders": {HEADER: "viewer"},
    # Whatever a settings file of the person or the environment says.
    "server.enableAgentApi": False,
    "server.enableCORS": True,
    "server.enableXsrfProtection": True,
    "server.enableStaticServing": False,
    "server.corsAllowedOrigins": [],
    **theme.SETTINGS,
}


def settle() -> None:
    """Set the libraries up, before any app is served."""
    for name, value in SETTINGS.items():
        config.set_option(name, value)
    # The tests hold every chart to its schema; to do so for each part of each chart takes a third of drawing it.
    schemapi.disable_debug_mode()
    # An upload holds days of operation and maybe a name: it stays in memory, whole. Twice the largest is room enough for
    # what stands around a file; the library refuses a larger one with 413 while it comes in.
    MultiPartParser.spool_max_size = 2 * LARGEST_UPLOAD_MB * 1024 * 1024


def demo_app(store: Store) -> st.App:
    """The demo: whoever asks is the director until another person is picked. Only for a store marked demo."""
    if not store.programme.demo:
        raise WrongUsage(
            f"{store.root} is not a demo store. Open your own with: python3 run.py open --store {store.root}"
        )
    sessions = Sessions()
    director = next(person.who for person in demo_people(store) if person.key == "director")
    site = Site(open_paths="/people|/as/[^/]+", first=director)

    async def choose(request: Request) -> Response:
        sessions.close(session_name(request, site))
        return HTMLResponse(picker.page(store.programme.title, demo_people(store)))

    async def become(request: Request) -> Response:
        who = {person.key: person.who for person in demo_people(store)}.get(request.path_params["person"])
        if who is None:
            return PlainTextResponse("Nobody of that name.", status_code=404)
        sessions.close(session_name(request, site))
        return session_response(request, sessions, who, site)

    routes = [Route("/people", choose), Route("/as/{person}", become)]
    return _app(sessions, routes, Middleware(Gate, sessions=sessions, site=site))


CLOSED = (
    "This page opens once, through the link that `python3 run.py open` printed. If it was used or is too old, stop the"
    " command with Ctrl-C and start it again."
)


def own_app(who: Who, key: OneTimeKey) -> st.App:
    """One person's own store, for whoever has the key; the session ends with the process."""
    sessions = Sessions()
    site = Site(open_paths="/open/[^/]+", closed=CLOSED)

    async def enter(request: Request) -> Response:
        if not key.use(request.path_params["key"]):
            return PlainTextResponse(CLOSED, status_code=403)
        # A page of ours goes on: a browser led here by another site's link would not send the new cookie at once.
        response = HTMLResponse(
            '<!doctype html><title>Opening</title><meta http-equiv="refresh" content="0; url=/">'
        )
        keep_session(response, request, sessions, sessions.open(who), site)
        return response

    return _app(sessions, [Route("/open/{key}", enter)], Middleware(Gate, sessions=sessions, site=site))


def _app(sessions: Sessions, routes: Sequence[Route], gate: Middleware) -> st.App:
    this_machine = Middleware(TrustedHostMiddleware, allowed_hosts=["127.0.0.1", "localhost"])
    return st.App(SCRIPT, routes=routes, middleware=[this_machine, gate], lifespan=sessions.swept)
