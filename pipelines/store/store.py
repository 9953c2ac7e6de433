"""The store on disk: what lies where, who may write, what counts, and whether it is whole.

The manifest that CURRENT names says which intakes are live. Replacing CURRENT is the only commit point: whatever
a killed writer left behind is named by no kept manifest, and the next writer removes it.
"""

from __future__ import annotations

import contextlib
import fcntl
import hashlib
import itertools
import json
import os
import re
import shutil
from collections.abc import Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import duckdb
import psutil
import pyarrow as pa
import pyarrow.parquet as pq

from pipelines.contract.errors import AnotherWriter, StoreDamaged, WrongUsage
from pipelines.contract.formats import CASES, SQL_TYPES, TYPES, Kind
from pipelines.contract.input_tables import ADDED, INPUT_TABLES
from pipelines.specialty.load import Specialty, load_specialty
from pipelines.store.documents import (
    CODES_ALONE,
    FORMAT,
    Access,
    Line,
    Manifest,
    Programme,
    live_manifest,
    load_access,
    load_programme,
    programme_ref,
    refuse_newer,
    yaml_text,
)

KEPT_DATABASES = 5
Receipt = dict[str, Any]
NETWORK_FILE_SYSTEMS = {
    "afpfs", "afs", "cifs", "fuse.sshfs", "ncpfs", "nfs", "nfs3", "nfs4", "smb3", "smbfs", "webdav"
}  # fmt: skip
# A folder that holds any of these is a store, or was one.
SIGNS = ("programme.yaml", "CURRENT", "snapshots", "intake")


