"""How often each reason would name somebody though everybody were alike and fine, found by simulation: never in a build.

Programmes of this size, volume and mix are made of what the trainees of completed classes did: every year of a simulated
person has the cases and the supervision of that year of somebody drawn from them; every reviewed operation is one of the
same quarter; every outcome is that of a case drawn at about the same case number. So all are alike. The views of sql/ that
hold the rules judge them, unchanged, at every meeting over the length of a training. Beside them stand four to whom
something does happen: half the volume, twice the rate of every outcome, supervision that stays where it began, steps that do
not improve.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import duckdb
import numpy as np
import pyarrow as pa

from pipelines.build.donors import Donors, read_donors
from pipelines.build.pace_tables import pace_forecast, pace_trial
from pipelines.build.simulated import AFFECTED, Simulation, simulate

SQL = Path(__file__).parents[2] / "sql"
TRAININGS = 16
RANDOM_SEED = 20261126
# The files of sql/ that judge, in their order; the two tables of pace are made after the second.
RULES = (
    "404_case_sequence_chart", "406_case_sequence_signal", "500_pace_backtest", "510_pace", "522_pace_sentence",
    "524_supervision_loosening", "526_step_progress", "530_reason_rule", "532_false_alarm", "540_discussion_reason",
)  # fmt: skip
# Of whom each kind should find the one to whom it happens.
FINDS = {
    "pace_behind": "volume",
    "close_and_short": "volume",
    "outcome_over_time": "outcome",
    "supervision_not_loosening": "supervision",
    "step_without_progress": "step",
}
FEWEST_DONORS = 5

Connection = duckdb.DuckDBPyConnection
Result = dict[str, dict[str, float]]


def programmes_of(con: Connection) -> list[str]:
    """The programmes of the roster."""
    return [
        row[0] for row in con.execute("select distinct programme_ref from main.trainee order by 1").fetchall()
    ]


def calibrated(con: Connection, programme: str, progress: Callable[[str], None]) -> Result | None:
    """Kind → chance_meeting, chance_training, power; None where fewer than five have completed.

    `con` is a snapshot, open for reading.
    """
    donors = read_donors(con, programme)
    if donors.people < FEWEST_DONORS:
        return None
    progress(f"{programme}: {TRAININGS} trainings of a programme like it, {donors.meetings} meetings each …")
    made = simulate(donors, TRAININGS, np.random.Generator(np.random.PCG64(RANDOM_SEED)))
    progress(f"{programme}: the rules judge them …")
    named = judged(con, programme, donors, made)
    return _chances(named, made)


def _chances(named: set[tuple[str, str, str]], made: Simulation) -> Result:
    """`named` holds programme, person and kind; a programme is one training at one meeting."""
    found: Result = {}
    for kind, affected in FINDS.items():
        at_meetings = [
            any((state, ref, kind) in named for ref in people) for state, people in made.in_training.items()
        ]
        per_training = np.array(at_meetings).reshape(made.trainings, -1)
        hits = [
            any((state, f"{state}-{affected}", kind) in named for state in states)
            for states in made.by_training
        ]
        found[kind] = {
            "chance_meeting": float(per_training.mean()),
            "chance_training": float(per_training.any(axis=1).mean()),
            "power": float(np.mean(hits)),
        }
    return found


def inputs_of(con: Connection, programme: str) -> str:
    """The hash of all that a calibration of the programme reads: what is drawn from, the settings, the rules."""
    digest = hashlib.sha256(repr((TRAININGS, RANDOM_SEED, AFFECTED)).encode())
    digest.update(read_donors(con, programme).fingerprint())
    digest.update(repr(con.execute("select * from input.reason_setting").fetchall()).encode())
    digest.update(
        repr(
            con.execute("select cusum_odds_ratio, cusum_chance, cusum_limit from input.programme").fetchall()
        ).encode()
    )
    for name in RULES:
        text = (SQL / f"{name}.sql").read_text(encoding="utf-8").partition("\ncomment on ")[0]
        digest.update(
            "\n".join(line for line in text.splitlines() if not line.strip().startswith("--")).encode()
        )
    digest.update(Path(__file__).with_name("forecast.py").read_bytes())
    return digest.hexdigest()


def calibration_inputs(con: Connection) -> pa.Table:
    """What a calibration of each programme would read now: only where there is one to compare with."""
    programmes = (
        programmes_of(con) if con.execute("select 1 from input.calibration limit 1").fetchall() else []
    )
    return pa.table(
        {
            "programme_ref": pa.array(programmes, pa.string()),
            "inputs": pa.array([inputs_of(con, programme) for programme in programmes], pa.string()),
        }
    )


def judged(con: Connection, programme: str, donors: Donors, made: Simulation) -> set[tuple[str, str, str]]:
    """Programme, person and kind of every reason that the rules find in the simulated programmes."""
    scratch = duckdb.connect()
    try:
        _copy_structure(con, scratch)
        _fill(con, scratch, programme, donors, made)
        for name in RULES:
            if name.startswith("500"):
                for table, make in (("pace_trial", pace_trial), ("pace_forecast", pace_forecast)):
                    _put(scratch, f"main.{table}", make(scratch), create=True)
            _run(scratch, name)
        rows = scratch.execute(
            "select programme_ref, trainee_ref, reason from main.discussion_reason"
        ).fetchall()
        return {(each[0], each[1], each[2]) for each in rows}
    finally:
        scratch.close()


def _run(scratch: Connection, name: str) -> None:
    scratch.execute((SQL / f"{name}.sql").read_text(encoding="utf-8").partition("\ncomment on ")[0])
    view = name.partition("_")[2]
    scratch.execute(f"drop table if exists main.{view}")
    scratch.execute(f"create table main.{view} as select * from definition.{view}")


# Tables of rules and settings, which the simulated programmes have in common with the real one.
COPIED = (
    "main.requirement", "main.complication", "main.procedure_group", "main.step", "main.milestone",
    "main.milestone_level", "main.supervision_level", "main.upper_level", "input.programme", "input.reason_setting",
    "input.reason_kind", "input.review_period",
)  # fmt: skip
EMPTY = (
    "main.trainee", "main.trainee_month", "main.trainee_clock", "main.case_volume", "main.credited_month",
    "main.supervision_mix", "main.operation_score", "main.milestone_standing", "main.complication_rate", "main.rotation_yield",
    "main.chart_limit", "main.reference_band", "input.milestones", "input.calibration",
)  # fmt: skip
ELIGIBLE_CASE = (
    "trainee_ref varchar, complication_ref varchar, case_sequence integer, is_known boolean, is_event boolean,"
    " log_odds double, number_started integer, events_so_far integer, alike_from integer"
)


def _copy_structure(con: Connection, scratch: Connection) -> None:
    for path in sorted(SQL.glob("0*.sql")):
        scratch.execute(path.read_text(encoding="utf-8"))
    for schema in ("definition", "input"):
        scratch.execute(f"create schema {schema}")
    for name in (*COPIED, *EMPTY):
        rows = _rows(con, f"select * from {name}{'' if name in COPIED else ' limit 0'}")
        _put(scratch, name, rows, create=True)
    scratch.execute(f"create table main.eligible_case ({ELIGIBLE_CASE})")
    scratch.execute("create table main.calibration_inputs (programme_ref varchar, inputs varchar)")


def _put(scratch: Connection, name: str, rows: pa.Table, create: bool = False) -> None:
    scratch.register("arriving", rows)
    if create:
        scratch.execute(f"create table {name} as select * from arriving")
    else:
        scratch.execute(f"insert into {name} by name select * from arriving")
    scratch.unregister("arriving")


def _rows(con: Connection, query: str, *values: str) -> pa.Table:
    return con.sql(query, params=list(values)).to_arrow_table()


def _fill(con: Connection, scratch: Connection, programme: str, donors: Donors, made: Simulation) -> None:
    for name, table in made.tables.items():
        _put(scratch, f"main.{name}", table)
    scratch.execute("update main.eligible_case set alike_from = first_of_band(number_started)")
    scratch.execute(
        """
        insert into main.trainee_month by name
        select
            trainee.trainee_ref,
            month_text(month_number(trainee.started) + part.place - 1) as operated_month,
            true as is_training, 1 as counts_as, part.place as active_month, part.place as training_month,
            cast(floor((part.place + 2) / 3) as integer) as training_quarter, false as performed_elsewhere
        from main.trainee as trainee
        cross join unnest(numbers_to($length)) as part (place)
        """,
        {"length": donors.length},
    )
    limits = _rows(con, "select * from main.chart_limit where programme_ref = $1", programme)
    scratch.register("limits", limits)
    scratch.execute(
        "insert into main.chart_limit by name select limits.* replace (state.programme_ref as programme_ref)"
        " from limits cross join (select distinct programme_ref from main.trainee) as state"
    )
    scratch.unregister("limits")
    bands = _rows(
        con,
        """
        select complication_ref, band, sum(known_outcomes) as others_known, sum(events) as others_events
        from main.outcome_band
        where attribution = 'as_started' and programme_ref = $1
        group by complication_ref, band
        """,
        programme,
    )
    scratch.register("bands", bands)
    scratch.execute(
        """
        insert into main.reference_band by name
        select
            trainee.trainee_ref, bands.complication_ref, 'as_started' as attribution, bands.band, bands.others_known,
            bands.others_events, false as is_mostly_unknown, bands.others_known < 30 as is_thin
        from bands
        cross join main.trainee as trainee
        where not trainee.training_is_over
        """
    )
    scratch.unregister("bands")


# ---- the file of a store


def calibration_text(results: dict[str, tuple[str, Result]], made_on: str) -> tuple[str, str]:
    """The name of the file, by the hash of its inputs, and what it says; `results`: programme → inputs, chances."""
    programmes = {
        programme: {"inputs": inputs, "trainings": TRAININGS, "reasons": chances}
        for programme, (inputs, chances) in sorted(results.items())
    }
    inputs = {programme: inputs for programme, (inputs, _) in sorted(results.items())}
    name = hashlib.sha256(json.dumps(inputs).encode()).hexdigest()
    return f"{name}.json", json.dumps({"made_on": made_on, "programmes": programmes}, indent=1) + "\n"


def calibration_rows(text: str) -> list[dict[str, Any]]:
    """The rows of input.calibration that a file says."""
    return [
        {
            "programme_ref": programme,
            "reason": kind,
            "inputs": said["inputs"],
            "programmes": said["trainings"],
            **chances,
        }
        for programme, said in json.loads(text)["programmes"].items()
        for kind, chances in said["reasons"].items()
    ]
