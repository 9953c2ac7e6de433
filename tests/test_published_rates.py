"""Published series of trainees, turned into exports and taken in, come out with the published numbers.

One trainee stands for a series. Sources and marks stand in tests/published/, beside each row.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import pytest
from statsmodels.stats.proportion import proportion_confint

from tests.stores import PUBLISHED, new_store, read_csv, rows_of, run_well, write_csv

SERIES = read_csv(PUBLISHED / "trainee_rates.csv")
MINIMUMS = read_csv(PUBLISHED / "case_minimums.csv")
POINTS = {row["risk_factor"]: int(row["points"]) for row in read_csv(PUBLISHED / "risk_points.csv")}
ROSTER = {"cohort": "2025-26", "started": "2022-07", "expected_completion": "2026-06"}
Row = dict[str, str]


def outcome_rows(trainee: str, outcomes: list[str], **cells: str) -> Iterator[Row]:
    """One cataract operation as surgeon for each cell of `outcomes`."""
    for number, outcome in enumerate(outcomes, start=1):
        yield {
            "case_ref": f"{trainee}-{number:05d}",
            "trainee_ref": trainee,
            "operated_on": f"2023-{number % 12 + 1:02d}-{number % 28 + 1:02d}",
            "procedure": "phaco_iol",
            "role": "surgeon",
            "complications": outcome,
        } | cells


def events_and_none(event: str, events: int, cases: int) -> list[str]:
    return [event] * events + ["none"] * (cases - events)


def series_rows(series: Row) -> Iterator[Row]:
    outcomes = events_and_none("capsule_rupture", int(series["events"]), int(series["cases"]))
    return outcome_rows(series["series"], outcomes, risk_factors=series["risk_factors"])


def extra_rows() -> Iterator[Row]:
    """Series of our own beside the published ones: what a blank, a late event and a role do to 81 of 263."""
    newcombe = events_and_none("capsule_rupture", 81, 263)
    yield from outcome_rows("with_blanks", newcombe + [""] * 40)
    yield from outcome_rows("with_assistant", newcombe)
    for row in outcome_rows("with_assistant", ["capsule_rupture"] * 25):
        yield row | {"case_ref": f"other-{row['case_ref'][-5:]}", "role": "assistant"}
    late = events_and_none("endophthalmitis@43", 1, 20)
    # Logged when the window of every one had passed.
    followed = {"follow_up_days": "60", "logged_on": "2024-03-01"}
    yield from outcome_rows("event_after_window", late, **followed)
    last_day = events_and_none("endophthalmitis@42", 1, 20)
    yield from outcome_rows("event_on_last_day", last_day, **followed)


@pytest.fixture(scope="module")
def published(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One store with every series."""
    folder = tmp_path_factory.mktemp("published")
    cases = [row for series in SERIES for row in series_rows(series)] + list(extra_rows())
    roster = [{"trainee_ref": ref} | ROSTER for ref in dict.fromkeys(row["trainee_ref"] for row in cases)]
    store = new_store(folder)
    files = (write_csv(folder / "roster.csv", roster), write_csv(folder / "cases.csv", cases))
    run_well("intake", *files, "--store", store)
    return store


class Rate(NamedTuple):
    events: int
    known: int
    unknown: int
    rate: float
    low: float
    high: float


def rate_of(store: Path, trainee: str, complication: str = "capsule_rupture") -> Rate:
    rows = rows_of(
        store,
        "complication_rate",
        trainee_ref=trainee,
        complication_ref=complication,
        attribution="as_logged",
    )
    (row,) = rows
    counts = (int(row[name]) for name in ("events", "known_outcomes", "unknown_outcomes"))
    return Rate(*counts, *(float(row[name]) for name in ("rate", "rate_low", "rate_high")))


