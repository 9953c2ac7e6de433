"""The list of what the awkward files should give is complete and agrees with itself."""

from __future__ import annotations

import csv
from collections import Counter, defaultdict
from pathlib import Path

from pipelines.contract.rules import LEFT_OUT, REFUSALS, WARNINGS
from seed_data import awkward_large

AWKWARD = Path(__file__).parents[1] / "seed_data" / "awkward"
Row = dict[str, str]
RULES = {*REFUSALS, *LEFT_OUT, *WARNINGS}


def expected_findings() -> list[Row]:
    with (AWKWARD / "expected.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_every_awkward_file_is_expected_and_every_expected_file_is_there() -> None:
    names = {path.name for path in AWKWARD.iterdir()} - {"expected.csv"}
    assert {row["file"] for row in expected_findings()} == names


def test_every_rule_is_broken_by_an_awkward_file() -> None:
    broken = {row["rule"] for row in expected_findings()} - {""}
    assert broken | {awkward_large.EXPECTED[4]} == RULES


def test_each_row_column_and_rule_is_expected_once() -> None:
    lines = Counter(
        (row["file"], row["source_row"], row["column_name"], row["rule"]) for row in expected_findings()
    )
    assert set(lines.values()) == {1}


def exit_code_of(rules: set[str]) -> int:
    """What the contract gives for the findings of one file that withdraws nothing."""
    if any(rule.startswith("identifier_") for rule in rules):
        return 12
    if rules & set(REFUSALS):
        return 11
    return 10 if rules & set(LEFT_OUT) else 0


def test_exit_codes_follow_from_the_rules() -> None:
    rules: dict[str, set[str]] = defaultdict(set)
    for row in expected_findings():
        rules[row["file"]].add(row["rule"])
    for row in expected_findings():
        assert int(row["exit_code"]) == exit_code_of(rules[row["file"]]), row["file"]


def test_the_large_file_has_one_cell_above_a_megabyte(tmp_path: Path) -> None:
    path = awkward_large.make_large(tmp_path)
    lines = path.read_text(encoding="utf-8").splitlines()
    assert path.name == awkward_large.EXPECTED[0]
    assert [len(line.split(",")[-1]) > 1_048_576 for line in lines] == [False, False, True]
