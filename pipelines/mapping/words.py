"""The words of the cells made into codes: by the specialty's titles and `also` words, and by a source's mapping.

Only exact words count, after folding case, accents, spaces and punctuation. What is none of them stays as it is, and
is a finding.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from functools import partial

import pyarrow as pa
import pyarrow.compute as pc

from pipelines.contract.formats import Column, Kind
from pipelines.files.headers import folded
from pipelines.mapping.model import (
    BLANK,
    LISTS,
    NONE,
    NUMBERS,
    WORD_TYPES,
    Sided,
    SourceMapping,
    is_confirmed,
    word_key,
)
from pipelines.specialty.load import Specialty, all_codes, spoken_words

SIDE = "side"
NUMBER = re.compile(r"[+-]?\d+([.,]\d+)?")
YES_NO_READ = frozenset(["yes", "no", "y", "n", "true", "false", "1", "0"])


@dataclass(frozen=True)
class Meaning:
    """What a word means: a code, `blank`, `none`; and the side that a word for a procedure says."""

    code: str
    side: str | None = None


@dataclass(frozen=True)
class Words:
    """The words of one source. `meanings` go by the name of a set of codes, then by the folded word; `own` are those of
    the mapping, by column.
    """

    codes: Mapping[str, frozenset[str]]
    meanings: Mapping[str, Mapping[str, Meaning]]
    own: Mapping[str, Mapping[str, Meaning]] = field(default_factory=dict)
    blank: frozenset[str] = frozenset()
    none: frozenset[str] = frozenset()
    separator: str = ";"
    decimal_comma: bool = False

    def known(self, column: Column) -> frozenset[str]:
        """The texts of a column that need no translation, in lower case."""
        return YES_NO_READ if column.type == "yes_no" else self.codes.get(column.codes or "", frozenset())

    def meaning(self, column: Column, text: str) -> Meaning | None:
        """What a word of a column means, None where it is no word that is known."""
        if text.lower() in self.known(column):
            return Meaning(text.lower())
        word = word_key(text)
        for words in self._dictionaries(column):
            if word in words:
                return words[word]
        return self._with_an_ending(column, word) if column.codes == "procedures" else None

    def _dictionaries(self, column: Column) -> Iterable[Mapping[str, Meaning]]:
        yield self.own.get(column.name, {})
        if column.type == "yes_no":
            yield self.own.get("yes_no", {})
        if column.codes == "procedures":
            yield self.own.get("procedure", {})
        yield self.meanings.get(column.codes or "", {})

    def _with_an_ending(self, column: Column, word: str) -> Meaning | None:
        """A word for a procedure that ends with a word of the mapping for a side."""
        base, _, ending = word.rpartition(" ")
        side = self.own.get(SIDE, {}).get(ending) or self.meanings.get("sides", {}).get(ending)
        if not base or side is None or side.code == BLANK:
            return None
        for words in self._dictionaries(column):
            if base in words:
                return Meaning(words[base].code, side.code)
        code = base.replace(" ", "_")
        return Meaning(code, side.code) if code in self.known(column) else None

    def parts(self, column: Column, text: str) -> list[str]:
        """The words of a cell: of a list each item without its day, else the cell."""
        if column.type not in LISTS:
            return [text]
        items = (part.strip() for part in text.replace(self.separator, ";").split(";"))
        return [item.partition("@")[0].strip() for item in items if item]

    def unknown(self, column: Column, text: str) -> list[str]:
        """The words of a cell that mean nothing yet."""
        if text.lower() in self.blank or (column.type not in LISTS and self.meaning(column, text)):
            return []
        if column.type in NUMBERS:
            return [] if NUMBER.fullmatch(text) else [text]
        return [word for word in self.parts(column, text) if not self._is_known(column, word)]

    def _is_known(self, column: Column, word: str) -> bool:
        nothing = word.lower() == NONE or word.lower() in self.none
        return (column.type in LISTS and nothing) or self.meaning(column, word) is not None

    def cell(self, column: Column, text: str) -> tuple[str | None, str | None]:
        """A cell in the format's own words, None for blank; and the side that it says."""
        if text.lower() in self.blank:
            return None, None
        if column.type not in (*WORD_TYPES, *NUMBERS):
            return text, None
        if column.type in LISTS:
            return self._list(column, text), None
        if found := self.meaning(column, text):
            return (None if found.code == BLANK else found.code), found.side
        return (text.replace(",", ".") if self.decimal_comma and column.type in NUMBERS else text), None

    def _list(self, column: Column, text: str) -> str | None:
        items: list[str] = []
        for part in text.replace(self.separator, ";").split(";"):
            word, at, day = part.strip().partition("@")
            if not word:
                continue
            found = self.meaning(column, word)
            code = NONE if word.lower() in self.none else (found.code if found else word)
            if code != BLANK:
                items.append(f"{code}{at}{day}")
        return ";".join(items) or None


