"""What an intake is asked and what it answers, as values; and the words for the answer, on a terminal as on a screen."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

import pyarrow as pa

from pipelines.contract.errors import Finding, WrongUsage
from pipelines.files.reading import ExportFile
from pipelines.intake.judging import FINDING_COLUMNS
from pipelines.intake.replacement import Reason
from pipelines.store.store import Receipt

Status = Literal["refused", "held", "nothing_accepted", "left_out", "unchanged", "stored", "sound"]


@dataclass(frozen=True)
class IntakeRequest:
    """The files of one command and how to take them; `today` is the day of the intake.

    `accepted_by` and `reason` are a person's word that what would be held may go. `programme_ref` is the programme of
    whoever asks, whose people alone the files may name; None for who may act for every programme of the store.
    """

    files: Sequence[ExportFile]
    today: datetime.date
    source: str = "main"
    through: str | None = None
    append: bool = False
    strict: bool = False
    accepted_by: str | None = None
    reason: str | None = None
    programme_ref: str | None = None

    def check(self) -> None:
        """Raise WrongUsage where a part of the request cannot be."""
        if not re.fullmatch(r"[A-Za-z0-9_-]{1,64}", self.source):
            raise WrongUsage("--source: use 1 to 64 letters, digits, _ or -.")
        if self.through and not re.fullmatch(r"\d{4}-(0[1-9]|1[0-2])", self.through):
            raise WrongUsage("--through: write YYYY-MM.")
        if self.through and self.through > f"{self.today:%Y-%m}":
            raise WrongUsage("--through: data cannot run through a month that has not come.")
        if bool(self.accepted_by) != bool(self.reason):
            raise WrongUsage("An acceptance needs both who accepts and why.")


@dataclass(frozen=True)
class IntakeOutcome:
    """How a request ended.

    status: refused (a file is not taken at all) · held (something would vanish) · nothing_accepted (a kind of file had
    rows and none was accepted) · left_out (rows were left out of a strict or tried request) · unchanged · stored ·
    sound (tried, and every row would be accepted). Only `stored` changed the store.
    """

    status: Status
    refused: list[Finding] = field(default_factory=list)
    findings: pa.Table | None = None
    receipts: list[Receipt] = field(default_factory=list)
    held: list[Reason] = field(default_factory=list)
    unchanged: list[str] = field(default_factory=list)
    snapshot: int | None = None

    @property
    def rows(self) -> int:
        return sum(int(receipt["rows"]) for receipt in self.receipts)

    @property
    def left_out_rows(self) -> int:
        return self.rows - sum(int(receipt["accepted"]) for receipt in self.receipts)

    def finding_rows(self) -> Iterable[tuple[Any, ...]]:
        """The findings in FINDING_COLUMNS, one at a time."""
        if self.findings is None:
            for finding in self.refused:
                yield tuple(getattr(finding, name, None) for name in FINDING_COLUMNS)
            return
        for batch in self.findings.to_batches(max_chunksize=10_000):
            yield from zip(*(column.to_pylist() for column in batch.columns), strict=True)


def ending(outcome: IntakeOutcome) -> str:
    """How it ended, in one or two sentences."""
    if outcome.status == "refused":
        return "Refused: a file is not taken at all. Nothing of this command was stored."
    if outcome.status == "held":
        return "Held: something would vanish from a trainee's record, so nothing of this command was stored."
    if outcome.status == "nothing_accepted":
        empty = [kind for kind, accepted in _accepted_by_kind(outcome).items() if not accepted]
        return f"No row of {' or '.join(empty)} was accepted, so nothing of this command was stored."
    if outcome.status == "left_out":
        return f"{outcome.left_out_rows:,} of {outcome.rows:,} rows would be left out; nothing was stored."
    if outcome.status == "unchanged":
        return "Nothing changed: what these files say is live already."
    left_out = f"; {outcome.left_out_rows:,} left out" if outcome.left_out_rows else ""
    done = "Stored" if outcome.status == "stored" else "Would be stored"
    return f"{done}: {outcome.rows - outcome.left_out_rows:,} of {outcome.rows:,} rows{left_out}."


def _accepted_by_kind(outcome: IntakeOutcome) -> dict[str, int]:
    accepted: dict[str, int] = {}
    for receipt in outcome.receipts:
        accepted[receipt["kind"]] = accepted.get(receipt["kind"], 0) + receipt["accepted"]
    return accepted


def receipt_lines(receipt: Receipt) -> list[str]:
    left_out, rows = sum(receipt["left_out"].values()), "row" if receipt["rows"] == 1 else "rows"
    balance = f"{receipt['rows']} {rows} = {receipt['accepted']} accepted + {left_out} left out"
    lines = [f"{receipt['file_name']} ({receipt['kind']}): {balance}"]
    lines += [f"    left out, {rule}: {count}" for rule, count in receipt["left_out"].items()]
    lines += [f"    warning, {rule}: {count}" for rule, count in receipt["warnings"].items()]
    trainees = receipt["trainees"]
    if not trainees:
        return lines
    totals = {name: sum(each[name] for each in trainees) for name in trainees[0] if name != "trainee_ref"}
    in_file = ("unchanged", "changed", "kept", "withdrawn")
    untouched = totals["live_before"] - sum(totals[name] for name in in_file)
    lines.append(
        f"    live before {totals['live_before']} = {totals['unchanged']} unchanged + {totals['changed']} changed"
        f" + {totals['kept']} kept in an older version + {totals['withdrawn']} withdrawn"
        + (f" + {untouched} not in the file" if untouched else "")
    )
    people = f"{len(trainees)} trainee{'s' * (len(trainees) != 1)}"
    return [*lines, f"    live after {totals['live_after']}, of {people}"]
