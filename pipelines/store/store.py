"""The store on disk: what lies where, who may write, and what counts.

The manifest that CURRENT names says which intakes are live. Replacing CURRENT is the only commit point: whatever
a killed writer left behind is named by no kept manifest, and the next writer removes it.
"""

from __future__ import annotations

import contextlib
import fcntl
import hashlib
import json
import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from pipelines.contract.errors import AnotherWriter, WrongUsage
from pipelines.specialty.load import Specialty, load_specialty, specialty_text
from pipelines.store.disk import is_network_share, sync_file, sync_folder, write_whole
from pipelines.store.manifest import Manifest
from pipelines.store.programme import Access, Programme, load_access, load_programme, programme_ref, yaml_text

KEPT_DATABASES = 5


class Store:
    """One store: paths, settings, and the manifests that count."""

    def __init__(self, root: Path) -> None:
        """Open an initialised store; raises WrongUsage where there is none."""
        if not (root / "programme.yaml").is_file() or not (root / "CURRENT").is_file():
            raise WrongUsage(f"{root} is not a store. Make one with: python3 run.py init --store {root} …")
        refuse_network_share(root)
        self.root = root

    @property
    def programme(self) -> Programme:
        return load_programme(self.root / "programme.yaml")

    @property
    def access(self) -> Access:
        return load_access(self.root / "access.yaml")

    @property
    def specialty(self) -> Specialty:
        return load_specialty(self.root / self.programme.specialty)

    @property
    def work(self) -> Path:
        return self.root / ".work"

    def current(self) -> Manifest:
        """The live manifest."""
        name = (self.root / "CURRENT").read_text(encoding="ascii").strip()
        return Manifest.read(self.root / "snapshots" / name)

    def manifests(self) -> list[Manifest]:
        """Every manifest up to the live one, oldest first."""
        live = self.current()
        # What a killed writer left may vanish while it is looked at: its name is enough to leave it alone.
        paths = sorted((self.root / "snapshots").glob("snap-*.json"))
        return [Manifest.read(path) for path in paths if path.name < live.file_name] + [live]

    def database(self, snapshot: int) -> Path:
        return self.root / "snapshots" / f"snap-{snapshot:06d}.duckdb"

    def intake(self, intake_id: str) -> Path:
        return self.root / "intake" / intake_id

    def receipt(self, intake_id: str) -> dict[str, Any]:
        text = (self.intake(intake_id) / "receipt.json").read_text(encoding="utf-8")
        receipt: dict[str, Any] = json.loads(text)
        return receipt


def init_store(root: Path, specialty: str, name: str) -> Store:
    """Make an empty store without a snapshot; raises WrongUsage if something is there already."""
    if root.exists() and not (root.is_dir() and not any(root.iterdir())):
        raise WrongUsage(f"{root} exists already and is not empty.")
    refuse_network_share(root)
    text = specialty_text(specialty)
    load_specialty(specialty)
    programme = Programme(programme_ref=programme_ref(name), title=name)
    root.mkdir(mode=0o700, parents=True, exist_ok=True)
    root.chmod(0o700)
    for folder in ("intake", "journal/body", "snapshots", ".work"):
        (root / folder).mkdir(parents=True)
    write_whole(root / "specialty.yaml", text)
    write_whole(root / "access.yaml", yaml_text(Access()).encode())
    write_whole(root / "journal" / "log.jsonl", b"")
    write_whole(root / "snapshots" / "snap-000000.json", Manifest().text().encode())
    write_whole(root / "programme.yaml", yaml_text(programme).encode())
    write_whole(root / "CURRENT", b"snap-000000.json\n")
    return Store(root)


def refuse_network_share(root: Path) -> None:
    """Locks and renames do not hold on a network share."""
    if is_network_share(root):
        raise WrongUsage(
            f"{root} lies on a network share, where locks do not hold. Keep the store on a local disk."
        )


@contextlib.contextmanager
def writing(store: Store) -> Iterator[None]:
    """Hold the writer's lock, with the leftovers of earlier writers removed; raises AnotherWriter."""
    with _lock(store.root / "writer.lock"):
        _remove_leftovers(store)
        yield
        shutil.rmtree(store.work, ignore_errors=True)
        store.work.mkdir()


@contextlib.contextmanager
def _lock(path: Path) -> Iterator[None]:
    with path.open("a+", encoding="utf-8") as file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            file.seek(0)
            holder = file.read().strip() or "another process"
            raise AnotherWriter(
                f"The store is being written by {holder}. Try again when it has finished."
            ) from None
        file.seek(0)
        file.truncate()
        file.write(f"process {os.getpid()}\n")
        file.flush()
        yield


def _remove_leftovers(store: Store) -> None:
    shutil.rmtree(store.work, ignore_errors=True)
    store.work.mkdir()
    manifests = store.manifests()
    kept = {each.file_name for each in manifests} | {store.database(each.snapshot).name for each in manifests}
    named = {intake_id for manifest in manifests for intake_id in manifest.intakes()}
    _remove_all_but(store.root / "snapshots", kept)
    _remove_all_but(store.root / "intake", named)
    for path in store.root.glob(".*.new"):
        path.unlink()


def _remove_all_but(folder: Path, kept: set[str]) -> None:
    for path in folder.iterdir():
        if path.name in kept:
            continue
        if path.is_dir():
            shutil.rmtree(path)
        else:
            path.unlink()


def adopt_intake(store: Store, folder: Path, intake_id: str) -> None:
    """Move a finished intake folder from the scratch folder to its place."""
    for path in sorted(folder.rglob("*")):
        if path.is_file():
            sync_file(path)
    for path in sorted(folder.rglob("*")):
        if path.is_dir():
            sync_folder(path)
    sync_folder(folder)
    os.rename(folder, store.intake(intake_id))
    sync_folder(store.root / "intake")


def publish(store: Store, manifest: Manifest, database: Path) -> None:
    """Make a finished database and its manifest the live ones; an old database beyond the fifth is removed."""
    sync_file(database)
    database.chmod(0o444)
    os.rename(database, store.database(manifest.snapshot))
    write_whole(store.root / "snapshots" / manifest.file_name, manifest.text().encode())
    write_whole(store.root / "CURRENT", f"{manifest.file_name}\n".encode())
    kept = sorted((store.root / "snapshots").glob("snap-*.duckdb"))
    for path in kept[:-KEPT_DATABASES]:
        path.unlink()


def file_hash(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()
