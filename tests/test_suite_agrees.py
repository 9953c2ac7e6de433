"""Every rule finds what breaks it, and the Great Expectations suite has the last word over the accepted rows.

One file a kind breaks every rule of the kind at least once; how often is drawn beside its rows.
"""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

import duckdb
import pytest

from pipelines.contract.errors import UserError
from pipelines.contract.formats import KINDS, TRAINEES, Kind
from pipelines.contract.rules import CHECKS, LEFT_OUT, Check
from pipelines.files.reading import ExportFile
from pipelines.intake import staging
from pipelines.intake.judging import Setting, judge
from pipelines.intake.take import IntakeRequest, take
from pipelines.store.store import Store
from tests.standing import content, copy_of
from tests.stores import new_store, run_well, write_csv

ROSTER = """\
trainee_ref,cohort,started,expected_completion
T01,2026-27,2024-07,2027-06
T02,2025-26,2023-07,2026-06
T03,2024-25,2022-07,2025-06
"""
LIVE = """\
case_ref,trainee_ref,operated_on,procedure,role,side
B0001,T01,2025-02-11,phaco_iol,surgeon,left
B0002,T01,2025-03-04,phaco_iol,surgeon,left
B0009,T02,2025-03-04,phaco_iol,surgeon,left
"""
ELSEWHERE = """\
case_ref,trainee_ref,operated_on,procedure,role,side
B0003,T01,2025-04-08,phaco_iol,surgeon,left
"""


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("agreeing")
    store = new_store(folder)
    roster, live = write_csv(folder / "roster.csv", ROSTER), write_csv(folder / "cases.csv", LIVE)
    run_well("intake", roster, live, "--store", store)
    elsewhere = write_csv(folder / "cases-hospital.csv", ELSEWHERE)
    run_well("intake", elsewhere, "--source", "hospital", "--store", store)
    return store


class Broken(NamedTuple):
    """A file of one kind: its columns, and after each row the rules that it breaks."""

    columns: str
    rows: tuple[tuple[str, str], ...]

    def file(self, name: str) -> ExportFile:
        lines = (self.columns, *(row for row, _ in self.rows))
        return ExportFile(name, "".join(f"{line}\n" for line in lines).encode())

    @property
    def counts(self) -> dict[str, int]:
        rules = [rule for _, broken in self.rows for rule in broken.split()]
        return {rule: rules.count(rule) for rule in rules}


