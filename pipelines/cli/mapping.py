"""`map`: list once what a source's files hold that has no meaning yet, for a person to say what it means."""

from __future__ import annotations

from pathlib import Path

from pipelines.contract.errors import FileRefused
from pipelines.files.reading import read_export
from pipelines.mapping.model import SourceMapping, load_mapping
from pipelines.mapping.proposals import Unknown, unknown_in, written
from pipelines.store.store import Store, write_whole, writing

SHOWN = 12  # of the headers and words, on the terminal


def run(files: tuple[Path, ...], store: Store, source: str) -> int:
    """Write or extend sources/<source>.yaml; returns the exit code."""
    path = store.mapping_file(source)
    exports = [read_export(file, number) for number, file in enumerate(files, 1)]
    with writing(store):
        mapping = load_mapping(path, store.specialty) or SourceMapping()
        try:
            unknown = unknown_in(exports, store.specialty, mapping, store.programme.refs_are_pseudonyms)
        except FileRefused as refusal:
            for finding in refusal.findings:
                print(f"{finding.message} {finding.remedy}")
            return refusal.exit_code
        if not unknown:
            print(_nothing_new(mapping, path))
            return 0
        path.parent.mkdir(mode=0o700, exist_ok=True)
        before = path.read_text(encoding="utf-8") if path.is_file() else ""
        write_whole(path, written(before, unknown, store.specialty).encode())
    print("\n".join(lines(unknown)))
    print(f"Confirm each line in {path}, then: python3 run.py intake FILE… --store {store.root}")
    return 0


def _nothing_new(mapping: SourceMapping, path: Path) -> str:
    if waiting := mapping.unconfirmed:
        return f"Nothing new. In {path} lines wait to be confirmed: {waiting}."
    return "Every header and every word of these files has a meaning."


def lines(unknown: Unknown) -> list[str]:
    """What is unknown, a line each, the most frequent first; at most SHOWN of the words."""
    said = [f"{key}: {_proposed(proposals)}" for key, proposals in unknown.settings.items()]
    said += [
        f"header {header.header}: {_proposed(header.proposals)} ({header.rows:,} rows)"
        for header in unknown.headers[:SHOWN]
    ]
    words = sorted(unknown.words, key=lambda pair: -pair[0].rows)
    said += [
        f'{word.column} "{word.word}": {_proposed(proposals)} ({word.rows:,} rows)'
        for word, proposals in words[:SHOWN]
    ]
    said += [
        f"{text.file_name}, row {text.source_row}, {text.column}: looks like {text.what}; read it there"
        for text in unknown.texts[:SHOWN]
    ]
    left = len(unknown.settings) + len(unknown.headers) + len(words) + len(unknown.texts) - len(said)
    return [*said, *([f"… and {left} more, all in the file"] if left else [])]


def _proposed(proposals: tuple[str, ...]) -> str:
    return f"perhaps {' or '.join(proposals)}" if proposals else "nothing like it is known"
