"""The settings of `serve`, from environment variables: all that is missing or wrong is said at once."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from ipaddress import ip_address
from pathlib import Path
from urllib.parse import urlsplit

from dashboard.own_store import is_loopback
from dashboard.sessions import LONGEST_IDLE_SECONDS, LONGEST_SECONDS, Limits
from pipelines.contract.errors import UserError, WrongUsage
from pipelines.store.accounts import Accounts
from pipelines.store.store import Store

PREFIX = "STANDING_"
LISTEN = "127.0.0.1:8501"


@dataclass(frozen=True)
class Provider:
    """An OpenID provider: its name in addresses, its title on the page, and what it knows this dashboard by."""

    name: str
    title: str
    issuer: str
    client_id: str
    client_secret: str


@dataclass(frozen=True)
class Settings:
    """How the dashboard is served: where people find it, where it listens, whose forwarded headers it believes."""

    origin: str
    address: str
    port: int
    proxy: str
    providers: tuple[Provider, ...]
    limits: Limits


def read_settings(variables: Mapping[str, str], store: Store) -> Settings:
    """The settings; raises WrongUsage with everything that is missing or cannot be, a line each."""
    faults: list[str] = []
    origin = _origin(variables, faults)
    address, port = _listen(variables, origin, faults)
    settings = Settings(
        origin=origin,
        address=address,
        port=port,
        proxy=_proxy(variables, origin, faults),
        providers=tuple(_providers(variables, faults)),
        limits=Limits(
            age=_limit(variables, "SESSION_HOURS", 3600, LONGEST_SECONDS, 12, faults),
            idle=_limit(variables, "IDLE_MINUTES", 60, LONGEST_IDLE_SECONDS, 60, faults),
        ),
    )
    faults += _people(store, settings.providers)
    if faults:
        raise WrongUsage("\n".join(["serve cannot start:", *(f"- {fault}" for fault in faults)]))
    return settings


def _origin(variables: Mapping[str, str], faults: list[str]) -> str:
    url = variables.get(f"{PREFIX}URL", "").rstrip("/")
    parts = urlsplit(url)
    if not url:
        faults.append(
            "STANDING_URL is not set: the address at which people open it, such as https://standing.example.org"
        )
    elif parts.scheme not in ("http", "https") or not parts.hostname or parts.path or parts.query:
        faults.append(f"STANDING_URL: {url} is not an address of the form https://standing.example.org")
    elif parts.scheme == "http" and not is_loopback(parts.hostname):
        faults.append(
            f"STANDING_URL: {url} is not https, so that others could read along; only this machine may do without"
        )
    return url


def _listen(variables: Mapping[str, str], origin: str, faults: list[str]) -> tuple[str, int]:
    listen = variables.get(f"{PREFIX}LISTEN") or LISTEN
    address, _, port = listen.rpartition(":")
    if not (address and port.isdigit() and int(port) < 65536):
        faults.append(f"STANDING_LISTEN: {listen} is not an address and a port, such as {LISTEN}")
        return LISTEN, 0
    if not is_loopback(address) and not origin.startswith("https://"):
        faults.append(
            f"STANDING_LISTEN: {listen} is open to other machines; that needs a proxy with https (STANDING_URL)"
        )
    return address.strip("[]"), int(port)


def _proxy(variables: Mapping[str, str], origin: str, faults: list[str]) -> str:
    proxy = variables.get(f"{PREFIX}PROXY", "")
    if origin.startswith("https://") and not proxy:
        faults.append("STANDING_PROXY is not set: the address from which the proxy asks, such as 127.0.0.1")
    if proxy and not all(map(_is_address, proxy.split(","))):
        faults.append(f"STANDING_PROXY: {proxy} is not an IP address (or several, with commas between)")
    return proxy


def _is_address(text: str) -> bool:
    try:
        ip_address(text.strip())
    except ValueError:
        return False
    return True


def _limit(
    variables: Mapping[str, str], name: str, seconds: int, longest: int, usual: int, faults: list[str]
) -> float:
    text = variables.get(f"{PREFIX}{name}") or str(usual)
    if not text.isdigit() or not 0 < int(text) * seconds <= longest:
        faults.append(f"STANDING_{name}: {text} is not a whole number from 1 to {longest // seconds}")
        return 0
    return float(int(text) * seconds)


def _providers(variables: Mapping[str, str], faults: list[str]) -> list[Provider]:
    providers = []
    for name in variables.get(f"{PREFIX}PROVIDERS", "").split():
        if not re.fullmatch(r"[a-z][a-z0-9]{0,30}", name) or name == "account":
            faults.append(f"STANDING_PROVIDERS: {name} cannot be a name; use lower-case letters and digits")
            continue
        own = f"{PREFIX}{name.upper()}_"
        given = {
            part: _value(variables, f"{own}{part}", faults)
            for part in ("ISSUER", "CLIENT_ID", "CLIENT_SECRET")
        }
        faults += [f"{own}{part} is not set" for part, value in given.items() if not value]
        issuer = urlsplit(given["ISSUER"])
        if given["ISSUER"] and not (issuer.scheme == "https" or is_loopback(issuer.hostname or "")):
            faults.append(f"{own}ISSUER: {given['ISSUER']} is not https")
        title = variables.get(f"{own}TITLE") or name.capitalize()
        providers.append(Provider(name, title, given["ISSUER"], given["CLIENT_ID"], given["CLIENT_SECRET"]))
    return providers


def _value(variables: Mapping[str, str], name: str, faults: list[str]) -> str:
    """A variable, or the content of the file that the variable of that name and _FILE names."""
    file = variables.get(f"{name}_FILE")
    if file is None:
        return variables.get(name, "")
    try:
        return Path(file).read_text(encoding="utf-8").strip()
    except (OSError, UnicodeDecodeError):
        faults.append(f"{name}_FILE: {file} cannot be read")
        return "?"


def _people(store: Store, providers: tuple[Provider, ...]) -> list[str]:
    """What keeps everybody out: nobody named, no director, no way to sign in."""
    try:
        people = store.access.people
        accounts = Accounts(store.root).names()
    except UserError as error:
        return [str(error)]
    faults = []
    if not (providers or accounts):
        faults.append(
            "there is no way to sign in: name a provider in STANDING_PROVIDERS, or make accounts (account add NAME)"
        )
    if not people:
        faults.append("access.yaml names nobody: say who may see what (README, For a department)")
    elif not any(person.role == "director" for person in people):
        faults.append("access.yaml names no director")
    if len(providers) > 1 and (loose := [each.name for each in people if each.email and not each.issuer]):
        faults.append(
            f"access.yaml: with several providers an email needs the issuer that verifies it: {', '.join(loose)}"
        )
    return faults
