"""What was worked out once and is kept in the process: by everything that it depends on, the latest used first."""

from __future__ import annotations

import os
import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from concurrent.futures import Future
from pathlib import Path
from typing import Generic, TypeVar

Value = TypeVar("Value")
FileState = tuple[int, int, int]


def state_of(path: Path) -> FileState:
    """What changes with a file's content; zeros where there is none."""
    try:
        stat = os.stat(path)  # noqa: PTH116 - asked at every message, and pathlib takes twice as long
    except OSError:
        return (0, 0, 0)
    return (stat.st_mtime_ns, stat.st_ino, stat.st_size)


class Kept(Generic[Value]):
    """At most so many values by their keys; of those who ask for one at a time the first makes it, the others wait.

    Everybody gets the same object: keep what cannot be changed, or hand on a copy. The key must hold all that the value
    depends on, whose rows it may be made of before all else.
    """

    def __init__(self, most: int) -> None:
        self._most, self._lock = most, threading.Lock()
        self._values: OrderedDict[Hashable, Future[Value]] = OrderedDict()

    def __len__(self) -> int:
        return len(self._values)

    def get(self, key: Hashable, make: Callable[[], Value]) -> Value:
        """The value of the key, made now where it is not kept; what `make` raises is raised and not kept."""
        with self._lock:
            known = self._values.get(key)
            value = known or self._values.setdefault(key, Future())
            self._values.move_to_end(key)
            while len(self._values) > self._most:
                self._values.popitem(last=False)
        if known is None:
            self._make(key, value, make)
        return value.result()

    def _make(self, key: Hashable, value: Future[Value], make: Callable[[], Value]) -> None:
        try:
            value.set_result(make())
        except BaseException as reason:  # noqa: BLE001 - whatever it is, whoever waits gets it too
            with self._lock:
                self._values.pop(key, None)
            value.set_exception(reason)
