"""Reached, parts and parts of parts: decided once, in volume_by_month and case_volume."""

from __future__ import annotations

import pytest

from pipelines.build.build import audit
from tests.drawn import Db, database, drawn, example, put, run, table
from tests.some_sql import builds_of

VIEWS = ("case_credit", "volume_summary", "volume_by_month")

# All of lid surgery, its repairs, and of these the lacerations: a part of a part. Cysts are a part too.
PARTS = {
    "laceration": {"procedures": ["lid_repair"], "minimum": 2, "part_of": "repair"},
    "lens": {"minimum": 1},
    "lid": {"procedures": ["lid_repair", "lid_cyst"], "minimum": 3},
    "repair": {"procedures": ["lid_repair"], "minimum": 1, "part_of": "lid"},
    "cyst": {"procedures": ["lid_cyst"], "minimum": 1, "part_of": "lid"},
    "sign_off": {
        "minimum": None, "sign_off": True, "procedures": None, "edition": None, "part_of": "lid",
    },
}  # fmt: skip
COLUMNS = "requirement_ref, counted_cases, met, parts_total, parts_short, reached, part_depth"


def with_cases(repairs: int, cysts: int, rules: dict[str, object] | None = None) -> Db:
    db = database(example(rules or PARTS))
    put(db, "trainees", "trainee_ref\nT01")
    put(db, "data_through", "trainee_ref | data_through\nT01 | 2026-10")
    rows = [f"R{number} | lid_repair | 2026-01" for number in range(repairs)]
    rows += [f"C{number} | lid_cyst | 2026-03" for number in range(cysts)]
    put(db, "cases", "\n".join(["case_ref | procedure | operated_month", *rows]))
    run(db, VIEWS)
    return db


@pytest.mark.parametrize(
    ("repairs", "cysts", "lid", "repair"),
    [
        # counted, met, parts, short, reached, depth: of lid the parts are repair, laceration and cyst.
        (1, 1, "2 | false | 3 | 1 | false | 0", "1 | true | 1 | 1 | false | 1"),  # lid itself is below
        (1, 2, "3 | true  | 3 | 1 | false | 0", "1 | true | 1 | 1 | false | 1"),  # a part of a part is short
        (0, 3, "3 | true  | 3 | 2 | false | 0", "0 | false | 1 | 1 | false | 1"),  # the part and its part
        (3, 0, "3 | true  | 3 | 1 | false | 0", "3 | true | 1 | 0 | true | 1"),  # a direct part is short
        (2, 1, "3 | true  | 3 | 0 | true  | 0", "2 | true | 1 | 0 | true | 1"),  # all are at their minimum
        (4, 4, "8 | true  | 3 | 0 | true  | 0", "4 | true | 1 | 0 | true | 1"),  # all are above
    ],
)
def test_a_requirement_is_reached_when_no_part_at_any_depth_is_short(
    repairs: int, cysts: int, lid: str, repair: str
) -> None:
    db = with_cases(repairs, cysts)
    for ref, row in (("lid", lid), ("repair", repair)):
        assert table(db, "case_volume", COLUMNS, f"requirement_ref = '{ref}'") == drawn(f"{ref} | {row}")
    names = COLUMNS.removesuffix(", part_depth")
    assert (
        db.execute(
            f"select {names} from volume_summary except all select {names} from case_volume"
        ).fetchall()
        == []
    )


def test_what_is_a_part_of_nothing_and_has_none_is_reached_with_its_own_minimum() -> None:
    db = with_cases(2, 0)
    assert table(db, "case_volume", COLUMNS, "part_depth <> 1 and requirement_ref <> 'lid'") == drawn("""
        laceration | 2 | true  | 0 | 0 | true  | 2
        lens       | 0 | false | 0 | 0 | false | 0
    """)


def test_a_part_stands_right_below_its_whole_whatever_the_order_of_the_file() -> None:
    db = with_cases(0, 0)
    refs = db.execute("select requirement_ref from requirement order by position").fetchall()
    assert [ref for (ref,) in refs] == ["lens", "lid", "repair", "laceration", "cyst", "sign_off"]


