"""Why a case counts or not: every reason once, what a count is made of, its own minimum beside its parts."""

from __future__ import annotations

from collections import Counter
from types import SimpleNamespace
from typing import Any

import pandas as pd
import pytest

from dashboard import labels, queries
from dashboard.count_words import part_standing, standing_sentence
from dashboard.screens import cases
from pipelines.contract.codes_in_words import REASONS
from pipelines.store.store import Store
from tests.browser import demo_store
from tests.drawn import Db, database, drawn, example, put, run, table
from tests.looking import headings, opened_as, said, session
from tests.test_access import WHO

__all__ = ["session"]

# Contract of the published views: every reason but the two that come with decisions between trainees.
OF_THE_CONTRACT = """
    credited before_credit_from role stage attribute window duplicate_in_operation supervisor_disagreed
    takeover_to_confirm performed_elsewhere outside_edition no_requirement unmapped_code
"""


@pytest.fixture(scope="module")
def made() -> Db:
    rules: dict[str, Any] = {
        "lens": {
            "attributes": {"none": ["simulated"]},
            "elsewhere": False,
            "unit": "operation",
            "minimum": 1,
        },
        "chief": {"procedures": ["manual_lens"], "stages": ["chief"]},
        "early": {"procedures": ["lid_repair"], "before_stage": "chief"},
        "old": {"procedures": ["lid_repair"], "cohorts": {"from": 2019, "to": 2020}},
        "large": {
            "procedures": ["phaco_iol"],
            "attributes": {"any": ["large"]},
            "part_of": "lens",
            "minimum": 3,
        },
    }
    db = database(example(rules))
    put(db, "trainees", "trainee_ref | started | credit_from\nT01 | 2024-07 | 2024-03\nT02 | 2024-07 |")
    put(db, "data_through", "trainee_ref | data_through\nT01 | 2026-10\nT02 | 2026-10")
    put(db, "training", "trainee_ref | from | kind | value\nT01 | 2026-07 | stage | chief")
    put(
        db,
        "cases",
        """
        case_ref | operated_month | procedure   | side  | role      | attributes     | supervisor_agreed | takeover
        C01      | 2025-01        | phaco_iol   | left  | surgeon   | large;pediatric | true             |
        C01      | 2025-01        | phaco_iol   | right | surgeon   | large          |                   |
        C02      | 2025-01        | phaco_iol   |       | assistant |                |                   |
        C03      | 2025-01        | phaco_iol   |       | surgeon   | simulated      |                   |
        C04      | 2025-01        | phaco_iol   |       | surgeon   |                | false             |
        C05      | 2025-01        | phaco_iol   |       | surgeon   |                |                   | true
        C06      | 2024-04        | phaco_iol   |       | surgeon   |                |                   |
        C07      | 2024-02        | phaco_iol   |       | surgeon   |                |                   |
        C08      | 2025-01        | manual_lens |       | surgeon   |                |                   |
        C09      | 2026-08        | manual_lens |       | surgeon   | none           |                   |
        C10      | 2026-08        | lid_repair  |       | surgeon   |                |                   |
        C11      | 2025-01        | lid_cyst    |       | surgeon   |                |                   |
        C12      | 2025-01        | unmapped-1  |       | surgeon   |                |                   |
        C13      | 2025-02        | phaco_iol   |       | surgeon   |                |                   |
    """,
    )
    run(db)
    return db


def test_every_reason_of_the_contract_is_counted_and_has_words(made: Db) -> None:
    assert table(
        made, "credit_reason", "requirement_ref, reason, credited, cases", "trainee_ref = 'T01'"
    ) == drawn("""
               | no_requirement         | false | 1
               | unmapped_code          | false | 1
        chief  | credited               | true  | 1
        chief  | stage                  | false | 1
        early  | window                 | false | 1
        large  | attribute              | false | 5
        large  | before_credit_from     | false | 1
        large  | credited               | true  | 2
        large  | role                   | false | 1
        lens   | attribute              | false | 1
        lens   | before_credit_from     | false | 1
        lens   | credited               | true  | 2
        lens   | duplicate_in_operation | false | 1
        lens   | performed_elsewhere    | false | 1
        lens   | role                   | false | 1
        lens   | supervisor_disagreed   | false | 1
        lens   | takeover_to_confirm    | false | 1
        old    | outside_edition        | false | 1
    """)
    found = {reason for (reason,) in made.execute("select distinct reason from credit_reason").fetchall()}
    assert found == set(OF_THE_CONTRACT.split()) == set(REASONS)
    assert all(len(labels.reason_text(reason)) > 5 for reason in found)


