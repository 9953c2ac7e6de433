"""What a column of references holds that no pseudonym may: days, numbers of records and persons, names.

A reference is judged by its column. A hex reference that happens to be all digits is none of somebody's records, nor is
one number of ten digits that passes a checksum: chance must not explain what is found.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import pyarrow as pa
import pyarrow.compute as pc

from pipelines.files.names import SHORTEST_NAME, class_of
from pipelines.files.national import LEAST_LIKELY, national_numbers, tail
from pipelines.files.shapes import PLAIN_REFERENCE

LOOKED_AT = 5_000  # different references of a column

YEAR, SHORT_YEAR = r"(?:19|20)[0-9]{2}", r"[0-9]{2}"
MONTH, DAY = r"(?:0[1-9]|1[0-2])", r"(?:0[1-9]|[12][0-9]|3[01])"
DAY_APART = re.compile(
    rf"(?<![0-9])(?:{YEAR}[-_]{MONTH}[-_]{DAY}|{DAY}[-_]{MONTH}[-_]{YEAR}|{MONTH}[-_]{DAY}[-_]{YEAR})(?![0-9])"
)
DAY_JOINED = re.compile(
    rf"(?<![0-9])(?:{YEAR}{MONTH}{DAY}|{DAY}{MONTH}{YEAR}|{MONTH}{DAY}{YEAR})(?=[0-9]{{0,4}}(?![0-9]))"
)
DAY_SHORT = re.compile(
    rf"(?<![0-9])(?:({DAY})[-_]?{MONTH}[-_]?{SHORT_YEAR}|{SHORT_YEAR}[-_]?{MONTH}[-_]?({DAY})|{MONTH}[-_]?({DAY})[-_]?{SHORT_YEAR})(?![0-9])"
)
SIX_DIGITS = re.compile(r"(?<![0-9])[0-9]{2}[-_]?[0-9]{2}[-_]?[0-9]{2}(?![0-9])")
# The share of random digits that are such a day by chance.
CHANCE_JOINED, CHANCE_SHORT = 0.003, 0.1
FEWEST_SHORT = 8
# The share of letters at random that spell a name is far below.
CHANCE_SPELLED = 0.3
WITH_AN_INITIAL = 6  # letters
LABELLED = re.compile(r"(?i)(?:mrn|nhs|ssn|hosp|pid|acct|dob)[-_]?[0-9]{4,}")
RECORD_NUMBER = re.compile(r"[0-9]{6,}")
LETTERS = re.compile(r"[^\W\d_]{3,}")
UUID = re.compile(r"(?i)[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}")  # RFC 9562, 4: its letters are digits


@dataclass(frozen=True)
class Suspicion:
    """What a reference looks like; `confirmable` where a person may say that it is a pseudonym all the same."""

    text: str
    what: str
    confirmable: bool = False


def suspicions(
    column: pa.ChunkedArray,
    distinct: pa.StringArray,
    refs_are_pseudonyms: bool,
    operated: pa.ChunkedArray | None,
) -> list[Suspicion]:
    """What the references of one column are that they may not be, each of the `distinct` ones once.

    `operated` are the texts of the days of the operations in the same rows, where the table has them.
    """
    doubtful = distinct.filter(pc.invert(pc.match_substring_regex(distinct, PLAIN_REFERENCE)))
    if not len(doubtful):
        return []
    texts = [text for text in doubtful[:LOOKED_AT].to_pylist() if not text.isspace()]
    return [
        *days_in(texts),
        *days_of_rows(column, operated),
        *numbers_in(texts, len(distinct), refs_are_pseudonyms),
        *names_in(texts),
    ]


# Days


def days_in(texts: Sequence[str]) -> Iterator[Suspicion]:
    """References with a day inside: written apart always, in one number where chance does not explain how many."""
    apart = [text for text in texts if DAY_APART.search(text)]
    yield from (Suspicion(text, "a day inside a reference") for text in apart)
    long = [text for text in texts if re.search(r"[0-9]{8}", text)]
    joined = [text for text in long if DAY_JOINED.search(text)]
    if joined and tail(len(long), len(joined), CHANCE_JOINED) < 0.005:
        yield from (Suspicion(text, "a day inside a reference") for text in joined)
    six = [text for text in texts if SIX_DIGITS.search(text)]
    short = [match for text in six if (match := DAY_SHORT.search(text))]
    days = {next(filter(None, match.groups())) for match in short}
    # Numbers that count up have few days, or few months, among them.
    if len(short) >= FEWEST_SHORT and len(short) >= 0.9 * len(six) and len(days) >= min(8, len(short) / 2):
        yield from (Suspicion(match.string, "a day inside a reference") for match in short)


def days_of_rows(column: pa.ChunkedArray, operated: pa.ChunkedArray | None) -> Iterator[Suspicion]:
    """References of which most hold the day of their own operation, with a year of two digits."""
    if operated is None:
        return
    pairs = zip(column[:LOOKED_AT].to_pylist(), operated[:LOOKED_AT].to_pylist(), strict=True)
    rows = [(text, re.findall("[0-9]+", day)) for text, day in pairs if text and day]
    held = [text for text, parts in rows if len(parts) >= 3 and holds_day(text, parts)]
    if len(held) * 2 > len(rows):
        yield from (Suspicion(text, "the day of the operation") for text in dict.fromkeys(held))


def holds_day(text: str, parts: Sequence[str]) -> bool:
    one, two, three = (part[-2:].zfill(2) for part in parts[:3])
    return any(
        run in text for run in (one + two + three, three + two + one, two + one + three, two + three + one)
    )


# Numbers


def numbers_in(texts: Sequence[str], distinct: int, refs_are_pseudonyms: bool) -> Iterator[Suspicion]:
    """Numbers of records, where chance does not explain that all is digits; national numbers, whatever a programme says."""
    yield from (Suspicion(text, "a number with the word for it") for text in texts if LABELLED.search(text))
    if what := national_numbers(texts):
        yield from (
            Suspicion(text, f"{what[0].lower() if what.startswith('numbers') else what[0]}{what[1:]}")
            for text in texts
        )
        return
    numbers = [text for text in texts if RECORD_NUMBER.fullmatch(text)]
    if numbers and not refs_are_pseudonyms and not by_chance(numbers, texts, distinct):
        yield from (Suspicion(text, "a record number, not a pseudonym") for text in numbers)


def by_chance(numbers: Sequence[str], texts: Sequence[str], distinct: int) -> bool:
    """Whether references of letters and digits at random would hold so many that are digits alone.

    Of the references as long as these, the share of digits at each place is taken for the chance of one.
    """
    lengths = {len(number) for number in numbers}
    if len(lengths) != 1:
        return False
    (length,) = lengths
    alike = [text for text in texts if len(text) == length]
    if len(alike) * 2 < distinct:
        return False
    shares = [sum(text[place].isdigit() for text in alike) / len(alike) for place in range(length)]
    expected = math.prod(shares) * len(alike)
    return max(shares) < 1 and poisson_tail(len(numbers), expected) > LEAST_LIKELY


def poisson_tail(count: int, expected: float) -> float:
    """The probability of at least `count` where `expected` are expected."""
    return 1 - sum(math.exp(-expected) * expected**k / math.factorial(k) for k in range(min(count, 100)))


# Names


def names_in(texts: Sequence[str]) -> Iterator[Suspicion]:
    """References with a name, where more of those with letters have one than letters at random would spell.

    Where they do, the others of the column are asked about as well: the lists do not hold every name.
    """
    lettered = {text: words_of(text) for text in texts if not UUID.fullmatch(text)}
    asked = [text for text, words in lettered.items() if any(class_of(word) != "plain" for word in words)]
    named = [text for text in asked if any(map(is_name, lettered[text]))]
    if len(named) <= CHANCE_SPELLED * len(asked):
        return
    for text in asked:
        several = sum(map(is_name, lettered[text])) > 1
        yield Suspicion(text, "the names of a person" if several else "a name", confirmable=not several)


def words_of(text: str) -> list[str]:
    """The letters of a reference, apart where a capital follows a small letter."""
    return LETTERS.findall(re.sub(r"(?<=[a-z])(?=[A-Z])", " ", text))


def is_name(word: str) -> bool:
    """Whether letters in a reference are a name, with an initial before or after it or without one."""
    kind, written_as_one = class_of(word), word[0].isupper() and word[1:].islower()
    if kind == "name":
        return len(word) > SHORTEST_NAME or written_as_one
    if written_as_one and kind in ("either", "unknown"):
        return len(word) > SHORTEST_NAME + (kind == "unknown")
    return (
        kind == "unknown"
        and len(word) >= WITH_AN_INITIAL
        and "name" in (class_of(word[1:]), class_of(word[:-1]))
    )
