"""Refuses a file that looks as if it named a person: its name, its headers, its cells."""

from __future__ import annotations

import calendar
import functools
import re
import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from itertools import pairwise
from pathlib import Path

import pyarrow as pa
import pyarrow.compute as pc

from pipelines.contract.errors import Finding, Uncertain
from pipelines.contract.formats import FORMAT_CODES, KINDS, Column, Kind, nearest_kind
from pipelines.contract.rules import LEFT_OUT, REFUSALS, WARNINGS
from pipelines.files.headers import COLUMN_OF_SYNONYM, NO_MAPPING, PASSED_OVER, TableMapping
from pipelines.files.shapes import CERTAIN, PLAIN_REFERENCE, UNCERTAIN, WORDS, Shape

HEADER_WORDS = frozenset({
    "name", "surname", "patient", "birth", "dob", "address", "postcode", "zip", "phone", "fax", "email", "mrn",
    "insurance", "account", "licence", "license", "serial", "photo",
})  # fmt: skip
# Two neighbouring words of a header, or one word that it cuts in two.
HEADER_PAIRS = frozenset({("record", "number"), ("e", "mail")})
PLAIN_WORDS = frozenset(
    ["record", "number", "e", "mail", "of", "id", "no", "date", "first", "last", "full", "middle"]
)
FILE_WORDS = (
    "export exports file files sheet log logs roster rosters cases table data csv tsv txt xlsx parquet note notes"
    " book workbook resident residents legend codes summary total totals list class year month spring summer autumn"
    " winter old new final copy extra other own page start end time early earlier late later north south east west main"
    " hospital good bad big small base live second part whole mine yours held odd large older newer"
)
ENDINGS = frozenset(
    {".csv", ".json", ".ndjson", ".tsv", ".tab", ".txt", ".xlsx", ".xlsm", ".xls", ".parquet"}
)
# A year and a month, or the two years of a class; three numbers could be a day.
NUMBERS_OF_A_MONTH = 2
PLAIN_TOKEN = re.compile(r"[A-Za-z]|[A-Za-z]{1,3}[0-9]{1,4}|(?:19|20)?[0-9]{1,2}")
LISTED = 20  # findings of a sheet
REMEDY = "Remove it and export again; nothing of the file was stored."
REMEDY_PSEUDONYM = "Use a pseudonym such as T07-0004512 and export again; nothing of the file was stored."
REMEDY_UNCERTAIN = (
    "Read it: take out what names somebody and export again, or release the text where it names nobody; nothing was"
    " stored."
)
REMEDY_UNKNOWN = (
    "Say in the source's mapping that the column is dropped: then it is never read. Or leave it out of the export;"
    " nothing was stored."
)
REMEDY_NAME = (
    "If it is a pseudonym, say so once in the source's mapping; else use one such as T07 and export again. Nothing was"
    " stored."
)
# What a person may say to be a pseudonym, or release.
CONFIRMABLE = (REMEDY_NAME, REMEDY_UNCERTAIN)
# A number of a person has as many digits and letters.
LONG_ENOUGH = r"^(?:[0-9A-Za-z][\s.\-/]?){8,33}$"


# File names


def vocabulary(codes: Iterable[str]) -> frozenset[str]:
    """Words that name no person: the contract's, plain words of files, months, and those of `codes`."""
    names = [*LEFT_OUT, *WARNINGS, *REFUSALS, *FILE_WORDS.split(), *calendar.month_name, *calendar.month_abbr]
    for kind in KINDS:
        names += [kind.name, *(column.name for column in kind.columns)]
    for each in FORMAT_CODES.values():
        names += each
    return frozenset(word for name in [*names, *codes] for word in name.lower().split("_") if word)


def shown_name(path_name: str, number: int, vocabulary: frozenset[str]) -> str:
    """The name of a file, or `file 3` where it looks like a person or an identifier."""
    return f"file {number}" if looks_personal(path_name, vocabulary) else path_name


