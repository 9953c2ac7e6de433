"""python -m dashboard --store DIR (--demo | --as ROLE | --serve): the dashboard, until it is stopped.

The demo, and one person's own store, are on this machine alone; with --serve people sign in.
"""

from __future__ import annotations

import argparse
import errno
import gc
import importlib
import os
import socket
import sys
import threading
from collections.abc import Callable
from pathlib import Path

import streamlit as st
import uvicorn

from dashboard import own_store, server
from dashboard.sessions import LINK_SECONDS, OneTimeKey, Who
from pipelines.contract.errors import UserError, WrongUsage
from pipelines.store.store import Store

ADDRESS = "127.0.0.1"
FIRST_PORT = 8501
PORTS_TRIED = 50
SECONDS_TO_END = 3
LARGEST_MESSAGE_BYTES = 1024 * 1024
MOST_CONNECTIONS = 1000
ROLES = ("director", "coordinator")


def main(argv: list[str] | None = None) -> int:
    """Serve the store until stopped; 2 with a reason where it may not be served."""
    parser = argparse.ArgumentParser(prog="python3 run.py", allow_abbrev=False)
    parser.add_argument("--store", type=Path, required=True)
    parser.add_argument("--demo", action="store_true")
    parser.add_argument("--as", dest="role", choices=ROLES)
    parser.add_argument("--serve", action="store_true")
    parser.add_argument("--port", type=int)
    arguments = parser.parse_args(argv)
    try:
        return _serve(arguments)
    except UserError as error:
        print(error, file=sys.stderr)
        return error.exit_code


def _serve(arguments: argparse.Namespace) -> int:
    root = arguments.store.resolve()
    os.environ["STANDING_STORE"] = str(root)
    if arguments.serve:
        return _serve_department(root)
    if not (arguments.demo or arguments.role):
        raise WrongUsage(
            "Name one of --demo, --as and --serve: the demo, your own store, or with sign-in for many."
        )
    own_store.check_stays_here(os.environ.get("STANDING_LISTEN", ""))
    server.settle()
    if arguments.demo:
        os.environ["STANDING_PICKER"] = "yes"
        app, path, note = server.demo_app(Store(root)), "", "made-up data; stop it with Ctrl-C"
    else:
        store, key = own_store.checked(root), OneTimeKey()
        app = server.own_app(Who(arguments.role, store.programme.programme_ref), key)
        path = f"open/{key.text}"
        note = f"as {arguments.role}; the link works once, within {LINK_SECONDS // 60} minutes; stop it with Ctrl-C"
    listening = listen(arguments.port)
    address = f"http://{ADDRESS}:{listening.getsockname()[1]}/{path}"
    return run(app, listening, lambda: print(f"The dashboard: {address}  ({note})", flush=True))


def _serve_department(root: Path) -> int:
    # The libraries of sign-in are slow to import, and the demo needs none of them.
    from dashboard.environment import read_settings
    from dashboard.serving import department_app

    store = own_store.checked(root)
    settings = read_settings(os.environ, store)
    server.settle()
    listening = listen(settings.port, settings.address)
    at = f"http://{settings.address}:{listening.getsockname()[1]}/"
    note = f"The dashboard: {at}  (people open {settings.origin}; stop it with Ctrl-C)"
    app = department_app(store, settings)
    return run(app, listening, lambda: print(note, flush=True), settings.proxy)


def listen(port: int | None, address: str = ADDRESS) -> socket.socket:
    """A socket at an address, by default of this machine alone: at the port or, without one, the first free from 8501 on.

    Raises WrongUsage where the port is taken.
    """
    tried = [port] if port is not None else [*range(FIRST_PORT, FIRST_PORT + PORTS_TRIED), 0]
    for number in tried:
        listening = socket.socket(socket.AF_INET6 if ":" in address else socket.AF_INET)
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listening.bind((address, number))
            listening.listen()
        except OSError as error:
            listening.close()
            if error.errno not in (errno.EADDRINUSE, errno.EACCES):
                raise
        else:
            return listening
    raise WrongUsage(f"Port {port} is taken. Choose another, or leave it out.")


def run(app: st.App, listening: socket.socket, when_it_answers: Callable[[], None], proxy: str = "") -> int:
    """Serve the app until Ctrl-C; 1 if it did not start. Forwarded headers are believed from the proxy's address alone."""
    # The first rerun needs the screens: they are imported while the server starts and the browser loads its scripts.
    threading.Thread(target=_import_screens, daemon=True).start()
    # No log of requests: the link's key is in the address of one.
    settings = uvicorn.Config(
        app,
        log_level="error",
        access_log=False,
        timeout_graceful_shutdown=SECONDS_TO_END,
        proxy_headers=bool(proxy),
        forwarded_allow_ips=proxy,
        server_header=False,
        # What a tab asks is small; files come by another way.
        ws_max_size=LARGEST_MESSAGE_BYTES,
        limit_concurrency=MOST_CONNECTIONS,
    )
    serving = _Server(settings, when_it_answers)
    try:
        serving.run(sockets=[listening])
    except KeyboardInterrupt:
        print("Closed.", file=sys.stderr)
    return 0 if serving.started else 1


def _import_screens() -> None:
    importlib.import_module("dashboard.navigation")
    # What was imported stays: whoever looks for what can be thrown away need not look there, which takes a second.
    gc.collect()
    gc.freeze()


class _Server(uvicorn.Server):
    """Says so when it answers."""

    def __init__(self, settings: uvicorn.Config, when_it_answers: Callable[[], None]) -> None:
        super().__init__(settings)
        self._when_it_answers = when_it_answers

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        if self.started:
            self._when_it_answers()


if __name__ == "__main__":
    sys.exit(main())