class Store:
    """One store: paths, settings, and the manifests that count."""

    def __init__(self, root: Path) -> None:
        """Open an initialised store; raises WrongUsage where there is none, StoreDamaged where a part is missing."""
        missing = [name for name in ("programme.yaml", "CURRENT") if not (root / name).is_file()]
        if missing and not any((root / name).exists() for name in SIGNS):
            raise WrongUsage(f"{root} is not a store. Make one with: python3 run.py init --store {root} …")
        if missing:
            raise StoreDamaged(f"{' and '.join(missing)} {'are' if len(missing) > 1 else 'is'} missing")
        refuse_network_share(root)
        self.root = root

    @property
    def programme(self) -> Programme:
        return load_programme(self.root / "programme.yaml")

    @property
    def access(self) -> Access:
        return load_access(self.root / "access.yaml")

    @property
    def specialty_file(self) -> Path:
        return self.root / self.programme.specialty

    @property
    def specialty(self) -> Specialty:
        return load_specialty(self.specialty_file)

    @property
    def work(self) -> Path:
        return self.root / ".work"

    def current(self) -> Manifest:
        """The live manifest; raises StoreDamaged where CURRENT names none."""
        return live_manifest(self.root)

    def manifests(self) -> list[Manifest]:
        """Every manifest up to the live one, oldest first."""
        live = self.current()
        # What a killed writer left may vanish while it is looked at: its name is enough to leave it alone.
        paths = sorted((self.root / "snapshots").glob("snap-*.json"))
        return [Manifest.read(path) for path in paths if path.name < live.file_name] + [live]

    def database(self, snapshot: int) -> Path:
        return self.root / "snapshots" / Manifest(snapshot=snapshot).database_name

    def mapping_file(self, source: str) -> Path:
        """Where it is said how a source writes what the format calls otherwise."""
        return self.root / "sources" / f"{source}.yaml"

    def mapping_hash(self, source: str) -> str | None:
        """The SHA-256 of that file; None without one."""
        path = self.mapping_file(source)
        return file_hash(path) if path.is_file() else None

    def intake(self, intake_id: str) -> Path:
        return self.root / "intake" / intake_id

    def receipt(self, intake_id: str) -> Receipt:
        """The receipt of an intake; raises StoreDamaged where it is missing or no receipt."""
        try:
            receipt: Receipt = json.loads((self.intake(intake_id) / "receipt.json").read_bytes())
            refuse_newer(receipt, f"the receipt of intake {intake_id}")
        except FileNotFoundError:
            raise StoreDamaged(f"intake/{intake_id}/receipt.json is missing") from None
        except (ValueError, AttributeError):
            raise StoreDamaged(f"intake/{intake_id}/receipt.json is not what was written") from None
        return receipt

    def check_intakes(self, manifest: Manifest | None = None) -> None:
        """Raise StoreDamaged naming the first file of a live intake that is missing or not what was written.

        Every stored file is compared with its receipt: the number of rows and the hash; in intakes of version 0.1.0,
        whose receipts name no files, the rows of each kind.
        """
        manifest = manifest or self.current()
        for intake_id in manifest.intakes():
            receipt = self.receipt(intake_id)
            written = manifest.receipts.get(intake_id)
            if written not in (None, file_hash(self.intake(intake_id) / "receipt.json")):
                raise StoreDamaged(f"intake/{intake_id}/receipt.json is not what was written")
            if "files" in receipt:
                self._check_files(intake_id, receipt["files"])
            else:
                self._check_counts(intake_id, receipt)

    def _check_files(self, intake_id: str, files: dict[str, dict[str, Any]]) -> None:
        for name, written in files.items():
            path = self.intake(intake_id) / name
            if not path.is_file():
                raise StoreDamaged(f"intake/{intake_id}/{name} is missing")
            if file_hash(path) != written["sha256"] or _row_count(path) != written["rows"]:
                raise StoreDamaged(f"intake/{intake_id}/{name} is not what was written")

    def _check_counts(self, intake_id: str, receipt: Receipt) -> None:
        folder = self.intake(intake_id)
        if not (folder / "findings.parquet").is_file():
            raise StoreDamaged(f"intake/{intake_id}/findings.parquet is missing")
        for kind in dict.fromkeys(part["kind"] for part in receipt["parts"]):
            parts = [part for part in receipt["parts"] if part["kind"] == kind]
            accepted = sum(part["accepted"] for part in parts)
            # Copies of older versions stand beside the accepted rows, in one file of the command.
            kept = sum(each["kept"] for part in parts for each in part["trainees"])
            rows = sum(_row_count(path) for path in sorted((folder / kind).glob("*.parquet")))
            if not accepted <= rows <= accepted + kept:
                raise StoreDamaged(
                    f"intake/{intake_id}/{kind} holds {rows} rows, and its receipt says {accepted}"
                )

    def check_whole(self) -> None:
        """The same, and the live database; raises StoreDamaged."""
        self.check_intakes()
        manifest = self.current()
        path = self.database(manifest.snapshot)
        if manifest.snapshot and not path.is_file():
            raise StoreDamaged(f"snapshots/{path.name} is missing (build makes it anew)")
        if manifest.hashes.database and file_hash(path) != manifest.hashes.database:
            raise StoreDamaged(f"snapshots/{path.name} is not what was written (build makes it anew)")


def _row_count(path: Path) -> int:
    try:
        return int(pq.read_metadata(path).num_rows)
    except (OSError, ValueError):
        raise StoreDamaged(f"{path.name} of intake/{path.parents[1].name} cannot be read") from None


def init_store(root: Path, specialty: bytes, name: str) -> Store:
    """Make an empty store without a snapshot; raises WrongUsage if something is there already.

    `specialty` is the text of its specialty file, which has been judged.
    """
    if root.exists() and not (root.is_dir() and not any(root.iterdir())):
        raise WrongUsage(f"{root} exists already and is not empty.")
    refuse_network_share(root)
    programme = Programme(programme_ref=programme_ref(name), title=name)
    root.mkdir(mode=0o700, parents=True, exist_ok=True)
    root.chmod(0o700)
    for folder in ("intake", "journal/body", "snapshots", ".work"):
        (root / folder).mkdir(parents=True)
    write_whole(root / "specialty.yaml", specialty)
    write_whole(root / "access.yaml", yaml_text(Access()).encode())
    write_whole(root / "journal" / "log.jsonl", b"")
    write_whole(root / "snapshots" / "snap-000000.json", Manifest(format=FORMAT).text().encode())
    write_whole(root / "programme.yaml", yaml_text(programme).encode())
    write_whole(root / "CURRENT", b"snap-000000.json\n")
    return Store(root)


