"""What is live stays live: bad files, a second writer, a kill, a network share, a reader who wants more."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import duckdb
import psutil
import pytest

from pipelines.store.snapshot import open_snapshot
from pipelines.store.store import Store, refuse_network_share, writing
from tests.standing import content, copy_of, later_cases, published, standing_store
from tests.stores import new_store, read_csv, rows_of, run, run_well, set_programme, write_csv

pytestmark = pytest.mark.usefixtures("builds_of_the_log")

HEADER = "case_ref,trainee_ref,operated_on,procedure,role,supervisor_ref,technique\n"


@pytest.fixture(scope="module")
def standing(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return standing_store(tmp_path_factory.mktemp("standing"))


# ---- bad files


def write_bytes(path: Path, data: bytes) -> Path:
    path.write_bytes(data)
    return path


def missing(folder: Path) -> Path:
    return folder / "cases.csv"


def a_folder(folder: Path) -> Path:
    (folder / "cases").mkdir()
    return folder / "cases"


def binary(folder: Path) -> Path:
    return write_bytes(folder / "cases.csv", bytes(range(256)) * 40)


def with_nul(folder: Path) -> Path:
    row = b"C009,T01,2025-06-17,phaco_iol,surgeon,S\x0001,chop\n"
    return write_bytes(folder / "cases.csv", HEADER.encode() + row)


def ten_megabytes(folder: Path) -> Path:
    row = b"C009,T01,2025-06-17,phaco_iol,surgeon,S01," + b"c" * 10_000_000 + b"\n"
    return write_bytes(folder / "cases.csv", HEADER.encode() + row)


@pytest.mark.parametrize("command", ["check", "intake"])
@pytest.mark.parametrize(
    ("make", "code", "rule"),
    [
        (missing, 2, None),
        (a_folder, 11, "not_a_table"),
        (binary, 11, "not_a_table"),
        (with_nul, 11, "not_a_table"),
        (ten_megabytes, 11, "cell_too_long"),
    ],
)
def test_a_file_that_is_no_table_ends_with_its_code_and_a_short_text(
    make: Callable[[Path], Path], code: int, rule: str | None, command: str, standing: Path, tmp_path: Path
) -> None:
    before = content(standing)
    # The rule stands in the rows of `check`; its table is in words.
    form = ("--format", "csv") if command == "check" else ()
    result = run(command, make(tmp_path), "--store", standing, *form)
    assert result.code == code
    said = result.out + result.err
    assert "Traceback" not in said
    assert 0 < len(said) < 2000
    assert rule is None or command == "intake" or rule in said
    assert content(standing) == before


@pytest.mark.parametrize("formula", ["=HYPERLINK(A1)", "@SUM(A1:A9)", "+1+1", "-2+3", "=cmd|'/C'!A0"])
def test_a_formula_is_text_and_no_code(formula: str, standing: Path, tmp_path: Path) -> None:
    rows = (
        {"case_ref": "C101", "technique": formula},
        {"case_ref": "C102", "supervisor_ref": formula},
        {"case_ref": "C103", "technique": "chop"},
    )
    fixed = {"trainee_ref": "T01", "operated_on": "2025-06-17", "procedure": "phaco_iol", "role": "surgeon"}
    file = write_csv(tmp_path / "cases.csv", [{**fixed, **row} for row in rows])
    store = copy_of(standing, tmp_path)
    run_well("intake", file, "--store", store, "--append", "--fixes", tmp_path / "fixes")
    found = [(row["source_row"], row["column_name"], row["rule"]) for row in rows_of(store, "finding")]
    assert found == [("2", "technique", "code_unknown"), ("3", "supervisor_ref", "ref_malformed")]
    assert {"C101", "C102"}.isdisjoint(row["case_ref"] for row in rows_of(store, "case_credit"))
    # A spreadsheet that opens the fix list sees no cell that it would work out.
    cells = [cell for row in read_csv(tmp_path / "fixes" / "T01-fixes.csv") for cell in row.values()]
    assert cells
    assert not [cell for cell in cells if cell.startswith(("=", "@", "+", "-"))]


def test_a_link_in_a_formula_refuses_the_file(standing: Path, tmp_path: Path) -> None:
    row = 'C101,T01,2025-06-17,phaco_iol,surgeon,S01,"=HYPERLINK(""http://example.org/x"")"\n'
    before = content(standing)
    assert run("intake", write_csv(tmp_path / "cases.csv", HEADER + row), "--store", standing).code == 12
    assert content(standing) == before


def test_one_bad_file_of_a_command_keeps_the_good_ones_out(standing: Path, tmp_path: Path) -> None:
    before = content(standing)
    result = run("intake", later_cases(tmp_path), binary(tmp_path), "--store", standing)
    assert result.code == 11
    assert content(standing) == before


# ---- the store itself


def test_only_the_owner_may_look_into_a_store(standing: Path) -> None:
    assert standing.stat().st_mode & 0o777 == 0o700


def test_a_snapshot_cannot_be_written_to(standing: Path) -> None:
    modes = {path.stat().st_mode & 0o777 for path in (standing / "snapshots").glob("*.duckdb")}
    assert modes == {0o444}


@pytest.mark.parametrize(
    "command",
    [("show", "case_volume"), ("build",), ("check", "FILE"), ("intake", "FILE"), ("snapshots",)],
    ids=lambda command: command[0],
)
@pytest.mark.parametrize("what", ["no folder", "a file", "an empty folder"])
def test_where_there_is_no_store_a_command_ends_with_2(
    command: tuple[str, ...], what: str, tmp_path: Path
) -> None:
    place = tmp_path / "place"
    if what == "a file":
        place.write_text("no store")
    elif what == "an empty folder":
        place.mkdir()
    file = later_cases(tmp_path)
    result = run(*(file if word == "FILE" else word for word in command), "--store", place)
    assert result.code == 2
    assert "is not a store" in result.err


def test_init_leaves_what_is_there_alone(standing: Path, tmp_path: Path) -> None:
    before = content(standing)
    as_file = write_csv(tmp_path / "file", "a file")
    for place in (standing, as_file):
        result = run("init", "--store", place, "--specialty", "ophthalmology", "--programme", "Other")
        assert result.code == 2
    assert content(standing) == before
    assert as_file.read_text() == "a file"


def mounted(monkeypatch: pytest.MonkeyPatch, *mounts: tuple[str, str]) -> None:
    """As if these places were mounted, each with its type of file system."""
    partitions = [SimpleNamespace(mountpoint=place, fstype=kind) for place, kind in mounts]
    monkeypatch.setattr(psutil, "disk_partitions", lambda **_: partitions)


@pytest.mark.parametrize("kind", ["nfs", "nfs4", "cifs", "smb3", "smbfs", "afpfs", "fuse.sshfs"])
def test_a_store_on_a_network_share_is_refused(
    kind: str, standing: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    store = copy_of(standing, tmp_path)
    mounted(monkeypatch, ("/", "ext4"), (str(tmp_path), kind))
    for command in (("show", "case_volume"), ("build",), ("intake", later_cases(tmp_path))):
        result = run(*command, "--store", store)
        assert (result.code, "network share" in result.err) == (2, True)
    new = tmp_path / "deep" / "new"
    assert run("init", "--store", new, "--specialty", "ophthalmology", "--programme", "P").code == 2
    assert not new.parent.exists()


def test_a_local_disk_below_a_network_share_is_taken(
    standing: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    store = copy_of(standing, tmp_path)
    mounted(monkeypatch, ("/", "nfs4"), (str(tmp_path), "nfs4"), (str(store), "ext4"))
    assert run("show", "case_volume", "--store", store).code == 0


def test_the_root_of_this_machine_is_no_network_share() -> None:
    assert "/" in {each.mountpoint for each in psutil.disk_partitions(all=True)}
    refuse_network_share(Path("/"))


# ---- who writes, who reads


def test_a_second_writer_ends_with_15_and_hears_who_is_at_work(standing: Path, tmp_path: Path) -> None:
    before = content(standing)
    with writing(Store(standing)):
        # 15 comes before whatever else is wrong with the command.
        for command in (("build",), ("intake", later_cases(tmp_path)), ("intake", missing(tmp_path))):
            result = run(*command, "--store", standing)
            assert result.code == 15
            assert f"process {os.getpid()}" in result.err
        assert (standing / "writer.lock").read_text().strip() == f"process {os.getpid()}"
        assert run("show", "case_volume", "--store", standing).code == 0
    assert content(standing) == before


HOLDS_THE_LOCK = """
import sys, time
from pathlib import Path
from types import SimpleNamespace
from pipelines.store.store import Store, refuse_network_share, writing
with writing(Store(Path(sys.argv[1]))):
    print("held", flush=True)
    time.sleep(600)
