"""The list of what is met of a security standard names tests that there are, and leaves no point out."""

from __future__ import annotations

import re
from pathlib import Path

TESTS = Path(__file__).parent
TEXT = (TESTS / "published" / "asvs.md").read_text(encoding="utf-8")
# The points of each section, counted in the standard (OWASP ASVS 5.0, chapters V6, V7, V8, V10).
POINTS = {
    "6.1": 3,
    "6.2": 12,
    "6.3": 8,
    "6.4": 6,
    "6.5": 8,
    "6.8": 3,
    "7.1": 3,
    "7.2": 4,
    "7.3": 2,
    "7.4": 5,
    "7.5": 3,
    "7.6": 2,
    "8.1": 4,
    "8.2": 4,
    "8.3": 3,
    "8.4": 2,
    "10.1": 2,
    "10.2": 3,
    "10.5": 5,
}
# Said of as a whole: what the dashboard does not have, or is not.
WHOLE = {"6.6", "6.7", "10.3", "10.4", "10.6", "10.7"}


def _named() -> set[str]:
    """Every point that stands in a first column: alone, in a list, or in a range."""
    named: set[str] = set()
    for column in re.findall(r"^\| (\d[^|]*) \|", TEXT, re.MULTILINE):
        for part in column.split(", "):
            first, _, last = part.partition("–")
            section, at = first.rpartition(".")[::2]
            ends = int(last.rpartition(".")[2] or at)
            named |= (
                {first}
                if section.count(".") == 0
                else {f"{section}.{number}" for number in range(int(at), ends + 1)}
            )
    return named


def test_no_point_is_left_out() -> None:
    points = {f"{section}.{number}" for section, count in POINTS.items() for number in range(1, count + 1)}
    assert _named() == points | WHOLE


def test_every_test_that_is_named_is_there() -> None:
    files: dict[str, str] = {path.stem: path.read_text(encoding="utf-8") for path in TESTS.glob("test_*.py")}
    everything = "\n".join(files.values())
    words = set(re.findall(r"\btest_\w+", TEXT))
    assert len(words) > 30
    assert [word for word in sorted(words) if word not in files and f"def {word}(" not in everything] == []