def shown_title(title: str, position: int, vocabulary: frozenset[str]) -> str:
    """The title of a sheet in a book, or `sheet 2` where it looks like a person or an identifier."""
    return f"sheet {position}" if looks_personal(title, vocabulary) else title


def stored_name(path_name: str, number: int, vocabulary: frozenset[str]) -> str:
    """The name under which the store keeps a file: its own where all of it is plain words, else `file 3`."""
    return path_name if is_plain(path_name, vocabulary) else f"file {number}"


def stored_title(title: str, position: int, vocabulary: frozenset[str]) -> str:
    """The title under which the store keeps a sheet: its own where all of it is plain words, else `sheet 2`."""
    return title if is_plain(title, vocabulary) else f"sheet {position}"


def is_plain(name: str, vocabulary: frozenset[str]) -> bool:
    """Whether a name is made of words of the vocabulary, years and months in digits, and short references (T07)."""
    tokens = words_of(name)
    numbers = [token for token in tokens if token.isdigit()]
    return len(numbers) <= NUMBERS_OF_A_MONTH and all(
        token.lower().rstrip("0123456789") in vocabulary
        or PLAIN_TOKEN.fullmatch(token)
        or is_common(token.lower())
        for token in tokens
    )


def is_common(word: str) -> bool:
    """Whether a word stands in the list of plain words, which holds no names."""
    from pipelines.files.names import words

    return word in words("plain")


@functools.lru_cache(maxsize=8)
def screen_file_name(name: str) -> bool:
    """Whether the name of a file or sheet holds what is certainly an identifier: then the file is refused."""
    texts = [name, name.replace("_", " ")]
    return bool(name and found_shapes(pa.chunked_array([texts], pa.string()), CERTAIN))


def looks_personal(name: str, vocabulary: frozenset[str]) -> bool:
    if screen_file_name(name):
        return True
    tokens = words_of(name)
    foreign = [is_word(token) and token.lower() not in vocabulary for token in tokens]
    words = [token for token in tokens if is_word(token)]
    if len(words) >= 2 and sum(foreign) == len(words):
        return True
    capitals = [alien and token[0].isupper() for alien, token in zip(foreign, tokens, strict=True)]
    return any(left and right for left, right in pairwise(capitals))


def words_of(name: str) -> list[str]:
    """Split at anything not a letter or digit, and where a capital follows a small letter."""
    name = unicodedata.normalize("NFC", name)
    if Path(name).suffix.lower() in ENDINGS:
        name = name[: -len(Path(name).suffix)]
    apart = "".join(
        f" {letter}" if letter.isupper() and before.islower() else letter
        for before, letter in zip(f" {name}", name, strict=False)
    )
    return [token for token in re.split(r"[\W_]+", apart) if token]


def is_word(token: str) -> bool:
    return len(token) >= 2 and token.isalpha()


# Headers


def normalised(header: str) -> str:
    return re.sub(r"[\s-]", "_", header.strip().lower())


def column_shown(header: list[str], position: int, words: frozenset[str] = frozenset()) -> str:
    """The name of a column where all of it is plain words, else `column 5`: a header may hold anything."""
    name = header[position - 1] if position <= len(header) else ""
    plain = re.fullmatch(r"[a-z][a-z0-9_]{0,39}", name) and all(
        len(word) < 2 or word in words or word in of_the_format() or word.isdigit() or is_english(word)
        for word in name.split("_")
    )
    return name if plain else f"column {position}"


def is_english(word: str) -> bool:
    """Whether a word is an English one and nobody's name."""
    # Imported here: nearly every header is of the format.
    from pipelines.files.names import class_of

    return class_of(word) in ("plain", "word")


@functools.cache
def of_the_format() -> frozenset[str]:
    """The vocabulary without a specialty's, and the words of headers that look like a column's."""
    return vocabulary(()) | {word for name in COLUMN_OF_SYNONYM for word in name.split()}


# Tables

