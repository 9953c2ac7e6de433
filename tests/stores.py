"""Plumbing of the tests: a store of its own for each, and the real commands run in this process."""

from __future__ import annotations

import atexit
import contextlib
import csv
import fcntl
import functools
import io
import shutil
import tempfile
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any, NamedTuple

import yaml

from pipelines.build import build as building
from pipelines.cli.commands import main

SHIPPED = Path(__file__).resolve().parent.parent / "pipelines" / "specialties"
PUBLISHED = Path(__file__).resolve().parent / "published"


# What must be closed or removed when the tests of this process end, or at the latest when the process does.
at_the_end = contextlib.ExitStack()
atexit.register(at_the_end.close)
# Where the processes of one run of tests keep what they share; tests/conftest.py sets it.
shared_folder: Path | None = None
_empty_stores: dict[tuple[str, str, tuple[Path, ...]], Path] = {}


class Result(NamedTuple):
    """How a command ended, and what it said."""

    code: int
    out: str
    err: str


def run(*argv: object) -> Result:
    """One command, as typed after `run.py`."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = main([str(word) for word in argv])
    return Result(code, out.getvalue(), err.getvalue())


def run_well(*argv: object) -> Result:
    """The same, where anything but 0 is a failure of the test."""
    result = run(*argv)
    assert result.code == 0, (
        f"{' '.join(map(str, argv))} ended with {result.code}:\n{result.out}\n{result.err}"
    )
    return result


def new_store(
    tmp_path: Path, specialty: object = "ophthalmology", programme: str = "Harbour Eye", name: str = "store"
) -> Path:
    """An empty store below `tmp_path`, copied from the first of its kind; `specialty` is a shipped name or a file."""
    path = Path(str(specialty))
    text = path.read_text(encoding="utf-8") if path.is_file() else str(specialty)
    kind = (text, programme, tuple(building.sql_files()))
    if kind not in _empty_stores:
        first = own_folder() / "store"
        run_well("init", "--store", first, "--specialty", specialty, "--programme", programme)
        _empty_stores[kind] = first
    return shutil.copytree(_empty_stores[kind], tmp_path / name)


def own_folder() -> Path:
    """A folder for this process alone, gone at the end."""
    return Path(
        at_the_end.enter_context(tempfile.TemporaryDirectory(prefix="standing-", ignore_cleanup_errors=True))
    )


def shared(name: str, make: Callable[[Path], object]) -> Path:
    """A folder that `make` fills for the first process of a run that asks for it; the others wait, and only read."""
    folder = _shared_or_own_folder() / name
    with folder.with_suffix(".lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not folder.exists():
            unfinished = folder.with_suffix(".unfinished")
            unfinished.mkdir()
            make(unfinished)
            unfinished.rename(folder)
    return folder


@functools.cache
def _shared_or_own_folder() -> Path:
    return shared_folder or own_folder()


def set_programme(store: Path, **settings: Any) -> None:
    """Changes programme.yaml; the next build or intake reads it."""
    path = store / "programme.yaml"
    programme = yaml.safe_load(path.read_text(encoding="utf-8"))
    path.write_text(yaml.safe_dump(programme | settings, sort_keys=False), encoding="utf-8")


def write_csv(path: Path, content: str | Iterable[Mapping[str, object]], columns: Iterable[str] = ()) -> Path:
    """Text as it is, or rows with the columns in the order in which they are first met."""
    if isinstance(content, str):
        path.write_text(content, encoding="utf-8")
        return path
    rows = list(content)
    header = list(dict.fromkeys([*columns, *(name for row in rows for name in row)]))
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, header, restval="")
        writer.writeheader()
        writer.writerows(rows)
    return path


def read_csv(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def shipped_specialty(name: str = "ophthalmology") -> dict[str, Any]:
    """A shipped specialty file as plain dicts and lists."""
    specialty: dict[str, Any] = yaml.safe_load((SHIPPED / f"{name}.yaml").read_text(encoding="utf-8"))
    return specialty


def write_specialty(path: Path, specialty: dict[str, Any]) -> Path:
    """A specialty file of these dicts and lists."""
    return write_csv(path, yaml.safe_dump(specialty, sort_keys=False))


def shown(store: Path, view: str, **where: object) -> tuple[list[str], list[dict[str, str]]]:
    """The header and the rows that `show` prints as csv; a null is an empty text."""
    wanted = [word for name, value in where.items() for word in ("--where", f"{name}={value}")]
    result = run_well("show", view, "--store", store, "--format", "csv", *wanted)
    reader = csv.DictReader(io.StringIO(result.out))
    rows = list(reader)
    return list(reader.fieldnames or []), rows


def rows_of(store: Path, view: str, **where: object) -> list[dict[str, str]]:
    return shown(store, view, **where)[1]
