"""Accounts of a store, for a department without a provider: a name, the hash of a passphrase, a version.

An account begins with a code that works once within three days and can only set a passphrase. Whatever changes an
account raises its version, and whoever signed in by an earlier one is signed out.
"""

from __future__ import annotations

import contextlib
import datetime
import fcntl
import hmac
import json
import os
import re
from collections.abc import Iterator
from pathlib import Path

from pydantic import BaseModel, ConfigDict, ValidationError

from pipelines.contract.errors import StoreDamaged, WrongUsage
from pipelines.store.documents import ACCOUNT
from pipelines.store.passphrases import code_hash, fault_of, hashed, matches, new_code
from pipelines.store.store import write_whole

FILE = "accounts.json"
CODE_HOURS = 72


class Account(BaseModel):
    """One account; a hash that is missing was never set, or was reset."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    version: int
    passphrase: str | None = None
    code: str | None = None
    code_until: datetime.datetime | None = None


class _File(BaseModel):
    model_config = ConfigDict(extra="forbid")

    accounts: dict[str, Account] = {}


class Accounts:
    """The accounts of the store in `root`; every call sees what other processes have written."""

    def __init__(self, root: Path) -> None:
        self.path = root / FILE
        self._seen: tuple[tuple[int, int], _File] | None = None

    def names(self) -> list[str]:
        """Every account."""
        return sorted(self._read().accounts)

    def version(self, name: str) -> int | None:
        """The version of an account; None where there is none."""
        account = self._read().accounts.get(name)
        return account.version if account else None

    def add(self, name: str) -> str:
        """Make an account; returns the code to begin with. Raises WrongUsage where the name is taken or is none."""
        if not re.fullmatch(ACCOUNT, name):
            raise WrongUsage(
                f"{name} is no name for an account. Use lower-case letters, digits, dot, _ and -."
            )
        with self._changing() as accounts:
            if name in accounts:
                raise WrongUsage(f"There is an account {name} already. For a new code: account reset {name}")
            return _begin(accounts, name, 1)

    def reset(self, name: str) -> str:
        """Take the passphrase away; returns a code to set another. Raises WrongUsage where there is no such account."""
        with self._changing() as accounts:
            return _begin(accounts, name, _known(accounts, name).version + 1)

    def close(self, name: str) -> None:
        """Remove an account. Raises WrongUsage where there is none."""
        with self._changing() as accounts:
            _known(accounts, name)
            del accounts[name]

    def verify(self, name: str, passphrase: str) -> int | None:
        """The version of the account that this is the passphrase of; None where it is not, or there is no account."""
        account = self._read().accounts.get(name)
        right = matches(passphrase, account.passphrase if account else None)
        return account.version if account and right else None

    def is_code(self, name: str, code: str) -> bool:
        """Whether this is the code of an account, in its time."""
        account = self._read().accounts.get(name)
        if account is None or account.code is None or account.code_until is None:
            return False
        in_time = _now() < account.code_until
        return hmac.compare_digest(account.code, code_hash(code)) and in_time

    def set_passphrase(self, name: str, secret: str, passphrase: str) -> str | None:
        """Set a new passphrase with the code or the present one; returns why not, None when it is set.

        Raises WrongUsage where the secret is neither.
        """
        if not self.is_code(name, secret) and self.verify(name, secret) is None:
            raise WrongUsage("The account, or its passphrase or code, is not right.")
        if fault := fault_of(passphrase, name):
            return fault
        kept = hashed(passphrase)
        with self._changing() as accounts:
            account = _known(accounts, name)
            accounts[name] = Account(version=account.version + 1, passphrase=kept)
        return None

    @contextlib.contextmanager
    def _changing(self) -> Iterator[dict[str, Account]]:
        with self.path.with_name(f"{FILE}.lock").open("w") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            content = self._read().model_copy(deep=True)
            yield content.accounts
            previous = os.umask(0o077)
            try:
                write_whole(self.path, content.model_dump_json(indent=1).encode() + b"\n")
            finally:
                os.umask(previous)
            self._seen = None

    def _read(self) -> _File:
        try:
            stat = self.path.stat()
            state = (stat.st_mtime_ns, stat.st_ino)
            if self._seen is None or self._seen[0] != state:
                self._seen = (state, _File.model_validate(json.loads(self.path.read_bytes())))
        except FileNotFoundError:
            return _File()
        except (ValidationError, ValueError):
            raise StoreDamaged(f"{FILE} is not what was written") from None
        return self._seen[1]


def _known(accounts: dict[str, Account], name: str) -> Account:
    if name not in accounts:
        raise WrongUsage(f"There is no account {name}.")
    return accounts[name]


def _begin(accounts: dict[str, Account], name: str, version: int) -> str:
    code = new_code()
    until = _now() + datetime.timedelta(hours=CODE_HOURS)
    accounts[name] = Account(version=version, code=code_hash(code), code_until=until)
    return code


def _now() -> datetime.datetime:
    return datetime.datetime.now(datetime.UTC)
