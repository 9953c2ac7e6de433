"""Whom somebody who has signed in stands for, as access.yaml says now: it may be edited while the dashboard runs."""

from __future__ import annotations

import sys
from dataclasses import dataclass

from dashboard.queries.live import FileState, state_of
from dashboard.sessions import Who
from pipelines.contract.errors import UserError
from pipelines.store.accounts import Accounts
from pipelines.store.documents import Person
from pipelines.store.store import Store


@dataclass(frozen=True)
class OfAccount:
    """Signed in by an account of the store, as it was at that version."""

    account: str
    version: int


@dataclass(frozen=True)
class OfProvider:
    """Signed in at a provider: its issuer, its word for the person, and an email that it has verified."""

    issuer: str
    subject: str
    email: str | None = None


Identity = OfAccount | OfProvider


class Directory:
    """access.yaml and the accounts of a store, asked at every request.

    With `several` providers an email address counts only with the issuer that its entry names: another provider might
    verify it less well.
    """

    def __init__(self, store: Store, *, several: bool = False) -> None:
        self.store, self.accounts, self.several = store, Accounts(store.root), several
        self._files = [store.root / name for name in ("access.yaml", "programme.yaml")]
        self._read_from: list[FileState] = []
        self._people: dict[tuple[str, ...], Who] = {}

    def who(self, identity: Identity) -> Who | None:
        """Whom an identity stands for; None where nobody, or where access.yaml cannot be read."""
        self._read_anew()
        return next((self._people[key] for key in self._keys(identity) if key in self._people), None)

    def _keys(self, identity: Identity) -> list[tuple[str, ...]]:
        """By what it stands in access.yaml, the surest first."""
        if isinstance(identity, OfAccount):
            current = self.accounts.version(identity.account) == identity.version
            return [("account", identity.account)] if current else []
        keys: list[tuple[str, ...]] = [("subject", identity.issuer, identity.subject)]
        if identity.email:
            keys.append(("email", identity.issuer, identity.email.casefold()))
            if not self.several:
                keys.append(("email", "", identity.email.casefold()))
        return keys

    def _read_anew(self) -> None:
        """Read the people again where a file has changed; where it cannot be read there are none, and the log says so."""
        files = [state_of(path) for path in self._files]
        if files == self._read_from:
            return
        self._read_from, self._people = files, {}
        try:
            people, programme = self.store.access.people, self.store.programme.programme_ref
        except UserError as error:
            print(f"{error}\nUntil this is right, nobody is let in.", file=sys.stderr, flush=True)
            return
        self._people = {key: _who(person, programme) for person in people for key in person.keys}


def _who(person: Person, programme_ref: str) -> Who:
    return Who(person.role, person.programme or programme_ref, person.trainee or person.reviewer, person.name)