BROKEN = {
    "trainees": Broken(
        "trainee_ref,cohort,started,expected_completion,stage,programme_ref,credit_from",
        (
            ("T10,2026-27,2024-07,2027-06,,,", ""),
            ("T11,,2024-07,2027-06,,,", "required_blank"),
            ("T12,2026-27,2024-07,2027-06,,P!1,", "ref_malformed"),
            ("T10,2026-27,2024-07,2027-06,,,", "key_repeated"),
            ("T13,next,2024-07,2027-06,,,", "date_unreadable"),
            ("T14,2026-27,03/04/2024,2027-06,,,", "date_ambiguous"),
            ("T15,2026-27,2024-13,2027-06,,,", "date_impossible"),
            ("T16,2026-27,2024-07,2023-06,,,", "date_impossible"),
            ("T17,2026-27,2024-07,2027-06,tenth_year,,", "code_unknown"),
            ("T18,2026-27,2024-07,2027-06,,,,x", "too_many_cells"),
            ("T01,2026-27,2024-08,2027-06,,,", "roster_redates_cases"),
            ("t01,2026-27,2024-07,2027-06,,,", "key_repeated"),
            ("T02,2025-26,2023-07,2026-06,,,2023-01", "roster_redates_cases"),
            ("T03,2024-25,2022-08,2025-06,,,", ""),  # no case of T03 is live
        ),
    ),
    "training": Broken(
        "trainee_ref,from,to,kind,value",
        (
            ("T01,2024-07,,stage,first_year", ""),
            ("T01,2025-07,,stage,", "required_blank"),
            ("T01,,,leave,", "required_blank"),
            ("T 1!,2024-07,,leave,", "ref_malformed"),
            ("T01,2024-07,,stage,second_year", "key_repeated"),
            ("T99,2024-07,,leave,", "trainee_unknown"),
            ("T01,soon,,leave,", "date_unreadable"),
            ("T01,03/04/2025,,leave,", "date_ambiguous"),
            ("T01,2025-00,,leave,", "date_impossible"),
            ("T01,2025-06,2025-05,leave,", "date_impossible"),
            ("T01,2025-06,,holiday,", "code_unknown"),
            ("T01,2025-08,,stage,tenth_year", "code_unknown"),
            ("T01,2025-08,,part_time,half", "number_unreadable"),
            ("T01,2025-09,,part_time,1.5", "number_out_of_range"),
            ("T01,2025-10,,rotation,night list", "service_unlisted"),
            ("T01,2025-09,,leave,,x", "too_many_cells"),
        ),
    ),
    "cases": Broken(
        "case_ref,trainee_ref,operated_on,procedure,role,side,supervision,principal,duration_min,follow_up_days"
        ",complications,logged_on",
        (
            ("B0001,T01,2025-02-11,phaco_iol,surgeon,left,,,,,none,", ""),
            ("C0001,T01,2025-05-06,phaco_iol,,left,,,,,,", "required_blank"),
            ("C-1,T01,2025-05-06,phaco_iol,surgeon,left,,,,,,", "case_ref_malformed"),
            # What is no reference is not looked up in the roster as well.
            ("C0003,T!1,2025-05-06,phaco_iol,surgeon,left,,,,,,", "ref_malformed"),
            ("B0001,T01,2025-02-11,phaco_iol,assistant,left,,,,,,", "key_repeated"),
            ("C0004,T99,2025-05-06,phaco_iol,surgeon,left,,,,,,", "trainee_unknown"),
            ("C0005,T01,some day,phaco_iol,surgeon,left,,,,,,", "date_unreadable"),
            ("C0006,T01,03/04/2025,phaco_iol,surgeon,left,,,,,,", "date_ambiguous"),
            ("C0007,T01,2025-02-30,phaco_iol,surgeon,left,,,,,,", "date_impossible"),
            ("C0008,T01,2999-01-01,phaco_iol,surgeon,left,,,,,,", "date_in_future"),
            ("C0009,T01,2024-06-30,phaco_iol,surgeon,left,,,,,,", "before_credit_from"),
            ("C0010,T01,2025-05-06,phaco_iol,chief,left,,,,,,", "code_unknown"),
            ("C0011,T01,2025-05-06,phaco_iol,surgeon,left,,,,,none;wound_leak@2,", "none_beside_code"),
            ("C0012,T01,2025-05-06,phaco_iol,surgeon,left,,,long,,,", "number_unreadable"),
            ("C0013,T01,2025-05-06,phaco_iol,surgeon,left,,,1441,,,", "number_out_of_range"),
            ("C0014,T01,2025-05-06,phaco_iol,surgeon,left,,perhaps,,,,", "yes_no_unreadable"),
            ("C0015,T01,2025-05-06,phaco_iol,surgeon,left,,,,,,,x", "too_many_cells"),
            ("C0016,T01,2025-05-06,phaco,surgeon,left,,,,,,", "procedure_unmapped"),
            ("C0017,T03,2025-07-01,phaco_iol,surgeon,left,,,,,,", "after_expected_completion"),
            (
                "C0018,T01,2025-05-06,ptosis_repair,surgeon,left,,,,,wound_leak@2,",
                "complication_not_eligible",
            ),
            ("C0019,T01,2025-05-06,phaco_iol,surgeon,left,,,,,wound_leak,", "event_day_missing"),
            ("C0020,T01,2025-05-06,phaco_iol,surgeon,left,observed,,,,,", "supervision_contradicts_role"),
            ("C0024,T01,2025-05-06,phaco_iol,observer,left,,,,,capsule_rupture,", "takeover_not_recorded"),
            ("C0021,T01,2025-05-06,phaco_iol,surgeon,left,,,,,,2025-05-05", "logged_before_operated"),
            ("B0009,T01,2025-05-06,phaco_iol,surgeon,left,,,,,,", "case_ref_reused"),
            ("C0021,T01,2025-05-07,phaco_iol,assistant,right,,,,,,", "case_ref_reused"),
            ("B0003,T01,2025-04-08,phaco_iol,surgeon,left,,,,,,", "in_two_sources"),
            (
                "B0002,T01,2025-03-04,phaco_iol,surgeon,left,unheard_of,,,,,",
                "code_unknown older_version_kept",
            ),
        ),
    ),
    "reviews": Broken(
        "review_ref,case_ref,trainee_ref,reviewer_ref,setting,step,score,attempts,successes,self_review,started_at",
        (
            ("R001,B0001,T01,V1,live,incision,4,2,1,no,1:00", ""),
            ("R001,B0001,T01,V1,,draping,4,,,,", "required_blank"),
            ("R002,B-1,T01,V1,live,incision,4,,,,", "case_ref_malformed"),
            ("R003,B0001,T01,V!1,live,incision,4,,,,", "ref_malformed"),
            ("R001,B0001,T01,V1,live,incision,5,,,,", "key_repeated"),
            ("R004,B0001,T99,V1,live,incision,4,,,,", "trainee_unknown"),
            ("R005,B0001,T01,V1,live,polishing,4,,,,", "code_unknown"),
            ("R006,B0001,T01,V1,live,incision,good,,,,", "number_unreadable"),
            ("R007,B0001,T01,V1,live,incision,6,,,,", "number_out_of_range"),
            ("R008,B0001,T01,V1,live,incision,4,1,2,,", "number_out_of_range"),
            ("R009,B0001,T01,V1,live,incision,4,,,maybe,", "yes_no_unreadable"),
            ("R010,B0001,T01,V1,live,incision,4,,,,late", "number_unreadable"),
            ("R011,B0001,T01,V1,live,incision,4,,,,,x", "too_many_cells"),
            ("R012,N0404,T01,V1,live,incision,4,,,,", "case_unknown"),
        ),
    ),
    "milestones": Broken(
        "trainee_ref,period,milestone,level",
        (
            ("T01,2026-27 mid,cataract_operating,C", ""),
            ("T01,2026-27 mid,cataract_operating,", "required_blank"),
            ("T!1,2026-27 mid,cataract_operating,C", "ref_malformed"),
            ("T01,2026-27 mid,cataract_operating,D", "key_repeated"),
            ("T99,2026-27 mid,cataract_operating,C", "trainee_unknown"),
            ("T01,lately mid,cataract_operating,C", "date_unreadable"),
            ("T01,2026-27 spring,cataract_operating,C", "code_unknown"),
            ("T01,2026-27 mid,kindness,C", "code_unknown"),
            ("T01,2026-27 mid,laser_operating,C,x", "too_many_cells"),
        ),
    ),
    "outcomes": Broken(
        "case_ref,complication,occurred,day,source",
        (
            ("B0001,capsule_rupture,no,,audit", ""),
            ("B0001,capsule_rupture,,,audit", "required_blank"),
            ("B-1,capsule_rupture,no,,audit", "case_ref_malformed"),
            ("B0001,capsule_rupture,yes,,audit", "key_repeated"),
            ("B0001,sneeze,yes,,audit", "code_unknown"),
            ("B0001,endophthalmitis,perhaps,,audit", "code_unknown"),
            ("B0001,endophthalmitis,yes,soon,audit", "number_unreadable"),
            ("B0001,endophthalmitis,yes,-1,audit", "number_out_of_range"),
            ("B0001,endophthalmitis,yes,3,hearsay", "code_unknown"),
            ("B0001,endophthalmitis,yes,3,audit,x", "too_many_cells"),
            ("N0404,capsule_rupture,no,,audit", "case_unknown"),
        ),
    ),
    "confirmations": Broken(
        "case_ref,trainee_ref,supervisor_ref,role_agreed,supervision,takeover,takeover_reason",
        (
            ("B0001,T01,S01,yes,,,", ""),
            ("B0001,T01,,yes,,,", "required_blank"),
            ("B-1,T01,S01,yes,,,", "case_ref_malformed"),
            ("B0002,T01,S!1,yes,,,", "ref_malformed"),
            ("B0001,T01,S01,no,,,", "key_repeated"),
            ("B0001,T99,S01,yes,,,", "trainee_unknown"),
            ("B0002,T01,S01,maybe,,,", "yes_no_unreadable"),
            ("B0002,T01,S01,yes,hovering,,", "code_unknown"),
            ("B0002,T01,S01,yes,,yes,bored", "code_unknown"),
            ("B0002,T01,S01,yes,,,,x", "too_many_cells"),
            ("B0009,T01,S01,yes,,,", "case_unknown"),
        ),
    ),
    "official_counts": Broken(
        "trainee_ref,requirement_ref,count,as_of",
        (
            ("T01,cataract,40,2026-10-05", ""),
            ("T01,cataract,,2026-10-05", "required_blank"),
            ("T!1,cataract,40,2026-10-05", "ref_malformed"),
            ("T01,cataract,41,2026-10-05", "key_repeated"),
            ("T99,cataract,40,2026-10-05", "trainee_unknown"),
            ("T01,strabismus,40,lately", "date_unreadable"),
            ("T01,keratoplasty,40,2026-02-30", "date_impossible"),
            ("T01,chalazion,40,04/05/2026", "date_ambiguous"),
            ("T01,ocular_surface,40,2999-01-01", "date_in_future"),
            ("T01,kindness,40,2026-10-05", "code_unknown"),
            ("T01,globe_trauma,forty,2026-10-05", "number_unreadable"),
            ("T01,retina_vitreous,-1,2026-10-05", "number_out_of_range"),
            ("T01,intravitreal_injection,40,2026-10-05,x", "too_many_cells"),
        ),
    ),
}
READ = list(KINDS)
TODAY = datetime.date(2026, 11, 20)


