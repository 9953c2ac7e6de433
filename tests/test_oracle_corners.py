"""The hard corners of the published views, drawn by hand.

Source of the expected values: the contract's text, worked out by hand beside each table; the plain loops of
tests/oracle.py must agree with both.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cohorts import Cohort
from tests.judged import Empty, Programmes, Taken, empty_programmes
from tests.oracle import Export, Row
from tests.stores import new_store, shipped_specialty, shown, write_specialty


@pytest.fixture(scope="module")
def programmes(tmp_path_factory: pytest.TempPathFactory) -> Programmes:
    return empty_programmes(tmp_path_factory.mktemp("programmes"))


@pytest.fixture
def taken(programmes: Programmes, tmp_path: Path) -> Taken:
    return Taken(tmp_path, programmes["shipped"])


def trainee(ref: str = "T01", **cells: str) -> Row:
    return {
        "trainee_ref": ref,
        "cohort": "2025",
        "started": "2022-07",
        "expected_completion": "2025-06",
    } | cells


def case(number: int, day: str, **cells: str) -> Row:
    row = {"case_ref": f"HE-{number:04d}", "trainee_ref": "T01", "operated_on": day, "procedure": "phaco_iol"}
    return row | {"role": "surgeon"} | cells


def answer_of(rows: list[Row], **key: str) -> Row:
    """The one row with this key."""
    found = [row for row in rows if all(row[name] == value for name, value in key.items())]
    assert len(found) == 1, f"{len(found)} rows with {key}"
    return found[0]


def rates(taken: Taken, complication: str, attribution: str) -> str:
    """events / known / unknown / eligible / not yet due / unclear / early / unfollowed, as published."""
    row = answer_of(
        shown(taken.store, "complication_rate")[1], complication_ref=complication, attribution=attribution
    )
    names = (
        "events",
        "known_outcomes",
        "unknown_outcomes",
        "eligible_cases",
        "not_yet_due",
        "events_unclear",
        "early_events",
        "events_unfollowed",
    )
    return " ".join(row[name] for name in names)


def test_a_window_that_ends_with_the_last_day_of_the_data_is_due_and_one_day_later_is_not(
    taken: Taken,
) -> None:
    # 30 November 2022 + 90 days = 28 February 2023 = the last day of the data; 31 December + 90 = 31 March.
    # 31 January + 7 = 7 February, due; any day of February + 7 ends in March, not due.
    cases = [
        case(1, "2022-11-01", complications="none"),
        case(2, "2022-12-01", complications="none"),
        case(3, "2023-01-02", complications="wound_leak@7", follow_up_days="7"),
        case(4, "2023-01-02", complications="wound_leak@8", follow_up_days="8"),
        case(5, "2023-02-03", complications="wound_leak@2", follow_up_days="6"),
        case(6, "2023-02-03", complications="wound_leak@2", follow_up_days="7"),
        case(7, "2023-02-28", complications="wound_leak", logged_on="2023-02-28"),
        case(8, "2023-01-02", complications="wound_leak@5", follow_up_days="5"),
        case(9, "2023-01-02", complications="wound_leak@5", follow_up_days="6"),
    ]
    taken.take(Cohort([trainee()], [], cases))
    taken.check()
    # Retinal detachment, 90 days: only case 1 is due, and nobody saw its 90 days: unknown.
    assert rates(taken, "retinal_detachment", "as_logged") == "0 0 1 9 8 0 0 0"
    # Wound leak, 7 days: known 3 (hit), 4 (followed, after its window), 8 (hit, which ended the follow-up); 1, 2 and 9
    # unknown, 9 with an event; 5, 6 and 7 not yet due, though 6 was followed, all of them early events.
    assert rates(taken, "wound_leak", "as_logged") == "2 3 3 9 3 0 3 1"


def test_a_rate_is_blank_while_fewer_than_half_of_the_due_cases_are_known(taken: Taken) -> None:
    known = {"complications": "none", "follow_up_days": "42"}
    cases = [
        *(case(number, "2023-01-02", **known) for number in range(1, 4)),
        *(case(number, "2023-01-02") for number in range(4, 7)),
        *(case(number, "2023-01-02", trainee_ref="T02", **known) for number in range(11, 14)),
        *(case(number, "2023-01-02", trainee_ref="T02") for number in range(14, 18)),
        case(7, "2023-06-30", role="observer"),
        case(18, "2023-06-30", role="observer", trainee_ref="T02"),
    ]
    taken.take(Cohort([trainee(), trainee("T02")], [], cases))
    taken.check()
    rows = shown(
        taken.store, "complication_rate", complication_ref="endophthalmitis", attribution="as_logged"
    )[1]
    half, fewer = rows
    assert (half["known_outcomes"], half["unknown_outcomes"], float(half["rate"])) == ("3", "3", 0.0)
    assert (fewer["known_outcomes"], fewer["unknown_outcomes"]) == ("3", "4")
    assert (fewer["rate"], fewer["rate_low"], fewer["rate_high"]) == ("", "", "")


def test_takeovers_stay_in_the_denominator_and_events_go_to_the_hands_that_had_them(taken: Taken) -> None:
    rupture = {"complications": "capsule_rupture"}
    cases = [
        case(1, "2023-01-02", event_hands="trainee", **rupture),
        case(2, "2023-01-02", event_hands="supervisor", takeover="yes", role="assistant", **rupture),
        case(3, "2023-01-02", event_hands="unclear", takeover="yes", role="observer", **rupture),
        case(4, "2023-01-02", takeover="yes", **rupture),
        case(5, "2023-01-02", event_hands="trainee", role="assistant", takeover="no", **rupture),
        case(6, "2023-01-02", complications="none"),
        case(7, "2023-01-02"),
        case(8, "2023-01-02", takeover="yes", role="teaching_assistant", **rupture),
        case(9, "2023-01-02", attributes="simulated", **rupture),
    ]
    taken.take(Cohort([trainee()], [], cases))
    taken.check()
    assert rates(taken, "capsule_rupture", "as_logged") == "2 3 1 4 0 0 0 0"
    assert rates(taken, "capsule_rupture", "as_started") == "4 5 1 6 0 0 0 0"
    assert rates(taken, "capsule_rupture", "in_trainee_hands") == "1 5 1 6 0 2 0 0"


def test_cases_elsewhere_count_toward_minimums_and_never_toward_rates_or_supervision(taken: Taken) -> None:
    away = {"trainee_ref": "T01", "from": "2023-01", "to": "2023-02", "kind": "elsewhere"}
    cases = [
        case(1, "2022-05-31", complications="capsule_rupture", supervision="supervisor_available"),
        case(2, "2022-07-01", complications="none", supervision="spoken_guidance"),
        case(3, "2022-10-31", complications="none"),
        case(4, "2023-01-01", complications="capsule_rupture"),
        case(5, "2023-02-28", complications="capsule_rupture"),
        case(6, "2023-03-01", complications="none"),
    ]
    taken.take(Cohort([trainee(credit_from="2022-05")], [away], cases))
    taken.check()
    volume = answer_of(shown(taken.store, "case_volume")[1], requirement_ref="cataract")
    assert volume["counted_cases"] == "6"
    assert rates(taken, "capsule_rupture", "as_logged") == "0 3 0 3 0 0 0 0"
    mix = shown(taken.store, "supervision_mix")[1]
    # Training counts from credit_from: May 2022 is month 1, October 2022 ends quarter 2, March 2023 is month 11.
    assert [(row["training_quarter"], row["level_ref"], row["cases"], row["known_cases"]) for row in mix] == [
        ("1", "spoken_guidance", "1", "1"),
        ("2", "", "1", "0"),
        ("4", "", "1", "0"),
    ]


def test_a_later_roster_row_and_training_row_replace_the_earlier_ones_of_their_key(taken: Taken) -> None:
    away = {"trainee_ref": "T01", "from": "2023-03", "to": "2023-05", "kind": "elsewhere"}
    months = ("2022-10", "2023-01", "2023-04")
    cases = [
        case(number, f"{month}-15", complications="none") for number, month in enumerate(months, start=1)
    ]
    taken.take(Cohort([trainee()], [away], cases))
    assert rates(taken, "capsule_rupture", "as_logged") == "0 2 0 2 0 0 0 0"
    # The case of October 2022 now lies before the start; the time elsewhere now ends before April 2023.
    taken.take_people([trainee(started="2023-01", cohort="2027")], [away | {"to": "2023-03"}])
    taken.check()
    assert rates(taken, "capsule_rupture", "as_logged") == "0 2 0 2 0 0 0 0"
    volume = answer_of(shown(taken.store, "case_volume")[1], requirement_ref="cataract")
    assert (volume["cohort"], volume["counted_cases"]) == ("2026-27", "2")
    reasons = [row["reason"] for row in shown(taken.store, "case_credit")[1]]
    assert reasons == ["before_credit_from", "credited", "credited"]
    quarters = [row["training_quarter"] for row in shown(taken.store, "supervision_mix")[1]]
    assert quarters == ["1", "2"]


def test_of_two_stages_in_force_the_later_holds_and_an_open_one_ends_when_the_next_begins(
    programmes: Programmes, tmp_path: Path
) -> None:
    def stage(first: str, last: str, name: str) -> Row:
        return {"trainee_ref": "T01", "from": first, "to": last, "kind": "stage", "value": name}

    training = [
        stage("2022-07", "", "second_year"),
        stage("2022-10", "2023-06", "first_year"),
        stage("2022-12", "2023-01", "third_year"),
    ]
    months = ("2022-09", "2022-10", "2022-12", "2023-01", "2023-02", "2023-07")
    cases = [case(number, f"{month}-15") for number, month in enumerate(months, start=1)]
    taken = Taken(tmp_path, programmes["demanding"])
    taken.take(Cohort([trainee()], training, cases))
    taken.check()
    rows = shown(taken.store, "case_credit")[1]
    reasons = [row["reason"] for row in rows if row["requirement_ref"] == "cataract"]
    # second_year and third_year count, first_year and no stage do not.
    assert reasons == ["credited", "stage", "credited", "credited", "stage", "stage"]


def test_a_blank_side_is_a_side_of_its_own_and_one_event_within_its_window_is_enough(taken: Taken) -> None:
    twice = {"complications": "endophthalmitis@50;endophthalmitis@5", "follow_up_days": "60"}
    cases = [
        case(1, "2023-01-02"),
        case(1, "2023-01-02", side="left"),
        case(1, "2023-01-02", side="both", **twice),
        case(2, "2023-03-20", role="observer"),
    ]
    taken.take(Cohort([trainee()], [], cases))
    taken.check()
    assert [row["side"] for row in shown(taken.store, "case_credit")[1]] == ["", "both", "left", ""]
    # 31 January + 42 days = 14 March: all three are due.
    assert rates(taken, "endophthalmitis", "as_logged") == "1 1 2 3 0 0 0 0"


def test_one_operation_counts_once_where_the_rule_counts_operations(tmp_path: Path) -> None:
    # Which of its rows stands for an operation the contract leaves open; that one does is not.
    specialty = shipped_specialty()
    specialty["requirements"]["cataract"]["unit"] = "operation"
    file = write_specialty(tmp_path / "operations.yaml", specialty)
    taken = Taken(tmp_path, Empty(new_store(tmp_path, specialty=file, name="empty"), specialty))
    cases = [
        case(1, "2023-01-02", side="left"),
        case(1, "2023-01-02", side="right"),
        case(2, "2023-01-02", side="left", role="observer"),
        case(2, "2023-01-02", side="right"),
    ]
    taken.take(Cohort([trainee()], [], cases))
    reasons = [row["reason"] for row in shown(taken.store, "case_credit")[1]]
    assert sorted(reasons[:2]) == ["credited", "duplicate_in_operation"]
    assert reasons[2:] == ["role", "credited"]
    volume = answer_of(shown(taken.store, "case_volume")[1], requirement_ref="cataract")
    assert volume["counted_cases"] == "2"


def test_data_run_through_the_earliest_month_over_the_sources_unless_a_month_is_given(taken: Taken) -> None:
    taken.take(
        Cohort(
            [trainee(), trainee("T02")],
            [],
            [case(1, "2023-01-02", logged_on="2023-05-03"), case(2, "2023-04-02")],
        )
    )
    taken.take_cases(Export([case(3, "2023-03-02")], source="theatre"))
    taken.check()
    volumes = shown(taken.store, "case_volume", requirement_ref="cataract")[1]
    assert [row["data_through"] for row in volumes] == ["2023-03", ""]
    taken.take_cases(Export([case(3, "2023-03-02")], source="theatre", through="2023-12"))
    taken.check()
    volumes = shown(taken.store, "case_volume", requirement_ref="cataract")[1]
    assert [row["data_through"] for row in volumes] == ["2023-05", ""]
