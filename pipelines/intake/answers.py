"""What the taking or trying of files says to people: how it ended, a receipt, each fault once, what is at stake.

The terminal and the Intake screen say the same, from here.
"""

from __future__ import annotations

import re
import textwrap
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import duckdb

from pipelines.contract.formats import UNMATCHED
from pipelines.intake.replacement import Reason
from pipelines.intake.take import IntakeOutcome

WIDTH = 110
# Of the lines that a command prints: what is left of 40 after progress and the last word.
MOST_LINES = 28
MOST_FILES = 6
MOST_HELD = 10
MOST_QUESTIONS = 4
MOST_CASES_NAMED = 3
RECEIPT = ("file", "holds", "rows", "accepted", "left out", "to check")

# Of rows left out: what is said of one, and of several.
LEFT_OUT_IN_WORDS = {
    "required_blank": ("lacks a cell that every row needs", "lack a cell that every row needs"),
    "case_ref_malformed": ("has no valid case reference", "have no valid case reference"),
    "ref_malformed": ("has a reference that is not valid", "have a reference that is not valid"),
    "key_repeated": ("is a copy of a row above", "are copies of rows above"),
    "trainee_unknown": ("names nobody of the roster", "name nobody of the roster"),
    "date_unreadable": ("has a date that cannot be read", "have a date that cannot be read"),
    "date_ambiguous": ("has a date that can be read in two ways", "have a date that can be read in two ways"),
    "date_impossible": ("has an impossible date", "have an impossible date"),
    "date_in_future": ("has a date that has not come yet", "have a date that has not come yet"),
    "before_credit_from": ("is from before the trainee's cases count", "are from before the trainees' cases count"),
    "code_unknown": ("has a word that is not known", "have a word that is not known"),
    "none_beside_code": ("says none and something else in one cell", "say none and something else in one cell"),
    "number_unreadable": ("has a number that cannot be read", "have a number that cannot be read"),
    "number_out_of_range": ("has a number that cannot be right", "have a number that cannot be right"),
    "yes_no_unreadable": ("has neither yes nor no where one must stand", "have neither yes nor no where one must stand"),
    "too_many_cells": ("has more cells than the header", "have more cells than the header"),
}  # fmt: skip
ENDING_OF_ROW = " The row was left out."


# ---- how it ended


def ending(outcome: IntakeOutcome) -> str:
    """How it ended, in a few sentences."""
    if outcome.status == "refused":
        return "Refused: a file is not taken at all. Nothing of this command was stored."
    if outcome.status == "held" and all(not reason.trainee_ref for reason in outcome.held):
        return "Held: a question comes first, so nothing of this command was stored."
    if outcome.status == "held":
        return "Held: something in use would go or say less, so nothing of this command was stored."
    if outcome.status == "nothing_accepted":
        empty = [kind for kind, accepted in _by_kind(outcome, "accepted").items() if not accepted]
        return f"No row of {' or '.join(empty)} was accepted, so nothing of this command was stored."
    if outcome.status == "unchanged":
        return "Nothing changed: what these files say is in use already."
    rows, accepted = outcome.rows, sum(_by_kind(outcome, "accepted").values())
    did = "Stored" if outcome.status == "stored" else "Nothing is stored yet. Would be stored"
    return " ".join(
        [f"{did}: {accepted:,} of {rows:,} {_rows(rows)}.", *_left_out(outcome), *_left_as_it_was(outcome)]
    )


def _by_kind(outcome: IntakeOutcome, column: str) -> dict[str, int]:
    sums: dict[str, int] = {}
    for receipt in outcome.receipts:
        sums[receipt["kind"]] = sums.get(receipt["kind"], 0) + receipt[column]
    return sums


def _left_out(outcome: IntakeOutcome) -> Iterator[str]:
    counts: Counter[str] = Counter()
    for receipt in outcome.receipts:
        counts.update(receipt["left_out"])
    for rule, count in counts.items():
        yield f"{count:,} {LEFT_OUT_IN_WORDS[rule][count > 1]}."


def _left_as_it_was(outcome: IntakeOutcome) -> Iterator[str]:
    held = dict.fromkeys(reason.trainee_ref for reason in outcome.held)
    rows = sum(receipt["held_back"] for receipt in outcome.receipts)
    if rows:
        yield f"{rows:,} {_rows(rows)} of {', '.join(held)} {'is' if rows == 1 else 'are'} held: nothing of theirs changed."


def _rows(count: int) -> str:
    return "row" if count == 1 else "rows"


# ---- the receipt


