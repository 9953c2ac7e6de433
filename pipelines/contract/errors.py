"""What can go wrong in a way that a person can mend: findings about files, and errors with their exit codes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from pipelines.contract.rules import Severity


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


@dataclass(frozen=True)
class Uncertain:
    """One text that a person must look at before it is taken: a comment that may name somebody, a reference like a name.

    `text` is for the eyes of that person alone: it is never stored or logged. `key` names it in what they confirm: a
    reference itself, of free text a hash.
    """

    file_name: str
    column: str
    what: str
    key: str
    source_row: int
    text: str = field(repr=False)

    @property
    def setting(self) -> str:
        """The list of a source's mapping in which a person confirms it."""
        return "pseudonyms" if self.key == self.text else "released"


class UserError(Exception):
    """Printed as one line without a traceback; the command ends with `exit_code`."""

    exit_code = 1


class WrongUsage(UserError):
    """A path, store, view, column, setting or definition that does not exist or breaks its schema."""

    exit_code = 2


class FileRefused(UserError):
    """A file that is not taken at all: not a table of the contract (11), or identifiers in it (12).

    `uncertain` is what a person may confirm, so that the same file is taken.
    """

    def __init__(self, findings: list[Finding], uncertain: Sequence[Uncertain] = ()) -> None:
        self.findings = findings
        self.uncertain = tuple(uncertain)
        self.exit_code = 12 if any(each.rule.startswith("identifier_") for each in findings) else 11
        super().__init__("\n".join(f"{each.message} {each.remedy}" for each in findings))


class AuditFailed(UserError):
    """An integrity audit returned rows: the new snapshot is not published."""

    exit_code = 13


class StoreDamaged(UserError):
    """A file of the store is missing or is not what was written; only a backup can mend that."""

    exit_code = 13

    def __init__(self, what: str) -> None:
        super().__init__(f"The store is damaged: {what}. Restore it from a backup.")


class AnotherWriter(UserError):
    """Another process is writing to the store."""

    exit_code = 15