@pytest.mark.parametrize("kind", READ, ids=lambda kind: kind.name)
def test_every_rule_of_a_kind_is_broken_by_its_file(kind: Kind) -> None:
    rules = {check.rule for check in CHECKS[kind.name]}
    if kind is TRAINEES:
        # Only who asks for one programme may name no other: tests/test_own_programme.py.
        rules.remove("trainee_unknown")
    assert rules == set(BROKEN[kind.name].counts), kind.name


@pytest.mark.parametrize("kind", READ, ids=lambda kind: kind.name)
def test_each_rule_finds_what_breaks_it_as_often_as_is_drawn(kind: Kind, store: Path) -> None:
    opened = Store(store)
    setting = Setting(opened.programme, opened.specialty, TODAY, opened, opened.current())
    judged = judge([BROKEN[kind.name].file(f"{kind.name}.csv")], setting, lambda _: None, storing=False)
    rows = judged.rows(f"select rule, count(*) from {kind.name}.fault group by rule")
    assert dict(rows) == BROKEN[kind.name].counts
    # The view that is printed and stored has the same.
    printed = judged.rows("select rule, count(*) from finding group by rule")
    assert dict(printed) == BROKEN[kind.name].counts


# ---- the suite


CASES = [*LIVE.splitlines(), "C0001,T01,2025-05-06,phaco_iol,chief,left"]


