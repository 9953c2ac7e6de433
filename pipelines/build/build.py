"""A new database from live intakes, settings and sql/: built aside, audited, and only then published."""

from __future__ import annotations

import datetime
import functools
import hashlib
import re
from pathlib import Path
from typing import Any

import duckdb
import pyarrow as pa

from pipelines.build.calibration import calibration_rows
from pipelines.build.fitted import FITTED
from pipelines.build.reasons import reason_tables
from pipelines.build.receipts import account_tables
from pipelines.contract.errors import AuditFailed, StoreDamaged
from pipelines.contract.formats import CASES, KINDS
from pipelines.contract.input_tables import ADDED, INPUT_TABLES
from pipelines.contract.rules import LEFT_OUT, SEVERITY, WARNINGS
from pipelines.specialty.tables import specialty_tables
from pipelines.store.documents import FORMAT, Hashes, Line, Manifest, Programme
from pipelines.store.store import Store, file_hash, load_live, publish, read_findings
from pipelines.version import VERSION

SQL = Path(__file__).parents[2] / "sql"
COMMENT = "comment on "

_PERSON = ("programme_ref", "cohort", "trainee_ref")
# The columns that name one row of each published view.
KEYS: dict[str, tuple[str, ...]] = {
    "case_credit": ("programme_ref", "trainee_ref", "case_ref", "procedure", "side", "requirement_ref"),
    "credited_month": (*_PERSON, "requirement_ref", "operated_month"),
    "active_month": (*_PERSON, "calendar_month"),
    "training_mark": (*_PERSON, "kind", "first_month"),
    "volume_by_month": (*_PERSON, "requirement_ref", "through_month"),
    "credit_reason": (*_PERSON, "requirement_ref", "reason", "over_cap"),
    "count_composition": (*_PERSON, "requirement_ref", "made_of", "code"),
    "volume_by_role": (*_PERSON, "requirement_ref", "role", "through_month"),
    "case_volume": (*_PERSON, "requirement_ref"),
    "rule_without_count": (*_PERSON, "requirement_ref"),
    "complication_rate": (*_PERSON, "complication_ref", "procedure_group", "attribution"),
    "supervision_mix": (*_PERSON, "procedure_group", "training_quarter", "level_ref"),
    "technique_step": (*_PERSON, "procedure_group", "step", "training_quarter"),
    "milestone_standing": (*_PERSON, "milestone_ref", "level"),
    "volume_summary": (*_PERSON, "requirement_ref"),
    "official_tally": (*_PERSON, "requirement_ref"),
    "class_volume": ("programme_ref", "cohort", "requirement_ref", "through_month"),
    "not_final": (*_PERSON, "obstacle"),
    "supervision_band": (*_PERSON, "procedure_group", "training_quarter", "band"),
    "volume_course": (*_PERSON, "requirement_ref", "training_month"),
    "volume_band": ("programme_ref", "requirement_ref", "training_month"),
    "expected_rate": (*_PERSON, "complication_ref", "attribution"),
    "run_length": ("programme_ref", "complication_ref", "limit_for"),
    "case_sequence_chart": (*_PERSON, "complication_ref", "case_number"),
    "case_sequence_signal": (*_PERSON, "complication_ref"),
    "complication_rate_recent": (*_PERSON, "complication_ref", "last_cases"),
    "measure_course": (*_PERSON, "measure", "training_quarter"),
    "cohort_comparison": (*_PERSON, "measure"),
    "trainee_log": _PERSON,
    "left_out_rule": (*_PERSON, "severity", "rule"),
    "class_finding": ("programme_ref", "cohort", "severity", "rule"),
    "unverified_item": ("kind", "ref"),
    "pace_backtest": ("programme_ref", "requirement_ref", "active_month"),
    "pace": (*_PERSON, "requirement_ref"),
    "rotation_yield": (*_PERSON, "requirement_ref", "rotation"),
    "entry_disagreement": (*_PERSON, "case_ref", "procedure", "side", "fact", "entered_by"),
    "event_to_code": (*_PERSON, "case_ref", "procedure", "side"),
    "pace_sentence": (*_PERSON, "requirement_ref"),
    "supervision_loosening": (*_PERSON, "procedure_group"),
    "step_progress": (*_PERSON, "step"),
    "reason_rule": ("reason",),
    "false_alarm": ("programme_ref", "reason"),
    "discussion_reason": (*_PERSON, "reason", "subject"),
    "log_quality": (*_PERSON, "measure"),
    "submission": (*_PERSON, "owed", "month", "case_ref", "procedure", "side"),
    "reconciliation": (*_PERSON, "intake_id", "kind"),
    "finding": ("intake_id", "file_name", "source_row", "column_name", "rule"),
}
# Views with rows for every case are stored as they come: whoever reads them puts the few that are asked for in order.
OF_EVERY_CASE = ("case_credit", "case_sequence_chart")
# Tables case by case that serve to make the others.
WORKED_WITH = ("input.cases", "main.eligible_case", "main.judged_case", "main.logged_count")
# The folder of a store that holds what `calibrate` found.
CALIBRATIONS = "calibration"
# Beyond so many degrees of freedom the last row serves: it makes an interval wider by 0.0013 of itself at most.
MOST_DEGREES = 1000
UPPER_SHARE = 0.975