def test_a_count_is_made_of_what_plain_loops_find(made: Db) -> None:
    rows = made.execute(
        "select credit.trainee_ref, credit.requirement_ref, live.procedure, live.role, live.attributes"
        " from case_credit as credit join input.cases as live"
        " on credit.case_ref = live.case_ref and credit.procedure = live.procedure"
        " and credit.side is not distinct from live.side where credit.credited"
    ).fetchall()
    expected: Counter[tuple[str, str, str, str | None]] = Counter()
    for ref, requirement, procedure, role, attributes in rows:
        expected[ref, requirement, "procedure", procedure] += 1
        expected[ref, requirement, "role", role] += 1
        for attribute in attributes.split(";") if attributes and attributes != "none" else [None]:
            expected[ref, requirement, "attribute", attribute] += 1
    found = made.execute(
        "select trainee_ref, requirement_ref, made_of, code, counted_cases, of_cases from count_composition"
    ).fetchall()
    assert {tuple(row[:4]): row[4] for row in found} == expected
    totals = Counter((row[0], row[1]) for row in rows)
    assert all(row[5] == totals[row[0], row[1]] for row in found)
    # Both attributes of the one case, and of the other none.
    assert table(
        made,
        "count_composition",
        "code, title, counted_cases",
        "requirement_ref = 'lens' and made_of = 'attribute'",
    ) == ("| | 1\nlarge | Large | 1\npediatric | Under 18 | 1".replace("| |", "|  |"))


def test_the_own_minimum_stands_apart_from_the_parts(made: Db) -> None:
    columns = "trainee_ref, requirement_ref, minimum, counted_cases, met, parts_total, parts_short, reached"
    assert table(made, "case_volume", columns, "requirement_ref in ('lens', 'large')") == drawn("""
        T01 | large | 3 | 2 | false | 0 | 0 | false
        T01 | lens  | 1 | 2 | true  | 1 | 1 | false
        T02 | large | 3 | 0 | false | 0 | 0 | false
        T02 | lens  | 1 | 0 | false | 1 | 1 | false
    """)


@pytest.mark.parametrize(
    ("row", "sentence", "of_part"),
    [
        ((28, 46, True, 3, 1, False, None), "Own minimum: met (46 of 28). Parts: 1 of 3 short. With its parts: not reached.",
         "met, 1 of 3 parts short"),
        ((28, 20, False, 3, 0, False, None),
         "Own minimum: not met, 8 still to come (20 of 28). Parts: none of 3 short. With its parts: not reached.", "8 short"),
        ((28, 46, True, 3, 0, True, None), "Own minimum: met (46 of 28). Parts: none of 3 short. With its parts: reached.", "met"),
        ((5, 2, False, 0, 0, True, "Tube shunt"),
         "Own minimum: not met, 3 still to come (2 of 5). Reached by Tube shunt, which may stand in for it.", "3 short"),
        ((5, 6, True, 0, 0, True, None), "Own minimum: met (6 of 5).", "met"),
    ],
)  # fmt: skip
def test_own_minimum_parts_and_the_whole_are_said_apart(
    row: tuple[int, int, bool, int, int, bool, str | None], sentence: str, of_part: str
) -> None:
    names = ("minimum", "counted_cases", "met", "parts_total", "parts_short", "reached", "reached_by")
    said_of = SimpleNamespace(**dict(zip(names, row, strict=True)), remaining_cases=max(row[0] - row[1], 0))
    assert standing_sentence(said_of) == sentence
    assert part_standing(said_of) == of_part


def test_the_screen_opens_a_count_to_its_reasons_and_to_what_it_is_made_of() -> None:
    store = Store(demo_store())
    snapshot, scope = queries.live_snapshot(store), WHO["T22"].scope
    app = opened_as(cases, WHO["T22"], store, figure="requirement:oculoplastic_total")
    assert not app.exception
    rows = queries.cases_of_requirement(snapshot, scope, "T22", "oculoplastic_total")
    counted = int(rows["credited"].sum())
    heads = headings(app)
    assert f"Why each counts or not: {len(rows)} cases of its procedures" in heads
    assert f"What the {counted} cases are made of" in heads
    assert "Own minimum: " in said(app) and "Parts: " in said(app)
    tables = [str(each.value) for each in app.get("html")]
    (reasons,) = (text for text in tables if 'aria-label="Why cases count or not"' in text)
    assert f"<td>counts</td><td>{counted}</td>" in reasons
    made_of = queries.composition(snapshot, scope, "T22", "oculoplastic_total")
    for kind in ("procedure", "role"):
        assert made_of.loc[made_of["made_of"] == kind, "counted_cases"].sum() == counted


def test_cases_that_count_toward_nothing_open_with_their_reason(monkeypatch: pytest.MonkeyPatch) -> None:
    store = Store(demo_store())
    real = queries.cases_toward_nothing(queries.live_snapshot(store), WHO["T22"].scope, "T22")
    # The made-up programme has none; the screen is given three.
    rows = pd.DataFrame([{"reason": reason, "case_ref": f"K-{at}"} for at, reason in enumerate(NOTHING)])
    monkeypatch.setattr(queries, "cases_toward_nothing", lambda *_: rows.reindex(columns=real.columns))
    app = opened_as(cases, WHO["T22"], store, figure="toward_nothing")
    assert not app.exception
    words = said(app)
    assert "Counting toward nothing: 3 cases" in words
    assert f"{REASONS['no_requirement']}: 2 cases" in words and f"{REASONS['unmapped_code']}: 1 case" in words


NOTHING = ("no_requirement", "no_requirement", "unmapped_code")
