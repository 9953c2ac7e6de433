"""The parts of DEVELOPERS.md that say what the code says, written from the code: python -m tests.documents.

Each stands between two marker comments. `tests/test_documents.py` fails where the file and the code differ.
"""

from __future__ import annotations

import re
import textwrap
from pathlib import Path

from pipelines.build.build import KEYS
from pipelines.build.show import questions
from pipelines.contract.formats import FORMAT_CODES, KINDS, Column, Kind
from pipelines.contract.rules import LEFT_OUT, REFUSALS, WARNINGS
from tests.drawn import Db, database, run

DEVELOPERS = Path(__file__).parents[1] / "DEVELOPERS.md"
WIDTH = 118

HOLDS = {
    "ref": "a reference of 1–64 letters A–Z a–z, digits, `_` or `-`",
    "case_ref": "a reference of 4–64 letters A–Z a–z, digits, `_` or `-`",
    "date": "a day",
    "month": "a month `YYYY-MM`, or a day of it",
    "cohort": "a class: `2026-27`, or `2027`",
    "code": "one of {codes}",
    "procedure": "one of {codes}; another word is kept with a warning",
    "codes": "a list of {codes}, or `none`",
    "events": "a list of {codes}, each with the days after the operation where they matter (`…@5`), or `none`",
    "yes_no": "yes or no",
    "whole": "a whole number",
    "number": "a number",
    "clock": "`h:mm:ss` or `mm:ss`",
    "period": "a review of a year: `2026-27 mid`",
    "text": "text",
}
# What stands for the parts of a message that hang on the file.
WORDS = {
    "column": "*column*",
    "cell": "*cell*",
    "allowed": "*its codes*",
    "range": "*from–to*",
    "date_form": "*the form*",
    "what": "*an identifier*",
}
PERSON = ("programme_ref", "cohort", "trainee_ref")


def holds(column: Column) -> str:
    """What a cell of the column may hold, in words."""
    own = FORMAT_CODES.get(column.codes or "")
    codes = " / ".join(own) if own else f"the specialty's `{column.codes}`"
    text = HOLDS[column.type].format(codes=codes)
    if column.low is not None and column.type != "events":
        text += f" from {column.low:g} to {column.high:g}"
    return text


def kept(column: Column) -> str:
    """What the store keeps of a cell; blank where that is the value."""
    return "<br>".join(f"`{each.name}` = `{each.sql}`" for each in column.kept)


def kind_section(kind: Kind) -> list[str]:
    """One kind of file: its key, a line a column, and what is kept beside them."""
    key = ", ".join(f"`{name}`" for name in kind.key)
    head = f"**`{kind.name}`**, key {key}"
    if kind.whole:
        head += f"; replaced whole, by {', '.join(f'`{name}`' for name in kind.whole)}"
    lines = [head, "", "| column | holds | what is kept instead |", "|---|---|---|"]
    lines += [
        f"| `{column.name}`{'*' * (column.required or column.in_header)} | {holds(column)} | {kept(column)} |"
        for column in kind.columns
    ]
    if kind.computed:
        lines += ["", "Kept beside them: " + ", ".join(f"`{each.name}`" for each in kind.computed) + "."]
    return [*lines, ""]


def columns_section() -> str:
    """The columns of every kind, in the order in which a row is read."""
    return "\n".join(line for kind in KINDS for line in kind_section(kind)).rstrip()


def rules_section() -> str:
    """The rules by what follows from them, in the order in which a row with two faults is counted."""
    lines = []
    for what, rules in (("A row is left out", LEFT_OUT), ("A row is kept, with a warning", WARNINGS)):
        lines += [f"**{what}**", "", "| rule | what the message says after file and row |", "|---|---|"]
        lines += [
            f"| `{rule}` | {message.format(**WORDS)} {remedy.format(**WORDS)} |"
            for rule, (message, remedy) in rules.items()
        ]
        lines.append("")
    by_code = {
        code: [rule for rule in REFUSALS if (code == 12) == rule.startswith("identifier_")]
        for code in (11, 12)
    }
    refused = " · ".join(
        f"ends with {code}: " + ", ".join(f"`{rule}`" for rule in rules) for code, rules in by_code.items()
    )
    return "\n".join([*lines, wrapped(f"**The whole file is refused**, {refused}")])


def views_section() -> str:
    """The table of contents of `show`: of each view its question, its key and the columns after it."""
    db = database()
    run(db)
    return "\n\n".join(
        wrapped(f"**`{view}`** {question} Key: {in_short(KEYS[view])}. Then: {after_key(db, view)}.")
        for view, question in questions().items()
    )


def after_key(db: Db, view: str) -> str:
    columns = [row[0] for row in db.execute(f'describe main."{view}"').fetchall()]
    return ", ".join(name for name in columns if name not in KEYS[view])


def in_short(key: tuple[str, ...]) -> str:
    names = ("…", *key[3:]) if key[:3] == PERSON else key
    return ", ".join(names)


def wrapped(text: str) -> str:
    return "\n".join(textwrap.wrap(text, WIDTH, break_long_words=False, break_on_hyphens=False))


SECTIONS = {"columns": columns_section, "rules": rules_section, "views": views_section}


def documented(text: str) -> str:
    """The text with every generated part as the code has it; raises KeyError for a part that has no marker."""
    for name, section in SECTIONS.items():
        marked = re.compile(rf"(<!-- generated: {name} -->\n).*?(\n<!-- end -->)", re.DOTALL)
        if not marked.search(text):
            raise KeyError(name)
        body = section()
        text = marked.sub(lambda found, body=body: f"{found[1]}\n{body}\n{found[2]}", text)
    return text


if __name__ == "__main__":
    DEVELOPERS.write_text(documented(DEVELOPERS.read_text(encoding="utf-8")), encoding="utf-8")