def test_a_part_that_is_not_in_force_is_not_asked_for_but_its_own_parts_are() -> None:
    rules = PARTS | {"repair": PARTS["repair"] | {"cohorts": {"from": 2030}}}
    db = with_cases(1, 2, rules)
    assert table(db, "case_volume", COLUMNS) == drawn("""
        cyst       | 2 | true  | 0 | 0 | true  | 1
        laceration | 1 | false | 0 | 0 | false | 1
        lens       | 0 | false | 0 | 0 | false | 0
        lid        | 3 | true  | 2 | 1 | false | 0
    """)


def test_each_month_says_what_was_counted_and_reached_by_then() -> None:
    db = with_cases(2, 1)
    columns = "requirement_ref, through_month, counted_cases, remaining_cases, met, parts_short, reached"
    where = "requirement_ref in ('lid', 'repair')"
    # Two repairs in January, a cyst in March; before January nothing.
    assert table(db, "volume_by_month", columns, where) == drawn("""
        lid    |         | 0 | 3 | false | 3 | false
        lid    | 2026-01 | 2 | 1 | false | 1 | false
        lid    | 2026-03 | 3 | 0 | true  | 0 | true
        repair |         | 0 | 1 | false | 1 | false
        repair | 2026-01 | 2 | 0 | true  | 0 | true
        repair | 2026-03 | 2 | 0 | true  | 0 | true
    """)


def test_confirmed_cases_are_those_through_the_month_too() -> None:
    db = database(example({"lens": {}}))
    put(db, "trainees", "trainee_ref\nT01\nT02")
    put(
        db,
        "cases",
        """
        case_ref | operated_month | supervisor_agreed
        C01      | 2026-01        | true
        C02      | 2026-02        |
        C03      | 2026-02        | true
        C04      | 2026-04        | false
    """,
    )
    run(db, VIEWS)
    assert table(
        db, "volume_by_month", "trainee_ref, through_month, counted_cases, confirmed_cases"
    ) == drawn("""
        T01 |         | 0 | 0
        T01 | 2026-01 | 1 | 1
        T01 | 2026-02 | 3 | 2
        T02 |         | 0 | 0
    """)


@pytest.fixture(scope="module")
def made() -> Db:
    return with_cases(1, 2)


@pytest.mark.parametrize(
    "damage",
    [
        "update case_volume set reached = true where requirement_ref = 'lid'",
        "update case_volume set parts_total = 2, parts_short = 0, reached = true where requirement_ref = 'lid'",
        "update case_volume set parts_short = 2 where requirement_ref = 'lid'",
        "update case_volume set part_depth = 1 where requirement_ref = 'laceration'",
        "update case_volume set part_depth = 1",
        "update volume_by_month set reached = true where through_month is null",
        "update volume_by_month set parts_short = 4 where requirement_ref = 'lid'",
        "update volume_by_month set counted_cases = 9, remaining_cases = 0, met = true where through_month is null",
        "update volume_by_month set parts_short = 0 where through_month = '2026-01'",
        "delete from volume_by_month where through_month = '2026-03'",
        "delete from requirement_part where requirement_ref = 'lid' and part_ref = 'laceration'",
        # Alike in both views: only what is credited says otherwise.
        "update volume_by_month set counted_cases = counted_cases + 1, remaining_cases = 0, met = true, "
        "reached = parts_short = 0; update case_volume set counted_cases = counted_cases + 1, remaining_cases = 0, "
        "met = true, reached = parts_short = 0",
    ],
)
def test_an_audit_finds_what_was_made_reached(made: Db, damage: str) -> None:
    made.execute("begin")
    try:
        for statement in damage.split("; "):
            made.execute(statement)
        with builds_of(*VIEWS):
            found = [name for name, _ in audit(made)]
    finally:
        made.execute("rollback")
    assert "930_case_volume_audit.sql" in found
