"""What can go wrong in a way that a person can mend, each with the exit code of the commands."""

from __future__ import annotations

from pipelines.contract.findings import Finding


class UserError(Exception):
    """Printed as one line without a traceback; the command ends with `exit_code`."""

    exit_code = 1


class WrongUsage(UserError):
    """A path, store, view, column, setting or definition that does not exist or breaks its schema."""

    exit_code = 2


class FileRefused(UserError):
    """A file that is not taken at all: not a table of the contract (11), or identifiers in it (12)."""

    def __init__(self, findings: list[Finding]) -> None:
        self.findings = findings
        self.exit_code = 12 if any(each.rule.startswith("identifier_") for each in findings) else 11
        super().__init__("\n".join(f"{each.message} {each.remedy}" for each in findings))


class AuditFailed(UserError):
    """An integrity audit returned rows: the new snapshot is not published."""

    exit_code = 13


class Held(UserError):
    """Something would vanish from a trainee's record without a person's word."""

    exit_code = 14


class AnotherWriter(UserError):
    """Another process is writing to the store."""

    exit_code = 15
