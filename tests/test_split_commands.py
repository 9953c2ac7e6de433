"""What else is in a command changes nobody: any split of the same files into commands publishes the same rows."""

from __future__ import annotations

import datetime
import itertools
import random
from collections.abc import Iterable
from pathlib import Path

import pytest

from pipelines.build.build import KEYS
from pipelines.build.show import published_rows
from pipelines.files.reading import ExportFile
from pipelines.intake.take import IntakeRequest, take
from pipelines.store.store import Store
from tests.standing import copy_of
from tests.stores import new_store

ROSTER = """\
trainee_ref,cohort,started,expected_completion,credit_from
T01,2026-27,2024-07,2027-06,
T02,2026-27,2024-07,2027-06,2024-03
T03,2025-26,2023-07,2026-06,
T04,2026-27,someday,2027-06,
"""
# A bad row stands in every file; rows of one day and references used twice across trainees among them.
FILES = {
    "training.csv": """\
trainee_ref,from,to,kind,value
T01,2024-07,,stage,first_year
T02,2025-01,2025-03,leave,
T01,2025-13,,leave,
""",
    "T01-a.csv": """\
case_ref,trainee_ref,operated_on,procedure,role,side,complications,follow_up_days,logged_on
C0001,T01,2025-02-11,phaco_iol,surgeon,left,none,60,2025-02-12
C0002,T01,2025-02-11,phaco_iol,surgeon,right,capsule_rupture,60,2025-02-12
C0003,T01,2025-05-40,phaco_iol,surgeon,left,,,
C0004,T01,2026-04-07,phaco_iol,surgeon,left,none,10,2026-04-08
""",
    "T01-b.csv": """\
case_ref,trainee_ref,operated_on,procedure,role,side,complications,follow_up_days,logged_on
C0005,T01,2025-02-11,phaco_iol,assistant,left,none,60,2025-02-12
C0006,T01,2025-06-03,phaco_iol,chief,left,none,60,2025-06-04
""",
    "T02.csv": """\
case_ref,trainee_ref,operated_on,procedure,role,side,complications,follow_up_days,logged_on
C0001,T02,2025-03-04,phaco_iol,surgeon,left,none,60,2025-03-05
C0012,T02,2025-03-04,unheard_of,surgeon,left,none,60,2025-03-05
C0013,T02,2023-01-04,phaco_iol,surgeon,left,none,60,2025-03-05
""",
    "T03.csv": """\
case_ref,trainee_ref,operated_on,procedure,role,side,complications,follow_up_days,logged_on
C0021,T03,2025-01-04,phaco_iol,surgeon,left,wound_leak@3,60,2025-03-05
C0022,T03,2025-01-04,phaco_iol,surgeon,left,none,many,2025-03-05
C0012,T03,2025-01-04,phaco_iol,surgeon,left,none,60,2025-03-05
""",
    "reviews-1.csv": """\
review_ref,case_ref,trainee_ref,reviewer_ref,setting,step,score
V0001,C0001,T01,S06,recorded,draping,4
V0001,C0001,T01,S06,recorded,incision,9
""",
    "reviews-2.csv": """\
review_ref,case_ref,trainee_ref,reviewer_ref,setting,step,score
V0002,C0021,T03,S06,live,draping,3
V0003,C0021,T03,S06,live,polishing,3
""",
    "milestones-1.csv": """\
trainee_ref,period,milestone,level
T01,2025-26 mid,cataract_operating,B
T01,2025-26 mid,kindness,B
T99,2025-26 mid,cataract_operating,B
""",
    "milestones-2.csv": """\
trainee_ref,period,milestone,level
T02,2025-26 mid,cataract_operating,C
T02,lately mid,cataract_operating,C
""",
}
# The files of one export go together: cases of one trainee and source.
TOGETHER = [("training.csv",), ("T01-a.csv", "T01-b.csv"), *((name,) for name in [*FILES][3:])]
SAYS_WHAT_AN_INTAKE_DID = ("case_unknown", "roster_redates_cases")
DAY = datetime.date(2026, 11, 20)
Published = dict[str, list[tuple[object, ...]]]


def taken(store: Path, command: Iterable[str]) -> None:
    files = [ExportFile(name, FILES.get(name, ROSTER).encode()) for name in command]
    assert take(Store(store), IntakeRequest(files, DAY)).status == "stored", files


def published(store: Path) -> Published:
    # What became of the rows of each file is told of the command that brought it in.
    views = sorted(KEYS.keys() - {"reconciliation"})
    rows = {view: published_rows(Store(store), view)[1] for view in views}
    # Of findings and of the views that count them.
    return {
        view: [row for row in of_view if not set(SAYS_WHAT_AN_INTAKE_DID) & set(row)]
        for view, of_view in rows.items()
    }


@pytest.fixture(scope="module")
def empty(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return new_store(tmp_path_factory.mktemp("empty"))


@pytest.fixture(scope="module")
def at_once(empty: Path, tmp_path_factory: pytest.TempPathFactory) -> Published:
    store = copy_of(empty, tmp_path_factory.mktemp("at-once"))
    taken(store, ["roster.csv", *FILES])
    return published(store)


def test_the_files_reach_what_they_are_to_break(at_once: Published) -> None:
    rule = list(KEYS["finding"]).index("rule")
    rules = {row[rule] for row in at_once["finding"]}
    assert rules >= {
        "date_unreadable",
        "date_impossible",
        "code_unknown",
        "before_credit_from",
        "case_ref_reused",
    }
    assert rules >= {"number_out_of_range", "trainee_unknown", "procedure_unmapped", "number_unreadable"}


@pytest.mark.parametrize("seed", range(4))
def test_any_split_into_commands_and_any_order_publishes_the_same_rows(
    seed: int, empty: Path, at_once: Published, tmp_path: Path
) -> None:
    chance = random.Random(seed)
    groups = chance.sample(TOGETHER, len(TOGETHER))
    cuts = sorted(chance.sample(range(1, len(groups)), min(seed, 3)))
    commands = [groups[start:end] for start, end in itertools.pairwise([0, *cuts, len(groups)])]
    store = copy_of(empty, tmp_path)
    for number, command in enumerate(commands):
        files = [name for group in command for name in group] + (["roster.csv"] if number == 0 else [])
        taken(store, chance.sample(files, len(files)))
    for view, rows in published(store).items():
        assert rows == at_once[view], view


def test_bad_rows_of_another_kind_hide_no_good_case(empty: Path, tmp_path: Path) -> None:
    alone, beside = copy_of(empty, tmp_path, "alone"), copy_of(empty, tmp_path, "beside")
    taken(alone, ["roster.csv", "T01-a.csv"])
    taken(beside, ["roster.csv", "T01-a.csv", "milestones-1.csv", "reviews-1.csv"])
    # Logged last in April 2026, whatever else the command held.
    through = [row[-1] for row in published_rows(Store(beside), "case_volume", ["trainee_ref=T01"])[1]]
    assert set(through) == {"2026-04"}
    assert published(alone)["case_credit"] == published(beside)["case_credit"]
