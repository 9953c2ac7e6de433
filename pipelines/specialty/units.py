"""What one count of a requirement is, in words."""

from __future__ import annotations


def units_in_words(unit: str, number: int) -> str:
    """`procedures`, `case reviews`, `biopsies`, `boxes` of a unit's code; `1 procedure`."""
    word = unit.replace("_", " ")
    if number == 1:
        return word
    if word.endswith("y") and word[-2:-1] not in "aeiou":
        return f"{word[:-1]}ies"
    return f"{word}es" if word.endswith(("s", "x", "ch", "sh")) else f"{word}s"
