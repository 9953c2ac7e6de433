"""Signing in and out: the page that offers the ways, local accounts, and the end of a session.

The gate lets these paths through without a session; it has seen to it that no other site asks.
"""

from __future__ import annotations

import asyncio
import html
import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from urllib.parse import parse_qsl

from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, Response
from starlette.routing import Route

from dashboard.attempts import Attempts
from dashboard.environment import Provider
from dashboard.gate import Site, forget_session, keep_session, session_name
from dashboard.plain_page import paragraph, plain_page
from dashboard.sessions import Sessions, Who
from dashboard.who import Directory, Identity, OfAccount
from pipelines.contract.errors import WrongUsage
from pipelines.store.access_log import Record
from pipelines.store.access_log import write as write_down
from pipelines.store.passphrases import LONGEST

SIGN_IN, PASSPHRASE, SIGN_OUT, HEALTH = "/sign-in", "/passphrase", "/sign-out", "/health"
# A passphrase of the longest, each character four bytes of UTF-8 written as %XX, twice over, and names.
LARGEST_FORM_BYTES = 3 * 12 * LONGEST + 1000
# Hashes that are verified at a time: each takes one processor for some hundredths of a second, and 19 MiB.
AT_ONCE = 2
WRONG = "The account, or its passphrase or code, is not right."


@dataclass
class Entrance:
    """What signing in needs: who is who, the sessions to open, where the log is, and how often somebody has tried."""

    directory: Directory
    sessions: Sessions
    site: Site
    providers: Sequence[Provider] = ()
    attempts: Attempts = field(default_factory=Attempts)

    def __post_init__(self) -> None:
        self._verifying = asyncio.Semaphore(AT_ONCE)

    def routes(self) -> list[Route]:
        """The routes of this module."""
        return [
            Route(SIGN_IN, self.offer),
            Route(f"{SIGN_IN}/account", self.by_account, methods=["POST"]),
            Route(PASSPHRASE, self.ask_passphrase),
            Route(PASSPHRASE, self.set_passphrase, methods=["POST"]),
            Route(SIGN_OUT, self.ask_sign_out),
            Route(SIGN_OUT, self.sign_out, methods=["POST"]),
            Route(HEALTH, health),
        ]

    async def offer(self, _request: Request) -> Response:
        return HTMLResponse(self._offered())

    def _offered(self, said: str = "") -> str:
        links = "".join(
            f'<p><a href="{SIGN_IN}/{each.name}">Sign in with {html.escape(each.title)}</a></p>'
            for each in self.providers
        )
        form = _FORM if self.directory.accounts.names() else ""
        title = self.directory.store.programme.title
        return plain_page(title, f"{paragraph(said) if said else ''}{links}{form}")

    async def by_account(self, request: Request) -> Response:
        """Sign in by an account and its passphrase."""
        form = await _form(request)
        if form is None:
            return _too_large()
        name, secret = form.get("account", "").strip().lower(), form.get("passphrase", "")
        async with self._verifying:
            if refusal := self._must_wait(request, name):
                return refusal
            keys = self._keys(request, name)
            self.attempts.begin(*keys)
            version = await asyncio.to_thread(self.directory.accounts.verify, name, secret)
        if version is None:
            if self.directory.accounts.is_code(name, secret):
                self.attempts.succeeded(*keys)
                said = "This is the code to begin with. Use it to set a passphrase of your own, then sign in by that."
                return HTMLResponse(_passphrase_page(said))
            self._note_failure(name)
            return HTMLResponse(self._offered(WRONG), status_code=403)
        self.attempts.succeeded(*keys)
        return await self.enter(request, OfAccount(name, version), f"account {name}")

    async def enter(self, request: Request, identity: Identity, by: str) -> Response:
        """Open a session for who has signed in, in the place of any other of this browser; or say that nobody knows them."""
        who = self.directory.who(identity)
        if who is None:
            await self.note(Record(by, "", "", "was not let in"))
            return HTMLResponse(_not_known(by, identity), status_code=403)
        await self.note(Record(who.person, who.role, who.programme_ref, "signed in", by))
        self.sessions.close(session_name(request, self.site))
        response = HTMLResponse(plain_page("Signed in", "", goes_to="/"))
        keep_session(response, request, self.sessions, self.sessions.open(identity), self.site)
        return response

    async def ask_passphrase(self, _request: Request) -> Response:
        return HTMLResponse(_passphrase_page())

    async def set_passphrase(self, request: Request) -> Response:
        """Set a new passphrase with the present one or with a code; whoever is signed in by the account is signed out."""
        form = await _form(request)
        if form is None:
            return _too_large()
        name, new = form.get("account", "").strip().lower(), form.get("new", "")
        if new != form.get("again", ""):
            return HTMLResponse(
                _passphrase_page("The new passphrase and its repetition differ."), status_code=400
            )
        async with self._verifying:
            if refusal := self._must_wait(request, name):
                return refusal
            keys = self._keys(request, name)
            self.attempts.begin(*keys)
            try:
                fault = await asyncio.to_thread(
                    self.directory.accounts.set_passphrase, name, form.get("present", ""), new
                )
            except WrongUsage:
                self._note_failure(name)
                return HTMLResponse(_passphrase_page(WRONG), status_code=403)
        self.attempts.succeeded(*keys)
        if fault:
            return HTMLResponse(_passphrase_page(fault), status_code=400)
        await self.note(Record(name, "", "", "set a passphrase"))
        return HTMLResponse(self._offered("Your passphrase is set. Sign in by it."))

    async def ask_sign_out(self, _request: Request) -> Response:
        form = f'<form method="post" action="{SIGN_OUT}"><button>Sign out</button></form><p><a href="/">Back</a></p>'
        return HTMLResponse(plain_page("Sign out", form))

    async def sign_out(self, request: Request) -> Response:
        """End the session of this browser, and with it every tab and download of it."""
        name = session_name(request, self.site)
        if who := self.sessions.viewer(name):
            await self.note(_of(who, "signed out"))
        self.sessions.close(name)
        said = f'Whatever was open here is closed. <a href="{SIGN_IN}">Sign in again</a>'
        response = HTMLResponse(plain_page("You have signed out", f"<p>{said}</p>"))
        response.headers["clear-site-data"] = '"cache", "storage"'
        forget_session(response, request, self.site)
        return response

    async def note(self, record: Record) -> None:
        """Write a record down before anything is answered."""
        await asyncio.to_thread(write_down, self.directory.store.root, record)

    def exported(self, who: Who, name: str) -> None:
        """Write down that a file goes out, before it does; about whom, its name says."""
        ref = name.removesuffix("-fixes.csv")
        about = ref if ref != name else ""
        write_down(self.directory.store.root, Record(*_named(who), "exported", name, about))

    def _note_failure(self, name: str) -> None:
        # A name that is no account's may be a passphrase in the wrong box.
        known = name if self.directory.accounts.version(name) is not None else "an unknown account"
        write_down(self.directory.store.root, Record(known, "", "", "failed to sign in"))

    def _keys(self, request: Request, name: str) -> tuple[tuple[str, str], tuple[str, str]]:
        """By what attempts are counted: the account as it is now (a reset begins anew), and the address."""
        address = request.client.host if request.client else ""
        return ("account", f"{name} {self.directory.accounts.version(name)}"), ("address", address)

    def _must_wait(self, request: Request, name: str) -> Response | None:
        """The answer to somebody who has failed too often; it is the same whether or not there is such an account."""
        wait = self.attempts.wait(*self._keys(request, name))
        if not wait:
            return None
        if wait == float("inf"):
            said = "Too many attempts with this account have failed. Whoever keeps the accounts can reset it."
            return HTMLResponse(self._offered(said), status_code=403)
        said = f"Too many attempts have failed. Try again in {_minutes(wait)}."
        headers = {"retry-after": str(int(wait) + 1)}
        return HTMLResponse(self._offered(said), status_code=429, headers=headers)


