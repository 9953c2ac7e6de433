"""The app with sign-in: for a department, at one address, each person with what access.yaml says they may see."""

from __future__ import annotations

from urllib.parse import urlsplit

import streamlit as st
from starlette.middleware import Middleware
from starlette.middleware.trustedhost import TrustedHostMiddleware

from dashboard.environment import Settings
from dashboard.gate import Gate, Site
from dashboard.provider import Providers
from dashboard.server import SCRIPT
from dashboard.sessions import Sessions
from dashboard.sign_in import HEALTH, PASSPHRASE, SIGN_IN, SIGN_OUT, Entrance
from dashboard.who import Directory
from pipelines.store.access_log import begin as begin_log
from pipelines.store.store import Store

OPEN = f"{SIGN_IN}(/[a-z0-9]+(/back)?)?|{PASSPHRASE}|{SIGN_OUT}|{HEALTH}"


def department_app(store: Store, settings: Settings) -> st.App:
    """The dashboard of a store for everybody whom its access.yaml names."""
    begin_log(store.root)
    directory = Directory(store, several=len(settings.providers) > 1)
    sessions = Sessions(directory.who, settings.limits)
    site = Site(origin=settings.origin, open_paths=OPEN, sign_in=SIGN_IN, closed="Sign in first.")
    entrance = Entrance(directory, sessions, site, settings.providers)
    host = urlsplit(settings.origin).hostname or ""
    return st.App(
        SCRIPT,
        routes=[*entrance.routes(), *Providers(entrance).routes()],
        middleware=[
            Middleware(TrustedHostMiddleware, allowed_hosts=[host], www_redirect=False),
            Middleware(Gate, sessions=sessions, site=site, exported=entrance.exported),
        ],
        lifespan=sessions.swept,
    )
