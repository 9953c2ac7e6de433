"""Plumbing of the tests of sign-in: a store with people in its access.yaml, served as a department serves it."""

from __future__ import annotations

import contextlib
import json
import shutil
import socket
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import yaml

from pipelines.store import access_log, passphrases
from pipelines.store.accounts import Account, Accounts, _File
from pipelines.store.store import Store
from tests.planted import OTHERS, OWN, REVIEWS, ROSTER, X, Y
from tests.serving import Answer, Server, cookie_of, serving
from tests.stores import new_store, run_well, set_programme, shared, write_csv

PASSPHRASE = "quiet harbour lantern seven"
# Whoever signs in, by the name of their account, and what access.yaml says of them.
PEOPLE: dict[str, dict[str, str]] = {
    "director": {"role": "director"},
    "committee": {"role": "committee_member"},
    "office": {"role": "coordinator"},
    "reviewer": {"role": "reviewer", "reviewer": "S01"},
    "t01": {"role": "trainee", "trainee": "T01"},
    "t02": {"role": "trainee", "trainee": "T02"},
    "elsewhere": {"role": "director", "programme": Y},
}
FORM = {"content-type": "application/x-www-form-urlencoded"}


def department_store(folder: Path) -> Path:
    """A store of two programmes whose people have accounts, all with one passphrase; to write into."""
    return Path(shutil.copytree(shared("department", _make_store) / "store", folder / "store"))


def _make_store(folder: Path) -> None:
    root = new_store(folder)
    set_programme(root, programme_ref=X, as_of="2026-11-15")
    files = {"roster": ROSTER, "own": OWN, "zyx-cases": OTHERS, "reviews": REVIEWS}
    run_well(
        "intake", *(write_csv(folder / f"{name}.csv", text) for name, text in files.items()), "--store", root
    )
    admit(root, [{**entry, "account": account} for account, entry in PEOPLE.items()])
    make_accounts(root, *PEOPLE)


def admit(root: Path, people: list[dict[str, Any]]) -> None:
    """Write access.yaml anew, as an editor does."""
    (root / "access.yaml").write_text(yaml.safe_dump({"people": people}, sort_keys=False), encoding="utf-8")


def change(root: Path, account: str, **entry: Any) -> None:
    """Change what access.yaml says of one person; None takes a key away, and no key at all the whole person."""
    people = yaml.safe_load((root / "access.yaml").read_text(encoding="utf-8"))["people"]
    changed = []
    for person in people:
        if person.get("account") == account:
            person = {name: value for name, value in {**person, **entry}.items() if value} if entry else None  # noqa: PLW2901 - one of them is changed
        changed += [person] if person else []
    admit(root, changed)


def make_accounts(root: Path, *names: str) -> None:
    """Accounts that are past their code: hashing is slow, so that it is done once for all."""
    kept = passphrases.hashed(PASSPHRASE)
    accounts = {name: Account(version=2, passphrase=kept) for name in (*Accounts(root).names(), *names)}
    (root / "accounts.json").write_text(_File(accounts=accounts).model_dump_json(), encoding="utf-8")


@contextlib.contextmanager
def department(root: Path, *, stderr: Any = None, **variables: str) -> Iterator[Server]:
    """The dashboard with sign-in, on a port of this machine."""
    with socket.create_server(("127.0.0.1", 0)) as probe:
        port = probe.getsockname()[1]
    given = {
        "STANDING_URL": f"http://127.0.0.1:{port}",
        "STANDING_LISTEN": f"127.0.0.1:{port}",
        **variables,
    }
    with serving(root, "--serve", stderr=stderr, **given) as server:
        yield server


def post(address: str, path: str, cookie: str = "", origin: str | None = None, **fields: str) -> Answer:
    """A form, sent as a browser sends it."""
    headers = {**FORM, "origin": origin or address, **({"cookie": cookie} if cookie else {})}
    return Answer(address, path, "POST", urlencode(fields).encode(), **headers)


def sign_in(address: str, account: str, passphrase: str = PASSPHRASE, cookie: str = "") -> str:
    """Sign in; returns the cookie as a browser sends it."""
    answer = post(address, "/sign-in/account", cookie, account=account, passphrase=passphrase)
    assert answer.status == 200, (answer.status, answer.body)
    return f"{cookie_of(address)}={answer.cookie.value}"


def logged(root: Path) -> list[dict[str, str]]:
    """What stands in the access log, as it stands."""
    text = (Store(root).root / access_log.FILE).read_text(encoding="utf-8")
    return [json.loads(line) for line in text.splitlines()]
