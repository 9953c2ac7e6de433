"""Bad rows make findings, never exceptions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Severity = Literal["refused", "left_out", "warning"]

REFUSALS = (
    "not_a_table",
    "header_twice",
    "column_missing",
    "kind_unknown",
    "cell_too_long",
    "identifier_in_header",
    "identifier_in_cell",
    "identifier_in_file_name",
)
# In this order: a row with two faults is counted under the first.
LEFT_OUT = (
    "required_blank",
    "case_ref_malformed",
    "ref_malformed",
    "key_repeated",
    "trainee_unknown",
    "date_unreadable",
    "date_ambiguous",
    "date_impossible",
    "date_in_future",
    "before_credit_from",
    "code_unknown",
    "none_beside_code",
    "number_unreadable",
    "number_out_of_range",
    "yes_no_unreadable",
    "too_many_cells",
)
WARNINGS = (
    "procedure_unmapped",
    "column_unknown",
    "after_expected_completion",
    "complication_not_eligible",
    "event_day_missing",
    "supervision_contradicts_role",
    "logged_before_operated",
    "roster_redates_cases",
    "case_ref_reused",
    "case_unknown",
    "in_two_sources",
    "older_version_kept",
)


@dataclass(frozen=True)
class Finding:
    """One thing to say about a file, a row or a cell; the fields are the columns of the view `finding`.

    `source_row` counts the header as 1; it is None where the finding is about the whole file.
    """

    file_name: str
    rule: str
    severity: Severity
    message: str
    remedy: str
    source_row: int | None = None
    column_name: str | None = None
    trainee_ref: str | None = None
    intake_id: str | None = None
