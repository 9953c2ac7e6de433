"""The made-up reviews and levels belong to the made-up cases and people, and rise with experience."""

from __future__ import annotations

import csv
from collections import defaultdict
from pathlib import Path

import pytest

from seed_data import ratings
from seed_data.generate import generate

Row = dict[str, str]
COMPLETED = [f"T{number:02d}" for number in range(1, 21)]
STEPS = [
    "draping",
    "incision",
    "capsulorhexis",
    "hydrodissection",
    "nucleus_disassembly",
    "segment_removal",
    "cortex_removal",
    "lens_insertion",
    "viscoelastic_removal",
    "wound_closure",
    "eye_position",
    "tissue_handling",
    "flow",
]


@pytest.fixture(scope="module")
def exports(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("exports")
    generate(out, ratings=True)
    return out


def read(path: Path) -> list[Row]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_reviews_are_of_own_cases_and_hold_every_step_once(exports: Path) -> None:
    cases = [row for path in exports.glob("T*-cases.csv") for row in read(path)]
    own = {(row["trainee_ref"], row["case_ref"]) for row in cases}
    reviews: dict[str, list[Row]] = defaultdict(list)
    for row in read(exports / "reviews.csv"):
        assert (row["trainee_ref"], row["case_ref"]) in own
        reviews[row["review_ref"]].append(row)
    assert all([row["step"] for row in rows] == STEPS for rows in reviews.values())
    assert len(reviews) > 50


def test_scores_rise_with_experience_and_people_score_themselves_higher(exports: Path) -> None:
    rows = [row for row in read(exports / "reviews.csv") if row["score"]]
    assert {row["score"] for row in rows} == {"1", "2", "3", "4", "5"}

    def mean(chosen: list[Row]) -> float:
        return sum(int(row["score"]) for row in chosen) / len(chosen)

    by_others = [row for row in rows if row["self_review"] == "no"]
    assert mean([row for row in rows if row["self_review"] == "yes"]) > mean(by_others) + 0.3
    seniors = [row for row in by_others if row["trainee_ref"] in COMPLETED]
    juniors = [row for row in by_others if row["trainee_ref"] in ("T25", "T26", "T28")]
    assert mean(seniors) > mean(juniors) + 0.5


def test_steps_of_a_supervisor_have_no_score_and_manoeuvres_have_counts(exports: Path) -> None:
    rows = read(exports / "reviews.csv")
    done = [row for row in rows if row["done_by_supervisor"] in ("planned", "rescue")]
    assert {row["done_by_supervisor"] for row in done} == {"planned", "rescue"}
    assert {row["score"] + row["attempts"] for row in done} == {""}
    tried = [row for row in rows if row["attempts"]]
    assert tried
    assert {row["step"] for row in tried} == {"nucleus_disassembly"}
    assert all(int(row["successes"]) <= int(row["attempts"]) for row in tried)


def seconds(clock: str) -> int:
    parts = [int(part) for part in clock.split(":")]
    return sum(part * 60**place for place, part in enumerate(reversed(parts)))


def test_recorded_steps_follow_each_other_on_the_clock_of_the_recording(exports: Path) -> None:
    ends: dict[str, int] = {}
    speeds = set()
    for row in read(exports / "reviews.csv"):
        speeds.add((row["setting"], row["recording_speed"]))
        assert bool(row["started_at"]) == (row["setting"] == "recorded" and row["step"] in STEPS[:10])
        if row["started_at"]:
            assert ends.get(row["review_ref"], 0) <= seconds(row["started_at"]) < seconds(row["ended_at"])
            ends[row["review_ref"]] = seconds(row["ended_at"])
    assert speeds == {("live", ""), ("recorded", "1"), ("recorded", "2")}


def test_comments_are_few_and_bland(exports: Path) -> None:
    rows = read(exports / "reviews.csv")
    comments = [row["comment"] for row in rows if row["comment"]]
    assert 0 < len(comments) < len(rows) / 20
    assert all(text.replace(" ", "").isalpha() and text.islower() for text in comments)


def test_levels_are_given_at_every_meeting_so_far_to_everyone_in_training_here(exports: Path) -> None:
    rows = read(exports / "milestones.csv")
    assert list(dict.fromkeys(row["period"] for row in rows)) == [
        "2024-25 mid",
        "2024-25 end",
        "2025-26 mid",
        "2025-26 end",
    ]
    assert {row["milestone"] for row in rows} == set(ratings.MILESTONES)
    assert {row["level"] for row in rows} == {*"ABCDE", "not assessable"}
    of_the_transfer = {row["period"] for row in rows if row["trainee_ref"] == "T26"}
    assert of_the_transfer == {"2025-26 end"}
    on_leave = {row["level"] for row in rows if (row["trainee_ref"], row["period"]) == ("T21", "2024-25 end")}
    assert on_leave == {"not assessable"}
