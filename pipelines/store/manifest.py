"""A manifest: for every trainee and source the intakes whose rows are live, in order."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict


class Entry(BaseModel):
    """One intake that is live for a trainee; `taken` is the number of the snapshot it came with."""

    model_config = ConfigDict(extra="forbid")

    intake_id: str
    mode: Literal["replace", "append"]
    taken: int
    data_through: str | None = None


class Line(BaseModel):
    """What is live for one kind, trainee and source.

    `unaccepted` counts rows withdrawn and older versions kept since a person last accepted that.
    """

    model_config = ConfigDict(extra="forbid")

    kind: str
    trainee_ref: str
    source: str
    intakes: list[Entry]
    unaccepted: int = 0


class Journal(BaseModel):
    """How much of the journal a snapshot was built from."""

    length: int = 0
    head: str | None = None


class Hashes(BaseModel):
    """SHA-256 of what a build read besides intakes."""

    programme: str = ""
    specialty: str = ""
    sql: str = ""


class Manifest(BaseModel):
    """What one snapshot is made from. Number 0 is the empty store, before its first snapshot."""

    model_config = ConfigDict(extra="forbid")

    snapshot: int = 0
    made_on: str | None = None
    as_of: str | None = None
    version: str = ""
    live: list[Line] = []
    journal: Journal = Journal()
    hashes: Hashes = Hashes()
    new_intakes: list[str] = []

    @classmethod
    def read(cls, path: Path) -> Manifest:
        return cls.model_validate_json(path.read_bytes())

    @property
    def file_name(self) -> str:
        return f"snap-{self.snapshot:06d}.json"

    def text(self) -> str:
        return self.model_dump_json(indent=1) + "\n"

    def intakes(self) -> list[str]:
        """Every intake that this manifest names, each once, in the order taken."""
        entries = [(entry.taken, entry.intake_id) for line in self.live for entry in line.intakes]
        named = {intake_id: taken for taken, intake_id in sorted(entries, reverse=True)}
        return sorted(named, key=lambda intake_id: (named[intake_id], intake_id))

    def line(self, kind: str, trainee_ref: str, source: str) -> Line | None:
        return next(
            (
                each
                for each in self.live
                if (each.kind, each.trainee_ref, each.source) == (kind, trainee_ref, source)
            ),
            None,
        )

    def with_lines(self, lines: list[Line]) -> list[Line]:
        """The live lines with `lines` in the place of those of the same kind, trainee and source."""
        by_key = {(each.kind, each.trainee_ref, each.source): each for each in (*self.live, *lines)}
        return [by_key[key] for key in sorted(by_key)]