def next_manifest(
    store: Store, live: list[Line], today: datetime.date, calibration: str | None = None
) -> Manifest:
    """The manifest after the live one, with `live` for its lines; `as_of` is the day of the newest live intake.

    `calibration` is a file of the store's calibration/; without it the one of the live manifest goes on.
    """
    before = store.current()
    calibration = calibration or before.calibration or _latest_calibration(store)
    named = Manifest(live=live).intakes()
    known = set(before.intakes())
    return Manifest(
        format=FORMAT,
        snapshot=before.snapshot + 1,
        made_on=today.isoformat(),
        as_of=_as_of(store, named),
        version=VERSION,
        live=live,
        journal=before.journal,
        hashes=Hashes(
            programme=file_hash(store.root / "programme.yaml"),
            specialty=file_hash(store.root / store.programme.specialty),
            sql=sql_hash(),
            calibration=file_hash(store.root / CALIBRATIONS / calibration) if calibration else "",
        ),
        calibration=calibration,
        receipts={intake_id: _receipt_hash(store, intake_id) for intake_id in named},
        new_intakes=[each for each in named if each not in known],
    )


def _latest_calibration(store: Store) -> str | None:
    """A store that was handed over with one, such as the demo's, and has no manifest that names it yet."""
    return max((path.name for path in (store.root / CALIBRATIONS).glob("*.json")), default=None)


def _receipt_hash(store: Store, intake_id: str) -> str:
    try:
        return file_hash(store.intake(intake_id) / "receipt.json")
    except FileNotFoundError:
        raise StoreDamaged(f"intake/{intake_id}/receipt.json is missing") from None


def _as_of(store: Store, intakes: list[str]) -> str | None:
    fixed = store.programme.as_of
    if fixed:
        return fixed.isoformat()
    days = [store.receipt(intake_id)["taken_on"] for intake_id in intakes]
    return max(days, default=None)


def sql_hash() -> str:
    digest = hashlib.sha256()
    for path in sql_files():
        digest.update(path.name.encode() + path.read_bytes())
    return digest.hexdigest()


def build_and_publish(store: Store, manifest: Manifest) -> None:
    """Build the snapshot of `manifest`, audit it and make it the live one; raises AuditFailed with nothing changed."""
    path = store.work / "snapshot.duckdb"
    path.unlink(missing_ok=True)
    connection = duckdb.connect(str(path))
    try:
        connection.execute("set temp_directory = ?", [str(store.work)])
        connection.begin()  # on a disk each table would else be a write of its own
        load_input(connection, store, manifest)
        connection.commit()
        make_views(connection)
        add_comments(connection)
        _refuse_if_broken(audit(connection))
        # What they hold is in case_record, case_credit and case_sequence_chart now; a snapshot holds it once.
        for table in WORKED_WITH:
            connection.execute(f"drop table if exists {table}")
        connection.execute("checkpoint")
    finally:
        connection.close()
    publish(store, manifest, path)


def _refuse_if_broken(found: list[tuple[str, list[tuple[Any, ...]]]]) -> None:
    if found:
        lines = [
            f"{name}: {len(rows)} row{'s' * (len(rows) != 1)}, such as {rows[0]}" for name, rows in found
        ]
        raise AuditFailed("The integrity audit failed; the old snapshot stays.\n" + "\n".join(lines))


