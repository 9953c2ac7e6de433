"""python -m dashboard --demo --store DIR: the dashboard, on this machine alone."""

from __future__ import annotations

import argparse
import importlib
import os
import socket
import sys
import threading
from pathlib import Path

import uvicorn
from streamlit import config

from dashboard import theme
from dashboard.server import demo_app
from pipelines.contract.errors import UserError

ADDRESS = "127.0.0.1"
FIRST_PORT = 8501
PORTS_TRIED = 50

# Nothing is reported to anybody, and nothing is fetched from anywhere.
SETTINGS: dict[str, object] = {
    "browser.gatherUsageStats": False,
    "server.address": ADDRESS,
    "server.headless": True,
    "server.fileWatcherType": "none",
    "server.maxUploadSize": 200,
    "client.toolbarMode": "viewer",
    "client.showErrorDetails": "none",
    "logger.level": "error",
}


def main(argv: list[str] | None = None) -> int:
    """Serve the store until stopped."""
    parser = argparse.ArgumentParser(prog="python3 run.py demo")
    parser.add_argument("--demo", action="store_true")
    parser.add_argument("--store", type=Path, required=True)
    parser.add_argument("--port", type=int)
    arguments = parser.parse_args(argv)
    if not arguments.demo:
        print("Without --demo this needs sign-in, which this version does not have.", file=sys.stderr)
        return 2
    try:
        app = demo_app(arguments.store.resolve())
    except UserError as error:
        print(error, file=sys.stderr)
        return error.exit_code
    os.environ["STANDING_STORE"] = str(arguments.store.resolve())
    for name, value in {**SETTINGS, **theme.SETTINGS}.items():
        config.set_option(name, value)
    # The first rerun needs the screens: they are imported while the server starts and the browser loads its scripts.
    threading.Thread(target=importlib.import_module, args=("dashboard.navigation",), daemon=True).start()
    port = arguments.port or free_port()
    print(f"The dashboard: http://{ADDRESS}:{port}  (made-up data; stop it with Ctrl-C)", flush=True)
    uvicorn.run(app, host=ADDRESS, port=port, log_level="error")
    return 0


def free_port() -> int:
    """The first free port from 8501 on."""
    for port in range(FIRST_PORT, FIRST_PORT + PORTS_TRIED):
        with socket.socket() as probe:
            if probe.connect_ex((ADDRESS, port)):
                return port
    raise OSError("no free port")


if __name__ == "__main__":
    sys.exit(main())