@contextlib.contextmanager
def writing(store: Store) -> Iterator[None]:
    """Hold the writer's lock, with the leftovers of earlier writers removed; raises AnotherWriter."""
    with _lock(store.root / "writer.lock"):
        _remove_leftovers(store)
        yield
        shutil.rmtree(store.work, ignore_errors=True)
        store.work.mkdir()


@contextlib.contextmanager
def _lock(path: Path) -> Iterator[None]:
    with path.open("a+", encoding="utf-8") as file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            file.seek(0)
            holder = file.read().strip() or "another process"
            raise AnotherWriter(
                f"The store is being written by {holder}. Try again when it has finished."
            ) from None
        file.seek(0)
        file.truncate()
        file.write(f"process {os.getpid()}\n")
        file.flush()
        yield


def _remove_leftovers(store: Store) -> None:
    shutil.rmtree(store.work, ignore_errors=True)
    store.work.mkdir()
    manifests = store.manifests()
    kept = {each.file_name for each in manifests} | {store.database(each.snapshot).name for each in manifests}
    named = {intake_id for manifest in manifests for intake_id in manifest.intakes()}
    _remove_all_but(store.root / "snapshots", kept)
    _remove_all_but(store.root / "intake", named)
    for path in store.root.glob(".*.new"):
        path.unlink()


def _remove_all_but(folder: Path, kept: set[str]) -> None:
    for path in folder.iterdir():
        if path.name in kept:
            continue
        if path.is_dir():
            shutil.rmtree(path)
        else:
            path.unlink()


def adopt_intake(store: Store, folder: Path, intake_id: str) -> None:
    """Move a finished intake folder from the scratch folder to its place."""
    for path in sorted(folder.rglob("*")):
        if path.is_file():
            sync_file(path)
    for path in sorted(folder.rglob("*")):
        if path.is_dir():
            sync_folder(path)
    sync_folder(folder)
    os.rename(folder, store.intake(intake_id))
    sync_folder(store.root / "intake")


def publish(store: Store, manifest: Manifest, database: Path) -> None:
    """Make a finished database and its manifest the live ones; an old database beyond the fifth is removed."""
    sync_file(database)
    manifest.hashes.database = file_hash(database)
    database.chmod(0o444)
    os.rename(database, store.database(manifest.snapshot))
    write_whole(store.root / "snapshots" / manifest.file_name, manifest.text().encode())
    write_whole(store.root / "CURRENT", f"{manifest.file_name}\n".encode())
    kept = sorted((store.root / "snapshots").glob("snap-*.duckdb"))
    for path in kept[:-KEPT_DATABASES]:
        path.unlink()


# Files that are there whole or not at all


def refuse_no_folder(option: str, path: Path) -> None:
    """Raise WrongUsage where the path that an option names is there, and is something else than a folder."""
    if path.exists() and not path.is_dir():
        raise WrongUsage(f"{option}: {path} is not a folder.")


def refuse_network_share(root: Path) -> None:
    """Raise WrongUsage where `root` lies on a network share: locks and renames do not hold there."""
    types = {Path(each.mountpoint): each.fstype for each in psutil.disk_partitions(all=True)}
    place = root.resolve()
    nearest = next((each for each in (place, *place.parents) if each in types), None)
    if nearest is not None and types[nearest] in NETWORK_FILE_SYSTEMS:
        raise WrongUsage(
            f"{root} lies on a network share, where locks do not hold. Keep the store on a local disk."
        )


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


