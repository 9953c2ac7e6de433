"""What the logs and their files are like, in sentences: the accounts of rows, the quality of a log, what is owed."""

from __future__ import annotations

from collections.abc import Sequence


def account_sentences(balances: Sequence[bool | None]) -> list[str]:
    """Whether the rows of every file are accounted for: `balances` has an answer a file and trainee, None for unknown."""
    told = [each for each in balances if each is not None]
    unknown = len(balances) - len(told)
    wrong = told.count(False)
    sentences = [
        f"{wrong:,} of {len(told):,} accounts of rows do not balance."
        if wrong
        else f"Rows balance in all {len(told):,} accounts, one for each file and trainee: every row is accepted, left out"
        " or held back, and every row in use before is still there, changed, or known to be gone."
    ]
    if unknown:
        sentences.append(
            f"{unknown:,} more cannot be checked in full: an earlier version stored less about these files."
        )
    return sentences
