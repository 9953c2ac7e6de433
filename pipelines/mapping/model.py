"""sources/<source>.yaml of a store: how the exports of one source write what the format calls otherwise.

A value that begins with `?` is a proposal that nobody has confirmed: it does nothing.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from pipelines.contract.errors import WrongUsage
from pipelines.contract.formats import KINDS, Column
from pipelines.files.headers import TableMapping, folded
from pipelines.specialty.load import Specialty, all_codes
from pipelines.store.documents import load_settings

PROPOSAL = "?"
# What a word may mean beside a code: that nothing was recorded, or that nothing happened.
BLANK, NONE = "blank", "none"
IGNORE, DROP = "ignore", "drop"
WORD_TYPES = ("code", "procedure", "codes", "events", "yes_no")
LISTS, NUMBERS = ("codes", "events"), ("whole", "number")
YES_NO = ("yes", "no")
COLUMNS: dict[str, Column] = {column.name: column for kind in KINDS for column in kind.columns}


class Saved(BaseModel):
    """Who confirmed what stands in the file, on a screen, and when."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    by: str
    on: datetime.date


class Sided(BaseModel):
    """A word for a procedure that says the side too."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    procedure: str
    side: Literal["left", "right", "both"]


class SourceMapping(BaseModel):
    """One source. `words` go by column, those of `yes_no` for every column of yes and no.

    Headers and words are compared without case, accents and punctuation; a word without a letter or digit (`-`), and the
    words of `blank` and `none`, without case alone. The words of `side` are also what a word for a procedure may end with.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    headers: dict[str, str] = {}
    ignore: list[str] = []
    drop: list[str] = []
    trainee_ref: str | None = Field(default=None, pattern=r"^(sheet|file|\?.*)$")
    kind: str | None = None
    constants: dict[str, str] = {}
    dates: str | None = Field(default=None, pattern=r"^(iso|day_first|month_first|\?.*)$")
    decimal: Literal["point", "comma"] = "point"
    list_separator: str = Field(default=";", min_length=1, max_length=3)
    blank: list[str] = []
    none: list[str] = []
    words: dict[str, dict[str, str | Sided]] = {}
    pseudonyms: list[str] = []
    released: list[str] = []
    saved: list[Saved] = []

    @property
    def unconfirmed(self) -> int:
        """The number of lines that are proposals still."""
        words = [meaning for of_column in self.words.values() for meaning in of_column.values()]
        settings = [given for given in (self.trainee_ref, self.dates) if given]
        lines = [*self.headers.values(), *words, *settings, *self.pseudonyms, *self.released]
        return sum(not is_confirmed(line) for line in lines)

    @property
    def confirmed(self) -> SourceMapping:
        """The same without the lines that nobody has confirmed."""
        words = {
            column: {word: meaning for word, meaning in of_column.items() if is_confirmed(meaning)}
            for column, of_column in self.words.items()
        }
        return self.model_copy(
            update={
                "headers": {name: meaning for name, meaning in self.headers.items() if is_confirmed(meaning)},
                "words": words,
                "trainee_ref": _either(self.trainee_ref, "sheet", "file"),
                "dates": _either(self.dates, "iso", "day_first", "month_first"),
                "pseudonyms": list(filter(is_confirmed, self.pseudonyms)),
                "released": list(filter(is_confirmed, self.released)),
            }
        )

    def of_tables(self) -> TableMapping:
        """What reading needs of it, proposals left away."""
        confirmed = {folded(header): name for header, name in self.headers.items() if is_confirmed(name)}
        return TableMapping(
            headers={header: name for header, name in confirmed.items() if name not in (IGNORE, DROP)},
            ignore=_all_of(self.ignore, confirmed, IGNORE),
            drop=_all_of(self.drop, confirmed, DROP),
            trainee_ref_from=_either(self.trainee_ref, "sheet", "file"),
            kind=self.kind,
            constants=self.constants,
            pseudonyms=frozenset(filter(is_confirmed, self.pseudonyms)),
            released=frozenset(filter(is_confirmed, self.released)),
        )


