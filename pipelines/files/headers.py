"""What a person said about the tables of a source: which header is which column, what is not read, what was confirmed."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal


def folded(text: str) -> str:
    """A header or word as it is compared: without case, accents, punctuation and doubled spaces."""
    plain = "".join(
        letter
        for letter in unicodedata.normalize("NFKD", text.casefold())
        if not unicodedata.combining(letter)
    )
    return " ".join(re.split(r"[\W_]+", plain)).strip()


@dataclass(frozen=True)
class TableMapping:
    """How the tables of one source are read; keys and members that are headers are `folded`.

    `headers` gives the column of a header. A column under `ignore` is not read and not spoken of; one under `drop`
    is not even looked at below its header. `kind` says what kind of file a table is that two kinds could be.
    `constants` fill columns that the table does not have. `pseudonyms` are references that look like a name and were
    said to be none, as typed; `released` the keys of free text that a person has read and released.
    """

    headers: Mapping[str, str] = field(default_factory=dict)
    ignore: frozenset[str] = frozenset()
    drop: frozenset[str] = frozenset()
    trainee_ref_from: Literal["sheet", "file"] | None = None
    kind: str | None = None
    constants: Mapping[str, str] = field(default_factory=dict)
    pseudonyms: frozenset[str] = frozenset()
    released: frozenset[str] = frozenset()
