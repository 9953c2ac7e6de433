"""What in the files of a source has no meaning yet: unknown headers and words, with what a person may have meant."""

from __future__ import annotations

import io
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc
from rapidfuzz import fuzz, process
from ruamel.yaml import YAML
from ruamel.yaml.comments import CommentedMap, CommentedSeq

from pipelines.contract.errors import FileRefused, Finding, Uncertain, WrongUsage
from pipelines.contract.formats import Column, Kind, kind_of
from pipelines.files import identifiers
from pipelines.files.headers import PASSED_OVER, TableMapping, folded, nearest, proposed_columns
from pipelines.files.identifiers import CONFIRMABLE, Screening, column_shown
from pipelines.files.reading import (
    SOURCE_ROW,
    TOO_MANY_CELLS,
    ExportFile,
    Sheet,
    named_sheets,
    rows_of_the_table,
)
from pipelines.mapping.model import COLUMNS, DROP, LISTS, PROPOSAL, SourceMapping, codes_of, word_key
from pipelines.mapping.words import UnknownWord, Words, unknown_words, words_of
from pipelines.specialty.load import Specialty, all_codes, spoken_words

# Words are short, so less must be alike than of headers; a person confirms each either way.
WORDS_LOOK_ALIKE = 85
SHORTEST_COMPARED = 4
PROPOSED = 3
MONTHS = 12
LOCAL_DAY = re.compile(r"(\d{1,2})[./-](\d{1,2})[./-]\d{2,4}(?!\d)")
# What logs write where there is nothing to say, and for the side of an eye. Common practice, no source.
NOTHING = frozenset(["n/a", "na", "n.a.", "nil", "none", "null", "not applicable", "unknown", "not recorded"])
ENDINGS = {
    **dict.fromkeys(["od", "re", "r", "rt", "right", "rhs"], "right"),
    **dict.fromkeys(["os", "le", "l", "lt", "left", "lhs"], "left"),
    **dict.fromkeys(["ou", "be", "both", "bilateral", "b/l"], "both"),
}


@dataclass(frozen=True)
class UnknownHeader:
    """A header that is no column: in how many rows its cells are filled, and which columns it may be."""

    header: str
    rows: int
    proposals: tuple[str, ...]


@dataclass(frozen=True)
class Unknown:
    """Everything in some files that a person must say the meaning of."""

    headers: list[UnknownHeader]
    words: list[tuple[UnknownWord, tuple[str, ...]]]
    # Whole settings of the mapping, by their key: which values are proposed.
    settings: dict[str, tuple[str, ...]]
    # Texts that refuse their file until a person has read them: comments that may name somebody, references like names.
    texts: list[Uncertain]

    def __bool__(self) -> bool:
        return bool(self.headers or self.words or self.settings or self.texts)


def unknown_in(
    files: Sequence[ExportFile], specialty: Specialty, mapping: SourceMapping, refs_are_pseudonyms: bool
) -> Unknown:
    """What is unknown in the files of a source.

    Raises FileRefused for files without a table, and where a column of the format names a person: that cannot be mapped
    away. A column of no meaning yet that does is proposed to be dropped.
    """
    vocabulary = identifiers.vocabulary(code for codes in all_codes(specialty).values() for code in codes)
    search = _Search(words_of(specialty, mapping), vocabulary, refs_are_pseudonyms, mapping.of_tables())
    refused: list[Finding] = []
    for number, file in enumerate(files, 1):
        for named in named_sheets(file, number, vocabulary, mapping.of_tables()):
            if isinstance(named.read, Sheet):
                refused += search.look_at(named.shown, named.read)
            elif not named.read.passed_over:
                refused.append(named.read.finding(named.shown))
    if refused:
        raise FileRefused(refused)
    return search.outcome(specialty, mapping)