def _either(given: str | None, *allowed: Any) -> Any:
    return given if given in allowed else None


def is_confirmed(meaning: str | Sided) -> bool:
    """Has a person confirmed this line?"""
    return not (isinstance(meaning, str) and meaning.startswith(PROPOSAL))


def _all_of(listed: Iterable[str], headers: Mapping[str, str], word: str) -> frozenset[str]:
    return frozenset(map(folded, listed)) | {header for header, name in headers.items() if name == word}


def load_mapping(path: Path, specialty: Specialty) -> SourceMapping | None:
    """The mapping of a source, None where the store has none; raises WrongUsage with one line a fault."""
    if not path.is_file():
        return None
    mapping = load_settings(path, SourceMapping)
    faults = [f"{path.name}: {fault}" for fault in mapping_faults(mapping, specialty)]
    if faults:
        raise WrongUsage("\n".join(faults))
    return mapping


def mapping_faults(mapping: SourceMapping, specialty: Specialty) -> Iterator[str]:
    """Every line that can mean nothing: a column, a code, a kind that does not exist, a word without a letter."""
    if mapping.kind and mapping.kind not in [kind.name for kind in KINDS]:
        yield f'kind: "{mapping.kind}" is no kind of file. Use one of: {", ".join(kind.name for kind in KINDS)}.'
    yield from _folding_faults("headers", mapping.headers)
    for header, name in mapping.headers.items():
        if is_confirmed(name) and name not in COLUMNS and name not in (IGNORE, DROP):
            yield f'headers.{header}: "{name}" is no column of the format. Use one of them, ignore or drop.'
    for name in mapping.constants:
        if name not in COLUMNS:
            yield f"constants.{name}: this is no column of the format."
    codes = all_codes(specialty)
    for name, words in mapping.words.items():
        yield from _folding_faults(f"words.{name}", words)
        yield from _word_faults(name, words, codes)


def codes_of(name: str, codes: Mapping[str, list[str]]) -> list[str]:
    """What a word of a column may mean."""
    column = COLUMNS.get(name)
    if name == "yes_no" or (column and column.type == "yes_no"):
        return [*YES_NO, BLANK]
    if column is None:
        return []
    if column.type not in WORD_TYPES:
        return [BLANK] if column.type in NUMBERS else []
    nothing = [NONE] if column.type in LISTS else []
    return [*codes.get(column.codes or "", []), *nothing, BLANK]


def _word_faults(
    name: str, words: Mapping[str, str | Sided], codes: Mapping[str, list[str]]
) -> Iterator[str]:
    allowed = codes_of(name, codes)
    if not allowed:
        yield f"words.{name}: this is no column of codes."
        return
    for word, meaning in words.items():
        if isinstance(meaning, Sided) and name != "procedure":
            yield f"words.{name}.{word}: only a word for a procedure says a side."
        code = meaning.procedure if isinstance(meaning, Sided) else meaning
        if is_confirmed(meaning) and code.lower() not in [each.lower() for each in allowed]:
            yield f'words.{name}.{word}: "{code}" is no code here. Use one of: {", ".join(allowed)}.'


def _folding_faults(path: str, words: Mapping[str, str | Sided]) -> Iterator[str]:
    """Words that no cell can match, or that are one word with two meanings."""
    seen: dict[str, str | Sided] = {}
    for word, meaning in words.items():
        key = word_key(word)
        if not key:
            yield f"{path}: a blank word matches nothing."
        elif seen.get(key, meaning) != meaning:
            yield f"{path}.{word}: the same word stands above with another meaning."
        seen[key] = meaning


def word_key(word: str) -> str:
    """A word as it is compared."""
    return folded(word) or word.strip().lower()
