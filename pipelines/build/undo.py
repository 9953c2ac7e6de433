"""What was live before the last change of it, made live again: nothing is lost, and the undoing can be undone."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

from pipelines.build.build import build_and_publish, next_manifest
from pipelines.contract.errors import WrongUsage
from pipelines.store.documents import Line, Manifest
from pipelines.store.store import Receipt, Store, writing

Key = tuple[str, str, str]
MOST_NAMED = 8


@dataclass(frozen=True)
class Undone:
    """What an undoing does: the snapshot that it makes, the one whose rows are live again, and whom it touches.

    `files` says of each intake that is no longer live its file and day; `back` the same of those that are live again.
    """

    snapshot: int
    restores: int
    trainees: list[str]
    files: list[str]
    back: list[str]

    @property
    def sentence(self) -> str:
        """What it did, or would do."""
        named = ", ".join(self.trainees[:MOST_NAMED])
        more = len(self.trainees) - MOST_NAMED
        parts = [f"as snapshot {self.restores} was, for {named}{f' and {more} more' if more > 0 else ''}"]
        parts += [f"no longer in use: {', '.join(self.files)}"] if self.files else []
        parts += [f"in use again: {', '.join(self.back)}"] if self.back else []
        return "; ".join(parts)


def what_undo_does(store: Store) -> Undone:
    """What `undo` would do now, changing nothing; raises WrongUsage where nothing came before."""
    return _undone(store, store.current(), _state_before(store))


def undo(store: Store, today: datetime.date) -> Undone:
    """Make the rows live again that were before the last change, as a new manifest.

    Settings, specialty and rules stay as they are now. Raises AnotherWriter; WrongUsage where nothing came before;
    StoreDamaged where a file that would be live again is not what was written; AuditFailed with nothing changed.
    """
    with writing(store):
        _ = store.access
        store.check_intakes()
        before = _state_before(store)
        store.check_intakes(before)
        done = _undone(store, store.current(), before)
        manifest = next_manifest(store, before.live, today)
        manifest.new_intakes = []
        manifest.restores = before.snapshot
        build_and_publish(store, manifest)
    return done


def _state_before(store: Store) -> Manifest:
    """The latest manifest under which other rows were live: a build alone changes none."""
    *earlier, current = store.manifests()
    live = by_key(current)
    for manifest in reversed(earlier):
        if by_key(manifest) != live:
            return manifest
    raise WrongUsage("There is nothing to undo: no other rows were in use before.")


def by_key(manifest: Manifest) -> dict[Key, Line]:
    """What is live, whatever the order of the lines."""
    return {(line.kind, line.trainee_ref, line.source): line for line in manifest.live}


def _undone(store: Store, current: Manifest, before: Manifest) -> Undone:
    now, then = by_key(current), by_key(before)
    touched = {key for key in now.keys() | then.keys() if now.get(key) != then.get(key)}
    live, restored = set(current.intakes()), set(before.intakes())
    return Undone(
        current.snapshot + 1,
        before.snapshot,
        sorted({trainee_ref for _, trainee_ref, _ in touched}),
        [_named(store.receipt(each)) for each in current.intakes() if each not in restored],
        [_named(store.receipt(each)) for each in before.intakes() if each not in live],
    )


def _named(receipt: Receipt) -> str:
    files = dict.fromkeys(part["file_name"] for part in receipt["parts"])
    return f"{', '.join(files)} of {receipt['taken_on']}"
