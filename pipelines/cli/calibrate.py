"""`calibrate`: how often each reason would name somebody for nobody's fault, simulated, stored, published."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from pathlib import Path

from pipelines.build.build import CALIBRATIONS, build_and_publish, next_manifest, sql_hash
from pipelines.build.calibration import (
    FEWEST_DONORS,
    Result,
    calibrated,
    calibration_text,
    inputs_of,
    programmes_of,
)
from pipelines.contract.errors import WrongUsage
from pipelines.store.snapshot import open_snapshot
from pipelines.store.store import Store, file_hash, write_whole, writing


def run(root: Path, progress: Callable[[str], None]) -> int:
    """Simulate, write calibration/<hash of its inputs>.json, and publish a snapshot; the number of that snapshot."""
    store = Store(root)
    with writing(store):
        store.check_intakes()
        _refuse_old_snapshot(store)
        name, text = simulated(store, progress, datetime.date.today().isoformat())
        (store.root / CALIBRATIONS).mkdir(mode=0o700, exist_ok=True)
        write_whole(store.root / CALIBRATIONS / name, text.encode())
        manifest = next_manifest(store, store.current().live, datetime.date.today(), name)
        build_and_publish(store, manifest)
    return manifest.snapshot


def simulated(store: Store, progress: Callable[[str], None], made_on: str) -> tuple[str, str]:
    """Name and text of the file; raises WrongUsage where nobody can be simulated."""
    results: dict[str, tuple[str, Result]] = {}
    with open_snapshot(store) as connection:
        for programme in programmes_of(connection):
            chances = calibrated(connection, programme, progress)
            if chances is None:
                progress(f"{programme}: fewer than {FEWEST_DONORS} trainees of completed classes; left out.")
            else:
                results[programme] = (inputs_of(connection, programme), chances)
    if not results:
        raise WrongUsage(
            f"calibrate: no programme has {FEWEST_DONORS} trainees of completed classes to simulate others by."
        )
    return calibration_text(results, made_on)


def _refuse_old_snapshot(store: Store) -> None:
    hashes = store.current().hashes
    now = (sql_hash(), file_hash(store.root / "programme.yaml"), file_hash(store.specialty_file))
    if (hashes.sql, hashes.programme, hashes.specialty) != now:
        raise WrongUsage(
            "The live snapshot was made by other rules or settings than there are now. First: python3 run.py build"
            f" --store {store.root}"
        )
