"""What a passphrase must be, and how it is kept.

Source: NIST SP 800-63B-4, 3.1.1.2 (from memory): alone it has at least 15 characters; 64 and more must be possible;
every character may stand in it and none must; what is common or expected is refused, and the reason is said; it is not
asked to be changed after a time. Kept as Argon2id hashes with the parameters of OWASP's Password Storage Cheat Sheet.
"""

from __future__ import annotations

import hashlib
import re
import secrets
import unicodedata

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError
from zxcvbn import zxcvbn

SHORTEST, LONGEST = 15, 256
# What an attacker who tries the likely ones first would need fewer attempts than this for is too easily guessed. It is
# far above what the lockout leaves them; it is there for a stolen file of hashes.
FEWEST_GUESSES = 10**8
# So much must be left of it beside the name of the account and of this dashboard.
FEWEST_OWN = 8
# The library looks at no more, for its time grows with the square of the length.
LOOKED_AT = 72
HASHER = PasswordHasher(time_cost=2, memory_cost=19 * 1024, parallelism=1)
# What is verified where there is no such account, so that it takes as long.
NOBODYS = HASHER.hash(secrets.token_urlsafe(16))


def fault_of(passphrase: str, *expected: str) -> str | None:
    """Why a passphrase may not be used; None if it may. `expected` are words that an attacker would try first."""
    text = _normal(passphrase)
    if len(text) < SHORTEST:
        return f"Use at least {SHORTEST} characters; several words that do not belong together are easy to remember."
    if len(text) > LONGEST:
        return f"Use at most {LONGEST} characters."
    if len(_without(text, "cohort standing", *expected)) < FEWEST_OWN or _guesses(text) < FEWEST_GUESSES:
        return (
            "This passphrase is common, or made of what is easily guessed: repeated or neighbouring characters, a date,"
            " the name of the account. Use several words that do not belong together."
        )
    return None


def _without(text: str, *expected: str) -> str:
    """The letters and digits that are left when the words are taken out that an attacker would try first."""
    left = text.casefold()
    for word in sorted(re.findall(r"\w+", " ".join(expected).casefold()), key=len, reverse=True):
        left = left.replace(word, "")
    return "".join(filter(str.isalnum, left))


def _guesses(text: str) -> float:
    return float(zxcvbn(text[:LOOKED_AT])["guesses"])


def hashed(passphrase: str) -> str:
    """The hash to keep."""
    return HASHER.hash(_normal(passphrase))


def matches(passphrase: str, kept: str | None) -> bool:
    """Whether a passphrase is the one whose hash was kept; takes as long where none was."""
    try:
        HASHER.verify(kept or NOBODYS, _normal(passphrase))
    except (VerificationError, InvalidHashError):
        return False
    return kept is not None


def new_code() -> str:
    """A code to begin with: 124 random bits (OWASP ASVS 5.0, 6.5.2, asks for 112), in groups that can be read out."""
    letters = "abcdefghjkmnpqrstuvwxyz23456789"
    return "-".join("".join(secrets.choice(letters) for _ in range(5)) for _ in range(5))


def code_hash(code: str) -> str:
    """The hash of such a code; it is random enough for a plain one."""
    return hashlib.sha256(code.strip().encode()).hexdigest()


def _normal(passphrase: str) -> str:
    """One form of the same characters, however a keyboard makes them (UAX 15, as NIST SP 800-63B-4 advises)."""
    return unicodedata.normalize("NFKC", passphrase)
