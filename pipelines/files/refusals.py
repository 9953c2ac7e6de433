"""Why a file is refused, in words: how much is read at all, and what is no table of the format.

The largest file that is meant to be read is an export of 1,000,000 cases with all 22 columns: 134 MB of CSV,
22 million cells. The limits leave room above that; what lies beyond is refused before it is unpacked.
"""

from __future__ import annotations

from dataclasses import dataclass

from pipelines.contract.errors import Finding
from pipelines.contract.formats import Kind, missing_columns, nearest_kind

FILE_LIMIT = 250_000_000  # bytes of a file as handed over
COLUMN_LIMIT = 500  # no kind has 30 columns; each one more is screened for identifiers
ROW_LIMIT = 1_048_576  # as many as a sheet of a spreadsheet can hold
CELL_LIMIT = 30_000_000  # rows times columns, blank cells included
TEXT_LIMIT = 400_000_000  # bytes that the cells of a table take: a packed file may repeat one text for ever
LONGEST_CELL = 1_000_000  # bytes of UTF-8
LONGEST_FIELD = (
    16 * LONGEST_CELL
)  # characters; an open quote takes the rest of a file, four bytes a character
BOOK_LIMIT = 60_000_000  # bytes of a book unpacked: a million filled cells, which take about ten seconds
BOOK_CELL_LIMIT = 5_000_000  # cells of a sheet, blank ones up to the last filled one of each row included
SHEET_LIMIT = 100


@dataclass(eq=False)
class NotATable(Exception):
    """Why a file or a sheet is not read, and what to do; `row` and `column` where one place is to blame.

    Where nothing is lost by it, `passed_over` is the sentence that names the sheet while others of its file are read.
    """

    says: str
    remedy: str
    row: int | None = None
    column: str | None = None
    rule: str = "not_a_table"
    passed_over: str = ""

    def finding(self, shown: str) -> Finding:
        """What refuses the file or sheet that may be printed as `shown`."""
        place = ", ".join([shown, *([f"row {self.row}"] if self.row else []), *filter(None, [self.column])])
        return Finding(
            shown, self.rule, "refused", f"{place}: {self.says}", self.remedy, self.row, self.column
        )


def file_too_large() -> NotATable:
    return NotATable(f"the file is larger than {FILE_LIMIT:,} bytes.", "Export fewer cases at once.")


def too_many_columns(row: int | None = None) -> NotATable:
    return NotATable(
        f"the table has more than {COLUMN_LIMIT} columns.", "Export only the columns of the format.", row
    )


def too_large() -> NotATable:
    return NotATable(
        f"the table is too large: at most {ROW_LIMIT:,} rows, {CELL_LIMIT:,} cells"
        f" and {TEXT_LIMIT:,} bytes of text are read.",
        "Export fewer cases or fewer columns at once.",
    )


def cell_too_long(row: int, column: str | None) -> NotATable:
    return NotATable(
        f"the cell is longer than {LONGEST_CELL:,} bytes.",
        "Shorten it, or close the quotation mark that was left open before it.",
        row,
        column,
        "cell_too_long",
    )


def no_rows() -> NotATable:
    return NotATable(
        "there are no rows below the header.",
        "Export it again with its rows.",
        passed_over="The {sheet} has no rows below its header.",
    )


def hidden() -> NotATable:
    return NotATable(
        "the sheet is hidden, and no other one is a table.",
        "Unhide it if it is to be read.",
        passed_over="The hidden {sheet} was not read.",
    )


def no_table_of_a_kind(header: list[str]) -> NotATable:
    """Why a sheet whose header has no column of any kind is not read."""
    kind = nearest_kind(header)
    return NotATable(
        "the columns do not match any kind of export.",
        f"The nearest kind is {kind.name}, without {', '.join(missing_columns(kind, header))}. Nothing was stored.",
        rule="kind_unknown",
        passed_over="The {sheet} is no table of any kind and was not read.",
    )


def lines_above(header_row: int) -> str:
    above = header_row - 1
    return f"{above} line{'s' * (above > 1)} above the header in row {header_row}: not read."


BEYOND_THE_HEADER = "Cells to the right of the last header: not read."


def not_text() -> NotATable:
    return NotATable("the file cannot be read as text.", "Export it as CSV in UTF-8, as XLSX or as Parquet.")


def open_quote(row: int) -> NotATable:
    return NotATable(
        "a quotation mark that opens in this row is never closed, or text follows the closing one.",
        "Close it, double every quotation mark inside a quoted cell, and export again.",
        row,
    )


def file_name_finding(number: int) -> Finding:
    """What refuses the `number`th file for its name; the name itself is never printed."""
    shown = f"file {number}"
    return Finding(
        shown,
        "identifier_in_file_name",
        "refused",
        f"{shown}: its name, or the name of a sheet in it, contains what looks like an identifier.",
        "Rename it and hand it in again; nothing of the file was stored.",
    )


def not_of_a_kind(nearest: Kind, header: list[str], look_alikes: dict[str, str], shown: str) -> Finding:
    """What refuses a table that has not all that any kind needs.

    `look_alikes` gives for a missing column the header that looks like it.
    """
    missing = missing_columns(nearest, header)
    remedy = f"The nearest kind is {nearest.name}, without {', '.join(missing)}. Nothing was stored."
    if not look_alikes and all(name in missing for name in nearest.required if name != "trainee_ref"):
        message = f"{shown}: the columns do not match any kind of export."
        return Finding(shown, "kind_unknown", "refused", message, remedy)
    absent = [
        f"There is no column {name}."
        + (f" {look_alikes[name]} looks like it." if name in look_alikes else "")
        for name in missing
    ]
    if look_alikes:
        remedy = (
            f"Say in the source's mapping which header is which column of {nearest.name}. Nothing was stored."
        )
    return Finding(shown, "column_missing", "refused", f"{shown}: {' '.join(absent)}", remedy, 1, missing[0])
