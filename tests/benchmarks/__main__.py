"""Speed of one run on this machine, as ratios: python -m tests.benchmarks [--rows N].

Each figure is a ratio to something done in the same run, so that a slow machine slows both. Nothing is asserted.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import resource
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import duckdb

from pipelines.build import build as building
from pipelines.cli.commands import main as command
from seed_data.generate import generate

TRAINEES = 40


def main() -> None:
    """Make a big cohort, take it in, and print what that cost."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks")
    parser.add_argument("--rows", type=int, default=1_000_000)
    parser.add_argument("--no-screens", action="store_true", help="leave the browser's part away")
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        exports, cases = _exports(Path(scratch), arguments.rows)
        store = Path(scratch) / "store"
        _intake_figures(Path(scratch), exports, cases, store, arguments.rows)
        if not arguments.no_screens:
            from tests.benchmarks.screens import screen_figures

            screen_figures(store)


def _exports(scratch: Path, rows: int) -> tuple[list[Path], Path]:
    """The roster files, and all case exports as one file."""
    started = time.perf_counter()
    paths = generate(scratch / "exports", trainees=TRAINEES, cases=rows, ratings=False)
    print(f"seed: {rows:,} rows of {TRAINEES} trainees in {time.perf_counter() - started:.1f} s")
    case_files = [path for path in paths if path.name.endswith("-cases.csv")]
    whole = scratch / "all-cases.csv"
    with whole.open("wb") as file:
        for number, path in enumerate(case_files):
            header, _, body = path.read_bytes().partition(b"\n")
            file.write(body if number else header + b"\n" + body)
    return [path for path in paths if path not in case_files], whole


def _intake_figures(scratch: Path, rosters: list[Path], cases: Path, store: Path, rows: int) -> None:
    import great_expectations  # noqa: F401 - seconds of importing are not part of an intake

    base = _seconds(lambda: _bare_load(scratch / "bare.duckdb", cases))
    print(f"bare: DuckDB's read_csv(all_varchar) of the same file into a file: {base:.2f} s = 1")
    _command("init", "--store", str(store), "--specialty", "ophthalmology", "--programme", "Benchmark")
    builds = _timed_build()
    whole = _seconds(lambda: _command("intake", *map(str, rosters), str(cases), "--store", str(store)))
    without = whole - sum(builds)
    print(f"intake of {rows:,} rows x 22 columns, without the build: {without / base:.1f} (target 12)")
    print(f"build and audit of all views: {sum(builds) / base:.1f}")
    small = scratch / "few.csv"
    small.write_text(_few_rows(cases, 500), encoding="utf-8")
    again = _seconds(lambda: _command("intake", str(small), "--append", "--store", str(store)))
    print(f"one more intake of 500 rows into that store, its build included: {again / base:.1f}")
    print(f"peak memory of this process: {_peak():.2f} GB (target 2)")


def _timed_build() -> list[float]:
    """The seconds of each build from now on. A second build would not do: what the first worked out is kept."""
    seconds: list[float] = []
    plain = building.build_and_publish

    def timed(*arguments: Any) -> None:
        seconds.append(_seconds(lambda: plain(*arguments)))

    building.build_and_publish = timed
    return seconds


def _few_rows(cases: Path, count: int) -> str:
    """The first rows again under other references: 500 new cases of the first trainee."""
    with cases.open(encoding="utf-8") as file:
        header = next(file)
        return header + "".join(f"N{next(file)[1:]}" for _ in range(count))


def _bare_load(database: Path, cases: Path) -> None:
    database.unlink(missing_ok=True)
    with duckdb.connect(str(database)) as connection:
        connection.execute(f"create table cases as select * from read_csv('{cases}', all_varchar = true)")


def _seconds(work: Callable[[], object]) -> float:
    started = time.perf_counter()
    work()
    return time.perf_counter() - started


def _command(*argv: str) -> None:
    said = io.StringIO()
    with contextlib.redirect_stdout(said), contextlib.redirect_stderr(said):
        code = command(argv)
    if code:
        sys.exit(f"{argv[0]} ended with {code}:\n{said.getvalue()}")


def _peak() -> float:
    unit = 1 if sys.platform == "darwin" else 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit / 1e9


if __name__ == "__main__":
    main()
