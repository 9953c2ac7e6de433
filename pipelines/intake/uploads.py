"""Exports that arrive in the dashboard, taken exactly as the command `intake` takes files."""

from __future__ import annotations

import argparse
import contextlib
import io
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from pipelines.cli.commands import one_line
from pipelines.contract.errors import UserError
from pipelines.files.reading import ExportFile
from pipelines.intake import taking

# A file in memory, read like one on a disk: its rows, with their days, never reach one.
Upload = ExportFile


@dataclass(frozen=True)
class Outcome:
    """How an intake ended: its exit code, its receipt, and what it said besides."""

    code: int
    receipt: str
    said: str


def take(root: Path, uploads: Sequence[Upload], by: str | None = None, reason: str | None = None) -> Outcome:
    """Take uploads into the store; with `by` and `reason` also what would otherwise be held."""
    arguments = argparse.Namespace(
        store=root,
        files=list(uploads),
        source="main",
        through=None,
        append=False,
        accept_withdrawals=bool(by and reason),
        by=by,
        reason=reason,
        strict=False,
        fixes=None,
    )
    answer, said = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(answer), contextlib.redirect_stderr(said):
        try:
            code = taking.intake(arguments)
        except UserError as error:
            code = error.exit_code
            said.write(f"{error}\n")
        except Exception as error:  # noqa: BLE001 - one line, as the command prints it
            code = 1
            said.write(f"{one_line(error)}\n")
    return Outcome(code, answer.getvalue(), said.getvalue())
