"""Whether a word may be somebody's name: by lists of names of 80 languages, of English words, and of clinical ones.

Names: Faker's lists. English words: the lemmas of lemminflect, which hold no proper names. Both are imported where a
text has letters to ask about, and nowhere else.
"""

from __future__ import annotations

import functools
import importlib
import pkgutil
import re
from collections.abc import Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from pathlib import Path
from typing import Literal

WORDS = Path(__file__).with_name("words.txt")
SHORTEST_NAME = 3  # letters; shorter ones are also syllables, units and words of every language

# plain: of the format, the specialty or the clinic · word: English · name: a name alone · either: both · unknown
WordClass = Literal["plain", "word", "name", "either", "unknown"]


@functools.lru_cache(maxsize=65_536)
def class_of(word: str) -> WordClass:
    """What a word is, whatever its case; a possessive counts as the word."""
    folded = re.sub("['’]s?$", "", word.casefold())
    if folded in words("plain"):
        return "plain"
    name = len(folded) >= SHORTEST_NAME and folded in names()
    if is_english(folded):
        return "either" if name else "word"
    return "name" if name else "unknown"


@functools.cache
def words(kind: str) -> frozenset[str]:
    """The words of one kind of words.txt: plain ones, titles, what stands beside a person."""
    lines = WORDS.read_text(encoding="utf-8").partition(f"== {kind}\n")[2].partition("== ")[0].splitlines()
    return frozenset(word for line in lines if not line.startswith("#") for word in line.split())


@functools.cache
def names() -> frozenset[str]:
    """Given and family names, in small letters; of a name of several words each."""
    return frozenset(
        part.casefold() for name in listed_names() for part in re.split(r"[\s\-]+", name) if part
    )


def listed_names() -> Iterator[str]:
    import faker.providers.person as lists

    for module in pkgutil.iter_modules(lists.__path__):
        provider = importlib.import_module(f"{lists.__name__}.{module.name}").Provider
        for attribute in dir(provider):
            values = getattr(provider, attribute)
            if (
                "name" in attribute
                and "language" not in attribute
                and isinstance(values, (Mapping, Sequence, AbstractSet))
            ):
                yield from (name for name in values if isinstance(name, str) and "{" not in name)


@functools.cache
def family_names_of_one_letter() -> frozenset[str]:
    """Family names of Chinese and Korean that are one character."""
    found: set[str] = set()
    for language in ("zh_CN", "zh_TW", "ko_KR"):
        provider = importlib.import_module(f"faker.providers.person.{language}").Provider
        found |= {name for name in provider.last_names if len(name) == 1}
    return frozenset(found)


def is_english(word: str) -> bool:
    import lemminflect

    return bool(lemminflect.getAllLemmas(word))


def is_base_form(word: str) -> bool:
    """Whether an English word is not inflected: what stands in the past tense is no name."""
    import lemminflect

    return any(word in lemmas for lemmas in lemminflect.getAllLemmas(word).values())


def is_listed(word: str) -> bool:
    """Whether a word is a name of the lists, whatever else it is."""
    return len(word) >= SHORTEST_NAME and word.casefold() in names()