def file_hash(path: Path) -> str:
    """The SHA-256 of a file's content."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


# ---- the rows as Parquet: read as a manifest says, written one file a kind and trainee

# Of findings.parquet: the columns of the view but for the intake, which is the folder's name.
FINDING_SCHEMA = pa.schema(
    [("kind", pa.string()), *(field for field in INPUT_TABLES["finding"] if field.name != "intake_id")]
)
CHANGE_SCHEMA = pa.schema(
    [(name, pa.string()) for name in ("trainee_ref", "kind", "key", "change", "field", "before", "after")]
)


def load_live(
    connection: duckdb.DuckDBPyConnection, store: Store | None, lines: Iterable[Line], kind: Kind, table: str
) -> None:
    """Make `table`: of every key of a trainee and source the row that was taken last.

    Its columns are the stored ones (null where a row was stored before there was the column), then those of ADDED.
    """
    columns = [f'null::{SQL_TYPES[kept.type]} as "{kept.name}"' for kept in kind.stored]
    columns += [f'null::{_sql_type(field.type)} as "{field.name}"' for field in ADDED]
    connection.execute(f"create or replace table {table} as select {', '.join(columns)} limit 0")
    files = _files(store, lines, kind) if store else []
    for several in (False, True):
        chosen = [file for file in files if file["several"] == several]
        if chosen:
            connection.register("live_file", pa.Table.from_pylist(chosen))
            connection.execute(f"insert into {table} by name {_reading(kind, chosen, several)}")
            connection.unregister("live_file")
    if store and kind is CASES:
        _hide_words(connection, store, table, {file["intake_id"] for file in files})


def _hide_words(
    connection: duckdb.DuckDBPyConnection, store: Store, table: str, intakes: Iterable[str]
) -> None:
    """Number the procedures that earlier versions stored as a file said them, in the order in which they were logged."""
    earlier = sorted(each for each in intakes if is_of_before(store, each))
    if earlier:
        connection.execute(
            f"update {table} as live set procedure = numbered.name from (select trainee_ref, case_ref, procedure,"
            " 'unmapped-' || row_number() over (partition by trainee_ref, case_ref order by min(case_sequence)) as name"
            f" from {table} where list_contains(?::varchar[], intake_id)"
            " and not list_contains(?::varchar[], procedure) group by trainee_ref, case_ref, procedure) as numbered"
            " where live.trainee_ref = numbered.trainee_ref and live.case_ref = numbered.case_ref"
            " and live.procedure = numbered.procedure",
            [earlier, list(store.specialty.procedures)],
        )
        connection.execute(
            f"update {table} set converted_from = 'unmapped' where list_contains(?::varchar[], intake_id)"
            " and not list_contains(?::varchar[], converted_from)",
            [earlier, list(store.specialty.procedures)],
        )


def is_of_before(store: Store, intake_id: str) -> bool:
    """Was an intake stored by a version that kept words as a file said them?"""
    return int(store.receipt(intake_id).get("format", 0)) < CODES_ALONE


def _sql_type(kind: pa.DataType) -> str:
    return next(SQL_TYPES[name] for name, stored in TYPES.items() if stored == kind)


def trainees_with_rows(store: Store, lines: Iterable[Line], kind: Kind) -> set[str]:
    """Whose live intakes hold any row of a kind."""
    return {
        line.trainee_ref
        for line in lines
        if any(pq.read_metadata(file["path"]).num_rows for file in _files(store, [line], kind))
    }


def _files(store: Store, lines: Iterable[Line], kind: Kind) -> list[dict[str, Any]]:
    files: list[dict[str, Any]] = []
    for line in lines:
        if line.kind != kind.name:
            continue
        for entry in line.intakes:
            path = store.intake(entry.intake_id) / kind.name / f"{line.trainee_ref}.parquet"
            if path.is_file():
                files.append(
                    {
                        "path": str(path),
                        "source": line.source,
                        "source_taken": max(each.taken for each in line.intakes),
                        "taken": entry.taken,
                        "intake_id": entry.intake_id,
                        # A review may move to another trainee's file.
                        "several": len(line.intakes) > 1 or kind.whole is not None,
                    }
                )
    return files


def _reading(kind: Kind, files: list[dict[str, Any]], several: bool) -> str:
    paths = ", ".join("'" + file["path"].replace("'", "''") + "'" for file in files)
    record = ", ".join(f'kept."{name}"' for name in kind.record)
    # All rows of a record that came with the latest intake: a review has one a step.
    latest = f"qualify rank() over (partition by source, {record} order by taken desc) = 1" if several else ""
    return (
        "select kept.* exclude (path), source, source_taken::integer as source_taken, taken::integer as taken,"
        f" intake_id from read_parquet([{paths}], filename = 'path', hive_partitioning = false, union_by_name = true)"
        f" as kept join live_file using (path) {latest}"
    )


def write_by_trainee(rows: Iterable[pa.RecordBatch], schema: pa.Schema, folder: Path) -> None:
    """One Parquet file a trainee below `folder`, so that one person can be taken out. `rows` are ordered by trainee."""
    files = _FilesByTrainee(schema.with_metadata({"standing_format": str(FORMAT)}), folder)
    # One batch is written while the next is worked out.
    with contextlib.closing(files), ThreadPoolExecutor(max_workers=1) as beside:
        writing = beside.submit(files.write, ())
        for batch in rows:
            writing.result()
            writing = beside.submit(files.write, _runs(batch))
        writing.result()


class _FilesByTrainee:
    """The file of one trainee after the other."""

    def __init__(self, schema: pa.Schema, folder: Path) -> None:
        self.schema, self.folder = schema, folder
        self.trainee_ref: str | None = None
        self.writer: Any = None

    def write(self, runs: Iterable[tuple[str, pa.RecordBatch]]) -> None:
        for trainee_ref, rows in runs:
            if trainee_ref != self.trainee_ref:
                self.close()
                self.folder.mkdir(parents=True, exist_ok=True)
                path = self.folder / f"{trainee_ref}.parquet"
                self.writer = pq.ParquetWriter(path, self.schema, compression="zstd")
                self.trainee_ref = trainee_ref
            self.writer.write_table(pa.Table.from_batches([rows]).select(self.schema.names).cast(self.schema))

    def close(self) -> None:
        if self.writer:
            self.writer.close()


def _runs(batch: pa.RecordBatch) -> Iterator[tuple[str, pa.RecordBatch]]:
    refs = batch.column("trainee_ref")
    codes = refs.dictionary_encode().indices.to_numpy()
    starts = [0, *(codes[1:] != codes[:-1]).nonzero()[0] + 1, len(codes)] if len(codes) else []
    for start, end in itertools.pairwise(starts):
        yield refs[start].as_py(), batch.slice(start, end - start)


def files_written(folder: Path) -> Receipt:
    """For a receipt: every Parquet file below `folder`, with its rows and its hash."""
    return {
        path.relative_to(folder).as_posix(): {
            "rows": int(pq.read_metadata(path).num_rows),
            "sha256": file_hash(path),
        }
        for path in sorted(folder.rglob("*.parquet"))
    }


def read_findings(store: Store, intake_id: str) -> list[dict[str, Any]]:
    """The findings of an intake as it was taken, one row a finding, in the columns of FINDING_SCHEMA."""
    rows: list[dict[str, Any]] = pq.read_table(store.intake(intake_id) / "findings.parquet").to_pylist()
    if is_of_before(store, intake_id):
        for row in rows:
            row["message"] = re.sub(r'"[^"]*"', '"…"', row["message"])
    return rows