def receipt_table(outcome: IntakeOutcome) -> list[tuple[str | int, ...]]:
    """The rows of the receipt in the columns RECEIPT: one a table of a file; of many files one a kind."""
    receipts = outcome.receipts
    if len(receipts) <= MOST_FILES:
        return [_line(each["file_name"], each["kind"], [each]) for each in receipts]
    kinds = dict.fromkeys(each["kind"] for each in receipts)
    of_kind = {kind: [each for each in receipts if each["kind"] == kind] for kind in kinds}
    return [_line(f"{len(each)} tables", kind, each) for kind, each in of_kind.items()]


def _line(name: str, kind: str, receipts: list[dict[str, object]]) -> tuple[str | int, ...]:
    def total(column: str) -> int:
        return sum(
            sum(value.values()) if isinstance(value := each[column], dict) else int(str(value))
            for each in receipts
        )

    return (name, kind, *(total(column) for column in ("rows", "accepted", "left_out", "warnings")))


def balance_sentence(outcome: IntakeOutcome) -> str:
    """The rows of all files: accepted, left out and held back, which add up."""
    parts = {
        "accepted": sum(_by_kind(outcome, "accepted").values()),
        "left out": sum(sum(each["left_out"].values()) for each in outcome.receipts),
        "held back": sum(each["held_back"] for each in outcome.receipts),
    }
    said = " + ".join(f"{count:,} {what}" for what, count in parts.items() if count or what == "accepted")
    return f"Rows balance: {outcome.rows:,} in {_files(len(outcome.receipts))} = {said}."


def _files(tables: int) -> str:
    return "the file" if tables == 1 else f"{tables} tables"


def changed_sentences(outcome: IntakeOutcome) -> list[str]:
    """One sentence a kind: how many rows are in use before and after, and what became of each; they add up."""
    return [_changed(kind, outcome) for kind in dict.fromkeys(each.kind for each in outcome.changes)]


def _changed(kind: str, outcome: IntakeOutcome) -> str:
    rows = [each for each in outcome.changes if each.kind == kind]
    totals = {
        name: sum(getattr(each, name) for each in rows)
        for name in ("before", "after", "new", "changed", "unchanged", "kept", "gone")
    }
    others = totals["before"] - sum(totals[name] for name in ("changed", "unchanged", "kept", "gone"))
    words = {
        "new": totals["new"],
        "changed": totals["changed"],
        "as before": totals["unchanged"],
        "as before because the new row is left out": totals["kept"],
        "gone": totals["gone"],
        "not in the file": others,
    }
    parts = ", ".join(f"{count:,} {what}" for what, count in words.items() if count)
    refs = {each.trainee_ref for each in rows}
    number = len(refs - {UNMATCHED})
    people = [f"{number:,} {'trainee' if number == 1 else 'trainees'}"] if number else []
    people += ["operations in no log yet"] if UNMATCHED in refs else []
    rows_in_use = f"{totals['before']:,} in use before, {totals['after']:,} after"
    return f"{kind} of {' and of '.join(people)}: {rows_in_use}{f' ({parts})' if parts else ''}."


def skipped(outcome: IntakeOutcome) -> list[str]:
    """What of the files was passed over, a sentence each."""
    said = [
        f"{each['file_name']}: {sentence}"
        for each in outcome.receipts
        for sentence in each.get("skipped", ())
    ]
    return list(dict.fromkeys(said))


# ---- each fault once


@dataclass(frozen=True)
class Remark:
    """One thing that is wrong, or to be checked, in many rows alike: how many, of how many trainees, what to do."""

    severity: str
    column: str | None
    rule: str
    what: str
    remedy: str
    rows: int
    trainees: int
    is_about_rows: bool

    @property
    def extent(self) -> str:
        """How many rows, of how many trainees; blank for what is about a whole column."""
        if not self.is_about_rows:
            return ""
        people = f", {self.trainees:,} {'trainee' if self.trainees == 1 else 'trainees'}"
        return f"{self.rows:,} {_rows(self.rows)}{people if self.trainees else ''}"

    @property
    def sentence(self) -> str:
        """`role "Primary": 319 rows, 6 trainees; use one of: …`."""
        what = f"{self.what}: {self.extent}" if self.extent else self.what
        return f"{what}; {self.remedy[:1].lower()}{self.remedy[1:]}"


def remarks(outcome: IntakeOutcome) -> list[Remark]:
    """Each value that breaks a rule once: what is left out first, the most frequent first."""
    if outcome.findings is None:
        return []
    with duckdb.connect() as connection:
        connection.register("finding", outcome.findings)
        rows = connection.execute(
            "select severity, column_name, rule, message, remedy, count(*), count(distinct trainee_ref),"
            " coalesce(min(source_row) > 1, false) from finding"
            " group by all order by severity, count(*) desc, column_name, message"
        ).fetchall()
    return [
        Remark(severity, column, rule, _value(column, message), *rest)
        for severity, column, rule, message, *rest in rows
    ]


