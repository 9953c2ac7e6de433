"""expected_rate: what the others had at the same case numbers."""

from __future__ import annotations

import pytest

from tests.drawn import Db, drawn, run, table
from tests.example_standing import OTHERS, Log, programme

EXPECTED = "expected, expected_from_trainees, expected_known, why_none"


def expected(db: Db, trainee: str = "T01", attribution: str = "as_logged", columns: str = EXPECTED) -> str:
    run(db, ("expected_rate",))
    return table(db, "expected_rate", columns, f"trainee_ref = '{trainee}' and attribution = '{attribution}'")


def logged(log: Log, ref: str, cases: int, events: set[int]) -> None:
    """So many known cases, in order; the numbers in `events` (1 = first) are ruptures."""
    refs = log.add(ref, "2026-08", cases, complications="none")
    ruptures = ", ".join(f"'{refs[number - 1]}'" for number in sorted(events) if number <= cases)
    if ruptures:
        log.db.execute(
            f"update input.cases set complications = 'capsule_rupture' where case_ref in ({ruptures})"
        )


def test_the_expected_rate_weighs_the_others_bands_with_the_own_cases() -> None:
    # Others, cases 1-50: 5 x 50 known, 5 x 2 events = 4 %; cases 51-100: 5 x 10 known, 5 events = 10 %.
    # The trainee has 50 and 20 cases: (50 x 0.04 + 20 x 0.10) / 70; the own events count for nothing.
    db, log = programme()
    logged(log, "T01", 70, {1, 2, 3, 60})
    for ref in OTHERS:
        logged(log, ref, 60, {1, 50, 51})
    assert expected(db) == drawn(f"{(50 * 0.04 + 20 * 0.10) / 70:.9g} | 5 | 300 |")


@pytest.mark.parametrize(
    ("cases", "rate"),
    [
        (50, 0.02),
        (51, (50 * 0.02 + 1 * 0.04) / 51),
        (100, (50 * 0.02 + 50 * 0.04) / 100),
        (101, (50 * 0.02 + 50 * 0.04 + 1 * 0.05) / 101),
        (200, (50 * 0.02 + 50 * 0.04 + 100 * 0.05) / 200),
        (201, (50 * 0.02 + 50 * 0.04 + 100 * 0.05 + 1 * 0.5) / 201),
    ],
)
def test_the_bands_end_with_case_50_100_and_200(cases: int, rate: float) -> None:
    # Others: 1 of 50, 2 of 50, 5 of 100, 5 of 10 in the four bands.
    db, log = programme()
    logged(log, "T01", cases, set())
    for ref in OTHERS:
        logged(log, ref, 210, {50, 51, 100, 101, 199, 150, 151, 200, *range(201, 206)})
    assert expected(db, columns="expected") == f"{rate:.9g}"
    started = table(db, "expected_rate", "expected", "trainee_ref = 'T01' and attribution = 'as_started'")
    assert started == f"{rate:.9g}"


def test_an_unknown_case_has_no_number() -> None:
    # 5 unknown cases first: the event of each other trainee is still the known case 50.
    db, log = programme()
    logged(log, "T01", 50, set())
    for ref in OTHERS:
        log.add(ref, "2026-07", 5)
        logged(log, ref, 51, {50})
    assert expected(db, columns="expected, expected_known") == "0.02 | 250"


def test_cases_are_numbered_for_each_attribution_among_its_own() -> None:
    # 50 taken over as assistant, then 50 as surgeon: as logged these are cases 1-50, as started 51-100.
    db, log = programme()
    for ref in ("T01", *OTHERS):
        log.add(ref, "2026-07", 50, role="assistant", takeover=True, complications="none")
        logged(log, ref, 50, {1} if ref != "T01" else set())
    db.execute("update input.cases set event_hands = 'supervisor' where complications <> 'none'")
    run(db, ("expected_rate",))
    assert table(
        db, "expected_rate", "attribution, expected, expected_known", "trainee_ref = 'T01'"
    ) == drawn("""
        as_logged        | 0.02 | 250
        as_started       | 0.01 | 500
        in_trainee_hands | 0    | 500
    """)


def test_unclear_hands_of_others_leave_nothing_to_expect_in_the_trainees_hands() -> None:
    # Taken as not the trainee's they would make 0 of what may be 5 in 250.
    db, log = programme()
    logged(log, "T01", 50, {1})
    for ref in OTHERS:
        logged(log, ref, 50, {1})
    assert expected(db, attribution="in_trainee_hands") == drawn(
        "| 5 | 250 | events of others of which it is not clear who was operating: 5"
    )
    assert (
        table(db, "expected_rate", "expected", "trainee_ref = 'T01' and attribution = 'as_started'") == "0.02"
    )


def test_after_the_operation_nothing_is_expected_in_the_trainees_hands() -> None:
    db, log = programme(infection={"window_days": 7})
    for ref in ("T01", *OTHERS):
        log.add(ref, "2026-08", 40, complications="none", follow_up_days=7)
    assert expected(db, attribution="in_trainee_hands") == drawn(
        "| 0 | 0 | nobody knows in whose hands an event after the operation happened"
    )
    assert table(db, "expected_rate", "expected", "trainee_ref = 'T01' and attribution = 'as_started'") == "0"


TOO_LITTLE = "too few known outcomes of others among their cases {}: at least 30 of at least 5 other trainees are asked"


@pytest.mark.parametrize(
    ("others", "each", "expected_row"),
    [
        (5, 6, "0 | 5 | 30 |"),
        (4, 10, f"| 4 | 40 | {TOO_LITTLE.format('1 to 50')}"),
        (6, 5, "0 | 6 | 30 |"),
    ],
)
def test_a_band_needs_30_known_outcomes_of_five_others(others: int, each: int, expected_row: str) -> None:
    db, log = programme(others=others)
    logged(log, "T01", 10, {1})
    for place in range(others):
        logged(log, f"T{11 + place}", each, set())
    assert expected(db) == drawn(expected_row)


def test_29_known_outcomes_are_too_few_and_so_is_one_band_of_several() -> None:
    db, log = programme()
    logged(log, "T01", 101, set())
    for ref in OTHERS:
        logged(log, ref, 106, set())
    log.db.execute(
        "delete from input.cases where trainee_ref = 'T15' and case_ref = (select max(case_ref) from input.cases)"
    )
    assert expected(db) == drawn(f"| 5 | 529 | {TOO_LITTLE.format('101 to 200')}")


def test_who_has_nothing_known_has_nothing_expected() -> None:
    db, log = programme()
    log.add("T01", "2026-08", 3)
    assert expected(db) == drawn("| 0 | 0 | the trainee has no known outcome")
