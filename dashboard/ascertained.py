"""Who has said what is known of an outcome: the trainee alone, or somebody else."""

from __future__ import annotations

from typing import Protocol


class Known(Protocol):
    """A row of complication_rate."""

    known_outcomes: int
    known_from_others: int


def is_self_reported(of: Known) -> bool:
    """Whether fewer than half of the known outcomes come from somebody other than the trainee."""
    return of.known_outcomes > 0 and 2 * of.known_from_others < of.known_outcomes


def titled(title: str, of: Known) -> str:
    """`Capsule rupture (self-reported)`."""
    return f"{title} (self-reported)" if is_self_reported(of) else title


def from_others_sentence(of: Known) -> str:
    """`60 of 110 known outcomes come from somebody other than the trainee.`; blank with none known."""
    if of.known_outcomes == 0:
        return ""
    if of.known_from_others == 0:
        return "All rests on the trainee's word."
    return f"{of.known_from_others} of {of.known_outcomes} known outcomes come from somebody other than the trainee."
