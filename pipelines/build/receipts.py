"""Two sides of one account, for the view `reconciliation`: what receipts say, and what the store holds.

The one comes from receipt.json alone, the other from the Parquet files of rows and of changes alone.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, NamedTuple

import duckdb
import pyarrow as pa
import pyarrow.parquet as pq

from pipelines.contract.formats import KINDS
from pipelines.contract.input_tables import INPUT_TABLES
from pipelines.store.documents import Line, Manifest
from pipelines.store.store import Receipt, Store

BY_NAME = {kind.name: kind for kind in KINDS}
BALANCE = ("live_before", "added", "unchanged", "changed", "kept", "withdrawn", "live_after")
Key = tuple[str, str, str | None]


class Place(NamedTuple):
    """Of an intake that is live for somebody: when it was taken, and whether nothing can have changed their rows since."""

    taken: int
    is_latest: bool
    replaces: bool


def account_tables(store: Store, manifest: Manifest) -> dict[str, pa.Table]:
    """`receipt_rows`, `receipt_left_out` and `stored_rows` of the schema `input`."""
    places = _places(manifest.live)
    receipts = {intake_id: store.receipt(intake_id) for intake_id in manifest.intakes()}
    rows, left_out = [], []
    for intake_id, receipt in receipts.items():
        for part in receipt["parts"]:
            rows += _said(intake_id, receipt, part, places)
            left_out += _left_out(intake_id, part)
    tables = {
        "receipt_rows": rows,
        "receipt_left_out": left_out,
        "stored_rows": _stored(store, receipts, places) + _stored_once(store, receipts),
    }
    return {name: pa.Table.from_pylist(each, schema=INPUT_TABLES[name]) for name, each in tables.items()}


def _places(live: Iterable[Line]) -> dict[Key, Place]:
    lines = list(live)
    newest = {line.kind: 0 for line in lines}
    for line in lines:
        newest[line.kind] = max(newest[line.kind], *(entry.taken for entry in line.intakes))
    places: dict[Key, Place] = {}
    for line in lines:
        # A review, or what is said of an operation, may have gone to somebody else with any later file.
        last = max(entry.taken for entry in line.intakes)
        kind = BY_NAME[line.kind]
        settled = not (kind.whole or kind.of_operation) or last == newest[line.kind]
        for entry in line.intakes:
            key = entry.intake_id, line.kind, line.trainee_ref
            places[key] = Place(entry.taken, settled and entry.taken == last, entry.mode == "replace")
    return places


def _said(
    intake_id: str, receipt: Receipt, part: dict[str, Any], places: dict[Key, Place]
) -> list[dict[str, Any]]:
    """A row for each trainee of a table, and one for its rows that are of nobody or of people who were left as they were."""
    people = {each["trainee_ref"]: each for each in part.get("by_trainee", ())}
    balances = {each["trainee_ref"]: each for each in part["trainees"]}
    held_back = part.get("held_back", 0)
    nobody = [None] if None in people or held_back else []
    told = "by_trainee" in part
    if BY_NAME[part["kind"]].of_operation:
        # Receipts made before these had an account say nothing of them by trainee.
        told = bool(people)
    rows = []
    for ref in [*sorted(balances.keys() | people.keys() - {None}), *nobody]:
        place = places.get((intake_id, part["kind"], ref))
        own = people.get(ref, {"rows": 0, "accepted": 0}) if told else {}
        held = 0 if ref is not None else held_back
        balance = balances.get(ref, {})
        rows.append(
            {
                "intake_id": intake_id,
                "kind": part["kind"],
                "file_name": part["file_name"],
                "trainee_ref": ref,
                "source": receipt["source"] if part["kind"] == "cases" else "main",
                "taken": place.taken if place else None,
                "is_live": place is not None or ref is None,
                "is_latest": place is not None and place.is_latest,
                "replaces": place is not None and place.replaces,
                "rows_in_file": own["rows"] + held if told else None,
                "accepted_rows": own.get("accepted"),
                "held_back_rows": held,
                **{name if "live" in name else f"{name}_rows": balance.get(name) for name in BALANCE},
            }
        )
    return rows


def _left_out(intake_id: str, part: dict[str, Any]) -> list[dict[str, Any]]:
    seat = {"intake_id": intake_id, "kind": part["kind"]}
    return [
        {**seat, "trainee_ref": each["trainee_ref"], "rule": rule, "left_out_rows": count}
        for each in part.get("by_trainee", ())
        for rule, count in each["left_out"].items()
    ]


def _stored(store: Store, receipts: dict[str, Receipt], places: dict[Key, Place]) -> list[dict[str, Any]]:
    changes = {
        key: path
        for key in places
        if (path := store.intake(key[0]) / "changes" / key[1] / f"{key[2]}.parquet").is_file()
    }
    counts = _changed_keys([str(path) for path in changes.values()])
    rows = []
    for key in places:
        intake_id, kind, trainee_ref = key
        path = store.intake(intake_id) / kind / f"{trainee_ref}.parquet"
        found = counts.get(str(changes.get(key)), (0, 0, 0))
        # Version 0.1.0 kept no changes, and named no files.
        changed, kept, withdrawn = found if "files" in receipts[intake_id] else (None, None, None)
        rows.append(
            {
                "intake_id": intake_id,
                "kind": kind,
                "trainee_ref": trainee_ref,
                "stored_rows": int(pq.read_metadata(path).num_rows) if path.is_file() else 0,
                "changed_rows": changed,
                "kept_rows": kept,
                "withdrawn_rows": withdrawn,
            }
        )
    return rows


def _stored_once(store: Store, receipts: dict[str, Receipt]) -> list[dict[str, Any]]:
    """Of rows about operations, which are stored with everybody who has them: how many there are, under no trainee."""
    rows = []
    for intake_id, receipt in receipts.items():
        for kind in {BY_NAME[part["kind"]] for part in receipt["parts"]}:
            paths = (
                sorted((store.intake(intake_id) / kind.name).glob("*.parquet")) if kind.of_operation else []
            )
            if paths:
                record = [name for name in kind.record if name != "trainee_ref"]
                once = pa.concat_tables(pq.read_table(path, columns=record) for path in paths).group_by(
                    record
                )
                said = {"intake_id": intake_id, "kind": kind.name, "trainee_ref": None}
                rows.append({**said, "stored_rows": once.aggregate([]).num_rows})
    return rows


def _changed_keys(paths: list[str]) -> dict[str, tuple[int, ...]]:
    """For each file of changes how many keys of it are changed, kept and withdrawn."""
    if not paths:
        return {}
    with duckdb.connect() as connection:
        found = connection.execute(
            "select path, count(distinct key) filter (change = 'changed'),"
            " count(distinct key) filter (change = 'kept'), count(distinct key) filter (change = 'withdrawn')"
            " from read_parquet(?, filename = 'path', hive_partitioning = false) group by path",
            [paths],
        ).fetchall()
    return {path: tuple(counts) for path, *counts in found}