@pytest.mark.parametrize("series", SERIES, ids=[series["series"] for series in SERIES])
def test_a_published_series_comes_out_with_its_counts_and_its_interval(published: Path, series: Row) -> None:
    events, cases = int(series["events"]), int(series["cases"])
    shown = rate_of(published, series["series"])
    assert (shown.events, shown.known, shown.unknown) == (events, cases, 0)
    assert math.isclose(shown.rate, events / cases, rel_tol=1e-12)
    # statsmodels' Wilson interval is a second implementation of the method.
    low, high = proportion_confint(events, cases, alpha=0.05, method="wilson")
    assert (shown.low, shown.high) == pytest.approx((low, high), abs=1e-12)


PRINTED = [series for series in SERIES if series["low_percent"]]


def half_a_last_digit(percent: str) -> float:
    """How far a proportion may lie from a percentage printed with so many decimals."""
    decimals = len(percent.partition(".")[2])
    return 0.5 * 10.0 ** -(decimals + 2) * (1 + 1e-9)


@pytest.mark.parametrize("series", PRINTED, ids=[series["series"] for series in PRINTED])
def test_the_interval_agrees_with_the_printed_percentages_to_their_last_digit(
    published: Path, series: Row
) -> None:
    shown = rate_of(published, series["series"])
    # Whole percentages are the ends 0 and 100, which are exact.
    for limit, percent in ((shown.low, series["low_percent"]), (shown.high, series["high_percent"])):
        if percent in ("0", "100"):
            assert limit == float(percent) / 100
        else:
            assert abs(limit - float(percent) / 100) <= half_a_last_digit(percent)


def test_the_risk_bands_are_the_complete_table_and_each_export_makes_its_points() -> None:
    # Br J Ophthalmol 2004;88:1242-6, Table 2: 1000 operations, 22 ruptures.
    bands = [series for series in SERIES if series["risk_points"]]
    assert sum(int(band["cases"]) for band in bands) == 579 + 255 + 141 + 25 == 1000
    assert sum(int(band["events"]) for band in bands) == 9 + 4 + 7 + 2
    for band in bands:
        low, dash, high = band["risk_points"].partition("-")
        points = sum(POINTS.get(factor, 0) for factor in band["risk_factors"].split(";"))
        assert int(low) <= points <= (float(high or "inf") if dash else int(low)), band["series"]


def test_a_blank_outcome_leaves_the_denominator_and_is_shown_as_unknown(published: Path) -> None:
    with_blanks = rate_of(published, "with_blanks")
    assert (with_blanks.events, with_blanks.known, with_blanks.unknown) == (81, 263, 40)
    assert (with_blanks.low, with_blanks.high) == pytest.approx((0.2553, 0.3662), abs=5.1e-5)


def test_what_somebody_else_operated_stays_out_of_the_rate_as_logged(published: Path) -> None:
    assert rate_of(published, "with_assistant") == rate_of(published, "newcombe_81_263")


def test_an_event_after_its_window_is_no_event_and_one_on_its_last_day_is(published: Path) -> None:
    # Newcombe 1998, Table I, method 3: 0 of 20 gives 0 to 0.1611.
    # The window of 42 days: common practice, no source.
    late = rate_of(published, "event_after_window", "endophthalmitis")
    assert (late.events, late.known, late.low) == (0, 20, 0.0)
    assert late.high == pytest.approx(0.1611, abs=5.1e-5)
    on_last_day = rate_of(published, "event_on_last_day", "endophthalmitis")
    assert (on_last_day.events, on_last_day.known) == (1, 20)


# Volumes. Review Committee for Ophthalmology, "Case Log Information", Accreditation Council for Graduate
# Medical Education, March 2021; which numbers were read and which are from memory says the file. The split of
# a minimum over its procedures is made up.


def procedures_of(requirement: Row) -> dict[str, int]:
    """How many of each procedure make exactly the minimum."""
    pairs = (part.rsplit(" ", 1) for part in requirement["procedures"].split(";"))
    return {procedure: int(number) for procedure, number in pairs}