# Shapes that are looked for in one pass. Only few fit: of too large a pattern the engine becomes slow.
Group = tuple[Shape, ...]


@dataclass(frozen=True)
class Hit:
    """One place of a table: `said` is what a message says of it, without the cell."""

    row: int
    position: int
    said: str
    remedy: str


@dataclass
class Screened:
    """What refuses a table, at most LISTED findings; what is only noticed; what a person may confirm or release."""

    refused: list[Finding] = field(default_factory=list)
    warnings: list[Finding] = field(default_factory=list)
    uncertain: list[Uncertain] = field(default_factory=list)


@dataclass(frozen=True)
class Screening:
    """A table to be screened. `rows` has the text columns of `header` in its order, then the number of the row.

    `kind` is None for a table of no kind: in its columns only what is certain is looked for, they may only want a
    mapping. A header that matched is named only where all of it is plain words or `words` (`date_of_birth`): beside
    them may stand a name.
    """

    header: list[str]
    rows: pa.Table
    kind: Kind | None
    shown: str
    refs_are_pseudonyms: bool = False
    words: frozenset[str] = frozenset()
    mapping: TableMapping = NO_MAPPING

    def column(self, name: str) -> Column | None:
        kind = self.kind or nearest_kind(self.header)
        return next((column for column in kind.columns if column.name == name), None)

    def texts(self, position: int) -> pa.ChunkedArray:
        return self.rows.column(position - 1)

    @functools.cached_property
    def coded(self) -> list[pa.DictionaryArray]:
        """The columns, each of their different texts once: what is read of a text is read once."""
        # Arrow works outside the interpreter's lock, so on several columns at a time.
        with ThreadPoolExecutor() as pool:
            return list(pool.map(coded, self.rows.columns[: len(self.header)]))

    def distinct(self, position: int) -> pa.StringArray:
        """The different texts of a column."""
        return self.coded[position - 1].dictionary

    def named(self, position: int) -> str:
        return column_shown(self.header, position, self.words)

    def first_rows(self, position: int, texts: Sequence[str]) -> list[tuple[int, str]]:
        """The rows of the first cells that are one of the texts, each with its text."""
        if not texts:
            return []
        column = self.texts(position)
        places = pc.indices_nonzero(pc.is_in(column, pa.array(texts, column.type)))[:LISTED]
        rows = self.rows.column(len(self.header)).take(places).to_pylist()
        return list(zip(rows, column.take(places).to_pylist(), strict=True))

    def count(self, position: int, texts: Sequence[str]) -> int:
        if not texts:
            return 0
        column = self.texts(position)
        return pc.sum(pc.is_in(column, pa.array(texts, column.type))).as_py() or 0


def coded(texts: pa.ChunkedArray) -> pa.DictionaryArray:
    """A column of texts as its different texts and where each stands."""
    return texts.dictionary_encode().combine_chunks()


def screen(table: Screening) -> Screened:
    """What of a table looks as if it named a person; never the text of a cell that matched, but a reference like a name."""
    screened = Screened()
    found = found_in_columns(table)
    in_header = header_faults(table, found[CERTAIN])
    screened.refused += [
        header_finding(table.shown, header_shown(table.header[position - 1], position, table.words), what)
        for position, what in in_header.items()
    ]
    total = len(in_header)
    hits: list[Hit] = []
    for position, name in enumerate(table.header, start=1):
        column = table.column(name)
        distinct = table.distinct(position)
        certain = found_of(distinct, found[CERTAIN])
        if column and column.is_pseudonym:
            certain = {**found_of(distinct, found.get((WORDS,), {})), **certain}
        total += table.count(position, list(certain))
        hits += [
            Hit(row, position, looks_like(certain[text]), remedy_for(certain[text], known=column is not None))
            for row, text in table.first_rows(position, list(certain))
        ]
        if column is None:
            total += unknown_column(table, position, found, screened, hits)
        elif column.is_free_text:
            total += free_text(table, position, set(certain), screened, hits)
        elif column.is_pseudonym:
            total += references(table, position, set(certain), screened, hits)
    named = {position: f"column {position}" for position in in_header}
    screened.refused += cell_findings(table, hits, named)
    screened.refused = with_total(screened.refused[:LISTED], total)
    return screened


