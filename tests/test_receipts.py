"""Every receipt balances to the row: against the file, against a plain model of the contract, against what is live."""

from __future__ import annotations

import json
import random
import re
from collections import Counter
from typing import Any, NamedTuple

import pytest

from tests.drawn import drawn
from tests.drawn_exports import Desk, desk, log, roster_store, rows_drawn

pytestmark = pytest.mark.usefixtures("builds_of_the_log")

__all__ = ["desk", "roster_store"]

ACCEPT = ("--accept-withdrawals", "--by", "coordinator", "--reason", "a test")

FAULTS = """
    case_ref | trainee_ref | operated_on | procedure | role    | duration_min | supervision          | mood
    ---------+-------------+-------------+-----------+---------+--------------+----------------------+-----
    C001     | T01         | 2026-03-02  | phaco_iol | surgeon | 40           | supervisor_available | calm
    C001     | T01         | 2026-03-02  | phaco_iol | surgeon | 41           |                      |
    C002     | T01         | 2026-03-02  | phaco_iol | surgoen | 0            |                      |
    C003     | T01         |             | phaco_iol | surgoen | much         |                      |
    C004     | T01         | 2026-02-30  | phaco_iol | surgeon | 9999         |                      |
    C005     | T02         | 2026-03-02  | mystery   | surgeon |              | observed             |
    C006     | T09         | 2026-03-02  | phaco_iol | surgeon |              |                      |
    C007     |             | 2026-03-02  | phaco_iol | surgeon |              |                      |
    C0       | T02         | 2026-03-02  | phaco_iol | surgeon |              |                      |
"""


def test_rows_are_accepted_plus_left_out_each_under_the_first_rule_that_it_breaks(desk: Desk) -> None:
    desk.take(desk.file(FAULTS))
    receipt = desk.receipt(desk.line()[0])
    (part,) = receipt["parts"]
    assert part["left_out"] == {
        "required_blank": 2,  # C003 breaks three rules, and C007
        "case_ref_malformed": 1,
        "key_repeated": 1,
        "trainee_unknown": 1,
        "date_impossible": 1,  # C004 has a number out of range too
        "code_unknown": 1,  # and so has C002
    }
    assert (part["rows"], part["accepted"]) == (9, 9 - 7)
    assert part["warnings"] == {
        "column_unknown": 1,
        "procedure_unmapped": 1,
        "supervision_contradicts_role": 1,
    }
    findings = "select count(*) from finding where severity = 'left_out'"
    assert desk.query(findings) == str(1 + 2 + 3 + 2 + 1 + 1 + 1)
    # What a build knows of the intake.
    counts = "select rows_in_file, accepted_rows, left_out_rows from input.intake where kind = 'cases'"
    assert desk.query(counts) == drawn("9 | 2 | 7")


def test_the_receipt_says_what_was_taken_how_and_when(desk: Desk) -> None:
    desk.take(desk.file(log(1), "march.csv"), "--source", "theatre", "--through", "2026-04", "--append")
    receipt = desk.receipt(desk.line(source="theatre")[0])
    said = {
        name: receipt[name] for name in ("source", "mode", "through", "withdrawals_accepted_by", "reason")
    }
    assert said == {
        "source": "theatre",
        "mode": "append",
        "through": "2026-04",
        "withdrawals_accepted_by": None,
        "reason": None,
    }
    assert receipt["intake_id"] == f"{receipt['sha256']}-1"
    assert receipt["snapshot"] == desk.snapshot()
    assert receipt["parts"][0]["file_name"] == "march.csv"


def test_no_receipt_and_no_list_of_changes_holds_a_day_of_operation(desk: Desk) -> None:
    desk.take(desk.file("case_ref | operated_on | logged_on\nC001 | 2026-03-17 | 2026-03-19"))
    desk.take(desk.file("case_ref | operated_on | logged_on\nC001 | 2026-04-17 | 2026-04-18"))
    ours = [json.dumps([desk.receipt(name), desk.stored(name)]) for name in desk.line()]
    assert not re.search(r"2026-0[34]-1[789]", " ".join(ours))


def test_what_a_command_prints_balances_too(desk: Desk) -> None:
    desk.take(desk.file(log(4)))
    result = desk.take(
        desk.file([*log(4, without=[1, 2]), *log(6, without=[1, 2, 3, 4]), {"case_ref": "C7"}])
    )
    head, line, balance, of_cases, *_ = result.out.splitlines()
    assert re.split(" {2,}", head) == ["file", "holds", "rows", "accepted", "left out", "to check"]
    assert re.split(" {2,}", line) == ["log.csv", "cases", "5", "4", "1", "0"]
    assert balance == "Rows balance: 5 in the file = 4 accepted + 1 left out."
    # 4 before = 2 as before + 2 gone; 4 after = 2 as before + 2 new.
    assert of_cases == "cases of 1 trainee: 4 in use before, 4 after (2 new, 2 as before, 2 gone)."
    assert "Stored: 4 of 5 rows. 1 has no valid case reference." in result.out


# ---- against a plain model of the contract


class Row(NamedTuple):
    trainee: str
    case: str
    side: str
    duration: int
    readable: bool

    @property
    def key(self) -> tuple[str, str]:
        return self.case, self.side


Live = dict[tuple[str, str], int]
COUNTS = ("live_before", "added", "unchanged", "changed", "kept", "withdrawn", "live_after")


