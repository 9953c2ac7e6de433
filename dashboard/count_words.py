"""How a requirement stands, part by part: its own minimum, its parts, and whether it is reached with them."""

from __future__ import annotations

from typing import Protocol


class Standing(Protocol):
    """A row of case_volume."""

    minimum: int
    counted_cases: int
    remaining_cases: int
    met: bool
    parts_total: int
    parts_short: int
    reached: bool
    reached_by: str | None


def standing_sentence(row: Standing) -> str:
    """`Own minimum: met (46 of 28). Parts: 1 of 3 short. With its parts: not reached.`"""
    own = "met" if row.met else f"not met, {row.remaining_cases:,} still to come"
    said = [f"Own minimum: {own} ({row.counted_cases:,} of {row.minimum:,})."]
    if row.parts_total:
        short = (
            f"{row.parts_short} of {row.parts_total} short"
            if row.parts_short
            else f"none of {row.parts_total} short"
        )
        said.append(f"Parts: {short}.")
    if row.reached_by:
        said.append(f"Reached by {row.reached_by}, which may stand in for it.")
    elif row.parts_total:
        said.append(f"With its parts: {'reached' if row.reached else 'not reached'}.")
    return " ".join(said)


def part_standing(row: Standing) -> str:
    """Of a part: whether its own minimum is met, and what it lacks."""
    if row.parts_short:
        return f"{'met' if row.met else 'short'}, {row.parts_short} of {row.parts_total} parts short"
    return "met" if row.met else f"{row.remaining_cases:,} short"
