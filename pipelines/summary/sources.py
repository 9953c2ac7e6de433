"""By which rules the cases were counted, what came in, and what the numbers cannot say."""

from __future__ import annotations

from pipelines.contract.cautions import CAUTIONS, TO_BE_CONFIRMED, WHO_MAY_READ
from pipelines.summary.rows import Rule, Summary
from pipelines.summary.sheets import Book, Column, Table
from pipelines.summary.words import CSV_NOTE, counted_through, of_what

RULE_COLUMNS = (
    Column("Code"),
    Column("Requirement", widest=36),
    Column("Minimum", is_number=True, narrowest=10),
    Column("As", widest=24),
    Column("Edition", narrowest=14),
    Column("Checked", narrowest=24, widest=26),
    Column("Source", widest=50),
    Column("The rule in a sentence", widest=70),
)
INTAKE_COLUMNS = (
    Column("File", widest=44, narrowest=30),
    Column("Kind", narrowest=14),
    Column("Source", narrowest=14),
    Column("Taken on", narrowest=13),
    Column("Rows in the file", is_number=True, narrowest=12),
    Column("Accepted", is_number=True, narrowest=12),
    Column("Left out", is_number=True, narrowest=12),
    Column("Balances", narrowest=12),
    Column("Intake", widest=72),
)
FINDING_COLUMNS = (
    Column("Rule"),
    Column("What followed"),
    Column("Findings", is_number=True),
    Column("Rows concerned", is_number=True),
)
FOLLOWED = {"left_out": "row left out", "warning": "kept with a warning"}


def rules(book: Book, summary: Summary) -> None:
    sheet = book.page("Rules")
    rows = [
        [
            rule.requirement_ref,
            rule.title,
            rule.minimum,
            rule.roles,
            rule.edition,
            _checked(rule),
            rule.source,
            rule.sentence,
        ]
        for rule in summary.rules
    ]
    table = Table("rules", RULE_COLUMNS, rows)
    across = table.widths()
    head_row = book.top(
        sheet,
        across,
        ("title", f"By which rules are the cases of the class of {summary.cohort} counted?"),
        (
            "text",
            f"{of_what(summary)} A rule without a minimum (an audit, a sign-off) has no count and stands here alone."
            f" “{TO_BE_CONFIRMED[0].upper()}{TO_BE_CONFIRMED[1:]}” marks what nobody has checked there yet.",
        ),
    )
    book.table(sheet, head_row, table, across)
    sheet.freeze_panes(head_row + 1, 2)
    sheet.repeat_rows(head_row)


def _checked(rule: Rule) -> str:
    return f"checked on {rule.reviewed_on}" if rule.verified else TO_BE_CONFIRMED


def intakes(book: Book, summary: Summary) -> None:
    sheet = book.page("Intake balance")
    rows = [[*row[:7], "yes" if row[7] else "no", row[8]] for row in summary.intakes]
    findings = [
        [rule, FOLLOWED[severity], count, concerned] for rule, severity, count, concerned in summary.findings
    ]
    table = Table("intakes", INTAKE_COLUMNS, rows)
    across = table.widths()
    head_row = book.top(
        sheet,
        across,
        ("title", "What came in, and what was left out?"),
        (
            "text",
            f"{of_what(summary)} Each file that is live for somebody of this class: rows in the file = accepted + left"
            " out. A file may hold other classes too.",
        ),
    )
    after = book.table(sheet, head_row, table, across)
    sentence = "Findings by rule, of this class and of rows that name nobody; a row may have several:"
    book.text(
        sheet,
        after + 1,
        sentence if findings else "No row of this class was left out or has a warning.",
        "text",
        across,
    )
    if findings:
        book.table(sheet, after + 3, Table("findings", FINDING_COLUMNS, findings), across)
    sheet.freeze_panes(head_row + 1, 1)
    sheet.repeat_rows(head_row)


def cautions(book: Book, summary: Summary, *, with_names: bool) -> None:
    sheet = book.page("Cautions")
    across = [110]
    book.top(
        sheet,
        across,
        ("title", "Who may read this file, and what can its numbers not say?"),
        ("text", WHO_MAY_READ),
        (
            "text",
            "The shown names come from a file kept outside the store; no snapshot holds them."
            if with_names
            else "",
        ),
        *(("text", each) for each in CAUTIONS),
        ("warning", counted_through(summary)),
        ("quiet", CSV_NOTE),
        ("quiet", of_what(summary)),
    )
    sheet.freeze_panes(1, 0)
    sheet.repeat_rows(0)