def words_of(specialty: Specialty, mapping: SourceMapping | None = None) -> Words:
    """The words of a source; without a mapping those that the specialty ships."""
    codes = {
        name: frozenset(code.lower() for code in of_set) for name, of_set in all_codes(specialty).items()
    }
    meanings: dict[str, dict[str, Meaning]] = {}
    for name, spoken in spoken_words(specialty).items():
        by_word: dict[str, set[str]] = {}
        for code, texts in spoken.items():
            for text in (code, *texts):
                by_word.setdefault(folded(text), set()).add(code.lower())
        # A word for two codes is none.
        meanings[name] = {
            word: Meaning(*found) for word, found in by_word.items() if len(found) == 1 and word
        }
    for name, of_set in codes.items():
        if name not in meanings:
            meanings[name] = {folded(code): Meaning(code) for code in of_set}
    if mapping is None:
        return Words(codes, meanings)
    own = {
        column: {word_key(word): _meaning(given) for word, given in words.items() if is_confirmed(given)}
        for column, words in mapping.words.items()
    }
    return Words(
        codes,
        meanings,
        own,
        frozenset(word.strip().lower() for word in mapping.blank),
        frozenset(word.strip().lower() for word in mapping.none),
        mapping.list_separator,
        mapping.decimal == "comma",
    )


def _meaning(given: str | Sided) -> Meaning:
    if isinstance(given, Sided):
        return Meaning(given.procedure.lower(), given.side)
    return Meaning(given.lower())


def translated(rows: pa.Table, kind: Kind, words: Words) -> pa.Table:
    """The rows with every cell in the format's own words.

    `rows` has text columns of the kind. A side that a word for a procedure says fills a blank one; where the two
    differ, the cell names both, which no code does: the row is left out rather than guessed at.
    """
    sides: pa.Array | None = None
    for column in kind.columns:
        if column.name not in rows.column_names:
            continue
        place = rows.column_names.index(column.name)
        if column.type in (*WORD_TYPES, *NUMBERS):
            new, side = _by_text(rows.column(place), partial(words.cell, column))
            rows = rows.set_column(place, column.name, new)
            sides = side if column.name == "procedure" and side.null_count < len(side) else sides
        elif words.blank:
            blank = pc.is_in(pc.utf8_lower(rows.column(place)), pa.array(sorted(words.blank), pa.string()))
            rows = rows.set_column(
                place, column.name, pc.if_else(blank, pa.scalar(None, pa.string()), rows.column(place))
            )
    return rows if sides is None else _with_sides(rows, sides)


def _by_text(
    column: pa.ChunkedArray, read: Callable[[str], tuple[str | None, str | None]]
) -> tuple[pa.Array, pa.Array]:
    """Each text of a column read once, however often it stands there: the new text and the side it says."""
    encoded = pc.dictionary_encode(column).combine_chunks()
    read_texts = [read(text) for text in encoded.dictionary.to_pylist()]
    new = pa.array([text for text, _ in read_texts], pa.string())
    side = pa.array([side for _, side in read_texts], pa.string())
    return new.take(encoded.indices), side.take(encoded.indices)


def _with_sides(rows: pa.Table, said: pa.Array) -> pa.Table:
    if SIDE not in rows.column_names:
        return rows.append_column(SIDE, said)
    place = rows.column_names.index(SIDE)
    side = rows.column(place).combine_chunks()
    differ = pc.and_kleene(pc.is_valid(said), pc.not_equal(pc.utf8_lower(side), said))
    both = pc.binary_join_element_wise(side, pc.fill_null(said, ""), ", but the procedure says ")
    new = pc.if_else(pc.fill_null(differ, False), both, pc.coalesce(side, said))
    return rows.set_column(place, SIDE, new)


@dataclass(frozen=True)
class UnknownWord:
    """A word of a column that means nothing yet: in how many rows, of which trainees."""

    column: str
    word: str
    rows: int
    trainees: frozenset[str]


def unknown_words(rows: pa.Table, kind: Kind, words: Words, sheet: str) -> list[UnknownWord]:
    """The unknown words of a table as read; without a column of trainees the sheet stands for one."""
    found: list[UnknownWord] = []
    for column in kind.columns:
        if column.name in rows.column_names and column.type in (*WORD_TYPES, *NUMBERS):
            found += _unknown_of(rows, column, words, sheet)
    return found


def _unknown_of(rows: pa.Table, column: Column, words: Words, sheet: str) -> Iterable[UnknownWord]:
    trainee = (
        rows["trainee_ref"] if "trainee_ref" in rows.column_names else pa.repeat(pa.scalar(sheet), len(rows))
    )
    pairs = pa.table({"text": rows[column.name], "trainee": trainee}).group_by(["text", "trainee"])
    count: dict[str, int] = {}
    trainees: dict[str, set[str]] = {}
    for row in pairs.aggregate([([], "count_all")]).to_pylist():
        for word in words.unknown(column, row["text"]) if row["text"] else ():
            count[word] = count.get(word, 0) + row["count_all"]
            trainees.setdefault(word, set()).add(row["trainee"] or "")
    return [UnknownWord(column.name, word, count[word], frozenset(trainees[word])) for word in count]
