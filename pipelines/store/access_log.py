"""The access log of a store: who signed in, opened whose page, fetched which file, ran which command.

One line a record in access.jsonl, beside the journal. Each names the SHA-256 of the line before, so that a line which
was changed, taken out or put in between shows. Lines cut off at the end do not: only a copy kept elsewhere has them.
"""

from __future__ import annotations

import datetime
import fcntl
import hashlib
import json
import os
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import IO, Any

FILE = "access.jsonl"
LONGEST_LINE = 4096


@dataclass(frozen=True)
class Record:
    """One thing that somebody did. `about` is the trainee or class it was about, blank where it was nobody's alone."""

    person: str
    role: str
    programme_ref: str
    did: str
    what: str = ""
    about: str = ""


@dataclass(frozen=True)
class Line:
    """A record as it stands in the log: its number, its time (UTC), and whether the chain holds up to it."""

    seq: int
    at: str
    record: Record
    holds: bool


def is_kept(root: Path) -> bool:
    """Whether a store has an access log: from the first time on that it was served with sign-in."""
    return (root / FILE).is_file()


def begin(root: Path) -> None:
    """Make an empty log, for the owner's eyes alone, where there is none."""
    (root / FILE).touch(mode=0o600)


def write(root: Path, record: Record, *, durable: bool = True) -> None:
    """Add a record; `durable`: it is on the disk when this returns. Raises OSError where it cannot be written."""
    with (root / FILE).open("r+b") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        last = _last_line(file)
        if last and not last.endswith(b"\n"):  # a writer was killed in the middle of a line
            file.write(b"\n")
        content = {
            "seq": _number(last) + 1,
            "at": datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds"),
            **asdict(record),
            "prev": hashlib.sha256(last.rstrip(b"\n")).hexdigest() if last else None,
        }
        file.write(json.dumps(content, ensure_ascii=True).encode() + b"\n")
        file.flush()
        if durable:
            os.fsync(file.fileno())


def read(root: Path) -> Iterator[Line]:
    """The records of a log, oldest first; nothing where there is none. A line that is no record stands as one."""
    if not is_kept(root):
        return
    before: bytes | None = None
    holds, number = True, 0
    with (root / FILE).open("rb") as file:
        for raw in file:
            line, content = raw.rstrip(b"\n"), _content(raw)
            expected = hashlib.sha256(before).hexdigest() if before is not None else None
            holds = holds and content.get("prev") == expected and content.get("seq") == number + 1
            number, before = number + 1, line
            known = {name: str(content.get(name, "")) for name in Record.__annotations__}
            yield Line(number, str(content.get("at", "")), Record(**known), holds)


def _last_line(file: IO[bytes]) -> bytes:
    """The last line of the file, which stands at its end afterwards."""
    end = file.seek(0, os.SEEK_END)
    file.seek(max(end - LONGEST_LINE, 0))
    last = file.read().rstrip(b"\n").rpartition(b"\n")[2]
    file.seek(max(end - 1, 0))
    return last + (b"\n" if file.read() == b"\n" else b"") if last else b""


def _number(last: bytes) -> int:
    return int(_content(last).get("seq", 0))


def _content(line: bytes) -> dict[str, Any]:
    try:
        content = json.loads(line)
    except ValueError:
        return {}
    return content if isinstance(content, dict) else {}
