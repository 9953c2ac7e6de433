"""Exports of a made-up programme of general surgery, so that nothing of the tool is secretly about another specialty."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import yaml

from seed_data.generate import case_refs, write_rows
from seed_data.programme import month_number, month_text

RANDOM_SEED = 20261115
YEARS = 5
ROSTER_COLUMNS = ("trainee_ref", "cohort", "started", "expected_completion", "stage", "completed")
TRAINING_COLUMNS = ("trainee_ref", "from", "to", "kind", "value")
CASE_COLUMNS = (
    "case_ref", "trainee_ref", "operated_on", "procedure", "role", "supervision", "supervisor_agreed", "attributes",
    "complications", "follow_up_days",
)  # fmt: skip
# What a level of help is likely to be, by year of training.
HELP = ("performed_jointly", "spoken_guidance", "supervisor_in_room", "supervisor_available")
Row = tuple[Any, ...]


@cache
def plan() -> dict[str, Any]:
    """The invented volumes, rates and people of windmill.yaml."""
    text = (Path(__file__).parent / "windmill.yaml").read_text(encoding="utf-8")
    return dict(yaml.safe_load(text))


def generate_surgery(out: Path, random_seed: int = RANDOM_SEED) -> list[Path]:
    """Writes roster.csv, training.csv and one case export a trainee into `out`; the same seed gives the same bytes."""
    out.mkdir(parents=True, exist_ok=True)
    rng = np.random.Generator(np.random.PCG64(random_seed))
    people = plan()["people"]
    paths = [
        write_rows(
            out / "roster.csv", ROSTER_COLUMNS, [_roster_row(ref, each) for ref, each in people.items()]
        ),
        write_rows(out / "training.csv", TRAINING_COLUMNS, [row for ref in people for row in _stages(ref)]),
    ]
    logs = {ref: _log(ref, rng) for ref in people}
    refs = iter(case_refs(np.arange(sum(map(len, logs.values()))), rng).to_pylist())
    for ref, rows in logs.items():
        paths.append(write_rows(out / f"{ref}-cases.csv", CASE_COLUMNS, _written(ref, rows, refs)))
    return paths


def _first_month(ref: str) -> int:
    return int(month_number(plan()["people"][ref]["ends"] - YEARS, plan()["starts_in_month"]))


def _last_month(ref: str) -> int:
    """Of the training, or of the data."""
    as_of = plan()["as_of"]
    return min(_first_month(ref) + 12 * YEARS - 1, month_number(as_of.year, as_of.month))


def _has_completed(ref: str) -> bool:
    return _last_month(ref) == _first_month(ref) + 12 * YEARS - 1


def _roster_row(ref: str, person: dict[str, Any]) -> Row:
    ends = month_text(_first_month(ref) + 12 * YEARS - 1)
    done = _has_completed(ref)
    year = (_last_month(ref) - _first_month(ref)) // 12
    stage = "" if done else "chief" if year == YEARS - 1 else "junior"
    cohort = f"{person['ends'] - 1}-{person['ends'] % 100:02d}"
    return ref, cohort, month_text(_first_month(ref)), ends, stage, ends if done else ""


def _stages(ref: str) -> Iterator[Row]:
    chief = _first_month(ref) + 12 * (YEARS - 1)
    yield ref, month_text(_first_month(ref)), month_text(chief - 1), "stage", "junior"
    if chief <= _last_month(ref):
        yield ref, month_text(chief), "", "stage", "chief"


def _log(ref: str, rng: np.random.Generator) -> list[list[Row]]:
    """The operations of one trainee by day, each with its rows: procedure, role, month of training."""
    months = _last_month(ref) - _first_month(ref) + 1
    placed: list[tuple[dt.date, list[Row]]] = []
    for procedure, role, total, weights in _lines(ref):
        expected = total * np.repeat(np.array(weights) / sum(weights) / 12, 12)
        counts = _spread(expected, rng)[:months]
        placed += [
            (_day(ref, int(month), rng), [(procedure, role, int(month))])
            for month in np.repeat(np.arange(months), counts)
        ]
    placed.sort(key=lambda each: each[0])
    return [[(day, *row) for row in _with_second(rows, rng)] for day, rows in placed]


def _lines(ref: str) -> Iterator[tuple[str, str, float, list[int]]]:
    """Procedure, role (blank: surgeon), how many by graduation, and how they spread over the years."""
    person, few = plan()["people"][ref], plan()["people"][ref].get("few", {})
    for procedure, facts in plan()["procedures"].items():
        yield (
            procedure,
            "",
            few.get(procedure, facts["total"] * person["busy"]),
            plan()["years"][facts["years"]],
        )
    yield "hernia", "teaching_assistant", person.get("teaches", plan()["teaches"]), [0, 0, 0, 0, 1]
    yield "biliary", "first_assistant", plan()["assists"], [1, 1, 0, 0, 0]


def _spread(expected: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Whole numbers by month whose sum is that of `expected`, rounded: cumulated and jittered within half a case."""
    upto = np.cumsum(expected)
    jitter = (rng.random(len(upto)) - 0.5) * 0.9
    jitter[-1] = 0
    steps = np.maximum.accumulate(np.floor(np.maximum(upto + jitter, 0) + 0.5))
    return np.diff(np.minimum(steps, round(float(upto[-1]))), prepend=0).astype(np.int64)


