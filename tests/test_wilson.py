"""The Wilson macros against published intervals and counts, and against two reference libraries."""

from __future__ import annotations

import csv
import math
from functools import cache
from pathlib import Path

import duckdb
import pytest
from scipy.stats import binomtest, norm
from statsmodels.stats.proportion import proportion_confint

from pipelines.build.build import SQL

PUBLISHED = Path(__file__).parent / "published" / "wilson.csv"
CONFIDENCES = (0.95, 0.998)


@cache
def macros() -> duckdb.DuckDBPyConnection:
    con = duckdb.connect()
    con.execute((SQL / "010_wilson.sql").read_text(encoding="utf-8"))
    return con


def interval(events: int | None, trials: int | None, confidence: float = 0.95) -> tuple[float, float]:
    query = """
        select wilson_low(x, n, z_two_sided(c)), wilson_high(x, n, z_two_sided(c))
        from (select ? as x, ? as n, ? as c)
    """
    low, high = macros().execute(query, [events, trials, confidence]).fetchall()[0]
    return low, high


def grid(trials: str, confidence: float) -> list[tuple[int, int, float, float]]:
    """Events, trials, low, high for every number of events up to each n of the query `trials`."""
    return (
        macros()
        .execute(
            f"""
        select x, n, wilson_low(x, n, z_two_sided({confidence})), wilson_high(x, n, z_two_sided({confidence}))
        from ({trials}) as t (n), range(n + 1) as e (x)
        """
        )
        .fetchall()
    )


def named(cell: str) -> dict[str, float]:
    return {name: float(value) for name, value in (pair.split("=") for pair in cell.split(";"))}


def published() -> list[dict[str, str]]:
    with PUBLISHED.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("row", published(), ids=lambda row: row["case"])
def test_a_published_interval_comes_out(row: dict[str, str]) -> None:
    # Each row of the file names its source.
    inputs, expected = named(row["inputs"]), named(row["expected"])
    found = interval(int(inputs["x"]), int(inputs["n"]), inputs["conf"])
    assert found == pytest.approx((expected["lower"], expected["upper"]), abs=float(row["tolerance"]), rel=0)


def test_the_published_file_holds_both_confidences_and_each_row_its_source() -> None:
    rows = published()
    assert {named(row["inputs"])["conf"] for row in rows} == set(CONFIDENCES)
    assert len(rows) == 29 and all(row["source"] for row in rows)


@pytest.mark.parametrize("confidence", CONFIDENCES)
def test_z_is_the_normal_quantile_to_the_last_digit(confidence: float) -> None:
    # scipy.stats.norm
    (found,) = macros().execute("select z_two_sided(?)", [confidence]).fetchall()[0]
    assert found == pytest.approx(norm.ppf((1 + confidence) / 2), rel=4e-16, abs=0)


@pytest.mark.parametrize("confidence", CONFIDENCES)
def test_every_interval_up_to_60_trials_is_that_of_statsmodels_and_of_scipy(confidence: float) -> None:
    for events, trials, low, high in grid("from range(1, 61)", confidence):
        other = proportion_confint(events, trials, alpha=1 - confidence, method="wilson")
        third = binomtest(events, trials).proportion_ci(confidence_level=confidence, method="wilson")
        assert (low, high) == pytest.approx(other, abs=1e-12), (events, trials)
        assert (low, high) == pytest.approx((third.low, third.high), abs=1e-12), (events, trials)


@pytest.mark.parametrize("confidence", CONFIDENCES)
@pytest.mark.parametrize(
    ("events", "trials"), [(9730, 961_208), (1, 10_000_000), (9_999_999, 10_000_000), (14_342, 301_924)]
)
def test_large_counts_are_those_of_statsmodels(events: int, trials: int, confidence: float) -> None:
    other = proportion_confint(events, trials, alpha=1 - confidence, method="wilson")
    assert interval(events, trials, confidence) == pytest.approx(other, abs=1e-14, rel=1e-9)


@pytest.mark.parametrize("confidence", CONFIDENCES)
def test_no_event_is_exactly_0_and_every_event_exactly_1(confidence: float) -> None:
    rows = (
        macros()
        .execute(
            f"""
        select wilson_low(0, n, z_two_sided({confidence})), wilson_high(n, n, z_two_sided({confidence}))
        from range(1, 2001) as t (n)
        """
        )
        .fetchall()
    )
    assert set(rows) == {(0.0, 1.0)} and len(rows) == 2000


@pytest.mark.parametrize("confidence", CONFIDENCES)
def test_an_interval_stays_between_0_and_1_and_holds_its_rate(confidence: float) -> None:
    for events, trials, low, high in grid("values (1), (7), (60), (353), (1999)", confidence):
        assert 0 <= low <= events / trials <= high <= 1
        assert (low == 0) == (events == 0) and (high == 1) == (events == trials)


def test_an_empty_denominator_has_no_interval() -> None:
    assert interval(0, 0) == (None, None)
    # greatest() and least() leave nulls out: unknown counts would come back as 0 to 1.
    for events, trials in ((None, None), (0, None), (None, 5)):
        assert interval(events, trials) == (None, None)


def test_six_of_six_succeed() -> None:
    # common practice, no source: 61.0 to 100 %
    low, high = interval(6, 6)
    assert (round(100 * low, 1), high) == (61.0, 1.0)


# Counts from the named publications, intervals worked out from them (not the printed ones), in percent.
TRAINEE_SERIES = [
    (99, 4322, 1.89, 2.78),  # Eye 2008;22:1425, capsule rupture
    (82, 4303, 1.54, 2.36),  # Grinton 2020, Eye 35:1213, capsule rupture
    (84, 3445, 1.97, 3.01),  # Jeang 2022, J Acad Ophthalmol, capsule rupture
    (51, 3445, 1.13, 1.94),  # the same, anterior vitrectomy
    (120, 1833, 5.50, 7.77),  # Blomquist 2010, J Cataract Refract Surg, any in operation
    (34, 680, 3.60, 6.91),  # Randleman 2007, Arch Ophthalmol 125:1215, any in operation
    (63, 1121, 4.42, 7.13),  # Mohammad-Rabei 2025, J Ophthalmic Vis Res, any
    (13, 102, 7.60, 20.59),  # PMC7778434, semester 1, capsule rupture
    (51, 301, 13.13, 21.59),  # semester 2
    (31, 327, 6.76, 13.14),  # semester 3
    # Small numbers: arithmetic alone.
    (0, 20, 0, 16.11),
    (0, 50, 0, 7.13),
    (1, 30, 0.59, 16.67),
    (2, 86, 0.64, 8.09),
    (3, 100, 1.03, 8.45),
    (5, 250, 0.86, 4.60),
]


@pytest.mark.parametrize(("events", "trials", "low", "high"), TRAINEE_SERIES)
def test_the_series_of_trainees_have_their_intervals(
    events: int, trials: int, low: float, high: float
) -> None:
    assert [100 * end for end in interval(events, trials)] == pytest.approx([low, high], abs=0.0051)


def test_the_ends_solve_the_equation_that_defines_them() -> None:
    # Wilson 1927: the rates from which the observed one lies exactly z standard errors away.
    z = norm.ppf(0.975)
    for rate in interval(81, 263):
        assert abs(81 / 263 - rate) / math.sqrt(rate * (1 - rate) / 263) == pytest.approx(z, rel=1e-12)
