"""Example exports of a made-up programme: the same arguments give the same bytes."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np
import pyarrow as pa
from pyarrow import csv as arrow_csv

from seed_data import particulars as told
from seed_data.operations import ROLES, Rows, operations, procedure_names
from seed_data.others import CONFIRMATION_COLUMNS, OUTCOME_COLUMNS, confirmation_rows, outcome_rows
from seed_data.programme import (
    ROSTER_COLUMNS,
    TRAINING_COLUMNS,
    Trainee,
    made_up_trainees,
    plan,
    roster_row,
    training_rows,
)
from seed_data.ratings import MILESTONE_COLUMNS, REVIEW_COLUMNS, milestone_rows, review_rows

RANDOM_SEED = 20261115
SIDES = ("left", "right", "both")
LETTERS = "ACDEFGHJKLMNPQRTUVWX"
DIGITS = "0123456789"


def generate(
    out: Path,
    trainees: int | None = None,
    cases: int | None = None,
    random_seed: int = RANDOM_SEED,
    ratings: bool = True,
) -> list[Path]:
    """Writes roster.csv, training.csv and one case export a trainee into `out`; returns their paths.

    Without numbers: the programme of saltmarsh.yaml with its special people. `cases` is the number of
    case rows of all files together. Without `ratings` what others say is left away: reviews.csv and milestones.csv, and
    of the programme's own people alone official_counts.csv, outcomes.csv and confirmations.csv.
    """
    rng = np.random.Generator(np.random.PCG64(random_seed))
    people = made_up_trainees(trainees)
    rows = operations(people, cases, rng)
    table = case_table(people, rows, rng)
    out.mkdir(parents=True, exist_ok=True)
    paths = [*_write_people(out, people), *_write_cases(out, people, rows, table)]
    if ratings:
        own_rng = np.random.Generator(np.random.PCG64([random_seed, 1]))
        paths += _write_ratings(out, people, table, own_rng)
        if trainees is None:
            paths += [_write_official_counts(out), *_write_others(out, table)]
    return paths


def case_table(people: list[Trainee], rows: Rows, rng: np.random.Generator) -> pa.Table:
    """The 22 columns of a case export, in the order of the contract; rows in order of trainee and day."""
    columns = told.particulars(people, rows, rng)
    return pa.table(
        {
            "case_ref": case_refs(rows.operation, rng),
            "trainee_ref": words(rows.trainee, [trainee.ref for trainee in people]),
            "operated_on": dates(rows.day),
            "procedure": words(rows.procedure, procedure_names()),
            "role": words(columns["role"], ROLES),
            "side": words(np.where(rows.simulated, told.BLANK, rows.side), SIDES),
            "principal": words(columns["principal"], told.YES_NO),
            "converted_from": words(columns["converted_from"], procedure_names()),
            "supervision": words(columns["supervision"], told.SUPERVISION),
            "supervisor_ref": words(columns["supervisor_ref"], plan()["supervisors"]),
            "site_ref": words(columns["site_ref"], plan()["sites"]),
            "supervisor_agreed": words(columns["supervisor_agreed"], told.YES_NO),
            "takeover": words(columns["takeover"], told.YES_NO),
            "takeover_reason": words(columns["takeover_reason"], told.REASONS),
            "duration_min": numbers(columns["duration_min"]),
            "technique": words(columns["technique"], told.TECHNIQUES),
            "attributes": words(columns["attributes"], told.ATTRIBUTES),
            "risk_factors": pa.array(columns["risk_factors"], pa.string()),
            "complications": pa.array(columns["complications"], pa.string()),
            "event_hands": words(columns["event_hands"], told.HANDS),
            "follow_up_days": numbers(columns["follow_up_days"]),
            "logged_on": dates(columns["logged_on"]),
        }
    )


def words(codes: np.ndarray, names: Sequence[str]) -> pa.Array:
    """Positions in `names` as text; BLANK is null."""
    return pa.array(names, pa.string()).take(numbers(codes))


def numbers(values: np.ndarray) -> pa.Array:
    """Whole numbers; BLANK is null."""
    return pa.array(values, pa.int64(), mask=values == told.BLANK)


def dates(days: np.ndarray) -> pa.Array:
    """Days since 1970 as dates; BLANK is null."""
    return numbers(days).cast(pa.int32()).cast(pa.date32())


def case_refs(operation: np.ndarray, rng: np.random.Generator) -> pa.Array:
    """Letter, digit, letter, digit …: one a number, and neighbours in number far from each other."""
    room = (len(LETTERS) * len(DIGITS)) ** 4
    # An odd factor that 5 does not divide shares no divisor with the room: no two numbers meet.
    scattered = (operation * 1_234_567_891 + int(rng.random() * room)) % room
    letters = np.empty((len(operation), 8), dtype="S1")
    for place in range(8):
        signs = np.array(list(LETTERS if place % 2 == 0 else DIGITS), dtype="S1")
        letters[:, place] = signs[scattered % len(signs)]
        scattered //= len(signs)
    return pa.array(letters.view("S8").ravel().astype("U8"), pa.string())


def _write_people(out: Path, people: list[Trainee]) -> list[Path]:
    training = [row for trainee in people for row in training_rows(trainee)]
    return [
        write_rows(out / "roster.csv", ROSTER_COLUMNS, map(roster_row, people)),
        write_rows(out / "training.csv", TRAINING_COLUMNS, training),
    ]


def write_rows(path: Path, header: Sequence[str], rows: Iterable[Sequence[object]]) -> Path:
    """A CSV of the header and the rows; the path again."""
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file, lineterminator="\n").writerows([header, *rows])
    return path


def _write_cases(out: Path, people: list[Trainee], rows: Rows, table: pa.Table) -> list[Path]:
    ends = np.searchsorted(rows.trainee, np.arange(len(people) + 1))
    paths = []
    for trainee, start, end in zip(people, ends, ends[1:], strict=False):
        if start == end:
            continue
        paths.append(out / f"{trainee.ref}-cases.csv")
        with paths[-1].open("wb") as file:
            file.write((",".join(table.column_names) + "\n").encode())
            own = table.slice(int(start), int(end - start))
            # Nothing in these tables needs quotes, and this writer quotes every text or none.
            options = arrow_csv.WriteOptions(include_header=False, quoting_style="none")
            arrow_csv.write_csv(own, file, options)
    return paths


def _write_ratings(out: Path, people: list[Trainee], table: pa.Table, rng: np.random.Generator) -> list[Path]:
    reviews, milestones = list(review_rows(people, table, rng)), list(milestone_rows(people, rng))
    # A header alone is no export.
    return [
        *([write_rows(out / "reviews.csv", REVIEW_COLUMNS, reviews)] if reviews else []),
        *([write_rows(out / "milestones.csv", MILESTONE_COLUMNS, milestones)] if milestones else []),
    ]


def _write_others(out: Path, table: pa.Table) -> list[Path]:
    said = {
        "outcomes.csv": (OUTCOME_COLUMNS, list(outcome_rows(table))),
        "confirmations.csv": (CONFIRMATION_COLUMNS, list(confirmation_rows(table))),
    }
    return [write_rows(out / name, columns, rows) for name, (columns, rows) in said.items() if rows]


def _write_official_counts(out: Path) -> Path:
    tally = plan()["official_counts"]
    rows = [
        (trainee, requirement, count, tally["as_of"])
        for trainee, counts in tally["counts"].items()
        for requirement, count in counts.items()
    ]
    return write_rows(out / "official_counts.csv", ("trainee_ref", "requirement_ref", "count", "as_of"), rows)
