"""Files that are there whole or not at all."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

from pipelines.contract.errors import WrongUsage

NETWORK_FILE_SYSTEMS = {
    "nfs",
    "nfs3",
    "nfs4",
    "cifs",
    "smb3",
    "smbfs",
    "afpfs",
    "webdav",
    "fuse.sshfs",
    "ncpfs",
    "afs",
}


def refuse_no_folder(option: str, path: Path) -> None:
    """Raise WrongUsage where the path that an option names is there, and is something else than a folder."""
    if path.exists() and not path.is_dir():
        raise WrongUsage(f"{option}: {path} is not a folder.")


def write_whole(path: Path, content: bytes) -> None:
    """Replace `path`: written under another name, on the disk before it is renamed."""
    beside = path.with_name(f".{path.name}.new")
    with beside.open("wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    os.replace(beside, path)
    sync_folder(path.parent)


def sync_file(path: Path) -> None:
    """Wait until the content of `path` is on the disk."""
    with path.open("rb") as file:
        os.fsync(file.fileno())


def sync_folder(path: Path) -> None:
    """Wait until the names in a folder are on the disk."""
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def is_network_share(path: Path) -> bool:
    """Whether `path` lies on a network file system, as far as the system's own list of mounts tells."""
    existing = next(each for each in (path.resolve(), *path.resolve().parents) if each.exists())
    types = {Path(point): kind for point, kind in _mounts()}
    nearest = next((each for each in (existing, *existing.parents) if each in types), None)
    return nearest is not None and types[nearest] in NETWORK_FILE_SYSTEMS


def _mounts() -> list[tuple[str, str]]:
    """Mount points and their types, later mounts last."""
    if sys.platform == "darwin":
        text = subprocess.run(["/sbin/mount"], capture_output=True, text=True, check=True).stdout
        lines = [line.split(" on ", 1)[1] for line in text.splitlines() if " on " in line]
        return [
            (point, rest.split(",")[0].rstrip(")"))
            for point, _, rest in (line.partition(" (") for line in lines)
        ]
    text = Path("/proc/self/mounts").read_text(encoding="utf-8", errors="replace")
    fields = [line.split(" ") for line in text.splitlines()]
    return [(each[1].replace("\\040", " "), each[2]) for each in fields]
