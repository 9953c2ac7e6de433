"""The websocket of a tab: open while its session is, for the one person it was opened for; what it may ask."""

from __future__ import annotations

import asyncio

from starlette.types import ASGIApp, Message, Receive, Scope, Send
from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg

from dashboard.sessions import Sessions, Who

# The websocket's close code where there is no session, or none any more: 4000 to 4999 are an application's own.
NO_SESSION = 4403
# Not: to empty everybody's cache, to end the server, to install something on it.
MAY_ASK = {"rerun_script", "stop_script", "file_urls_request", "app_heartbeat"}


def _leave() -> bytes:
    message = ForwardMsg()
    message.auth_redirect.url = "/"
    return bytes(message.SerializeToString())


# The last message to a tab: its page goes, and with it whatever it showed. Nothing else passes meanwhile; who has signed
# out in this very tab is on the way to the page that says so, and would be led away from it.
LEAVE = _leave()
LEAVES_AFTER = 1.0  # seconds


class OpenTab:
    """The websocket of one tab, for `who` alone: nothing passes either way once its session stands for nobody or another."""

    def __init__(self, sessions: Sessions, name: str, who: Who, receive: Receive, send: Send) -> None:
        self.sessions, self.name, self.who = sessions, name, who
        self._receive_from, self._send_to = receive, send
        self._ended, self._accepted = asyncio.Event(), False

    async def run(self, app: ASGIApp, scope: Scope) -> None:
        """Run the app on the websocket until either ends."""
        loop = asyncio.get_running_loop()

        def end() -> None:
            loop.call_soon_threadsafe(self._ended.set)

        with self.sessions.watched(self.name, self.who, end):
            await app(scope, self._receive, self._send)

    def _is_theirs(self) -> bool:
        return not self._ended.is_set() and self.sessions.viewer(self.name) == self.who

    async def _receive(self) -> Message:
        """The next message that may be asked; the end of the connection once the tab is nobody's."""
        while True:
            message = await self._next()
            if message is None or not self._is_theirs():
                return await self._leave()
            if message["type"] != "websocket.receive":
                return message
            self.sessions.asked(self.name)
            if may_be_asked(message.get("bytes") or b""):
                return message

    async def _next(self) -> Message | None:
        """The next message; None where the end comes first."""
        message, end = asyncio.ensure_future(self._receive_from()), asyncio.ensure_future(self._ended.wait())
        try:
            await asyncio.wait((message, end), return_when=asyncio.FIRST_COMPLETED)
            return await message if message.done() else None
        finally:
            message.cancel()
            end.cancel()

    async def _leave(self) -> Message:
        self._ended.set()
        await asyncio.sleep(LEAVES_AFTER)
        if self._accepted:
            await self._send_to({"type": "websocket.send", "bytes": LEAVE})
        await self._send_to({"type": "websocket.close", "code": NO_SESSION})
        return {"type": "websocket.disconnect", "code": NO_SESSION}

    async def _send(self, message: Message) -> None:
        if not self._is_theirs():
            return
        if message["type"] == "websocket.accept":
            self._accepted = True
        elif address := offered_download(message.get("bytes") or b""):
            self.sessions.offer(self.name, address)
        await self._send_to(message)


def may_be_asked(frame: bytes) -> bool:
    """Whether a browser may send this; what cannot be read may not be sent."""
    message = BackMsg()
    try:
        message.ParseFromString(frame)
    except Exception:  # noqa: BLE001 - whatever is wrong with it
        return False
    kind = message.WhichOneof("type")
    if kind == "backend_operation_request":
        # Of what runs outside the script only the making of a file that a button offers.
        return message.backend_operation_request.HasField("deferred_file")
    return kind in MAY_ASK


def offered_download(frame: bytes) -> str | None:
    """The address of a file that was made because somebody pressed its button; None where the frame offers none."""
    if b"/media/" not in frame:
        return None
    message = ForwardMsg.FromString(frame)
    if message.WhichOneof("type") != "backend_operation_response":
        return None
    return message.backend_operation_response.deferred_file.url or None