def load_input(connection: duckdb.DuckDBPyConnection, store: Store, manifest: Manifest) -> None:
    """Make the schema `input`: settings, specialty, live rows, live findings."""
    connection.execute("create schema input")
    for name, table in specialty_tables(store.specialty).items():
        _create(connection, f"main.{name}", table)
    for name, table in quantile_tables().items():
        _create(connection, f"main.{name}", table)
    _create(connection, "programme", _programme_table(store, manifest))
    _create(connection, "document", _documents(store))
    _create(connection, "review_period", _review_periods(store))
    _create(connection, "live_rows", INPUT_TABLES["live_rows"].empty_table())
    for kind in KINDS:
        if kind.name not in INPUT_TABLES:
            continue
        load_live(connection, store, manifest.live, kind, f"input.{kind.name}")
        connection.execute(
            f"insert into input.live_rows select '{kind.name}', trainee_ref, source, taken, count(*)"
            f" from input.{kind.name} group by trainee_ref, source, taken"
        )
        for name in set(ADDED.names) - set(INPUT_TABLES[kind.name].names):
            connection.execute(f"alter table input.{kind.name} drop column {name}")
    _create(connection, "data_through", _data_through(manifest, store.programme.closed_sources))
    _create(connection, "intake", _intakes(store, manifest))
    _create(connection, "intake_trainee", _intake_trainees(manifest))
    for name, table in account_tables(store, manifest).items():
        _create(connection, name, table)
    _create(connection, "finding", _findings(store, manifest))
    _create(connection, "rule", _rules())
    _create(connection, "submission_due", _submission_due(store.programme))
    for name, table in reason_tables(store.programme.reasons).items():
        _create(connection, name, table)
    _create(connection, "calibration", _calibration(store, manifest))


def _create(connection: duckdb.DuckDBPyConnection, name: str, table: pa.Table) -> None:
    connection.register("arriving", table)
    qualified = name if "." in name else f"input.{name}"
    connection.execute(f"create table {qualified} as select * from arriving")
    connection.unregister("arriving")


def _programme_table(store: Store, manifest: Manifest) -> pa.Table:
    row = store.programme.model_dump(include=set(INPUT_TABLES["programme"].names) - {"as_of"})
    return pa.Table.from_pylist([{**row, "as_of": manifest.as_of}], schema=INPUT_TABLES["programme"])


def _calibration(store: Store, manifest: Manifest) -> pa.Table:
    schema = INPUT_TABLES["calibration"]
    if manifest.calibration is None:
        return schema.empty_table()
    path = store.root / CALIBRATIONS / manifest.calibration
    if not path.is_file() or file_hash(path) != manifest.hashes.calibration:
        raise StoreDamaged(f"{CALIBRATIONS}/{path.name} is missing, or is not what was written")
    return pa.Table.from_pylist(calibration_rows(path.read_text("utf-8")), schema=schema)


def _review_periods(store: Store) -> pa.Table:
    names = [name.lower() for name in store.programme.review_periods]
    return pa.table({"period_name": names, "position": pa.array(range(1, len(names) + 1), pa.int32())})


def _documents(store: Store) -> pa.Table:
    names = ("programme.yaml", store.programme.specialty)
    return pa.Table.from_pylist(
        [{"name": name, "body": (store.root / name).read_text("utf-8")} for name in names]
    )


def _data_through(manifest: Manifest, closed: list[str]) -> pa.Table:
    rows = [
        {
            "trainee_ref": line.trainee_ref,
            "source": line.source,
            "data_through": line.data_through,
            "closed": line.source in closed,
        }
        for line in manifest.live
        if line.kind == CASES.name
    ]
    return pa.Table.from_pylist(rows, schema=INPUT_TABLES["data_through"])


def _intakes(store: Store, manifest: Manifest) -> pa.Table:
    rows = [
        {
            "intake_id": intake_id,
            "kind": part["kind"],
            "source": receipt["source"],
            "file_name": part["file_name"],
            "taken_on": receipt["taken_on"],
            "rows_in_file": part["rows"],
            "accepted_rows": part["accepted"],
            "left_out_rows": sum(part["left_out"].values()),
            "held_back_rows": part.get("held_back", 0),
        }
        for intake_id in manifest.intakes()
        for receipt in [store.receipt(intake_id)]
        for part in receipt["parts"]
    ]
    return pa.Table.from_pylist(rows, schema=INPUT_TABLES["intake"])


def _intake_trainees(manifest: Manifest) -> pa.Table:
    rows = [
        {"intake_id": entry.intake_id, "kind": line.kind, "trainee_ref": line.trainee_ref}
        for line in manifest.live
        for entry in line.intakes
    ]
    return pa.Table.from_pylist(rows, schema=INPUT_TABLES["intake_trainee"])


def _submission_due(programme: Programme) -> pa.Table:
    rows = [{"owed": owed, "due_days": days} for owed, days in programme.submission_due.model_dump().items()]
    return pa.Table.from_pylist(rows, schema=INPUT_TABLES["submission_due"])


def _rules() -> pa.Table:
    rows = [
        {"rule": rule, "severity": SEVERITY[rule], "message": message, "remedy": remedy, "position": position}
        for position, (rule, (message, remedy)) in enumerate((LEFT_OUT | WARNINGS).items(), start=1)
    ]
    return pa.Table.from_pylist(rows, schema=INPUT_TABLES["rule"])