def _day(ref: str, month: int, rng: np.random.Generator) -> dt.date:
    """A day of that month of training, never after the day of the data."""
    number = _first_month(ref) + month
    first = dt.date(1970 + number // 12, number % 12 + 1, 1)
    return min(first + dt.timedelta(days=int(rng.integers(0, 28))), plan()["as_of"])


def _with_second(rows: list[Row], rng: np.random.Generator) -> list[Row]:
    """Some operations have a second row, of another procedure of the abdomen."""
    procedure, role, month = rows[0]
    is_managed = plan()["procedures"][procedure].get("managed", False)
    if (
        rng.random() < plan()["second_procedure"]
        and not role
        and not is_managed
        and procedure != "small_intestine"
    ):
        return [*rows, ("small_intestine", role, month)]
    return rows


def _written(ref: str, operations: list[list[Row]], refs: Iterator[str]) -> Iterator[Row]:
    rng = np.random.Generator(np.random.PCG64([RANDOM_SEED, int(ref[1:])]))
    for rows in operations:
        case_ref = next(refs)
        for day, procedure, role, month in rows:
            year = month // 12
            own = role or ("surgeon_chief" if year == YEARS - 1 else "surgeon_junior")
            events, follow_up = _outcome(procedure, day, rng) if own.startswith("surgeon") else ("", "")
            agreed = rng.random()
            confirmed = plan()["supervisors_agree"]
            told = "yes" if agreed < confirmed else "no" if agreed < (1 + confirmed) / 2 else ""
            head = (case_ref, ref, day.isoformat(), procedure, own, _help(own, year, rng), told)
            yield (*head, _attributes(procedure, rng), events, follow_up)


def _help(role: str, year: int, rng: np.random.Generator) -> str:
    if role == "first_assistant":
        return "assisted"
    if role == "teaching_assistant":
        return "supervised_junior"
    return HELP[int(np.clip(year - 1 + rng.integers(-1, 2), 0, len(HELP) - 1))]


def _attributes(procedure: str, rng: np.random.Generator) -> str:
    facts = plan()["procedures"][procedure]
    held = [] if facts.get("managed") else ["major"]
    for name, attribute in (
        ("basic", "laparoscopic_basic"),
        ("complex", "laparoscopic_complex"),
        ("pediatric", "pediatric"),
    ):
        if rng.random() < facts.get(name, 0):
            held.append(attribute)
    return ";".join(held) or "none"


def _outcome(procedure: str, day: dt.date, rng: np.random.Generator) -> tuple[str, str]:
    """What happened, and how long it was looked for; blank where it is not recorded."""
    if rng.random() > plan()["known_outcomes"]:
        return "", ""
    days = int(min(rng.integers(20, 95), (plan()["as_of"] - day).days))
    for name, facts in plan()["complications"].items():
        if procedure in facts["of"] and rng.random() < facts["share"]:
            if not facts["days"]:
                return name, str(days)
            after = int(rng.integers(*facts["days"]))
            if after <= days:
                return f"{name}@{after}", str(days)
    return "none", str(days)