@dataclass
class _Search:
    """What was met so far in the sheets of some files."""

    words: Words
    vocabulary: frozenset[str]
    refs_are_pseudonyms: bool
    tables: TableMapping
    headers: dict[str, UnknownHeader] = field(default_factory=dict)
    met: dict[tuple[str, str], UnknownWord] = field(default_factory=dict)
    without_trainee: bool = False
    local_days: set[str] = field(default_factory=set)
    texts: dict[tuple[str, str], Uncertain] = field(default_factory=dict)

    def look_at(self, shown: str, sheet: Sheet) -> list[Finding]:
        """Take note of a sheet's headers and words; what refuses it."""
        kind = kind_of(sheet.header) or nearest(sheet.header, sheet.typed)
        likely = self._headers_of(sheet, kind)
        names = _once(likely)
        renamed = replace(
            sheet, header=names, rows=sheet.rows.rename_columns([*names, SOURCE_ROW, TOO_MANY_CELLS])
        )
        rows, _ = rows_of_the_table(renamed, kind)
        screened = identifiers.screen(
            Screening(likely, rows, kind, shown, self.refs_are_pseudonyms, self.vocabulary, self.tables)
        )
        self.texts = {(text.setting, text.key): text for text in screened.uncertain} | self.texts
        places = {
            word: place
            for place in range(len(likely))
            for word in (f"column {place + 1}", column_shown(likely, place + 1))
        }
        refused = []
        for finding in screened.refused:
            if finding.remedy in CONFIRMABLE:
                continue
            place = places.get(finding.column_name or "")
            if place is None or likely[place] in kind.names:
                refused.append(finding)
            else:
                self._note(sheet.typed[place], 0, (DROP,))
        self.without_trainee |= "trainee_ref" not in likely and "trainee_ref" in kind.required
        self._note_days(rows, kind)
        for word in unknown_words(rows, kind, self.words, shown):
            self._note_word(word)
        return refused

    def _note_word(self, word: UnknownWord) -> None:
        """Of a word for a procedure the ending that may be a side is a word of its own."""
        if word.column == "procedure":
            base, _, ending = word.word.rpartition(" ")
            if base and ending.lower() in ENDINGS:
                self._note_word(replace(word, column="side", word=ending))
                word = replace(word, word=base.rstrip(" -,("))
                if self.words.meaning(COLUMNS["procedure"], word.word):
                    return
        key = (word.column, word_key(word.word))
        before = self.met.get(key)
        if before:
            rows, trainees = before.rows + word.rows, before.trainees | word.trainees
            word = replace(before, rows=rows, trainees=trainees)
        self.met[key] = word

    def _note_days(self, rows: pa.Table, kind: Kind) -> None:
        for column in kind.columns:
            if column.type == "date" and column.name in rows.column_names:
                texts = pc.unique(rows[column.name]).drop_null().to_pylist()
                self.local_days |= {text for text in texts if LOCAL_DAY.match(text)}

    def _headers_of(self, sheet: Sheet, kind: Kind) -> list[str]:
        """The names of the columns, an unknown header under the first column that it may mean."""
        likely = list(sheet.header)
        for place, (name, typed) in enumerate(zip(sheet.header, sheet.typed, strict=False)):
            if name in kind.names or name.startswith(PASSED_OVER):
                continue
            proposals = proposed_columns(typed, [column for column in kind.names if column not in likely])
            if proposals:
                likely[place] = proposals[0]
            self._note(typed, len(sheet.rows) - sheet.rows.column(place).null_count, tuple(proposals))
        return likely

    def _note(self, typed: str, rows: int, proposals: tuple[str, ...]) -> None:
        before = self.headers.get(folded(typed))
        if before:
            proposals = proposals if DROP in proposals else before.proposals
        self.headers[folded(typed)] = UnknownHeader(typed, rows + (before.rows if before else 0), proposals)

    def outcome(self, specialty: Specialty, mapping: SourceMapping) -> Unknown:
        """What the mapping does not list yet, each word with its proposals, the most frequent first."""
        listed = {folded(header) for header in (*mapping.headers, *mapping.ignore, *mapping.drop)}
        known = {name: {word_key(word) for word in words} for name, words in mapping.words.items()}
        headers = [each for name, each in self.headers.items() if name not in listed]
        order = list(COLUMNS)
        words = [
            (word, proposed_codes(word, specialty))
            for (column, key), word in self.met.items()
            if key not in known.get(column, ())
        ]
        words.sort(key=lambda pair: (order.index(pair[0].column), -pair[0].rows, pair[0].word))
        settings: dict[str, tuple[str, ...]] = {}
        if self.without_trainee and mapping.trainee_ref is None:
            settings["trainee_ref"] = ("sheet", "file")
        if self.local_days and mapping.dates is None:
            settings["dates"] = _orders_of_days(self.local_days)
        said = {
            (setting, key.removeprefix(PROPOSAL).strip())
            for setting, keys in (("pseudonyms", mapping.pseudonyms), ("released", mapping.released))
            for key in keys
        }
        return Unknown(
            headers, words, settings, [text for key, text in self.texts.items() if key not in said]
        )


