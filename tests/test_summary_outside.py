"""The totals of the demo's volume summary, read back from its files, against pandas over the raw exports.

Source of the method: pandas' own groupby; of the rules: the contract's text and the shipped specialty file. Nothing of the
store, its views or the oracle is asked.
"""

from __future__ import annotations

import io
import re
from typing import Any

import openpyxl
import pandas as pd
import pytest

from pipelines.store.store import Store
from pipelines.summary.files import summary_files
from tests.browser import EXPORTS, demo_store
from tests.paper import Paper
from tests.stores import shipped_specialty
from tests.summed import table_of

COHORT, RULES = "2026-27", shipped_specialty()["requirements"]
TITLES = {rule["title"]: ref for ref, rule in RULES.items() if "minimum" in rule}


def frame(pattern: str) -> pd.DataFrame:
    """The cells of all files of a pattern as text; a blank cell is an empty text."""
    return pd.concat(
        [pd.read_csv(path, dtype=str, keep_default_na=False) for path in sorted(EXPORTS.glob(pattern))]
    )


@pytest.fixture(scope="module")
def people() -> list[str]:
    roster = frame("roster.csv")
    return sorted(roster.loc[roster["cohort"] == COHORT, "trainee_ref"])


@pytest.fixture(scope="module")
def listed(people: list[str]) -> pd.DataFrame:
    """A row for each case and requirement that lists it: role, whether it counts, whether it is confirmed."""
    cases = frame("*-cases.csv")
    cases = cases[cases["trainee_ref"].isin(people)]
    said = frame("confirmations.csv").drop_duplicates(["case_ref", "trainee_ref"], keep="last")
    cases = cases.merge(said[["case_ref", "trainee_ref", "role_agreed", "takeover"]], how="left",
                        on=["case_ref", "trainee_ref"], suffixes=("", "_said")).fillna("")  # fmt: skip
    # A supervisor's confirmation outranks what the trainee entered, in the fields that it fills.
    agreed = cases["role_agreed"].where(cases["role_agreed"] != "", cases["supervisor_agreed"])
    taken_over = cases["takeover_said"].where(cases["takeover_said"] != "", cases["takeover"]) == "yes"
    simulated = cases["attributes"].str.split(";").map(lambda codes: "simulated" in codes)
    undisputed = (agreed != "no") & (~taken_over | (agreed == "yes")) & ~simulated
    parts = []
    for title, ref in TITLES.items():
        own = cases["procedure"].isin(RULES[ref]["procedures"])
        counts = own & undisputed & cases["role"].isin(RULES[ref]["roles"])
        parts.append(
            pd.DataFrame(
                {"trainee": cases["trainee_ref"], "requirement": title, "role": cases["role"], "counts": counts,
                 "confirmed": counts & (agreed == "yes")}
            )[own]
        )  # fmt: skip
    return pd.concat(parts)


@pytest.fixture(scope="module")
def files() -> dict[str, bytes]:
    return summary_files(Store(demo_store()), "saltmarsh-eye", "2027").contents


@pytest.fixture(scope="module")
def book(files: dict[str, bytes]) -> openpyxl.Workbook:
    return openpyxl.load_workbook(io.BytesIO(files["volume-2027.xlsx"]))


@pytest.fixture(scope="module")
def tables(files: dict[str, bytes]) -> list[list[list[str]]]:
    return Paper(files["volume-2027.pdf"]).tables()


def test_counted_and_confirmed_cases_of_the_overview(
    people: list[str], listed: pd.DataFrame, book: openpyxl.Workbook, tables: list[list[list[str]]]
) -> None:
    counted = listed.groupby(["requirement", "trainee"])[["counts", "confirmed"]].sum()
    expected = {
        title: [
            f"{counted.loc[(title, ref), 'counts']} ({counted.loc[(title, ref), 'confirmed']})"
            for ref in people
        ]
        for title in TITLES
    }
    paper = {
        row[0]: [re.sub(r" ✓\*?$", "", cell) for cell in row[2:]] for row in tables[0] if row[0] in TITLES
    }
    assert paper == expected
    sheet = {row[0]: row[2:] for row in table_of(book["Overview"], "overview") if row[0] in TITLES}
    assert {title: [int(cell.split()[0]) for cell in cells] for title, cells in expected.items()} == sheet
    assert sum(listed["counts"]) > 500 and 0 < sum(listed["confirmed"]) < sum(listed["counts"])


def test_the_lines_of_the_class(
    people: list[str], listed: pd.DataFrame, book: openpyxl.Workbook, tables: list[list[list[str]]]
) -> None:
    counted = listed.groupby(["requirement", "trainee"])["counts"].sum().unstack(fill_value=0)[people]
    expected: dict[str, list[Any]] = {}
    for title, ref in TITLES.items():
        own, minimum = counted.loc[title], RULES[ref]["minimum"]
        met = int((own >= minimum).sum())
        expected[title] = [
            minimum,
            len(people),
            met,
            len(people) - met,
            own.mean(),
            own.median(),
            own.min(),
            own.max(),
        ]
    found = {row[0]: [*row[1:5], *row[6:]] for row in table_of(book["Class"], "class_lines")[1:]}
    assert found == {title: pytest.approx(row, abs=1e-9) for title, row in expected.items()}
    (lines,) = [table for table in tables if table[0][:3] == ["Requirement", "Minimum", "Graduates"]]
    for title, *cells in lines[1:]:
        # One digit is printed: the number itself lies within half of it.
        assert [float(cell) for cell in (*cells[:4], *cells[5:])] == pytest.approx(
            expected[title], abs=0.05 + 1e-9
        )


def test_the_roles_of_each_trainee(
    people: list[str], listed: pd.DataFrame, tables: list[list[list[str]]]
) -> None:
    roles = shipped_specialty()["roles"]
    titles = [each["title"] if isinstance(each, dict) else each for each in roles.values()]
    of_roles = [table for table in tables if table[0][0] == "Counted, by role"]
    for person, table in zip(people, of_roles, strict=True):
        assert table[0][1:] == titles
        own = listed[listed["trainee"] == person]
        for title, *cells in table[1:]:
            rows = [own[(own["requirement"] == title) & (own["role"] == role)] for role in roles]
            assert cells == [f"{sum(row['counts'])} of {len(row)}" if len(row) else "0" for row in rows]
    assert (listed["role"].isin(["assistant"]) & ~listed["counts"]).any()