def exact_cases() -> list[tuple[str, str]]:
    """Procedure and role of the cases that make every minimum exactly, as assistant wherever that counts."""
    needed: dict[str, tuple[int, str]] = {}
    for requirement in MINIMUMS:
        role = requirement["roles"].split(";")[-1]
        needed |= {name: (number, role) for name, number in procedures_of(requirement).items()}
    return [(procedure, role) for procedure, (number, role) in needed.items() for _ in range(number)]


def volume_rows(trainee: str, cases: list[tuple[str, str]]) -> Iterator[Row]:
    for number, (procedure, role) in enumerate(cases, start=1):
        yield {
            "case_ref": f"{trainee}-{number:04d}",
            "trainee_ref": trainee,
            "operated_on": "2023-05-04",
            "procedure": procedure,
            "role": role,
        }


def one_less(requirement: Row) -> list[tuple[str, str]]:
    """The exact cases without one of this requirement's first procedure."""
    cases = exact_cases()
    procedure = next(iter(procedures_of(requirement)))
    cases.remove(next(case for case in cases if case[0] == procedure))
    return cases


@pytest.fixture(scope="module")
def volumes(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One trainee at every minimum; one for each requirement, lacking a case; one who only assisted."""
    folder = tmp_path_factory.mktemp("volumes")
    logs = {f"less_{requirement['requirement_ref']}": one_less(requirement) for requirement in MINIMUMS}
    logs["exact"] = exact_cases()
    logs["assisted"] = [(procedure, "assistant") for procedure, _ in exact_cases()]
    cases = [row for trainee, log in logs.items() for row in volume_rows(trainee, log)]
    store = new_store(folder)
    roster = write_csv(folder / "roster.csv", [{"trainee_ref": ref} | ROSTER for ref in [*logs, "nothing"]])
    run_well("intake", roster, write_csv(folder / "cases.csv", cases), "--store", store)
    return store


def volume_of(store: Path, trainee: str) -> dict[str, tuple[int, int, int, str]]:
    """Minimum, counted, remaining and met of each requirement."""
    names = ("minimum", "counted_cases", "remaining_cases")
    rows = rows_of(store, "case_volume", trainee_ref=trainee)
    return {row["requirement_ref"]: (*(int(row[name]) for name in names), row["met"]) for row in rows}  # type: ignore[misc] - three counts and a word


def test_exactly_the_published_minimum_is_met_everywhere_with_nothing_remaining(volumes: Path) -> None:
    expected = {row["requirement_ref"]: int(row["minimum"]) for row in MINIMUMS}
    assert volume_of(volumes, "exact") == {ref: (count, count, 0, "true") for ref, count in expected.items()}


@pytest.mark.parametrize("requirement", MINIMUMS, ids=[row["requirement_ref"] for row in MINIMUMS])
def test_one_case_less_than_the_published_minimum_is_not_met(volumes: Path, requirement: Row) -> None:
    dropped = next(iter(procedures_of(requirement)))
    for row in MINIMUMS:
        minimum, ref = int(row["minimum"]), row["requirement_ref"]
        found = volume_of(volumes, f"less_{requirement['requirement_ref']}")[ref]
        # An eyelid case counts toward its own minimum and the oculoplastic total: both then lack one.
        lacks_one = dropped in procedures_of(row)
        assert found == (
            (minimum, minimum - 1, 1, "false") if lacks_one else (minimum, minimum, 0, "true")
        ), ref


def test_who_only_assisted_meets_the_minimums_that_count_assistants_and_no_other(volumes: Path) -> None:
    for row in MINIMUMS:
        minimum, ref = int(row["minimum"]), row["requirement_ref"]
        counts = "assistant" in row["roles"]
        expected = (minimum, minimum, 0, "true") if counts else (minimum, 0, minimum, "false")
        assert volume_of(volumes, "assisted")[ref] == expected, ref


def test_a_trainee_with_no_case_has_every_requirement_with_zero_counted(volumes: Path) -> None:
    expected = {row["requirement_ref"]: int(row["minimum"]) for row in MINIMUMS}
    assert volume_of(volumes, "nothing") == {
        ref: (count, 0, count, "false") for ref, count in expected.items()
    }