async def health(_request: Request) -> Response:
    """Whether the process answers, and nothing else."""
    return PlainTextResponse("ok")


async def _form(request: Request) -> dict[str, str] | None:
    """The fields of a small form; None where it is not small. The last of a field that stands twice counts."""
    body = b""
    async for part in request.stream():
        body += part
        if len(body) > LARGEST_FORM_BYTES:
            return None
    return dict(parse_qsl(body.decode("utf-8", "replace"), keep_blank_values=True, max_num_fields=10))


def _too_large() -> Response:
    return PlainTextResponse("That is more than this form holds.", status_code=413)


def _minutes(seconds: float) -> str:
    minutes = int(seconds // 60) + 1
    return f"{minutes} minute{'' if minutes == 1 else 's'}"


def _named(who: Who) -> tuple[str, str, str]:
    return who.person, who.role, who.programme_ref


def _of(who: Who, did: str) -> Record:
    return Record(*_named(who), did)


def _not_known(by: str, identity: Identity) -> str:
    entry = "".join(f"\n{name}: {json.dumps(value)}" for name, value in _entry(identity).items())
    return plain_page(
        "Nobody has let you in",
        f"{paragraph(f'You are signed in as {by}, and this dashboard does not know you.')}"
        "<p>If you should be here, give these lines to whoever keeps its access.yaml:</p>"
        f'<pre>{html.escape(entry.strip())}</pre><p><a href="{SIGN_IN}">Sign in as somebody else</a></p>',
    )


def _entry(identity: Identity) -> dict[str, str]:
    """By what somebody would stand in access.yaml."""
    if isinstance(identity, OfAccount):
        return {"account": identity.account}
    return {"issuer": identity.issuer, "subject": identity.subject}


_FORM = f"""
<form method="post" action="{SIGN_IN}/account">
<label>Account <input name="account" autocomplete="username" autocapitalize="none" spellcheck="false" required></label>
<label>Passphrase <input name="passphrase" type="password" autocomplete="current-password" required></label>
<button>Sign in</button>
</form>
<p><a href="{PASSPHRASE}">Set or change a passphrase</a></p>
"""


def _passphrase_page(said: str = "") -> str:
    return plain_page(
        "Set a passphrase",
        f"{paragraph(said) if said else ''}"
        "<p>At least 15 characters, of any kind. Several words that do not belong together are easy to remember and hard"
        " to guess. You need the present passphrase, or the code that you were given.</p>"
        f"""
<form method="post" action="{PASSPHRASE}">
<label>Account <input name="account" autocomplete="username" autocapitalize="none" spellcheck="false" required></label>
<label>Present passphrase, or code
<input name="present" type="password" autocomplete="current-password" required></label>
<label>New passphrase <input name="new" type="password" autocomplete="new-password" required></label>
<label>The same again <input name="again" type="password" autocomplete="new-password" required></label>
<button>Set it</button>
</form>
<p><a href="{SIGN_IN}">Back</a></p>
""",
    )
