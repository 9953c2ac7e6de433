"""How often somebody may try to sign in: by account and by address, each with a wait that doubles.

What is counted lives in this process and ends with it.
"""

from __future__ import annotations

import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass

# So many attempts that failed in a row are free, by account and by address (behind one address sits a department).
FREE = {"account": 5, "address": 20}
FIRST_WAIT_SECONDS, LONGEST_WAIT_SECONDS = 30, 3600
# NIST SP 800-63B-4, 3.2.2 (from memory): no more than 100 failures in a row; then the account waits for a reset.
MOST_FAILURES = 100
# Whoever has not failed for a day begins anew.
FORGOTTEN_AFTER_SECONDS = 24 * 3600
MOST_KEYS = 10_000
Key = tuple[str, str]


@dataclass
class _Tally:
    failures: int = 0
    last: float = 0.0


class Attempts:
    """Failures in a row by key (`account` or `address`, and which). `clock` gives seconds that only grow."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._tallies: OrderedDict[Key, _Tally] = OrderedDict()

    def wait(self, *keys: Key) -> float:
        """Seconds until the next attempt may be made; 0 when it may be made now, infinity when no more may."""
        return max(self._wait(key) for key in keys)

    def begin(self, *keys: Key) -> None:
        """Count an attempt as one that failed, before it is judged: many at once are many."""
        for key in keys:
            tally = self._tallies.setdefault(key, _Tally())
            if self._clock() - tally.last > FORGOTTEN_AFTER_SECONDS and not self._is_shut(key, tally):
                tally.failures = 0
            tally.failures, tally.last = tally.failures + 1, self._clock()
            self._tallies.move_to_end(key)
        while len(self._tallies) > MOST_KEYS:
            self._tallies.popitem(last=False)

    def succeeded(self, account: Key, address: Key) -> None:
        """The attempt was right: the account has failed no more, and the address not this time."""
        self._tallies.pop(account, None)
        if tally := self._tallies.get(address):
            tally.failures -= 1

    def _wait(self, key: Key) -> float:
        tally = self._tallies.get(key)
        if tally is None or tally.failures < FREE[key[0]]:
            return 0.0
        if self._is_shut(key, tally):
            return float("inf")
        doubled = min(tally.failures - FREE[key[0]], 20)
        wait = min(FIRST_WAIT_SECONDS * 2.0**doubled, LONGEST_WAIT_SECONDS)
        return max(tally.last + wait - self._clock(), 0.0)

    @staticmethod
    def _is_shut(key: Key, tally: _Tally) -> bool:
        return key[0] == "account" and tally.failures >= MOST_FAILURES
