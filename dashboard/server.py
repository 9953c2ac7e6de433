"""The app behind its gate, and in the demo the way to become any of its people."""

from __future__ import annotations

from pathlib import Path

import streamlit as st
from starlette.middleware import Middleware
from starlette.middleware.trustedhost import TrustedHostMiddleware
from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, Response
from starlette.routing import Route

from dashboard import picker
from dashboard.people import demo_people
from dashboard.sessions import Gate, Sessions, session_name, session_response
from pipelines.contract.errors import WrongUsage
from pipelines.store.store import Store

SCRIPT = Path(__file__).with_name("app.py")


def demo_app(root: Path) -> st.App:
    """The demo: whoever asks is the director until another person is picked. Only for a store marked demo."""
    store = Store(root)
    if not store.programme.demo:
        raise WrongUsage(f"{root} is not a demo store; a store with people in it needs sign-in.")
    sessions = Sessions()
    director = next(person.told for person in demo_people(store) if person.key == "director")

    async def choose(request: Request) -> Response:
        sessions.close(session_name(request.headers))
        return HTMLResponse(picker.page(store.programme.title, demo_people(store)))

    async def become(request: Request) -> Response:
        told = {person.key: person.told for person in demo_people(store)}.get(request.path_params["person"])
        if told is None:
            return PlainTextResponse("Nobody of that name.", status_code=404)
        sessions.close(session_name(request.headers))
        return session_response(sessions, told)

    return st.App(
        SCRIPT,
        routes=[Route("/people", choose), Route("/as/{person}", become)],
        middleware=[
            Middleware(TrustedHostMiddleware, allowed_hosts=["127.0.0.1", "localhost"]),
            Middleware(Gate, sessions=sessions, first=director, open_paths="/people|/as/[^/]+"),
        ],
    )