def _value(column: str | None, message: str) -> str:
    """A message without what counts say better: of a cell that may be quoted, the column and the cell."""
    quoted = re.match(r'(\w+): ("[^"]*") is not', message)
    if quoted and quoted[1] == column:
        return f"{quoted[1]} {quoted[2]}"
    return message.removesuffix(ENDING_OF_ROW).removesuffix(".")


# ---- what is held


def held_sentences(held: Iterable[Reason]) -> list[str]:
    """Each reason once for each trainee, with the cases it is about; what is asked of the files comes first."""
    cases: dict[tuple[str, str], list[str]] = {}
    for reason in held:
        cases.setdefault((reason.trainee_ref, reason.text), []).extend(filter(None, [reason.case_ref]))
    return [
        _held(ref, text, named) for (ref, text), named in sorted(cases.items(), key=lambda item: item[0][0])
    ]


def _held(ref: str, text: str, cases: list[str]) -> str:
    if not cases:
        return f"{ref}: {text}" if ref else text
    if len(cases) <= MOST_CASES_NAMED:
        return f"{ref}: {'case' if len(cases) == 1 else 'cases'} {', '.join(cases)}: {text}"
    return f"{ref}: {len(cases):,} cases, such as {cases[0]}: {text}"


def adding_helps(outcome: IntakeOutcome) -> bool:
    """Whether nothing would be held if the rows were added to those in use: the file may be a part of an export."""
    return bool(outcome.held) and not any(reason.if_appended for reason in outcome.held)


def others_may_go(outcome: IntakeOutcome) -> bool:
    """Whether the files also name trainees who are not held."""
    held = {reason.trainee_ref for reason in outcome.held}
    return "" not in held and bool({each.trainee_ref for each in outcome.changes} - held)


# ---- lines for a terminal


def lines(outcome: IntakeOutcome, *, everything: bool = False) -> list[str]:
    """The receipt and each fault once, at most MOST_LINES of them unless everything is asked for."""
    head = (
        [
            *_aligned([RECEIPT, *receipt_table(outcome)]),
            balance_sentence(outcome),
            *changed_sentences(outcome),
        ]
        if outcome.receipts
        else []
    )
    head += _some(skipped(outcome), None if everything else MOST_FILES)
    head += [line for each in outcome.questions for line in _wrapped(each)]
    said = remarks(outcome)
    blocks = [_wrapped(sentence) for sentence in _labelled(said)]
    room = MOST_LINES - len(head) - _room_for_held(outcome)
    told: list[str] = []
    for place, block in enumerate(blocks):
        if not everything and len(told) + len(block) > room:
            return [
                *head,
                *told,
                f"… and {len(blocks) - place:,} more kinds of remark: --all prints them all.",
            ]
        told += block
    return [*head, *told]


def held_lines(outcome: IntakeOutcome, *, everything: bool = False) -> list[str]:
    """Why it is held, and what a person may choose."""
    said = [
        line
        for each in _some(held_sentences(outcome.held), None if everything else MOST_HELD)
        for line in _wrapped(each)
    ]
    choices = []
    if adding_helps(outcome):
        choices.append(
            "If the file holds only a part of the log, such as the newest cases: --append adds its rows."
        )
    if others_may_go(outcome):
        choices.append(
            "To take the rows of everybody else, and leave these people as they are: --take-the-rest"
        )
    choices.append("If this is right: --accept-withdrawals --by WHO --reason TEXT")
    return [f"    {line}" for line in said] + choices


def refusal_lines(outcome: IntakeOutcome, *, everything: bool = False) -> list[str]:
    """Why files are not taken at all."""
    said = dict.fromkeys(f"{finding.message} {finding.remedy}" for finding in outcome.refused)
    return _some(list(said), None if everything else MOST_LINES)


def _room_for_held(outcome: IntakeOutcome) -> int:
    return min(len(outcome.held), MOST_HELD) + 4 if outcome.status == "held" else 0


def _labelled(said: list[Remark]) -> Iterator[str]:
    """What to do is said once, though several values want the same."""
    told: set[str] = set()
    for each in said:
        again = replace(each, remedy="as above.") if each.remedy in told else each
        told.add(each.remedy)
        yield f"{'Left out' if each.severity == 'left_out' else 'Please check'}: {again.sentence}"


def _some(said: list[str], most: int | None) -> list[str]:
    if most is None or len(said) <= most:
        return said
    return [*said[:most], f"… and {len(said) - most:,} more: --all prints them all."]


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, subsequent_indent="    ", break_long_words=False)


def _aligned(rows: list[tuple[str | int, ...]]) -> list[str]:
    cells = [[f"{cell:,}" if isinstance(cell, int) else str(cell) for cell in row] for row in rows]
    widths = [max(len(row[place]) for row in cells) for place in range(len(cells[0]))]
    return [
        "  ".join(
            cell.ljust(width) if place < 2 else cell.rjust(width)
            for place, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in cells
    ]