def found_in_columns(table: Screening) -> dict[Group, dict[str, str]]:
    """What has a shape of a group, by group: one pass for all columns, as to prepare a pattern costs the most."""
    # Spaces and hyphens of a header have become underscores.
    headers = [*table.header, *(name.replace("_", " ") for name in table.header)]
    texts: dict[Group, list[pa.Array]] = {CERTAIN: [pa.array(headers, pa.string())]}
    for position, name in enumerate(table.header, start=1):
        distinct = table.distinct(position)
        column = table.column(name)
        groups: list[Group] = [CERTAIN]
        if column and column.is_pseudonym:
            groups.append((WORDS,))
        elif column is None and table.kind and not name.startswith(PASSED_OVER):
            groups += [(shape,) for shape in UNCERTAIN]
        for group in groups:
            texts.setdefault(group, []).append(distinct)
    return {
        group: found_shapes(pa.chunked_array(arrays, pa.string()), group) for group, arrays in texts.items()
    }


def found_of(distinct: pa.StringArray, found: dict[str, str]) -> dict[str, str]:
    """Of the texts found in all columns those of one."""
    if not found:
        return {}
    held = distinct.filter(pc.is_in(distinct, pa.array(found, distinct.type)))
    return {text: found[text] for text in held.to_pylist()}


# Columns that are not read


def unknown_column(
    table: Screening, position: int, found: dict[Group, dict[str, str]], screened: Screened, hits: list[Hit]
) -> int:
    """National numbers refuse; what is less certain is a warning that names the column."""
    distinct = table.distinct(position)
    numbers = distinct.filter(pc.match_substring_regex(distinct, LONG_ENOUGH))
    if len(numbers):
        from pipelines.files.national import national_numbers

        if what := national_numbers(numbers.to_pylist()):
            (row, _), *_ = table.first_rows(position, numbers[:1].to_pylist())
            hits.append(Hit(row, position, f"the column holds what looks like {what}", REMEDY_UNKNOWN))
            return 1
    for shape in UNCERTAIN:
        if found_of(distinct, found.get((shape,), {})):
            named = table.named(position)
            message, remedy = (
                text.format(column=named, what=shape.what) for text in WARNINGS["column_may_identify"]
            )
            screened.warnings.append(
                Finding(table.shown, "column_may_identify", "warning", message, remedy, 1, named)
            )
            break
    return 0


# Free text


def free_text(table: Screening, position: int, certain: set[str], screened: Screened, hits: list[Hit]) -> int:
    """Comments that may name somebody, unless a person has released them."""
    texts = [text for text in table.distinct(position).to_pylist() if text not in certain]
    if not texts:
        return 0
    from pipelines.files.free_text import key_of, uncertain_texts

    name = table.header[position - 1]
    found = {
        text: what
        for text, what in uncertain_texts(texts).items()
        if key_of(name, text) not in table.mapping.released
    }
    asked: set[str] = set()
    for row, text in table.first_rows(position, list(found)):
        hits.append(Hit(row, position, looks_like(found[text]), REMEDY_UNCERTAIN))
        if text not in asked:
            asked.add(text)
            key = key_of(name, text)
            screened.uncertain.append(Uncertain(table.shown, name, found[text], key, row, text))
    return table.count(position, list(found))


# References


