"""The calibration of the demo, made anew: python -m seed_data.calibrate. A test fails where it is stale."""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from pipelines.cli.calibrate import simulated
from pipelines.cli.demo import AS_OF, CALIBRATION, make_store


def main() -> None:
    """Simulate from a new store of the demo, and keep the file in the place of the one before."""
    CALIBRATION.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        store = make_store(Path(folder) / "store")
        name, text = simulated(
            store, lambda line: print(line, file=sys.stderr, flush=True), AS_OF.isoformat()
        )
    for path in CALIBRATION.glob("*.json"):
        path.unlink()
    (CALIBRATION / name).write_text(text, encoding="utf-8")
    print(CALIBRATION / name)


if __name__ == "__main__":
    main()
