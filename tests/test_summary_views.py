"""The views that only the volume summary needs, by drawn tables and by plain loops over made-up crowds.

Source of mean and median: the standard library's `statistics`; of what counts: the oracle, which imports nothing of the
project.
"""

from __future__ import annotations

import random
import statistics
from typing import Any

import pytest

from tests import cohorts
from tests.drawn import database, drawn, example, put, run, table
from tests.loaded import loaded
from tests.made_up import beside, crowds, evidence_of
from tests.made_up import drawn as examples
from tests.oracle import Oracle
from tests.oracle_rows import Row, case_key, cell, code, month_of, yes_no
from tests.oracle_volume import class_of, with_parts
from tests.test_oracle_views import oracle_of

Rows = list[dict[str, Any]]


def test_a_class_is_counted_without_those_who_left() -> None:
    db = database(example({"lens": {"minimum": 2}}))
    put(db, "trainees", "trainee_ref | left\nT01 |\nT02 |\nT03 |\nT04 | 2026-02\nT05 |")
    cases = [("T01", 1, "2026-01"), ("T01", 2, "2026-02"), ("T02", 5, "2026-02"), ("T04", 9, "2026-01")]
    rows = [
        f"{trainee}-{month}-{number} | {trainee} | {month}"
        for trainee, count, month in cases
        for number in range(count)
    ]
    put(db, "cases", "\n".join(["case_ref | trainee_ref | operated_month", *rows]))
    run(db)
    columns = "through_month, graduates, met, below, reached, cases_mean, cases_median, cases_lowest, cases_highest, people_left"
    # January: 1, 0, 0, 0. February: 3, 5, 0, 0; of these the mean is 8 / 4, the median (0 + 3) / 2.
    assert table(db, "class_volume", columns) == drawn("""
                | 4 | 0 | 4 | 0 | 0    | 0   | 0 | 0 | 1
        2026-01 | 4 | 0 | 4 | 0 | 0.25 | 0   | 0 | 1 | 1
        2026-02 | 4 | 2 | 2 | 2 | 2    | 1.5 | 0 | 5 | 1
    """)


def test_cases_stand_under_the_role_in_which_they_were_logged_whether_they_count_or_not() -> None:
    db = database(example({"lens": {"minimum": 2}}))
    put(db, "trainees", "trainee_ref\nT01")
    put(
        db,
        "cases",
        """
        case_ref | role      | operated_month | supervisor_agreed
        C001     | surgeon   | 2026-01        | yes
        C002     | surgeon   | 2026-01        |
        C003     | surgeon   | 2026-03        | no
        C004     | assistant | 2026-02        | yes
        """,
    )
    run(db)
    columns = "role, through_month, logged_cases, counted_cases, confirmed_cases"
    assert table(db, "volume_by_role", columns, "role in ('surgeon', 'assistant')") == drawn("""
        assistant |         | 0 | 0 | 0
        assistant | 2026-02 | 1 | 0 | 0
        surgeon   |         | 0 | 0 | 0
        surgeon   | 2026-01 | 2 | 2 | 1
        surgeon   | 2026-03 | 3 | 2 | 1
    """)
    assert table(db, "volume_by_role", columns, "role = 'observer'") == "observer |  | 0 | 0 | 0"


def class_volume(it: Oracle) -> Rows:
    """By plain loops: for each class, requirement and month the counted cases of each graduate by then."""
    volumes = it.view("case_volume")
    classes = {class_of(it, trainee) for trainee in it.roster}
    rows = []
    for programme, cohort in classes:
        people = [trainee for trainee in it.roster if class_of(it, trainee) == (programme, cohort)]
        own = {trainee: [row for row in volumes if row["trainee_ref"] == trainee] for trainee in people}
        refs = {row["requirement_ref"] for each in own.values() for row in each}
        months = {
            month_of(case, "operated_on")
            for trainee in people
            for ref in refs
            for case in it.credited(trainee, ref)
        }
        for through in [None, *sorted(months)]:
            standing = {trainee: _by_then(it, own[trainee], through) for trainee in people}
            rows += [_line(it, standing, (programme, cohort, ref, through)) for ref in sorted(refs)]
    return rows