def request() -> IntakeRequest:
    return IntakeRequest([ExportFile("cases.csv", "\n".join(CASES).encode())], TODAY, append=True)


@pytest.mark.suite
def test_the_receipt_holds_how_many_accepted_rows_break_each_rule(store: Path, tmp_path: Path) -> None:
    copy = copy_of(store, tmp_path)
    files = [BROKEN[kind.name].file(f"{kind.name}.csv") for kind in READ]
    assert take(Store(copy), IntakeRequest(files, TODAY, append=True)).status == "stored"
    live = Store(copy).current()
    for intake_id in live.new_intakes:
        for name, counts in Store(copy).receipt(intake_id)["suite"].items():
            left_out = {check.rule for check in CHECKS[name]} & set(LEFT_OUT)
            assert counts == dict.fromkeys(left_out, 0), name
    assert live.new_intakes != []


@pytest.mark.suite
def test_a_rule_that_cannot_be_judged_stops_the_intake_and_quotes_no_cell(
    store: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before, checks_of = content(store), staging.checks_of

    def with_a_broken_query(kind: Kind, with_roster: bool) -> list[Check]:
        # It fails at the first row, and the database would quote the cell.
        broken = "select role::integer from {batch}"
        checks = checks_of(kind, with_roster)
        return [replace(check, query=broken) if check.rule == "code_unknown" else check for check in checks]

    monkeypatch.setattr(staging, "checks_of", with_a_broken_query)
    monkeypatch.setattr(staging, "_record", lambda *_: None)
    with pytest.raises(UserError, match="code_unknown could not be judged") as stopped:
        take(Store(store), request())
    assert "surgeon" not in str(stopped.value)
    assert content(store) == before


@pytest.mark.suite
def test_an_accepted_row_that_breaks_a_rule_stops_the_intake(
    store: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before, record = content(store), staging._record

    def forgets_an_unknown_code(
        connection: duckdb.DuckDBPyConnection, kind: Kind, checks: Sequence[Check]
    ) -> None:
        record(connection, kind, [check for check in checks if check.rule != "code_unknown"])

    monkeypatch.setattr(staging, "_record", forgets_an_unknown_code)
    with pytest.raises(UserError, match="Accepted cases rows break code_unknown"):
        take(Store(store), request())
    assert content(store) == before


@pytest.mark.suite
def test_the_same_intake_goes_through_with_nothing_put_in_its_way(store: Path, tmp_path: Path) -> None:
    assert take(Store(copy_of(store, tmp_path)), request()).status == "stored"
