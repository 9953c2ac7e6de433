"""Which row of a table is its header, and which column each header is: by the format's own names, by what a person
mapped, or, for them to confirm, by what looks like it.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

from pipelines.contract.formats import KINDS, Kind, missing_columns, nearest_kind

ALL_COLUMNS = frozenset(column.name for kind in KINDS for column in kind.columns)
HEADER_AMONG = 60  # rows of the beginning of a table
# The ratio of rapidfuzz from which two headers look alike. Of 57 headers of real exports 18 proposals were right and
# two wrong at 90; at 80, 20 and five.
LOOKS_LIKE = 90
SHORTEST_COMPARED = 4  # letters; a shorter word is part of too many others
PROPOSED = 3

# What people call the columns, as `folded` writes it. Common practice, no source.
SYNONYMS: dict[str, tuple[str, ...]] = {
    "case_ref": (
        "case id", "case no", "case nr", "case number", "case reference", "case", "operation id", "operation no",
        "op id", "op no", "op number", "surgery id", "log id", "log no", "entry id", "record id", "reference", "ref",
    ),
    "trainee_ref": (
        "resident", "resident id", "resident no", "resident code", "trainee", "trainee id", "trainee no",
        "trainee code", "fellow", "fellow id", "learner", "learner id",
    ),
    "operated_on": (
        "date of surgery", "surgery date", "date of operation", "operation date", "op date", "date of procedure",
        "procedure date", "case date", "date performed", "date of case", "dos", "date", "operated on",
    ),
    "procedure": (
        "operation", "surgery", "procedure performed", "procedure name", "procedure code", "procedure type",
        "operation performed", "type of surgery", "type of procedure", "surgical procedure", "op type", "cpt",
        "cpt code",
    ),
    "role": (
        "role in case", "role in surgery", "resident role", "trainee role", "surgeon role", "role performed",
        "level of participation", "participation", "capacity",
    ),
    "side": ("eye", "laterality", "eye operated", "operated eye", "od os", "od os ou", "r l", "eye side"),
    "principal": ("main procedure", "primary procedure", "principal procedure", "primary"),
    "converted_from": ("planned procedure", "intended procedure", "procedure planned", "converted from"),
    "supervision": (
        "supervision level", "level of supervision", "autonomy", "autonomy level", "entrustment",
        "entrustment level", "independence",
    ),
    "supervisor_ref": (
        "attending", "attending id", "attending surgeon", "supervisor", "supervisor id", "supervising surgeon",
        "consultant", "faculty", "preceptor", "trainer", "staff surgeon",
    ),
    "site_ref": ("site", "site id", "hospital", "location", "facility", "centre", "center", "institution"),
    "supervisor_agreed": (
        "attending confirmed", "supervisor confirmed", "attending agreed", "confirmed", "verified", "attested",
    ),
    "takeover": ("taken over", "take over", "attending took over", "supervisor took over"),
    "takeover_reason": ("reason for takeover", "reason of takeover", "why taken over"),
    "duration_min": (
        "duration", "duration minutes", "duration in minutes", "op time", "operating time", "operative time",
        "surgical time", "time min", "minutes", "length min",
    ),
    "risk_factors": ("risk", "risks", "risk factor", "comorbidity", "comorbidities", "ocular comorbidities"),
    "complications": (
        "complication", "intraoperative complications", "intraop complications", "intraop complication",
        "adverse event", "adverse events", "event", "events",
    ),
    "event_hands": ("hands", "in whose hands", "who was operating"),
    "follow_up_days": ("follow up", "follow up in days", "days of follow up", "followed days", "fu days"),
    "logged_on": (
        "date logged", "date entered", "date of entry", "entry date", "log date", "logged", "logged at", "entered on",
        "created", "created on", "created at",
    ),
    "cohort": ("class", "class of", "class year", "graduation year", "graduation class", "graduating class"),
    "started": ("start", "start date", "started on", "programme start", "program start", "training start"),
    "expected_completion": (
        "graduation", "graduation date", "expected graduation", "expected end", "completion", "completion date",
        "expected completion date", "end date", "end of training",
    ),
    "stage": ("pgy", "pgy level", "pgy year", "training year", "year of training"),
    "score": ("rating", "points"),
    "comment": ("comments", "remark", "remarks", "feedback"),
    "rationale": ("reason", "reasons", "justification"),
    "milestone": ("subcompetency", "competency"),
    "period": ("review period", "evaluation period"),
}  # fmt: skip


def folded(text: str) -> str:
    """A header or word as it is compared: without case, accents, punctuation and doubled spaces."""
    plain = "".join(
        letter
        for letter in unicodedata.normalize("NFKD", text.casefold())
        if not unicodedata.combining(letter)
    )
    return " ".join(re.split(r"[\W_]+", plain)).strip()


COLUMN_OF_SYNONYM = {folded(word): column for column, words in SYNONYMS.items() for word in (column, *words)}


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


NO_MAPPING = TableMapping()


def of_a_tally(mapping: TableMapping, as_of: str) -> TableMapping:
    """The same for tables of the accreditor's own counts: requirement and count, the trainee in the sheet's name."""
    return replace(
        mapping,
        headers={"requirement": "requirement_ref", **mapping.headers},
        trainee_ref_from=mapping.trainee_ref_from or "sheet",
        constants={**mapping.constants, "as_of": as_of},
    )


# Columns that a person said are not read stand under names that no column has.
PASSED_OVER = "__passed_over"
DROPPED = f"{PASSED_OVER}_unseen_"
IGNORED = f"{PASSED_OVER}_"


def mapped_names(names: Sequence[str], typed: Sequence[str], mapping: TableMapping) -> list[str]:
    """The names of the columns under these headers, each as mapped or as it is."""
    mapped = []
    for position, (name, header) in enumerate(zip(names, typed, strict=False), start=1):
        word = folded(header)
        if word in mapping.drop:
            mapped.append(f"{DROPPED}{position}")
        elif word in mapping.ignore:
            mapped.append(f"{IGNORED}{position}")
        else:
            mapped.append(mapping.headers.get(word, name))
    return mapped


def constants(header: Sequence[str], mapping: TableMapping, title: str, file_name: str) -> dict[str, str]:
    """What stands in each row of a table for the columns it does not have; a title or name without its ending."""
    named = {"sheet": title, "file": file_name.rpartition(".")[0] or file_name}
    given = dict(mapping.constants)
    if mapping.trainee_ref_from and (name := named[mapping.trainee_ref_from].strip()):
        given["trainee_ref"] = name
    return {column: text for column, text in given.items() if column not in header}


# The row that is the header


def place_of_header(rows: Sequence[Sequence[str]], mapping: TableMapping) -> int | None:
    """Which of the first rows of a table is its header, from 0; None where all are blank.

    The row in which the most cells are columns of one kind, or look like one, if two are. Else the first row that is
    nearly as wide as the widest: above it stand titles.
    """
    recognised = [columns_recognised(cells, mapping) for cells in rows]
    best = max(recognised, default=0)
    if best >= 2:
        return recognised.index(best)
    filled = [sum(bool(cell.strip()) for cell in cells) for cells in rows]
    widest = max(filled, default=0)
    return next((place for place, count in enumerate(filled) if count and count >= widest / 2), None)


def columns_recognised(cells: Sequence[str], mapping: TableMapping) -> int:
    """How many different columns of the kind that fits best these cells name, one way or another."""
    words = {folded(cell) for cell in cells if cell}
    found = {mapping.headers.get(word) or COLUMN_OF_SYNONYM.get(word) for word in words}
    found |= {word.replace(" ", "_") for word in words}
    return max(sum(column.name in found for column in kind.columns) for kind in KINDS)


def delimiter_of_header(lines: Sequence[str], delimiters: Sequence[str], mapping: TableMapping) -> str:
    """The delimiter under which one of the lines is most like a header; else that of the first that has one."""

    def likeness(delimiter: str) -> tuple[int, int]:
        recognised = (columns_recognised(line.split(delimiter), mapping) for line in lines)
        return max(recognised), lines[0].count(delimiter)

    best = max(delimiters, key=likeness)
    if likeness(best) > (1, 0):
        return best
    return max(delimiters, key=lambda delimiter: max(line.count(delimiter) for line in lines))


# Proposals


def proposed_columns(header: str, columns: Sequence[str]) -> list[str]:
    """Which of `columns` a header may mean, the likeliest first, at most PROPOSED; a person confirms each.

    An exact synonym decides. What else looks like a name or a synonym is compared by rapidfuzz.
    """
    word = folded(header)
    if (exact := COLUMN_OF_SYNONYM.get(word)) in columns:
        return [str(exact)]
    if len(word) < SHORTEST_COMPARED:
        return []
    # Imported here: of most files no header is unknown.
    from rapidfuzz import fuzz, process

    called = {name: column for name, column in COLUMN_OF_SYNONYM.items() if column in columns}
    alike = process.extract(word, list(called), scorer=fuzz.WRatio, score_cutoff=LOOKS_LIKE, limit=None)
    return list(dict.fromkeys(called[name] for name, _, _ in alike))[:PROPOSED]


def look_alikes(names: Sequence[str], typed: Sequence[str]) -> dict[str, str]:
    """For the required columns that the nearest kind lacks, the header that looks like each, as typed."""
    found: dict[str, str] = {}
    missing = missing_columns(nearest(names, typed), list(names))
    for name, header in zip(names, typed, strict=False):
        if name not in ALL_COLUMNS:
            for column in proposed_columns(header, missing)[:1]:
                found.setdefault(column, header)
    return found


def nearest(names: Sequence[str], typed: Sequence[str]) -> Kind:
    """The kind that a header fits best, with what its words are likely to mean."""
    likely = (COLUMN_OF_SYNONYM.get(folded(header)) for header in typed)
    return nearest_kind([*names, *filter(None, likely)])
