"""Whose word a rate rests on: half of the known outcomes from others and it is no longer called self-reported.

Why it is said: residents reported a complication in 42 of 575 operations, a review by seniors brought up 105 (preprint
rs-3303563).
"""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from dashboard import wording


@pytest.mark.parametrize(
    ("known", "from_others", "title", "said"),
    [
        (0, 0, "Rupture", ""),
        (41, 0, "Rupture (self-reported)", "All rests on the trainee's word."),
        (
            41,
            20,
            "Rupture (self-reported)",
            "20 of 41 known outcomes come from somebody other than the trainee.",
        ),
        (40, 20, "Rupture", "20 of 40 known outcomes come from somebody other than the trainee."),
        (41, 41, "Rupture", "41 of 41 known outcomes come from somebody other than the trainee."),
    ],
)
def test_a_rate_says_whose_word_it_rests_on(known: int, from_others: int, title: str, said: str) -> None:
    row = SimpleNamespace(known_outcomes=known, known_from_others=from_others)
    assert (wording.titled("Rupture", row), wording.from_others_sentence(row)) == (title, said)
