"""Whether a store may be opened without sign-in: only to the one person who can read its folder, on this machine."""

from __future__ import annotations

import functools
import os
import stat
from ipaddress import ip_address
from pathlib import Path

from dashboard.queries import live_snapshot
from pipelines.build.build import sql_hash
from pipelines.contract.errors import WrongUsage
from pipelines.store.store import Store


def checked(root: Path) -> Store:
    """The store in the folder `root`; raises WrongUsage where others could read or change it or another version built
    its snapshot, and StoreDamaged where a part of it is missing or not what was written.
    """
    check_folder(root)
    store = Store(root)
    store.check_whole()
    check_snapshot(store)
    return store


def check_folder(root: Path) -> None:
    """Raise WrongUsage unless `root` is the caller's own, closed to all others, at a place that only they can change."""
    root = root.resolve()
    try:
        folder = root.stat()
    except FileNotFoundError:
        raise WrongUsage(f"{root} is not there.") from None
    if folder.st_uid != os.geteuid():
        raise WrongUsage(f"{root} belongs to another user: only its owner can open it.")
    if folder.st_mode & (stat.S_IRWXG | stat.S_IRWXO):
        raise WrongUsage(f"Others on this machine have rights in {root}. Take them away: chmod 700 {root}")
    for parent in root.parents:
        _check_parent(parent)


def _check_parent(parent: Path) -> None:
    """Whoever can rename what is in a folder above the store can put another store in its place."""
    above = parent.stat()
    if above.st_uid not in (0, os.geteuid()):
        raise WrongUsage(
            f"{parent}, above the store, belongs to another user. Move the store to a folder of yours."
        )
    # In a sticky folder, such as /tmp, only the owner renames.
    if above.st_mode & (stat.S_IWGRP | stat.S_IWOTH) and not above.st_mode & stat.S_ISVTX:
        raise WrongUsage(
            f"Others can change {parent}, above the store. Take that away: chmod go-w {parent}"
            " (or move the store to a folder of yours)."
        )


def check_snapshot(store: Store) -> None:
    """Raise WrongUsage where the live snapshot was built by other definitions than this version's."""
    if live_snapshot(store).sql != _sql_of_this_version():
        raise WrongUsage(
            "The snapshot of this store was built by another version. Stop the dashboard, then build it anew:"
            f" python3 run.py build --store {store.root}"
        )


@functools.cache
def _sql_of_this_version() -> str:
    return sql_hash()


def check_stays_here(listen: str) -> None:
    """Raise WrongUsage where what is for this machine alone is asked to listen (`address:port`) for others."""
    if listen and not is_loopback(listen.rpartition(":")[0]):
        raise WrongUsage(
            f"STANDING_LISTEN is {listen}, which other machines reach: the demo and open are for this machine alone."
            " Take the variable away, or use serve."
        )


def is_loopback(address: str) -> bool:
    """Whether only this machine reaches the address."""
    if address == "localhost":
        return True
    try:
        return ip_address(address.strip("[]")).is_loopback
    except ValueError:
        return False
