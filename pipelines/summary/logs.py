"""The pages about logs and their files: what came in, what became of every row, and how good each log is."""

from __future__ import annotations

from collections.abc import Mapping

from pipelines.contract.codes_in_words import ACCOUNT, KINDS, RULES, quality_head, whose
from pipelines.summary import words
from pipelines.summary.pages import Column, Page, Shown, Table
from pipelines.summary.rows import Record, Summary

FILE_COLUMNS = (
    Column("File", widest=44, narrowest=30),
    Column("What it holds", narrowest=24),
    Column("Source", narrowest=14),
    Column("Taken on", narrowest=13),
    Column("Rows in the file", is_number=True, narrowest=12),
    Column("Accepted", is_number=True, narrowest=12),
    Column("Left out", is_number=True, narrowest=12),
    Column("Balances", narrowest=12),
)
FINDING_COLUMNS = (
    Column("What is wrong"),
    Column("What followed"),
    Column("How often", is_number=True),
    Column("Rows concerned", is_number=True),
)


def files_page(summary: Summary) -> Page:
    rows = [[name, KINDS[kind], *others] for _, name, kind, *others in summary.intakes]
    findings = [
        [RULES[rule], words.FOLLOWED[severity], *counts] for rule, severity, *counts in summary.findings
    ]
    return Page(
        "Files taken in",
        [
            ("title", "What came in, and what was left out?"),
            ("text", f"{words.source_text(summary)} {words.FILES_NOTE}"),
        ],
        Table("files", FILE_COLUMNS, rows),
        below=words.FINDINGS_NOTE if findings else words.NO_FINDING,
        table_below=Table("findings", FINDING_COLUMNS, findings) if findings else None,
    )


def rows_page(summary: Summary, labels: Mapping[str, str]) -> Page:
    """The account of each file, by trainee: a line without one holds rows of nobody of the roster."""
    texts = ("trainee_ref", "file_name", "balances")
    # What a file holds stands on the page before.
    heads = {name: head[0].upper() + head[1:] for name, head in ACCOUNT.items() if name != "kind"}
    columns = [Column(head, is_number=name not in texts, narrowest=8) for name, head in heads.items()]
    rows = []
    for account in summary.accounts:
        trainee = account["trainee_ref"]
        said = {
            "trainee_ref": trainee and words.named(whose(trainee), labels),
            "balances": words.yes_no(account["balances"]),
        }
        rows.append([(account | said)[name] for name in heads])
    return Page(
        "Rows of files",
        [
            ("title", "What became of every row of these files?"),
            ("text", f"{words.source_text(summary)} {words.ACCOUNT_NOTE}"),
        ],
        Table("accounts", columns, rows),
    )


def quality_page(summary: Summary, labels: Mapping[str, str]) -> Page:
    """A row a trainee, a column a measure: so many of so many, blank where nothing is known."""
    lines: dict[str, list[Record]] = {}
    for row in summary.quality:
        lines.setdefault(row["trainee_ref"], []).append(row)
    first = next(iter(lines.values()), [])
    heads = [quality_head(row["measure"], row["within_days"]) for row in first]
    columns = [Column("Trainee"), *(Column(head[0].upper() + head[1:], is_number=True) for head in heads)]
    rows = [[words.named(trainee, labels), *map(_part, measures)] for trainee, measures in lines.items()]
    return Page(
        "Logs",
        [
            ("title", "How good are the logs?"),
            ("text", f"{words.source_text(summary)} {words.QUALITY_NOTE}"),
        ],
        Table("logs", columns, rows),
    )


def _part(row: Record) -> Shown:
    if row["numerator"] is None:
        return Shown(None)
    return Shown(row["numerator"], after=f" of {row['denominator']}")