def told(live: Live, rows: list[Row], append: bool) -> tuple[Live, dict[str, int], int]:
    """What is live after an export of one trainee, its balance, and how many rows were accepted."""
    accepted: Live = {}
    left_out = set()
    for row in rows:
        if row.readable and row.key not in accepted:
            accepted[row.key] = row.duration
        else:
            left_out.add(row.key)
    kept = {key: live[key] for key in left_out if key in live and key not in accepted}
    after = ({**live} if append else kept) | accepted
    same = sum(1 for key in accepted if live.get(key) == accepted[key])
    counts = {
        "live_before": len(live),
        "added": sum(1 for key in accepted if key not in live),
        "unchanged": same,
        "changed": sum(1 for key in accepted if key in live) - same,
        "kept": len(kept),
        "withdrawn": sum(1 for key in live if key not in after),
        "live_after": len(after),
    }
    return after, counts, len(accepted)


def random_export(chance: random.Random) -> list[Row]:
    """Few keys, so that they meet again; one row in five cannot be read."""
    trainees = chance.choice([["T01"], ["T02"], ["T01", "T02"]])
    return [
        Row(
            chance.choice(trainees),
            f"C{chance.randrange(1, 9):03d}",
            chance.choice(["", "left"]),
            chance.randrange(30, 33),
            chance.random() < 0.8,
        )
        for _ in range(chance.randrange(1, 15))
    ]


def as_cells(row: Row) -> dict[str, str]:
    return {
        "case_ref": row.case,
        "trainee_ref": row.trainee,
        "side": row.side,
        "duration_min": str(row.duration),
        "takeover": "no" if row.readable else "perhaps",
    }


def receipts_of_last_command(desk: Desk) -> list[dict[str, Any]]:
    return [desk.receipt(name) for name in desk.manifest()["new_intakes"]]


def live_of(desk: Desk, trainee: str, source: str) -> Live:
    """The rows in the folders that the manifest names; of a key the one taken last."""
    live: Live = {}
    for name in desk.line(trainee, source):
        stored = desk.stored(name, trainee)
        live |= {(row["case_ref"], row["side"] or ""): int(row["duration_min"]) for row in stored}
    return live


@pytest.mark.parametrize("seed", [2])
def test_a_series_of_exports_leaves_what_a_plain_model_of_the_contract_leaves(desk: Desk, seed: int) -> None:
    chance = random.Random(seed)
    model: dict[tuple[str, str], Live] = {}
    for _ in range(8):
        rows, append, source = (
            random_export(chance),
            chance.random() < 0.3,
            chance.choice(["main", "theatre"]),
        )
        cut = chance.randrange(1, len(rows) + 1)
        # Files are joined in the order of their names.
        parts = [("a.csv", rows[:cut]), ("b.csv", rows[cut:])]
        files = [desk.file([as_cells(row) for row in part], name) for name, part in parts if part]
        before = desk.snapshot()
        desk.take(*files, "--source", source, *(["--append"] if append else []), *ACCEPT)
        expected, accepted = {}, 0
        for trainee in {row.trainee for row in rows}:
            of_trainee = [row for row in rows if row.trainee == trainee]
            live = model.get((trainee, source), {})
            model[trainee, source], expected[trainee], count = told(live, of_trainee, append)
            accepted += count
        assert desk.snapshot() == before + 1
        check_receipts(receipts_of_last_command(desk), expected, len(rows), accepted)
        for (trainee, of_source), live in model.items():
            assert live_of(desk, trainee, of_source) == live
        keys = {(trainee, key) for (trainee, _), live in model.items() for key in live}
        assert desk.query("select count(*) from case_record") == str(len(keys))


def check_receipts(
    receipts: list[dict[str, Any]], expected: dict[str, dict[str, int]], rows: int, accepted: int
) -> None:
    """The receipts of one command, added up, against the model's counts of its one export."""
    parts = [part for receipt in receipts for part in receipt["parts"]]
    left_out = sum((Counter(part["left_out"]) for part in parts), Counter())
    assert sum(part["rows"] for part in parts) == rows
    assert sum(part["accepted"] for part in parts) == accepted == rows - left_out.total()
    assert {balance["trainee_ref"] for part in parts for balance in part["trainees"]} == set(expected)
    for balance in (balance for part in parts for balance in part["trainees"]):
        assert {name: balance[name] for name in COUNTS} == expected[balance["trainee_ref"]]


def test_the_model_tells_a_replaced_row_from_one_kept_and_one_withdrawn() -> None:
    # Written out by hand, so that the model above cannot be wrong in the same way as the code.
    live = {("C001", ""): 30, ("C002", ""): 30, ("C003", ""): 30, ("C004", ""): 30}
    rows = [
        Row("T01", case, "", duration, readable == "yes")
        for case, duration, readable in (
            (each["case"], int(each["duration"]), each["readable"])
            for each in rows_drawn("""
                case | duration | readable
                C001 | 30       | yes
                C002 | 31       | yes
                C003 | 31       | no
                C005 | 32       | yes
                C005 | 30       | yes
                C006 | 30       | no
            """)
        )
    ]
    after, counts, accepted = told(live, rows, append=False)
    assert after == {("C001", ""): 30, ("C002", ""): 31, ("C003", ""): 30, ("C005", ""): 32}
    assert [counts[name] for name in COUNTS] == [4, 1, 1, 1, 1, 1, 4]
    assert accepted == 3
    appended, _, _ = told(live, rows, append=True)
    assert set(appended) == set(live) | {("C005", "")}
