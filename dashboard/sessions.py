"""Sessions: who is behind a browser. A session lives in this process and ends with it.

The browser holds a random name of its session in a cookie that no script can read. `dashboard/gate.py` looks the name
up at every request, and closes what is open when a session ends.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import secrets
import time
from collections.abc import AsyncIterator, Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

HEADER = "x-standing-viewer"
COOKIE = "standing_session"
LONGEST_SECONDS = 8 * 3600
SWEEP_SECONDS = 1.0
LINK_SECONDS = 600

# Whom a session stands for: role, programme_ref, person_ref.
Who = tuple[str, str, str | None]


@dataclass
class Session:
    """An open session, when it ends by itself, and what is called when it ends."""

    who: Who
    ends_at: float
    watchers: list[Callable[[], None]] = field(default_factory=list)


class Sessions:
    """The open sessions of this process, by name. `clock` gives seconds that only grow."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._open: dict[str, Session] = {}
        self._clock = clock

    def __len__(self) -> int:
        return len(self._open)

    def open(self, who: Who) -> str:
        """Open a session; returns its name."""
        name = secrets.token_urlsafe(32)
        self._open[name] = Session(who, self._clock() + LONGEST_SECONDS)
        return name

    def close(self, name: str | None) -> None:
        """End a session: the name opens nothing any more, and its open connections are closed."""
        session = self._open.pop(name or "", None)
        for tell in session.watchers if session else ():
            tell()

    def viewer(self, name: str | None) -> Who | None:
        """Whom a session stands for; None if it is unknown or too old."""
        session = self._open.get(name or "")
        return session.who if session and self._clock() < session.ends_at else None

    @contextlib.contextmanager
    def watched(self, name: str, tell: Callable[[], None]) -> Iterator[None]:
        """Within the block, call `tell` when the session `name`, which is open, ends."""
        watchers = self._open[name].watchers
        watchers.append(tell)
        try:
            yield
        finally:
            watchers.remove(tell)

    def close_expired(self) -> None:
        """End every session that is too old."""
        now = self._clock()
        for name, session in list(self._open.items()):
            if session.ends_at <= now:
                self.close(name)

    @contextlib.asynccontextmanager
    async def swept(self, _app: object) -> AsyncIterator[None]:
        """While the server runs, end each session at its time, whether or not anybody asks for it."""
        sweeping = asyncio.create_task(self._sweep())
        try:
            yield
        finally:
            sweeping.cancel()

    async def _sweep(self) -> None:
        while True:
            await asyncio.sleep(SWEEP_SECONDS)
            self.close_expired()


class OneTimeKey:
    """A random key that opens once, and only within LINK_SECONDS."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self.text = secrets.token_urlsafe(32)
        self._clock = clock
        self._good_until = clock() + LINK_SECONDS

    def use(self, given: str) -> bool:
        """Whether `given` opens; it never does again."""
        opens = secrets.compare_digest(given.encode(), self.text.encode())
        if not opens or self._clock() >= self._good_until:
            return False
        self._good_until = float("-inf")
        return True


def write_viewer(who: Who) -> str:
    """The viewer as the header carries it."""
    return json.dumps(who)


def read_viewer(header: str | None) -> Any:
    """The viewer that the gate put into the header, as (role, programme_ref, person_ref); None without one."""
    return tuple(json.loads(header)) if header else None


def cookie_name(port: int) -> str:
    """A cookie of this name is of one server: browsers send a cookie to every port of a machine."""
    return f"{COOKIE}_{port}"
