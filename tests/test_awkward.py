"""Each awkward file ends as the contract says, gives exactly its findings, and leaves what is published alone.

Source: seed_data/awkward/expected.csv, written from the contract's table of bad cells before the code.
"""

from __future__ import annotations

import csv
import io
import shutil
from collections import Counter
from pathlib import Path

import pytest

from seed_data import awkward_large
from tests.stores import new_store, rows_of, run, run_well

pytestmark = pytest.mark.usefixtures("builds_of_the_log")

AWKWARD = Path(__file__).parents[1] / "seed_data" / "awkward"
BASE = ("roster.csv", "training.csv", "base_cases.csv")
Finding = tuple[str, str, str, str]


def expected_lines() -> list[dict[str, str]]:
    with (AWKWARD / "expected.csv").open(encoding="utf-8", newline="") as file:
        reader = csv.DictReader(file)
        columns = list(reader.fieldnames or [])
        return [*reader, dict(zip(columns, awkward_large.EXPECTED, strict=True))]


LINES = expected_lines()
FILES = list(dict.fromkeys(line["file"] for line in LINES))
EXIT_CODE = {line["file"]: int(line["exit_code"]) for line in LINES}
OPTIONS = {line["file"]: line["options"].split() for line in LINES}


def expected_findings(file: str) -> Counter[Finding]:
    return Counter(
        (line["source_row"], line["column_name"], line["rule"], line["trainee_ref"])
        for line in LINES
        if line["file"] == file and line["rule"]
    )


def findings_in(text: str) -> Counter[Finding]:
    return Counter(
        (row["source_row"], row["column_name"], row["rule"], row["trainee_ref"])
        for row in csv.DictReader(io.StringIO(text))
    )


def content(store: Path) -> dict[str, bytes]:
    """Every file of a store but the writer's own two: the text of the lock and the scratch folder."""
    files = {path.relative_to(store).as_posix(): path for path in store.rglob("*") if path.is_file()}
    return {
        name: path.read_bytes()
        for name, path in files.items()
        if name != "writer.lock" and not name.startswith(".work/")
    }


@pytest.fixture(scope="module")
def base(tmp_path_factory: pytest.TempPathFactory) -> Path:
    store = new_store(tmp_path_factory.mktemp("awkward"))
    run_well("intake", *(AWKWARD / name for name in BASE), "--store", store)
    return store


@pytest.fixture(scope="module")
def as_published(base: Path) -> dict[str, bytes]:
    return content(base)


@pytest.fixture(scope="module")
def large(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return awkward_large.make_large(tmp_path_factory.mktemp("large"))


def path_of(file: str, large: Path) -> Path:
    return large if file == large.name else AWKWARD / file


def test_the_base_has_rows_that_could_be_harmed(base: Path) -> None:
    volumes = rows_of(base, "case_volume", requirement_ref="cataract")
    assert {row["trainee_ref"]: row["counted_cases"] for row in volumes} == {
        "T01": "4",  # B0001, B0002, the lens of B0003, B0005
        "T02": "1",  # B0006
        "T03": "0",
        "T04": "0",
    }


@pytest.mark.parametrize("file", FILES)
def test_check_gives_exactly_the_expected_findings_and_exit_code(
    file: str, base: Path, as_published: dict[str, bytes], large: Path
) -> None:
    result = run("check", path_of(file, large), "--store", base, "--format", "csv", *OPTIONS[file])
    assert findings_in(result.out) == expected_findings(file), result.err
    assert result.code == EXIT_CODE[file], result.err
    assert content(base) == as_published


# `check` walks the same way as an intake does: of each code and kind of file one is taken as well.
TAKEN = {(EXIT_CODE[file], file.partition("-")[0]): file for file in reversed(FILES) if EXIT_CODE[file]}


@pytest.mark.parametrize("file", TAKEN.values())
def test_a_strict_intake_ends_with_the_expected_code_and_stores_nothing(
    file: str, base: Path, as_published: dict[str, bytes], large: Path
) -> None:
    result = run("intake", path_of(file, large), "--strict", "--store", base, *OPTIONS[file])
    assert result.code == EXIT_CODE[file], result.err
    assert content(base) == as_published


# What these files are for: the roster dates the cases of two trainees anew.
CHANGES_WHAT_IS_LIVE = {"trainees-roster_redates_cases.csv"}


@pytest.mark.parametrize("file", [file for file in FILES if not EXIT_CODE[file] and file not in BASE])
def test_a_strict_intake_of_a_file_with_warnings_alone_adds_to_what_is_published(
    file: str, base: Path, large: Path, tmp_path: Path
) -> None:
    store = tmp_path / "store"
    shutil.copytree(base, store)
    result = run("intake", path_of(file, large), "--strict", "--store", store, *OPTIONS[file])
    assert result.code == 0, result.err
    before, after = credited(base), credited(store)
    assert before
    assert before <= after or file in CHANGES_WHAT_IS_LIVE
    assert {row[0] for row in before} <= {row[0] for row in after}


def credited(store: Path) -> set[tuple[str, ...]]:
    """What counts toward what, without the month through which the data run."""
    return {
        (row["case_ref"], *(text for name, text in row.items() if name != "data_through"))
        for row in rows_of(store, "case_credit")
    }
