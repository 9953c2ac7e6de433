"""Refuses a file that looks as if it named a person: its name, its headers, its cells."""

from __future__ import annotations

import calendar
import functools
import re
import unicodedata
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import pyarrow as pa
import pyarrow.compute as pc

from pipelines.contract.errors import Finding
from pipelines.contract.formats import FORMAT_CODES, KINDS, Kind, nearest_kind
from pipelines.contract.rules import LEFT_OUT, REFUSALS, WARNINGS
from pipelines.files.headers import PASSED_OVER
from pipelines.files.shapes import CERTAIN, RECORD_NUMBER, UNCERTAIN, WORDS, Shape

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
    " winter old new final copy"
)
ENDINGS = frozenset({".csv", ".tsv", ".tab", ".txt", ".xlsx", ".xlsm", ".xls", ".parquet"})
# A year and a month, or the two years of a class; three numbers could be a day.
NUMBERS_OF_A_MONTH = 2
PLAIN_TOKEN = re.compile(r"[A-Za-z]|[A-Za-z]{1,3}[0-9]{1,4}|(?:19|20)?[0-9]{1,2}")
LISTED = 20  # findings of a sheet
REMEDY = "Remove it and export again; nothing of the file was stored."
REMEDY_PSEUDONYM = "Use a pseudonym such as T07-0004512 and export again; nothing of the file was stored."
REMEDY_UNCERTAIN = "Take dates, names and long numbers out of it and export again; nothing was stored."


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
        token.lower().rstrip("0123456789") in vocabulary or PLAIN_TOKEN.fullmatch(token) for token in tokens
    )


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


def column_shown(header: list[str], position: int) -> str:
    """The name of a column where it is a plain word, else `column 5`: a header may hold anything."""
    name = header[position - 1] if position <= len(header) else ""
    return name if re.fullmatch(r"[a-z][a-z0-9_]{0,39}", name) else f"column {position}"


# Tables

# Shapes that are looked for in one pass. Only few fit: of too large a pattern the engine becomes slow.
Group = tuple[Shape, ...]


@dataclass(frozen=True)
class Hits:
    """Where one column has a shape: `rows` are the first of them, with what each looks like."""

    shown: str
    total: int
    rows: list[tuple[int, str]]


def screen(
    header: list[str],
    rows: pa.Table,
    kind: Kind | None,
    shown: str,
    refs_are_pseudonyms: bool,
    words: frozenset[str] = frozenset(),
) -> list[Finding]:
    """What refuses a table, at most 20 findings; never the text of a cell that matched.

    `rows` has the text columns of `header` in its order, then the number of the row in the file. A header that
    matched is named only where all of it is plain words or `words` (`date_of_birth`): beside them may stand a name.
    Of a table of no kind only what is certain is looked for in columns of no kind: they may only want a mapping.
    """
    nearest = kind or nearest_kind(header)
    known = {*nearest.names, *(name for name in header if name.startswith(PASSED_OVER))}
    # Spaces and hyphens of a header have become underscores.
    header_texts = [*header, *(name.replace("_", " ") for name in header)]
    columns = [rows.column(place) for place in range(len(header))]
    groups: list[list[Group]] = [
        [CERTAIN] if kind is None and name not in known else shapes_for(name, nearest, refs_are_pseudonyms)
        for name in header
    ]
    found = found_in_columns(columns, groups, header_texts)
    in_header = {
        position: fault
        for position, name in enumerate(header, start=1)
        if name not in known and (fault := header_fault(name, found[CERTAIN]))
    }
    findings = [
        header_finding(shown, header_shown(header[position - 1], position, words), what)
        for position, what in in_header.items()
    ]
    hits = []
    for position, column in enumerate(columns, start=1):
        named = f"column {position}" if position in in_header else column_shown(header, position)
        # Of two shapes that a text has, the one of the earlier group is named.
        shapes: dict[str, str] = {}
        for group in reversed(groups[position - 1]):
            shapes |= found[group]
        hits.append(column_hits(column, rows.column(len(header)), named, shapes))
    findings += cell_findings(shown, hits)
    total = len(in_header) + sum(hit.total for hit in hits)
    return with_total(findings[:LISTED], total)


def found_in_columns(
    columns: list[pa.ChunkedArray], groups: list[list[Group]], header_texts: list[str]
) -> dict[Group, dict[str, str]]:
    """What has a shape of a group, by group: one pass for all columns, as to prepare a pattern costs the most."""
    texts: dict[Group, list[pa.Array]] = {CERTAIN: [pa.array(header_texts, pa.string())]}
    for column, of_column in zip(columns, groups, strict=True):
        for group in of_column:
            texts.setdefault(group, []).append(column.unique().drop_null().cast(pa.string()))
    return {
        group: found_shapes(pa.chunked_array(arrays, pa.string()), group) for group, arrays in texts.items()
    }


def with_total(findings: list[Finding], total: int) -> list[Finding]:
    if total <= len(findings):
        return findings
    last = findings[-1]
    message = f"{last.message} There are {total:,} such places in all; the first {len(findings)} are listed."
    return [*findings[:-1], replace(last, message=message)]


def header_fault(name: str, shapes: dict[str, str]) -> str | None:
    """Why a header is refused: one of the words, or the shape of an identifier."""
    return header_word(name) or shapes.get(name) or shapes.get(name.replace("_", " "))


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
        "Remove the column and export again; nothing of the file was stored.",
        1,
        column,
    )


def shapes_for(name: str, kind: Kind, refs_are_pseudonyms: bool) -> list[Group]:
    """Certain shapes for every column; more for pseudonyms, free text and columns the kind does not know."""
    if name.startswith(PASSED_OVER):
        return [CERTAIN]
    column = next((column for column in kind.columns if column.name == name), None)
    if column is None or column.is_free_text:
        return [CERTAIN, *((shape,) for shape in UNCERTAIN)]
    if not column.is_pseudonym:
        return [CERTAIN]
    return [CERTAIN, (WORDS,)] if refs_are_pseudonyms else [CERTAIN, (WORDS,), (RECORD_NUMBER,)]


def column_hits(
    column: pa.ChunkedArray, row_numbers: pa.ChunkedArray, shown: str, found: dict[str, str]
) -> Hits:
    if not found:
        return Hits(shown, 0, [])
    places = pc.indices_nonzero(pc.is_in(column, pa.array(found, column.type)))
    first = places[:LISTED]
    pairs = zip(row_numbers.take(first).to_pylist(), column.take(first).to_pylist(), strict=True)
    return Hits(shown, len(places), [(row, found[text]) for row, text in pairs])


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


def cell_findings(shown: str, hits: list[Hits]) -> Iterator[Finding]:
    """The first places in the order of rows, then of columns."""
    places = sorted(
        (row, position, hit.shown, what) for position, hit in enumerate(hits) for row, what in hit.rows
    )
    for row, _, column, what in places[:LISTED]:
        yield Finding(
            shown,
            "identifier_in_cell",
            "refused",
            f"{shown}, row {row}, {column}: the cell holds what looks like {what}.",
            remedy_for(what),
            row,
            column,
        )


def remedy_for(what: str) -> str:
    if what in (WORDS.what, RECORD_NUMBER.what):
        return REMEDY_PSEUDONYM
    return REMEDY_UNCERTAIN if what in {shape.what for shape in UNCERTAIN} else REMEDY