def _orders_of_days(days: Iterable[str]) -> tuple[str, ...]:
    """Which order of day and month the days allow: one with a number above 12 decides."""
    numbers = [tuple(map(int, found.groups())) for day in days if (found := LOCAL_DAY.match(day))]
    orders = []
    if all(second <= MONTHS for _, second in numbers):
        orders.append("day_first")
    if all(first <= MONTHS for first, _ in numbers):
        orders.append("month_first")
    return tuple(orders)


def _once(names: Sequence[str]) -> list[str]:
    """The names, one that stands before already with its place."""
    return [f"{name}__{place}" if name in names[:place] else name for place, name in enumerate(names)]


def proposed_codes(word: UnknownWord, specialty: Specialty) -> tuple[str, ...]:
    """Up to three codes that a word may mean, the likeliest first; a person confirms each."""
    column = COLUMNS[word.column]
    if word.word.lower() in NOTHING or not folded(word.word):
        return ("none", "blank") if column.type in LISTS else ("blank",)
    if word.column == "side" and word.word.lower() in ENDINGS:
        return (ENDINGS[word.word.lower()],)
    spoken = _spoken_of(column, specialty)
    alike = process.extract(
        folded(word.word), list(spoken), scorer=fuzz.WRatio, score_cutoff=WORDS_LOOK_ALIKE, limit=None
    )
    shortest = SHORTEST_COMPARED
    return tuple(
        dict.fromkeys(spoken[text] for text, _, _ in alike if len(folded(word.word)) >= shortest <= len(text))
    )[:PROPOSED]


def _spoken_of(column: Column, specialty: Specialty) -> dict[str, str]:
    """For the folded texts that a column's codes go by, the code."""
    codes = all_codes(specialty).get(column.codes or "", [])
    spoken = spoken_words(specialty).get(column.codes or "", {})
    return {folded(text): code for code in codes for text in (code, *spoken.get(code, ()))}


# ---- the file


def written(text: str, unknown: Unknown, specialty: Specialty) -> str:
    """The mapping's text with the unknown headers and words added, each marked as a proposal that does nothing yet."""
    yaml, codes = YAML(), all_codes(specialty)
    yaml.width = 200
    content: Any = yaml.load(text) if text.strip() else CommentedMap()
    if content is None:
        content = CommentedMap()
    for key, proposals in unknown.settings.items():
        content[key] = _marked(proposals)
    for header in unknown.headers:
        _add(content, ("headers",), header.header, header.proposals, f"{header.rows} rows")
    for word, proposals in unknown.words:
        people = len(word.trainees)
        count = f"{word.rows} rows, {people} trainee{'s' * (people != 1)}"
        if not proposals:
            count += f"; one of {', '.join(codes_of(word.column, codes))}"
        _add(content, ("words", word.column), word.word, proposals, count)
    for asked in unknown.texts:
        listed = content.setdefault(asked.setting, CommentedSeq())
        listed.append(_marked([asked.key]))
        place = f"{asked.file_name}, row {asked.source_row}, {asked.column}"
        listed.yaml_add_eol_comment(f"{place}: looks like {asked.what}", len(listed) - 1)
    out = io.StringIO()
    yaml.dump(content, out)
    return (HEAD if not text.strip() else "") + out.getvalue()


HEAD = f"""\
# How this source writes what the export format calls otherwise.
# A line whose value begins with {PROPOSAL} does nothing: leave the one code or column that is right, without the
# {PROPOSAL}. A header may also be `ignore` (not read) or `drop` (never looked at); a word may also be `blank`.
# `released` and `pseudonyms`: read the place in the file; without the {PROPOSAL} the line says that it names nobody.
"""


def _add(
    content: CommentedMap, path: tuple[str, ...], key: str, proposals: Sequence[str], count: str
) -> None:
    place = content
    for step in path:
        if place.get(step) is None:
            place[step] = CommentedMap()
        place = place[step]
    place[key] = _marked(proposals)
    place.yaml_add_eol_comment(count, key)


def _marked(proposals: Sequence[str]) -> str:
    return f"{PROPOSAL} {' / '.join(proposals)}".strip()


def refuse_no_code(column: str, word: str, meaning: str, specialty: Specialty) -> None:
    """Raise WrongUsage where a person's choice for a word is none that the column allows."""
    allowed = codes_of(column, all_codes(specialty))
    if meaning not in allowed:
        raise WrongUsage(f'{column} "{word}": "{meaning}" is no code here. Use one of: {", ".join(allowed)}.')
