"""Sessions: who is behind a browser. A session lives in this process and ends with it.

The browser holds a random name of its session in a cookie that no script can read. `dashboard/gate.py` looks the name
up at every request and message, and closes what is open when a session ends or stands for somebody else.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import secrets
import time
from collections.abc import AsyncIterator, Callable, Hashable, Iterator
from dataclasses import dataclass, field
from typing import Any, NamedTuple

HEADER = "x-standing-viewer"
COOKIE = "standing_session"
# OWASP ASVS 5.0, 7.3.1 and 7.3.2 leave the limits to the risk; these are the project's longest.
LONGEST_SECONDS = 24 * 3600
LONGEST_IDLE_SECONDS = 3600
SWEEP_SECONDS = 1.0
LINK_SECONDS = 600


class Who(NamedTuple):
    """Whom a session stands for: a role in a programme, the trainee or reviewer it is about, and what records call them."""

    role: str
    programme_ref: str
    person_ref: str | None = None
    person: str = ""


@dataclass(frozen=True)
class Limits:
    """After how many seconds a session ends by itself: since it was opened, and since its browser last asked."""

    age: float = 8 * 3600
    idle: float = 8 * 3600


@dataclass
class Session:
    """An open session: who signed in, when, when the browser last asked, and what is open because of it."""

    identity: Hashable
    opened_at: float
    asked_at: float
    watchers: list[Watcher] = field(default_factory=list)
    # What may be downloaded once: the address of each file, and how often it was offered.
    downloads: dict[str, int] = field(default_factory=dict)


class Watcher(NamedTuple):
    """Something open for one person, and what ends it."""

    who: Who
    end: Callable[[], None]


def _itself(identity: Any) -> Who | None:
    return Who(*identity)


class Sessions:
    """The open sessions of this process, by name.

    `who` says whom an identity stands for now, None where nobody; it is asked at every request and message, for that
    may change while a session is open. `clock` gives seconds that only grow.
    """

    def __init__(
        self,
        who: Callable[[Any], Who | None] = _itself,
        limits: Limits | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._open: dict[str, Session] = {}
        self._who, self.limits, self._clock = who, limits or Limits(), clock

    def __len__(self) -> int:
        return len(self._open)

    def open(self, identity: Hashable) -> str:
        """Open a session; returns its name."""
        name, now = secrets.token_urlsafe(32), self._clock()
        self._open[name] = Session(identity, now, now)
        return name

    def close(self, name: str | None) -> None:
        """End a session: the name opens nothing any more, and whatever is open because of it is closed."""
        session = self._open.pop(name or "", None)
        for watcher in session.watchers if session else ():
            watcher.end()

    def viewer(self, name: str | None) -> Who | None:
        """Whom a session stands for now; None if it is unknown, too old, idle too long, or nobody's any more."""
        session = self._open.get(name or "")
        if session is None or self._is_over(session):
            return None
        return self._who(session.identity)

    def asked(self, name: str) -> None:
        """The browser of an open session has asked for something."""
        if session := self._open.get(name):
            session.asked_at = self._clock()

    @contextlib.contextmanager
    def watched(self, name: str, who: Who, end: Callable[[], None]) -> Iterator[None]:
        """Within the block, call `end` when the session `name` ends or stands for anybody but `who`."""
        watcher = Watcher(who, end)
        if session := self._open.get(name):
            session.watchers.append(watcher)
        else:  # it has ended since it was looked up
            end()
        try:
            yield
        finally:
            if session:
                session.watchers.remove(watcher)

    def offer(self, name: str, address: str) -> None:
        """Let the session fetch a file once more."""
        if session := self._open.get(name):
            session.downloads[address] = session.downloads.get(address, 0) + 1

    def is_offered(self, name: str, address: str) -> bool:
        """Whether a file was made for this session and not fetched since."""
        session = self._open.get(name)
        return session is not None and session.downloads.get(address, 0) > 0

    def fetched(self, name: str, address: str) -> None:
        """The session fetches a file that it was offered: that was once."""
        self._open[name].downloads[address] -= 1

    def sweep(self) -> None:
        """End every session that is over, and whatever is open for somebody whom its session stands for no more."""
        for name, session in list(self._open.items()):
            who = self.viewer(name)
            if who is None:
                self.close(name)
                continue
            for watcher in [each for each in session.watchers if each.who != who]:
                watcher.end()

    def _is_over(self, session: Session) -> bool:
        now = self._clock()
        return now >= min(session.opened_at + self.limits.age, session.asked_at + self.limits.idle)

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
            self.sweep()


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


def read_viewer(header: str | None) -> Who | None:
    """The viewer that the gate put into the header; None without one."""
    return Who(*json.loads(header)) if header else None


def cookie_name(port: int, secure: bool = False) -> str:
    """The name of the session's cookie.

    Behind https its prefix makes the browser take it from this host alone, over https (RFC 6265bis, 4.1.3.2). Without,
    it names the port: browsers send a cookie to every port of a machine.
    """
    return f"__Host-{COOKIE}" if secure else f"{COOKIE}_{port}"