def _findings(store: Store, manifest: Manifest) -> pa.Table:
    """The findings of the intakes live for each trainee, and those about nobody of any live intake."""
    live = {
        (entry.intake_id, line.kind, line.trainee_ref) for line in manifest.live for entry in line.intakes
    }
    rows: list[dict[str, Any]] = []
    for intake_id in manifest.intakes():
        rows += [
            {**row, "intake_id": intake_id}
            for row in read_findings(store, intake_id)
            if row["trainee_ref"] is None or (intake_id, row["kind"], row["trainee_ref"]) in live
        ]
    names = INPUT_TABLES["finding"].names
    return pa.Table.from_pylist(
        [{name: row[name] for name in names} for row in rows], schema=INPUT_TABLES["finding"]
    )


def quantile_tables() -> dict[str, pa.Table]:
    """`t_quantile`: the 0.975 quantile of Student's t for 1 to 1000 degrees of freedom (two-sided 95 %).

    Source of the distribution: Student 1908, Biometrika 6:1; computed by scipy.stats.t.
    """
    # Imported here: it costs half a second, and who only reads a snapshot need not wait for it.
    from scipy.stats import t

    degrees = list(range(1, MOST_DEGREES + 1))
    columns = [pa.array(degrees, pa.int32()), pa.array(t.ppf(UPPER_SHARE, degrees), pa.float64())]
    return {"t_quantile": pa.table(columns, names=["degrees", "quantile"])}


# ---- sql/: macros and tables, then each definition, stored as a table of the same name, then the audits


def make_views(con: duckdb.DuckDBPyConnection, folder: Path = SQL, last: str | None = None) -> None:
    """Makes every table and published view, or those up to `last`; needs the schema `input` and the specialty's tables.

    A view that reads another one reads its stored table, as `main.<name>`: a number is worked out once. Without
    `main.` the name inside a definition would mean the definition.
    """
    con.execute("create schema if not exists definition")
    for path in sql_files(folder):
        if path.name[0] != "9" and (last is None or path.stem <= last):
            con.begin()  # on a disk each table would else be a write of its own
            _make(con, path)
            for name, make in FITTED.get(path.stem, {}).items():
                _create(con, f"main.{name}", make(con))
            con.commit()


def audit(con: duckdb.DuckDBPyConnection, folder: Path = SQL) -> list[tuple[str, list[tuple[object, ...]]]]:
    """File name and rows of every audit that returns any; an empty list means that the snapshot is whole."""
    found = []
    for path in sql_files(folder):
        if path.name[0] == "9":
            rows = con.execute(path.read_text(encoding="utf-8")).fetchall()
            if rows:
                found.append((path.name, rows))
    return found


def sql_files(folder: Path = SQL) -> list[Path]:
    return sorted(folder.glob("*.sql"))


def order_of(view: str) -> str:
    """SQL of the order of a view's rows by its key; of texts it is that of the bytes, for UTF-8 by code point."""
    return ", ".join(f'"{column}" nulls first' for column in KEYS[view])


def view_name(path: Path) -> str:
    """`300_case_volume.sql` defines `case_volume`."""
    return path.stem.partition("_")[2]


def _make(con: duckdb.DuckDBPyConnection, path: Path) -> None:
    """Run a file, but for its comments; a view is stored as a table of its name."""
    for statement in _statements(path.read_text(encoding="utf-8")):
        if not statement.startswith(COMMENT):
            con.execute(statement)
    if path.name[0] not in "01":
        view = view_name(path)
        ordered = "" if view in OF_EVERY_CASE else f" order by {order_of(view)}"
        con.execute(f'create table main."{view}" as select * from definition."{view}"{ordered}')


def add_comments(con: duckdb.DuckDBPyConnection, folder: Path = SQL) -> None:
    """Say of each table what its file says: of a view it is said of the table that holds it."""
    con.begin()
    for path in sql_files(folder):
        for statement in _statements(path.read_text(encoding="utf-8")):
            if statement.startswith(COMMENT) and path.name[0] in "01":
                con.execute(statement)
            elif statement.startswith(COMMENT):
                con.execute(
                    re.sub(r"(?<=^comment on )(?:view|(column)) definition", _of_the_table, statement)
                )
    con.commit()


@functools.cache
def _statements(text: str) -> list[str]:
    return [each.query.strip() for each in duckdb.extract_statements(text)]


def _of_the_table(said: re.Match[str]) -> str:
    return f"{said[1] or 'table'} main"
