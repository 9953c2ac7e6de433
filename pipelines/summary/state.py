"""Whether a volume summary is a draft, final, or only provisional, and why."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, Literal, NamedTuple

from pipelines.specialty.requirement_sentences import any_of

# In this order they are said: what is missing, what is disputed, what is held.
OBSTACLES = {
    "no_data": "No data have come in of {people}.",
    "not_current": "The data of {people} are not current.",
    "supervisor_disagreed": "A supervisor refused the role of {people}; these cases do not count.",
    "takeover_to_confirm": "A takeover waits for the supervisor’s word: {people}; these cases do not count yet.",
    "held": "Cases are held until somebody decides who did them: {people}.",
}


class State(NamedTuple):
    """What the counts of a class may be taken for; `by` asked for them to be final, `why` keeps them from it."""

    name: Literal["draft", "provisional", "final"]
    by: str | None
    why: tuple[str, ...]

    def sentences(self, as_of: str | None) -> list[str]:
        """What stands at the head of every file; the first word is the state."""
        day = f", as of {as_of}" if as_of else ""
        if self.name == "final":
            return [f"Final: {self.by} answers for these counts{day}."]
        if self.name == "provisional":
            return [
                f"Provisional: {self.by} asked for final counts, and they cannot be final yet.",
                *self.why,
            ]
        return ["Draft: nobody has answered for these counts.", *(self.why and (TO_BE_DONE, *self.why))]


TO_BE_DONE = "Before the counts can be final:"


def state_of(final_by: str | None, obstacles: Iterable[Mapping[str, Any]]) -> State:
    """`obstacles` are the rows of not_final of the class."""
    by_kind: dict[str, list[str]] = {}
    for row in obstacles:
        by_kind.setdefault(row["obstacle"], []).append(_whose(row))
    why = tuple(
        text.format(people=any_of(by_kind[kind], "and"))
        for kind, text in OBSTACLES.items()
        if kind in by_kind
    )
    if final_by is None:
        return State("draft", None, why)
    return State("provisional" if why else "final", final_by, why)


def _whose(row: Mapping[str, Any]) -> str:
    """`T21`, `T21 (through 2026-07)`, `3 cases of T21`."""
    if row["cases"] is None:
        through = f" (through {row['data_through']})" if row["data_through"] else ""
        return f"{row['trainee_ref']}{through}"
    return f"{row['cases']} case{'s' * (row['cases'] != 1)} of {row['trainee_ref']}"