"""


def test_a_lock_dies_with_its_holder(standing: Path, tmp_path: Path) -> None:
    store = copy_of(standing, tmp_path)
    root = Path(__file__).parents[1]
    words = [sys.executable, "-c", HOLDS_THE_LOCK, str(store)]
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True, cwd=root) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == "held\n"
        result = run("build", "--store", store)
        assert (result.code, f"process {holder.pid}" in result.err) == (15, True)
        holder.kill()
    assert run("build", "--store", store).code == 0


def test_a_reader_sees_the_old_rows_or_the_new_ones_and_never_half(standing: Path, tmp_path: Path) -> None:
    store = copy_of(standing, tmp_path)
    old = published(store)
    words = [sys.executable, "-m", "pipelines", "intake", str(later_cases(tmp_path)), "--store", str(store)]
    seen: list[Any] = []
    with subprocess.Popen(
        words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, cwd=Path(__file__).parents[1]
    ) as writer:
        while writer.poll() is None:
            seen.append(rows_of(store, "case_credit"))
            time.sleep(0.05)
    assert writer.returncode == 0
    new = rows_of(store, "case_credit")
    assert len(seen) > 1
    assert new != old["case_credit"]
    assert [each for each in seen if each not in (old["case_credit"], new)] == []


@pytest.mark.parametrize(
    "statement",
    [
        "attach '{folder}/other.duckdb' as other",
        "copy (select 1) to '{folder}/out.csv'",
        "export database '{folder}/out'",
        "select * from read_csv('{folder}/roster.csv')",
        "select * from '{folder}/roster.csv'",
        "select * from read_text('{folder}/roster.csv')",
        "select * from glob('{folder}/*')",
        "set memory_limit = '1GB'",
        "set enable_external_access = true",
        "set temp_directory = '{folder}'",
        "install httpfs",
        "load httpfs",
        "create table main.more (a integer)",
        "delete from main.case_credit",
    ],
)
def test_a_reader_can_do_nothing_but_read(statement: str, standing: Path, tmp_path: Path) -> None:
    write_csv(tmp_path / "roster.csv", "trainee_ref\nT01\n")
    with open_snapshot(Store(standing)) as connection:
        assert connection.execute("select count(*) from main.case_credit").fetchall() != [(0,)]
        with pytest.raises(duckdb.Error):
            connection.execute(statement.format(folder=tmp_path)).fetchall()
    assert [path.name for path in tmp_path.iterdir()] == ["roster.csv"]


# ---- too large


def test_a_file_beyond_the_memory_limit_ends_with_1_and_says_so(tmp_path: Path) -> None:
    store = new_store(tmp_path)
    set_programme(store, memory_limit="12 MB")
    before = content(store)
    rows = "".join(f"C{number:06},T01,2025-06-17,phaco_iol,surgeon,S01,chop\n" for number in range(200_000))
    result = run("intake", write_csv(tmp_path / "cases.csv", HEADER + rows), "--store", store)
    assert result.code == 1
    assert "memory limit" in result.err
    assert "Traceback" not in result.err
    assert content(store) == before
