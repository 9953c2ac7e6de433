"""The Great Expectations suite counts what the findings say, rule by rule, and a rule that fails stops the command.

One file a kind breaks every rule of the kind at least once; how often is drawn beside its rows.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

import duckdb
import pytest
from pipelines.contract.checks import Rule
from pipelines.intake.examination import Examination, Setting, examine

from pipelines.contract import checks
from pipelines.contract.formats import KINDS, Kind
from pipelines.files.reading import read_export
from pipelines.intake import expectations, judging, staging
from pipelines.store.store import Store
from tests.standing import content
from tests.stores import new_store, run, run_well, write_csv

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

    def write(self, path: Path) -> Path:
        return write_csv(
            path, "".join(f"{line}\n" for line in (self.columns, *(row for row, _ in self.rows)))
        )

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
}
READ = [kind for kind in KINDS if kind.read]


def setting(store: Path) -> Setting:
    opened = Store(store)
    return Setting(opened.programme, opened.specialty, datetime.date.today(), opened, opened.current())


Examined = Callable[[Kind], tuple[Examination, str]]


@pytest.fixture
def examined(store: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Examined:
    """Examines the broken file of a kind; gives the staging database too."""

    def of_kind(kind: Kind) -> tuple[Examination, str]:
        database = staging.database_name()
        monkeypatch.setattr(staging, "database_name", lambda: database)
        file = BROKEN[kind.name].write(tmp_path / f"{kind.name}.csv")
        return examine([read_export(file, 1)], setting(store), lambda _: None), database

    return of_kind


@pytest.mark.parametrize("kind", READ, ids=lambda kind: kind.name)
def test_every_rule_of_a_kind_is_broken_by_its_file(kind: Kind) -> None:
    assert {rule.name for rule in checks.rules_for(kind)} == set(BROKEN[kind.name].counts), kind.name


@pytest.mark.parametrize("kind", READ, ids=lambda kind: kind.name)
def test_the_suite_counts_what_the_findings_say(kind: Kind, examined: Examined) -> None:
    examination, database = examined(kind)
    rules = checks.rules_for(kind)
    of_read = [rule for rule in rules if not rule.about_accepted]
    of_accepted = [rule for rule in rules if rule.about_accepted]
    suite = expectations.broken_rows(database, f"read_{kind.name}", of_read)
    suite |= expectations.broken_rows(database, f"accepted_{kind.name}", of_accepted)
    assert suite == BROKEN[kind.name].counts
    assert judging.finding_counts(examination.connection, kind) == BROKEN[kind.name].counts


# ---- what stops a command


@pytest.fixture
def cases(tmp_path: Path) -> Path:
    return write_csv(
        tmp_path / "cases.csv", LIVE.replace("left", "right") + "C0001,T01,2025-05-06,phaco_iol,chief,left\n"
    )


# It fails at the first row, and the database would quote the cell.
QUERY = "select role::integer from {batch}"


def test_a_rule_that_cannot_be_judged_stops_the_command(
    cases: Path, store: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = content(store)
    broken_rows = expectations.broken_rows

    def with_a_broken_query(database: str, table: str, rules: list[Rule]) -> dict[str, int]:
        asked = [replace(rule, query=QUERY) if rule.name == "code_unknown" else rule for rule in rules]
        return broken_rows(database, table, asked)

    monkeypatch.setattr(expectations, "broken_rows", with_a_broken_query)
    for command in ("check", "intake"):
        result = run(command, cases, "--store", store, "--append")
        assert result.code == 1
        assert "code_unknown could not be judged" in result.err
        assert "chief" not in result.err
    assert content(store) == before


def test_a_suite_that_counts_otherwise_than_the_findings_stops_the_command(
    cases: Path, store: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = content(store)
    broken_rows = expectations.broken_rows

    def one_fewer(database: str, table: str, rules: list[Rule]) -> dict[str, int]:
        found = broken_rows(database, table, rules)
        return {name: count - (name == "code_unknown" and count > 0) for name, count in found.items()}

    monkeypatch.setattr(expectations, "broken_rows", one_fewer)
    result = run("intake", cases, "--store", store, "--append")
    assert result.code == 1
    assert "disagree about code_unknown" in result.err
    assert content(store) == before


def test_accepted_rows_are_validated_again_before_they_are_reduced(
    cases: Path, store: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = content(store)
    record = judging._record

    def forgets_who_is_left_out(
        connection: duckdb.DuckDBPyConnection, kind: Kind, rules: Sequence[Rule]
    ) -> None:
        record(connection, kind, rules)
        # The finding stays, so that the counts agree; but the row is no longer left out because of it.
        connection.execute("update finding_cell set severity = 'warning' where rule = 'code_unknown'")

    monkeypatch.setattr(judging, "_record", forgets_who_is_left_out)
    result = run("intake", cases, "--store", store, "--append")
    assert result.code == 1
    assert "Accepted cases rows break code_unknown" in result.err
    assert content(store) == before


def test_the_same_command_goes_through_with_nothing_put_in_its_way(cases: Path, store: Path) -> None:
    result = run("check", cases, "--store", store, "--append")
    assert result.code == 10, result.err
