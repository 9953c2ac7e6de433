"""What each intake changed for a trainee, and the snapshots there are."""

from __future__ import annotations

from typing import Any

import pyarrow.parquet as pq

from pipelines.contract.errors import WrongUsage
from pipelines.store.documents import Manifest
from pipelines.store.store import Store

Row = tuple[Any, ...]

HISTORY = [
    "snapshot",
    "taken_on",
    "intake_id",
    "file_name",
    "kind",
    "key",
    "change",
    "field",
    "before",
    "after",
]
SNAPSHOTS = [
    *(
        "snapshot",
        "made_on",
        "as_of",
        "new_intakes",
        "live_intakes",
        "database_kept",
        "is_live",
        "rows_as_in",
    ),
]


def of_trainee(store: Store, trainee_ref: str) -> tuple[list[str], list[Row]]:
    """One row for each intake of the trainee (how its rows came out), then one for each field that it changed."""
    rows: list[Row] = []
    manifests = store.manifests()
    for before, manifest in zip([None, *manifests], manifests, strict=False):
        for intake_id in manifest.new_intakes:
            rows += _of_intake(store, intake_id, trainee_ref)
        if before and manifest.restores is not None:
            rows += _of_undoing(before, manifest, trainee_ref)
    if not rows:
        raise WrongUsage(f"No intake of this store names {trainee_ref}.")
    return HISTORY, rows


def _of_intake(store: Store, intake_id: str, trainee_ref: str) -> list[Row]:
    receipt = store.receipt(intake_id)
    seat = (receipt["snapshot"], receipt["taken_on"], intake_id)
    rows: list[Row] = []
    for part in receipt["parts"]:
        for balance in part["trainees"]:
            if balance["trainee_ref"] == trainee_ref:
                counts = ", ".join(
                    f"{count} {name}" for name, count in balance.items() if name in COUNTED and count
                )
                before, after = balance["live_before"], balance["live_after"]
                rows.append(
                    (
                        *seat,
                        part["file_name"],
                        part["kind"],
                        None,
                        counts or "0 rows",
                        "live rows",
                        before,
                        after,
                    )
                )
        path = store.intake(intake_id) / "changes" / part["kind"] / f"{trainee_ref}.parquet"
        if path.is_file():
            rows += [
                (*seat, part["file_name"], part["kind"], *(each[name] for name in HISTORY[5:]))
                for each in pq.read_table(path).to_pylist()
            ]
    return rows


def _of_undoing(before: Manifest, manifest: Manifest, trainee_ref: str) -> list[Row]:
    """For each kind of which other rows are live again: which snapshot's were, and which snapshot's are."""
    now, then = (
        {(line.kind, line.source): line for line in each.live if line.trainee_ref == trainee_ref}
        for each in (manifest, before)
    )
    kinds = dict.fromkeys(
        kind for kind, source in now | then if now.get((kind, source)) != then.get((kind, source))
    )
    seat = (manifest.snapshot, manifest.made_on, None, None)
    return [(*seat, kind, None, "undone", "snapshot", before.snapshot, manifest.restores) for kind in kinds]


COUNTED = ("added", "unchanged", "changed", "kept", "withdrawn")


def snapshots(store: Store) -> tuple[list[str], list[Row]]:
    """One row a snapshot, oldest first."""
    live = store.current().snapshot
    return SNAPSHOTS, [
        (
            each.snapshot,
            each.made_on,
            each.as_of,
            len(each.new_intakes),
            len(each.intakes()),
            store.database(each.snapshot).is_file(),
            each.snapshot == live,
            each.restores,
        )
        for each in store.manifests()
        if each.snapshot
    ]
