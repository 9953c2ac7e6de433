"""The commands of a department: the dashboard with sign-in, the accounts of those without a provider, the access log."""

from __future__ import annotations

import getpass
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pipelines.store import access_log
from pipelines.store.access_log import Record
from pipelines.store.store import Store

if TYPE_CHECKING:
    from pipelines.store.accounts import Accounts


class Recorded(click.Command):
    """A command on a store that has an access log is written there, before it does anything."""

    def invoke(self, ctx: click.Context) -> Any:
        root = ctx.params.get("root")
        if isinstance(root, Path) and access_log.is_kept(root):
            access_log.write(root, Record(_caller(), "", "", "ran", _words(ctx), _about(ctx)))
        return super().invoke(ctx)


class Commands(click.Group):
    """A group of such commands."""

    command_class = Recorded
    group_class = type


def _caller() -> str:
    """The account of this machine by which a command was given."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):  # a container may have no name for it
        return f"user {os.geteuid()}"


def _words(ctx: click.Context) -> str:
    """The command, with the view where it prints one. Names of files are left out: they may be a person's."""
    parts = (ctx.command_path.split(" ", 2)[-1], ctx.params.get("view"))
    return " ".join(filter(None, parts))


def _about(ctx: click.Context) -> str:
    return str(ctx.params.get("trainee") or ctx.params.get("cohort") or ctx.params.get("name") or "")


def add_to(cli: click.Group, store: Callable[[Callable[..., int]], Callable[..., int]]) -> None:
    """Add these commands to the others; `store` is their option --store."""

    @cli.command(help="the dashboard with sign-in, for a department; says what is missing")
    @store
    def serve(root: Path) -> int:
        # The dashboard reads what pipelines made, never the other way round: it takes this process over.
        command = [sys.executable, "-P", "-m", "dashboard", "--serve", "--store", str(root)]
        return os.execv(sys.executable, command)

    @cli.group(help="accounts for people without a provider")
    def account() -> None:
        """Every command is one of these."""

    @account.command(help="make an account; prints a code to begin with")
    @click.argument("name")
    @store
    def add(name: str, root: Path) -> int:
        _print_code(root, name, _accounts(root).add(name))
        return 0

    @account.command(help="take the passphrase away and sign its person out; prints a code to set another")
    @click.argument("name")
    @store
    def reset(name: str, root: Path) -> int:
        _print_code(root, name, _accounts(root).reset(name))
        return 0

    @account.command(help="remove an account and sign its person out")
    @click.argument("name")
    @store
    def close(name: str, root: Path) -> int:
        _accounts(root).close(name)
        print(f"{name}: closed.")
        return 0


def _accounts(root: Path) -> Accounts:
    # Its hashes and its lists of common passphrases take a while to import.
    from pipelines.store.accounts import Accounts

    return Accounts(Store(root).root)


def _print_code(root: Path, name: str, code: str) -> None:
    from pipelines.store.accounts import CODE_HOURS

    print(code)
    print(
        f"The code works once, within {CODE_HOURS} hours, to set a passphrase for {name}. Hand it over by a way that"
        " nobody else reads.",
        file=sys.stderr,
    )
    if not any(person.account == name for person in Store(root).access.people):
        print(f"access.yaml does not say yet who {name} is.", file=sys.stderr)
