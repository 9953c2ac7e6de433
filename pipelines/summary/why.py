"""The page that says why counts have changed since an earlier snapshot."""

from __future__ import annotations

from collections.abc import Mapping

from pipelines.summary import words
from pipelines.summary.pages import Column, Page, Shown, Table
from pipelines.summary.rows import Summary
from pipelines.summary.since import Earlier

WHY_COLUMNS = (
    Column("Trainee", narrowest=10),
    Column("Requirement", narrowest=30),
    Column("Cases", is_number=True, narrowest=9),
    Column("Why", widest=80, narrowest=50),
)
EXPORT_COLUMNS = (
    Column("Trainee", narrowest=10),
    Column("Taken on", narrowest=12),
    Column("File", narrowest=20),
    Column("Rows", widest=50),
    Column("Changed", widest=60, narrowest=30),
)


def why_page(summary: Summary, earlier: Earlier, labels: Mapping[str, str]) -> Page:
    """The same cases, each with its reason; below it what came in between."""
    titles = {line["requirement_ref"]: line["requirement_title"] for line in summary.lines}
    rows = [
        [
            words.named(row["trainee_ref"], labels),
            titles[row["requirement_ref"]],
            Shown(row["cases"], signed=True),
            row["because"],
        ]
        for row in earlier.reasons
        if row["requirement_ref"] in titles
    ]
    files = [
        [
            words.named(row["trainee_ref"], labels),
            *(row[name] for name in ("taken_on", "file_name", "rows", "fields")),
        ]
        for row in earlier.exports
    ]
    head = f"Why have the counts changed since snapshot {earlier.moment.manifest.snapshot}?"
    return Page(
        "Why",
        [
            ("title", head),
            ("text", f"{words.source_text(summary)} {words.WHY_NOTE if rows else words.NO_CHANGE}"),
        ],
        Table("why", WHY_COLUMNS, rows) if rows else None,
        below=words.EXPORTS_NOTE if files else "",
        table_below=Table("exports", EXPORT_COLUMNS, files) if files else None,
    )
