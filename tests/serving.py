"""Plumbing of tests of the real server: the dashboard in a process of its own, and requests that are not a browser's."""

from __future__ import annotations

import contextlib
import http.client
import os
import re
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from http.cookies import Morsel, SimpleCookie
from pathlib import Path
from typing import IO
from urllib.parse import urlsplit

from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from websockets.exceptions import ConnectionClosed
from websockets.sync.client import ClientConnection, connect

from dashboard.sessions import cookie_name

ROOT = Path(__file__).parents[1]
SECONDS_TO_START = 90
SECONDS_TO_ANSWER = 60


class Server:
    """A dashboard at work: its process, the line it printed when it answered, and its address."""

    def __init__(self, process: subprocess.Popen[str], line: str) -> None:
        self.process, self.line = process, line
        found = re.search(r"http://\S+", line)
        assert found, f"It printed no link, but {line!r}."
        self.link = found[0]
        self.address = self.link[: self.link.index("/", len("http://"))]

    def stop(self) -> int:
        """Ctrl-C; returns how it ended."""
        self.process.send_signal(signal.SIGINT)
        return self.process.wait(timeout=30)


@contextlib.contextmanager
def serving(
    store: Path, *arguments: str, stderr: IO[str] | None = None, **environment: str
) -> Iterator[Server]:
    """The dashboard of a store, from the line it prints when it answers to the end of the block."""
    command = [sys.executable, "-P", "-m", "dashboard", "--store", str(store), *arguments]
    with subprocess.Popen(
        command,
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT), **environment},
        stdout=subprocess.PIPE,
        stderr=stderr,
        text=True,
    ) as process:
        assert process.stdout
        too_late = threading.Timer(SECONDS_TO_START, process.kill)
        too_late.start()
        try:
            line = process.stdout.readline()
            too_late.cancel()
            yield Server(process, line)
        finally:
            too_late.cancel()
            process.kill()


class Answer:
    """What the server answered to one request, redirections not followed."""

    def __init__(
        self, address: str, path: str, method: str = "GET", body: bytes | None = None, **headers: str
    ) -> None:
        connection = http.client.HTTPConnection(urlsplit(address).netloc, timeout=SECONDS_TO_ANSWER)
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        connection.request(method, path, body, named)
        response = connection.getresponse()
        self.status, self.headers, self.body = response.status, response.headers, response.read()
        connection.close()
        self._cookie_name = cookie_of(address)

    @property
    def cookie(self) -> Morsel[str]:
        return SimpleCookie(self.headers["set-cookie"])[self._cookie_name]


def cookie_of(address: str) -> str:
    """The name of the session's cookie at this address."""
    return cookie_name(urlsplit(address).port or 0)


def signed_in(address: str, person: str = "trainee-T22") -> str:
    """The cookie of a new session of the demo, as a browser sends it."""
    return f"{cookie_of(address)}={Answer(address, f'/as/{person}').cookie.value}"


@contextlib.contextmanager
def tab(address: str, cookie: str, resume: str = "", origin: str | None = None) -> Iterator[Tab]:
    """A tab of a browser as the library sees it: a websocket, whose subprotocols name the tab to resume."""
    with connect(
        address.replace("http", "ws") + "/_stcore/stream",
        additional_headers={"cookie": cookie},
        origin=origin or address,  # type: ignore[arg-type] - an origin is text
        subprotocols=["streamlit", "none", *([resume] if resume else [])],  # type: ignore[list-item] - the same
        max_size=None,
    ) as socket:
        yield Tab(socket)


class Tab:
    """What came through the websocket of a tab, and ways to ask for more."""

    def __init__(self, socket: ClientConnection) -> None:
        self.socket = socket
        self.messages: list[ForwardMsg] = []
        self.screen = ""

    def ask(self, fragment: str = "") -> None:
        """Ask for a rerun of a fragment, or of the whole."""
        message = BackMsg()
        message.rerun_script.fragment_id = fragment
        self.socket.send(message.SerializeToString())

    def rerun(self, fragment: str = "") -> list[ForwardMsg]:
        """Ask, and return what came until the script had ended."""
        self.ask(fragment)
        return self._until_it_ends()

    def _until_it_ends(self) -> list[ForwardMsg]:
        came: list[ForwardMsg] = []
        while not came or came[-1].WhichOneof("type") != "script_finished":
            came.append(ForwardMsg.FromString(self._frame()))
        self.messages += came
        return came

    def open(self, screen: str) -> list[ForwardMsg]:
        """Go to a screen by its address, whether or not it is in the navigation."""
        self.screen = screen
        return self._run(BackMsg())

    def press(self, label: str) -> list[ForwardMsg]:
        """Press a button of the screen that was opened."""
        buttons = [each.delta.new_element.button for each in self.messages]
        message = BackMsg()
        state = message.rerun_script.widget_states.widgets.add()
        state.id = next(each.id for each in reversed(buttons) if each.label == label)
        state.trigger_value = True
        return self._run(message)

    def make_file(self, label: str) -> str:
        """Press a button that offers a file; returns the address of the file, which is made only now."""
        buttons = [each.delta.new_element.download_button for each in self.messages]
        button = next(each for each in reversed(buttons) if each.label == label)
        message = BackMsg()
        message.backend_operation_request.request_id = "1"
        message.backend_operation_request.session_id = self.name
        message.backend_operation_request.deferred_file.file_id = button.deferred_file_id
        self.socket.send(message.SerializeToString())
        while True:
            answer = ForwardMsg.FromString(self._frame()).backend_operation_response
            if answer.request_id:
                return str(answer.deferred_file.url)

    def _run(self, message: BackMsg) -> list[ForwardMsg]:
        message.rerun_script.page_name = self.screen
        self.socket.send(message.SerializeToString())
        return self._until_it_ends()

    def _frame(self) -> bytes:
        return bytes(self.socket.recv(timeout=SECONDS_TO_ANSWER))  # type: ignore[arg-type] - frames are bytes

    @property
    def name(self) -> str:
        """The library's name of the tab."""
        first = next(each for each in self.messages if each.WhichOneof("type") == "new_session")
        return str(first.new_session.initialize.session_id)

    def fragments(self) -> list[str]:
        """The names of the parts that can be run again alone."""
        return list(dict.fromkeys(each.delta.fragment_id for each in self.messages if each.delta.fragment_id))

    def left_over(self) -> list[ForwardMsg]:
        """What still comes, until a second passes in which nothing does."""
        came: list[ForwardMsg] = []
        with contextlib.suppress(TimeoutError):
            while True:
                came.append(ForwardMsg.FromString(bytes(self.socket.recv(timeout=1))))  # type: ignore[arg-type] - frames are bytes
        return came

    def last_words(self) -> list[bytes]:
        """Every frame until the server closes the websocket, which it must do within seconds."""
        frames = []
        with contextlib.suppress(ConnectionClosed):
            while True:
                frames.append(bytes(self.socket.recv(timeout=5)))  # type: ignore[arg-type] - frames are bytes
        return frames

    def closed_with(self) -> int:
        """The code with which the server closes the websocket, which it must do within seconds."""
        with contextlib.suppress(ConnectionClosed):
            while True:
                self.socket.recv(timeout=5)
        return self.socket.protocol.close_code or 0


def everything(messages: list[ForwardMsg]) -> bytes:
    return b"".join(each.SerializeToString() for each in messages)