def _by_then(it: Oracle, own: Rows, through: str | None) -> dict[str, dict[str, Any]]:
    counted = [
        row
        | {
            "counted_cases": sum(
                _is_by(case, through) for case in it.credited(row["trainee_ref"], row["requirement_ref"])
            )
        }
        for row in own
    ]
    return {row["requirement_ref"]: row for row in with_parts(counted, it.specialty)}


def _is_by(case: Row, through: str | None) -> bool:
    return through is not None and month_of(case, "operated_on") <= through


def _line(it: Oracle, standing: dict[str, Any], key: tuple[str, str, str, str | None]) -> dict[str, Any]:
    programme, cohort, ref, through = key
    graduates = [rows[ref] for trainee, rows in standing.items() if cell(it.roster[trainee], "left") is None]
    counts = [row["counted_cases"] for row in graduates]
    met = [row for row in graduates if row["counted_cases"] >= row["minimum"]]
    return {
        "programme_ref": programme,
        "cohort": cohort,
        "requirement_ref": ref,
        "through_month": through,
        "graduates": len(graduates),
        "met": len(met),
        "below": len(graduates) - len(met),
        "reached": len([row for row in graduates if row["reached"]]),
        "cases_mean": statistics.mean(counts) if counts else None,
        "cases_median": statistics.median(counts) if counts else None,
        "cases_lowest": min(counts, default=None),
        "cases_highest": max(counts, default=None),
        "people_left": len(standing) - len(graduates),
    }


def volume_by_role(it: Oracle) -> Rows:
    """The whole of each role, by plain loops: the last row of each."""
    rows = []
    for volume in it.view("case_volume"):
        trainee, ref = volume["trainee_ref"], volume["requirement_ref"]
        counted = it.credited(trainee, ref)
        logged = [case for case in it.cases(trainee) if ref in it.reasons(trainee)[case_key(case)]]
        for role in it.specialty["roles"]:
            own = [case for case in counted if code(case, "role") == role]
            rows.append(
                {
                    "trainee_ref": trainee,
                    "requirement_ref": ref,
                    "role": role,
                    "logged_cases": len([case for case in logged if code(case, "role") == role]),
                    "counted_cases": len(own),
                    "confirmed_cases": len([case for case in own if yes_no(case, "supervisor_agreed")]),
                }
            )
    return rows


LAST_OF_EACH = """
    select trainee_ref, requirement_ref, role, logged_cases, counted_cases, confirmed_cases
    from volume_by_role
    qualify row_number() over (
        partition by trainee_ref, requirement_ref, role
        order by through_month desc nulls last
    ) = 1
"""


@pytest.mark.parametrize("made_up", ["a crowd", "many small programmes"])
def test_class_lines_and_roles_equal_the_plain_loops(made_up: str) -> None:
    if made_up == "a crowd":
        it = oracle_of(examples(crowds(), 1)[0], 0)
        evidence = evidence_of(examples(crowds(), 1)[0], random.Random(0))
    else:
        these = beside(examples(cohorts.cohorts(most_cases=24), 12))
        it, evidence = oracle_of(these, 2), evidence_of(these, random.Random(2))
    db = loaded(it, evidence)
    expected = class_volume(it)
    found = rows_of(db, "select * exclude (minimum) from class_volume")
    assert keyed(found, "programme_ref cohort requirement_ref through_month") == keyed(
        expected, "programme_ref cohort requirement_ref through_month"
    )
    assert keyed(rows_of(db, LAST_OF_EACH), "trainee_ref requirement_ref role") == keyed(
        volume_by_role(it), "trainee_ref requirement_ref role"
    )
    assert sum(row["people_left"] > 0 for row in expected) > 0 or made_up == "a crowd"
    assert max(row["met"] for row in expected) > 0


def rows_of(db: Any, query: str) -> Rows:
    answer = db.execute(query)
    names = [name for name, *_ in answer.description]
    return [dict(zip(names, row, strict=True)) for row in answer.fetchall()]


def keyed(rows: Rows, names: str) -> dict[tuple[Any, ...], dict[str, Any]]:
    placed = {
        tuple(row[name] for name in names.split()): {
            name: pytest.approx(value, abs=1e-9) if isinstance(value, float) else value
            for name, value in row.items()
        }
        for row in rows
    }
    assert len(placed) == len(rows)
    return placed
