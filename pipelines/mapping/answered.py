"""What a person answers on a screen of a source's unknown headers and words, put into its mapping by name and day."""

from __future__ import annotations

import datetime
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError
from ruamel.yaml import YAML

from pipelines.contract.errors import WrongUsage
from pipelines.contract.formats import KINDS
from pipelines.files.reading import ExportFile
from pipelines.mapping.model import (
    DROP,
    IGNORE,
    PROPOSAL,
    SourceMapping,
    codes_of,
    load_mapping,
    mapping_faults,
    word_key,
)
from pipelines.mapping.proposals import Unknown, unknown_in, written
from pipelines.specialty.load import Specialty, all_codes
from pipelines.store.store import Store, write_whole, writing

# Where a line stands in the file: its keys from the top.
Place = tuple[str, ...]
ORDERS = ("day_first", "month_first", "iso")
WHENCE = ("sheet", "file")
SETTINGS = {
    "trainee_ref": ("The trainee of a row", "is named by its"),
    "dates": ("Days", "are written"),
}
# What a person may say of a text that looks as if it named somebody.
NAMES_NOBODY = {
    "released": "I have read it, and it names nobody",
    "pseudonyms": "it is a pseudonym, and nobody's name",
}


@dataclass(frozen=True)
class Question:
    """One unknown header, word or setting: what it is and how often, what is proposed, and all that it may mean."""

    place: Place
    what: str
    word: str
    rows: int | None
    trainees: int | None
    proposals: tuple[str, ...]
    allowed: tuple[str, ...]


def questions_about(files: Sequence[ExportFile], store: Store, source: str) -> list[Question]:
    """What of the files of a source nobody has said the meaning of; raises FileRefused where they are no tables."""
    mapping = load_mapping(store.mapping_file(source), store.specialty) or SourceMapping()
    unknown = unknown_in(files, store.specialty, mapping.confirmed, store.programme.refs_are_pseudonyms)
    return _questions(unknown, store.specialty)


def _questions(unknown: Unknown, specialty: Specialty) -> list[Question]:
    codes = all_codes(specialty)
    columns = tuple(dict.fromkeys(name for kind in KINDS for name in kind.names))
    asked = [
        Question((key,), *SETTINGS[key], None, None, proposals, ORDERS if key == "dates" else WHENCE)
        for key, proposals in unknown.settings.items()
    ]
    asked += [
        Question(
            ("headers", each.header),
            "header",
            each.header,
            each.rows,
            None,
            each.proposals,
            (IGNORE, DROP, *columns),
        )
        for each in unknown.headers
    ]
    asked += [
        Question(
            (text.setting, text.key),
            f"{text.column}, row {text.source_row}, looks like {text.what}:",
            *(text.text, None, None, (), (NAMES_NOBODY[text.setting],)),
        )
        for text in unknown.texts
    ]
    words = sorted(unknown.words, key=lambda pair: -pair[0].rows)
    return asked + [
        Question(
            *(("words", each.column, each.word), each.column, each.word, each.rows, len(each.trainees)),
            *(proposals, tuple(codes_of(each.column, codes))),
        )
        for each, proposals in words
    ]


def save(
    files: Sequence[ExportFile],
    store: Store,
    source: str,
    answers: Mapping[Place, str],
    by: str,
    today: datetime.date,
) -> None:
    """Write the answers into the source's mapping, with what is still unknown as lines that do nothing.

    Raises AnotherWriter; WrongUsage, with nothing written, where an answer is not allowed there.
    """
    path = store.mapping_file(source)
    with writing(store):
        mapping = load_mapping(path, store.specialty) or SourceMapping()
        unknown = unknown_in(files, store.specialty, mapping, store.programme.refs_are_pseudonyms)
        before = path.read_text(encoding="utf-8") if path.is_file() else ""
        text = confirmed(written(before, unknown, store.specialty), answers, by, today, store.specialty)
        path.parent.mkdir(mode=0o700, exist_ok=True)
        write_whole(path, text.encode())


def _key_in(line: Mapping[str, Any], word: str) -> str:
    """The word as it stands there already, perhaps in other capitals."""
    return next((key for key in line if word_key(key) == word_key(word)), word)


def _confirm(content: Mapping[str, list[str]], place: Place, meaning: str) -> None:
    """Take the mark off a text that a person has read; another person may have done so meanwhile."""
    setting, key = place
    if meaning != NAMES_NOBODY[setting]:
        raise WrongUsage(f'{setting}: "{meaning}" is no answer. Use: {NAMES_NOBODY[setting]}.')
    listed = content[setting]
    if (marked := f"{PROPOSAL} {key}") in listed:
        listed[listed.index(marked)] = key


def confirmed(
    text: str, answers: Mapping[Place, str], by: str, today: datetime.date, specialty: Specialty
) -> str:
    """The mapping's text with the answers in it; raises WrongUsage where one is not allowed there."""
    yaml = YAML()
    yaml.width = 200
    content: Any = yaml.load(text)
    for place, meaning in answers.items():
        if place[0] in NAMES_NOBODY:
            _confirm(content, place, meaning)
            continue
        line = content
        for key in place[:-1]:
            line = line.setdefault(key, {})
        line[_key_in(line, place[-1])] = meaning
    content.setdefault("saved", []).append({"by": by, "on": today.isoformat()})
    out = io.StringIO()
    yaml.dump(content, out)
    try:
        mapping = SourceMapping.model_validate(YAML(typ="safe", pure=True).load(out.getvalue()))
    except ValidationError as error:
        raise WrongUsage(
            "; ".join(f"{'.'.join(map(str, each['loc']))}: {each['msg']}" for each in error.errors())
        ) from None
    faults = list(mapping_faults(mapping, specialty))
    if faults:
        raise WrongUsage(" ".join(faults))
    return out.getvalue()
