"""Volumes and rates of generated exports, counted with pandas straight from the exported files.

A third reading beside the SQL and the plain loops. Source of the method: pandas' own groupby; of the rules:
the contract's text and the shipped specialty file.
"""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from seed_data.generate import generate
from tests.stores import new_store, rows_of, run_well, shipped_specialty

RANDOM_SEED = 411


@pytest.fixture(scope="module")
def exports(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """Roster, training periods and one case file a trainee: 3000 case rows of six people."""
    out = tmp_path_factory.mktemp("exports")
    return generate(out, trainees=6, cases=3000, random_seed=RANDOM_SEED)


@pytest.fixture(scope="module")
def store(exports: list[Path], tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store that has taken them in one command."""
    store = new_store(tmp_path_factory.mktemp("pandas"))
    run_well("intake", *exports, "--store", store)
    return store


def frame(paths: list[Path]) -> pd.DataFrame:
    """The cells as text; a blank cell is an empty text."""
    return pd.concat([pd.read_csv(path, dtype=str, keep_default_na=False) for path in paths])


@pytest.fixture(scope="module")
def cases(exports: list[Path]) -> pd.DataFrame:
    """Case rows with the month of operation and whether it was performed elsewhere."""
    roster = frame([path for path in exports if path.name == "roster.csv"])
    training = frame([path for path in exports if path.name == "training.csv"])
    rows = frame([path for path in exports if path.name.endswith("cases.csv")])
    rows = rows.merge(roster[["trainee_ref", "started"]], on="trainee_ref", validate="many_to_one")
    rows["month"] = rows["operated_on"].str[:7]
    away = rows.reset_index().merge(training[training["kind"] == "elsewhere"], on="trainee_ref")
    inside = (away["from"] <= away["month"]) & ((away["to"] == "") | (away["month"] <= away["to"]))
    rows["elsewhere"] = (rows["month"] < rows["started"]) | rows.index.isin(away[inside]["index"])
    return rows


def simulated(cases: pd.DataFrame) -> pd.Series[bool]:
    """Which rows are of no patient: in no rate and no share, and credited by no shipped requirement."""
    return cases["attributes"].str.split(";").map(lambda codes: "simulated" in codes)


def test_the_generated_exports_hold_enough_to_tell_a_wrong_count(cases: pd.DataFrame) -> None:
    assert len(cases) == 3000
    assert cases["trainee_ref"].nunique() == 6
    for column in ("complications", "supervisor_agreed", "supervision"):
        assert (cases[column] == "").any(), column
    assert {"yes", "no"} <= set(cases["takeover"])
    assert cases["attributes"].str.contains("simulated").any()


def test_counted_cases_equal_a_groupby_of_the_exported_rows(store: Path, cases: pd.DataFrame) -> None:
    rules = shipped_specialty()["requirements"]
    agreed, taken_over = cases["supervisor_agreed"], cases["takeover"] == "yes"
    countable = cases[~simulated(cases) & (agreed != "no") & (~taken_over | (agreed == "yes"))]
    expected = {}
    for ref, rule in rules.items():
        credited = countable[
            countable["procedure"].isin(rule["procedures"]) & countable["role"].isin(rule["roles"])
        ]
        counted = credited.groupby("trainee_ref").size()
        confirmed = credited[credited["supervisor_agreed"] == "yes"].groupby("trainee_ref").size()
        for trainee in cases["trainee_ref"].unique():
            expected[trainee, ref] = (int(counted.get(trainee, 0)), int(confirmed.get(trainee, 0)))
    shown = {
        (row["trainee_ref"], row["requirement_ref"]): (int(row["counted_cases"]), int(row["confirmed_cases"]))
        for row in rows_of(store, "case_volume")
    }
    assert shown == expected
    assert sum(counted for counted, _ in expected.values()) > 500


def test_rates_of_outcomes_in_the_operation_equal_a_groupby_of_the_exported_rows(
    store: Path, cases: pd.DataFrame
) -> None:
    specialty = shipped_specialty()
    group = cases["procedure"].map({ref: row["group"] for ref, row in specialty["procedures"].items()})
    expected, shown = {}, {}
    for ref, complication in specialty["complications"].items():
        if complication["window_days"] > 0:
            continue
        eligible = cases[
            (group == complication["group"])
            & (cases["role"] == "surgeon")
            & ~cases["elsewhere"]
            & ~simulated(cases)
        ]
        known = eligible[eligible["complications"] != ""]
        events = (
            known["complications"]
            .str.split(";")
            .map(lambda cell, ref=ref: ref in [event.partition("@")[0] for event in cell])
        )
        for trainee, own in known.assign(event=events).groupby("trainee_ref"):
            unknown = int((eligible["trainee_ref"] == trainee).sum()) - len(own)
            expected[trainee, ref] = (int(own["event"].sum()), len(own), unknown, own["event"].mean())
        for row in rows_of(store, "complication_rate", complication_ref=ref, attribution="as_logged"):
            counts = (int(row[name]) for name in ("events", "known_outcomes", "unknown_outcomes"))
            shown[row["trainee_ref"], ref] = (*counts, float(row["rate"]))
    assert shown == {key: pytest.approx(value, abs=1e-12) for key, value in expected.items()}
    assert sum(events for events, *_ in expected.values()) > 10
    assert sum(unknown for _, _, unknown, _ in expected.values()) > 10
