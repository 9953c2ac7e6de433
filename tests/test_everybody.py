"""The comparing queries: everybody who is asked for has a row, and who has nothing to draw has the reason."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from dashboard import queries
from dashboard.access import Viewer
from dashboard.queries import Snapshot
from pipelines.cli.cohort_text import cohort_text
from pipelines.store.store import Store
from tests.browser import demo_store
from tests.printed import wilson
from tests.stores import new_store, rows_of, run_well, set_programme, write_csv

EVERYBODY = Viewer("director", "harbour-eye").scope
PEOPLE = ("T01", "T02", "T03", "T04")
ROSTER = """\
trainee_ref,cohort,started,expected_completion
T01,2026-27,2025-07,2028-06
T02,2026-27,2025-07,2028-06
T03,2026-27,2026-07,2029-06
T04,2026-27,2026-07,2029-06
"""
# Training of T01 and T02 is in its second quarter in December 2025; T03 begins later; T04 has sent nothing.
CASES = """\
case_ref,trainee_ref,operated_on,procedure,role,supervision
C0001,T01,2025-07-14,phaco_iol,surgeon,spoken_guidance
C0002,T01,2025-10-14,phaco_iol,surgeon,spoken_guidance
C0003,T01,2025-10-15,phaco_iol,surgeon,supervisor_in_room
C0004,T01,2025-10-16,phaco_iol,surgeon,supervisor_in_room
C0005,T02,2025-07-15,phaco_iol,surgeon,supervisor_available
C0006,T02,2025-11-17,phaco_iol,surgeon,
C0007,T03,2026-07-14,phaco_iol,assistant,
"""
REVIEWS = """\
review_ref,case_ref,trainee_ref,reviewer_ref,setting,self_review,step,score
R1,C0001,T01,S01,live,no,incision,3
R2,C0002,T01,S01,live,no,incision,4
R2,C0002,T01,S01,live,no,flow,5
"""


@pytest.fixture(scope="module")
def snapshot(tmp_path_factory: pytest.TempPathFactory) -> Snapshot:
    folder = tmp_path_factory.mktemp("everybody")
    store = new_store(folder)
    set_programme(store, as_of="2026-09-15")
    files = {"roster": ROSTER, "cases": CASES, "reviews": REVIEWS}
    run_well(
        "intake", *(write_csv(folder / f"{name}.csv", text) for name, text in files.items()), "--store", store
    )
    return queries.live_snapshot(Store(Path(store)))


def told(frame: pd.DataFrame, *columns: str) -> list[tuple[object, ...]]:
    found = [vars(row) for row in queries.records(frame)]
    return [tuple(row[column] for column in columns) for row in found]


SHOWN = ("trainee_ref", "training_quarter", "band", "cases", "known_cases", "so_far", "why_none")


def test_the_latest_quarter_with_a_level_is_each_persons_own(snapshot: Snapshot) -> None:
    frame = queries.bands_of_quarter(snapshot, EVERYBODY, PEOPLE, "cataract", None)
    # The data of T01 end in October 2025, the first of three months; those of T02 in November.
    assert told(frame, *SHOWN) == [
        ("T01", 2, "with guidance", 1, 3, True, None),
        ("T01", 2, "supervisor present", 2, 3, True, None),
        ("T02", 1, "supervisor available", 1, 1, False, None),
        ("T03", None, None, None, None, False, "no case in an operating role"),
        ("T04", None, None, None, None, False, "no data yet"),
    ]


def test_of_one_quarter_everybody_without_a_level_has_the_reason(snapshot: Snapshot) -> None:
    frame = queries.bands_of_quarter(snapshot, EVERYBODY, PEOPLE, "all", 2)
    assert told(frame[frame["band"].isna()], "trainee_ref", "why_none") == [
        ("T02", "no level recorded"),
        ("T03", "no data of this quarter"),
        ("T04", "no data yet"),
    ]
    other = queries.bands_of_quarter(snapshot, EVERYBODY, PEOPLE, "glaucoma", 2)
    assert told(other, "trainee_ref", "why_none")[:2] == [
        ("T01", "no case in an operating role"),
        ("T02", "no case in an operating role"),
    ]


def test_the_ladder_has_every_band_of_a_surgeon_whatever_was_recorded(snapshot: Snapshot) -> None:
    bands = ["jointly", "with guidance", "supervisor present", "supervisor available"]
    assert queries.ladder(snapshot, EVERYBODY) == bands
    assert queries.ladder(snapshot, Viewer("trainee", "harbour-eye", "T03").scope) == bands


def test_everybody_has_each_step_that_anybody_was_reviewed_in(snapshot: Snapshot) -> None:
    frame = queries.technique_of_everybody(snapshot, EVERYBODY, PEOPLE, "cataract")
    scored = ("trainee_ref", "step", "phase", "training_quarter", "so_far", "scored", "score_mean")
    assert told(frame, *scored) == [
        ("T01", "Incision", "opening", 2, True, 1, 4.0),
        ("T01", "Flow", "throughout", 2, True, 1, 5.0),
        *[
            (trainee, step, phase, None, False, 0, None)
            for trainee in ("T02", "T03", "T04")
            for step, phase in (("Incision", "opening"), ("Flow", "throughout"))
        ],
    ]
    assert queries.technique_of_everybody(snapshot, EVERYBODY, ("T02", "T03"), "cataract").empty


def test_in_the_demos_text_everybody_has_their_rate_and_the_end_of_their_log() -> None:
    lines = cohort_text(Store(demo_store())).splitlines()
    rates = rows_of(
        demo_store(), "complication_rate", complication_ref="capsule_rupture", attribution="as_started"
    )
    (head,) = [number for number, line in enumerate(lines) if "all operations they began" in line]
    said = {line.split()[1]: line for line in lines[head + 1 :]}
    assert len(said) == 12
    compared = [row for row in rates if row["trainee_ref"] in said and int(row["known_outcomes"])]
    assert len(compared) > 5
    for row in compared:
        low, high = wilson(int(row["events"]), int(row["known_outcomes"]))
        words = f"{row['events']} in {row['known_outcomes']} case"
        assert words in said[row["trainee_ref"]]
        assert f"{low:.1%} to {high:.1%}" in said[row["trainee_ref"]]
    # As of mid November; the log of T27 ends in July: August, September and October are missing.
    late = [line for line in lines if "not entered" in line]
    assert len(late) == 1 and "T27" in late[0] and "log ends 2026-07, 3 months not entered" in late[0]


def test_the_text_of_the_cohort_calls_no_rate_self_reported_that_rests_on_what_others_say() -> None:
    (said,) = (line for line in cohort_text(Store(demo_store())).splitlines() if "self-reported" in line)
    rates = rows_of(
        demo_store(), "complication_rate", complication_ref="capsule_rupture", attribution="as_started"
    )
    others = {
        row["trainee_ref"]
        for row in rates
        if int(row["known_outcomes"]) and 2 * int(row["known_from_others"]) >= int(row["known_outcomes"])
    }
    named = said.partition("self-reported")[2].partition(":")[0]
    people = {"T21", "T22", "T23", "T24", "T25", "T26", "T27", "T28", "T29", "T30", "T31", "T32"}
    assert {ref for ref in people if ref in named} == others & people != set()
