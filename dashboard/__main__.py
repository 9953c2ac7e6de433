"""python -m dashboard --store DIR (--demo | --as ROLE): the dashboard, on this machine alone, until it is stopped."""

from __future__ import annotations

import argparse
import errno
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
from dashboard.sessions import LINK_SECONDS, OneTimeKey
from pipelines.contract.errors import UserError, WrongUsage
from pipelines.store.store import Store

ADDRESS = "127.0.0.1"
FIRST_PORT = 8501
PORTS_TRIED = 50
SECONDS_TO_END = 3
ROLES = ("director", "coordinator")


def main(argv: list[str] | None = None) -> int:
    """Serve the store until stopped; 2 with a reason where it may not be served."""
    parser = argparse.ArgumentParser(prog="python3 run.py", allow_abbrev=False)
    parser.add_argument("--store", type=Path, required=True)
    parser.add_argument("--demo", action="store_true")
    parser.add_argument("--as", dest="role", choices=ROLES)
    parser.add_argument("--port", type=int)
    arguments = parser.parse_args(argv)
    try:
        return _serve(arguments)
    except UserError as error:
        print(error, file=sys.stderr)
        return error.exit_code


def _serve(arguments: argparse.Namespace) -> int:
    if not (arguments.demo or arguments.role):
        raise WrongUsage("Without --demo or --as this needs sign-in, which this version does not have.")
    root = arguments.store.resolve()
    server.settle()
    os.environ["STANDING_STORE"] = str(root)
    if arguments.demo:
        os.environ["STANDING_PICKER"] = "yes"
        app, path, note = server.demo_app(Store(root)), "", "made-up data; stop it with Ctrl-C"
    else:
        store, key = own_store.checked(root), OneTimeKey()
        app = server.own_app((arguments.role, store.programme.programme_ref, None), key)
        path = f"open/{key.text}"
        note = f"as {arguments.role}; the link works once, within {LINK_SECONDS // 60} minutes; stop it with Ctrl-C"
    listening = listen(arguments.port)
    address = f"http://{ADDRESS}:{listening.getsockname()[1]}/{path}"
    return run(app, listening, lambda: print(f"The dashboard: {address}  ({note})", flush=True))


def listen(port: int | None) -> socket.socket:
    """A socket on this machine alone, at the port or, without one, at the first free one from 8501 on.

    Raises WrongUsage where the port is taken.
    """
    tried = [port] if port is not None else [*range(FIRST_PORT, FIRST_PORT + PORTS_TRIED), 0]
    for number in tried:
        listening = socket.socket()
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listening.bind((ADDRESS, number))
            listening.listen()
        except OSError as error:
            listening.close()
            if error.errno not in (errno.EADDRINUSE, errno.EACCES):
                raise
        else:
            return listening
    raise WrongUsage(f"--port: {port} is taken. Choose another, or leave --port out.")


def run(app: st.App, listening: socket.socket, when_it_answers: Callable[[], None]) -> int:
    """Serve the app until Ctrl-C; 1 if it did not start."""
    # The first rerun needs the screens: they are imported while the server starts and the browser loads its scripts.
    threading.Thread(target=importlib.import_module, args=("dashboard.navigation",), daemon=True).start()
    # No log of requests: the link's key is in the address of one.
    settings = uvicorn.Config(
        app, log_level="error", access_log=False, timeout_graceful_shutdown=SECONDS_TO_END
    )
    serving = _Server(settings, when_it_answers)
    try:
        serving.run(sockets=[listening])
    except KeyboardInterrupt:
        print("Closed.", file=sys.stderr)
    return 0 if serving.started else 1


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