def references(
    table: Screening, position: int, certain: set[str], screened: Screened, hits: list[Hit]
) -> int:
    """Days, numbers and names in references, each different one once; a name may be said to be a pseudonym."""
    column, distinct = table.texts(position), table.distinct(position)
    if pc.all(pc.match_substring_regex(distinct, PLAIN_REFERENCE)).as_py() is not False:
        return 0
    from pipelines.files.references import suspicions

    days = table.header.index("operated_on") if "operated_on" in table.header else None
    operated = None if days is None else table.rows.column(days)
    found = {
        each.text: each
        for each in reversed(suspicions(column, distinct, table.refs_are_pseudonyms, operated))
        if each.text not in certain and not (each.confirmable and each.text in table.mapping.pseudonyms)
    }
    name, asked = table.header[position - 1], set()
    for row, text in table.first_rows(position, list(found)):
        each = found[text]
        if text in asked:
            continue
        asked.add(text)
        said = f'"{text}" looks like {each.what}' if each.confirmable else looks_like(each.what)
        hits.append(Hit(row, position, said, REMEDY_NAME if each.confirmable else REMEDY_PSEUDONYM))
        if each.confirmable:
            screened.uncertain.append(Uncertain(table.shown, name, each.what, text, row, text))
    return len(found)


# What is said


def with_total(findings: list[Finding], total: int) -> list[Finding]:
    if total <= len(findings):
        return findings
    last = findings[-1]
    message = f"{last.message} There are {total:,} such places in all; the first {len(findings)} are listed."
    return [*findings[:-1], replace(last, message=message)]


def header_faults(table: Screening, found: dict[str, str]) -> dict[int, str]:
    """Why headers of columns that are not read refuse a table, by position: a word, or the shape of an identifier."""
    faults = {}
    for position, name in enumerate(table.header, start=1):
        if table.column(name) is None and not name.startswith(PASSED_OVER):
            fault = header_word(name) or found.get(name) or found.get(name.replace("_", " "))
            if fault:
                faults[position] = fault
    return faults


def header_word(name: str) -> str | None:
    words = re.split(r"[\W_]+", name)
    pairs = [pair for pair in pairwise(words) if pair in HEADER_PAIRS]
    found = [*(word for word in words if word in HEADER_WORDS), *("_".join(pair) for pair in pairs)]
    return f'the word "{found[0]}"' if found else None


def header_shown(name: str, position: int, words: frozenset[str]) -> str:
    plain = HEADER_WORDS | PLAIN_WORDS | words
    return name if all(word in plain for word in re.split(r"[\W_]+", name)) else f"column {position}"


def header_finding(shown: str, column: str, what: str) -> Finding:
    return Finding(
        shown,
        "identifier_in_header",
        "refused",
        f"{shown}, {column}: the header holds {what}.",
        REMEDY_UNKNOWN,
        1,
        column,
    )


def found_shapes(texts: pa.ChunkedArray, group: Group) -> dict[str, str]:
    """Each of `texts` that has one of the shapes, with what the first of them is."""
    found: dict[str, str] = {}
    likely = matching(texts, "|".join(f"(?:{shape.pattern})" for shape in group))
    for shape in group if len(likely) else ():
        for text in matching(likely, shape.pattern).to_pylist():
            if shape.check is None or shape.check(text):
                found.setdefault(text, shape.what)
    return found


def matching(texts: pa.ChunkedArray, pattern: str) -> pa.ChunkedArray:
    return texts.filter(pc.match_substring_regex(texts, pattern))


def cell_findings(table: Screening, hits: list[Hit], named: dict[int, str]) -> Iterator[Finding]:
    """The first places in the order of rows, then of columns."""
    for hit in sorted(hits, key=lambda hit: (hit.row, hit.position))[:LISTED]:
        column = named.get(hit.position) or table.named(hit.position)
        message = f"{table.shown}, row {hit.row}, {column}: {hit.said}."
        yield Finding(table.shown, "identifier_in_cell", "refused", message, hit.remedy, hit.row, column)


def looks_like(what: str) -> str:
    return f"the cell holds what looks like {what}"


def remedy_for(what: str, known: bool) -> str:
    if what == WORDS.what:
        return REMEDY_PSEUDONYM
    return REMEDY if known else REMEDY_UNKNOWN
