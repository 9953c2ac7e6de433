"""Signing in at an OpenID provider: the code flow with PKCE, one address to come back to for each provider.

What a sign-in needs until the person comes back (state, nonce, code verifier) stays in this process; the browser holds
a random name of it in a cookie of its own. That cookie is Lax: a Strict one is not sent when a person has clicked at the
provider.
"""

from __future__ import annotations

import secrets
import sys
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from authlib.integrations.starlette_client import OAuth, OAuthError
from httpx2 import HTTPError
from joserfc.errors import JoseError
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import Route

from dashboard.environment import Provider
from dashboard.plain_page import paragraph, plain_page
from dashboard.sign_in import SIGN_IN, Entrance
from dashboard.who import OfProvider

COOKIE = "standing_sign_in"
# How long a person may take at the provider, and how many may be there at a time.
SECONDS_THERE = 600
MOST_THERE = 1000
# Signatures that only the provider can make; never one by a secret that is shared, never none.
SIGNATURES = (
    "RS256",
    "RS384",
    "RS512",
    "PS256",
    "PS384",
    "PS512",
    "ES256",
    "ES384",
    "ES512",
    "EdDSA",
    "Ed25519",
)


@dataclass
class _There:
    """Somebody on the way to a provider and back."""

    provider: str
    until: float
    kept: dict[str, Any]


class Providers:
    """The routes of every provider."""

    def __init__(self, entrance: Entrance, clock: Callable[[], float] = time.monotonic) -> None:
        self.entrance, self._clock = entrance, clock
        self._there: OrderedDict[str, _There] = OrderedDict()
        self._known = {each.name: each for each in entrance.providers}
        self._oauth = OAuth()
        for each in entrance.providers:
            self._oauth.register(
                each.name,
                client_id=each.client_id,
                client_secret=each.client_secret,
                server_metadata_url=f"{each.issuer.rstrip('/')}/.well-known/openid-configuration",
                client_kwargs={"scope": "openid email", "code_challenge_method": "S256", "timeout": 20},
            )

    def routes(self) -> list[Route]:
        """A way there and a way back for each."""
        return [
            Route(f"{SIGN_IN}/{{provider}}", self.go),
            Route(f"{SIGN_IN}/{{provider}}/back", self.come_back),
        ]

    async def go(self, request: Request) -> Response:
        """Send the browser to the provider."""
        provider = self._known.get(request.path_params["provider"])
        if provider is None:
            return _said("There is no such way to sign in.", 404)
        kept: dict[str, Any] = {}
        try:
            client = await self._client(provider)
            way_back = f"{self.entrance.site.origin}{SIGN_IN}/{provider.name}/back"
            response: Response = await client.authorize_redirect(_with(request, kept), way_back)
        except (OAuthError, HTTPError, RuntimeError, ValueError) as error:
            return _did_not_work(provider, error)
        name = secrets.token_urlsafe(32)
        self._there[name] = _There(provider.name, self._clock() + SECONDS_THERE, kept)
        while len(self._there) > MOST_THERE:
            self._there.popitem(last=False)
        response.set_cookie(
            self._cookie(),
            name,
            max_age=SECONDS_THERE,
            httponly=True,
            samesite="lax",
            secure=self.entrance.site.secure,
        )
        return response

    async def come_back(self, request: Request) -> Response:
        """Take what the provider says of the person, once, from the browser that was sent there."""
        provider = self._known.get(request.path_params["provider"])
        there = self._there.pop(request.cookies.get(self._cookie(), ""), None)
        if (
            provider is None
            or there is None
            or there.provider != provider.name
            or self._clock() >= there.until
        ):
            return _said("This sign-in was not begun in this browser, or too long ago. Begin again.", 400)
        try:
            identity = await self._identity(provider, _with(request, there.kept))
        except (OAuthError, HTTPError, JoseError, RuntimeError, ValueError, KeyError) as error:
            return _did_not_work(provider, error)
        return await self.entrance.enter(
            request, identity, f"{identity.email or identity.subject} of {provider.issuer}"
        )

    async def _identity(self, provider: Provider, request: Request) -> OfProvider:
        client = await self._client(provider)
        ours = {
            "iss": {"essential": True, "values": [provider.issuer]},
            "aud": {"essential": True, "value": provider.client_id},
        }
        token = await client.authorize_access_token(request, claims_options=ours)
        if "userinfo" not in token:
            raise ValueError("the provider sent no ID token")
        claims = token["userinfo"]
        if "email" not in claims and client.server_metadata.get("userinfo_endpoint"):
            more = await client.userinfo(token=token)
            if more["sub"] == claims["sub"]:
                claims = {**more, **claims}
        verified = claims.get("email_verified") is True
        return OfProvider(provider.issuer, str(claims["sub"]), str(claims["email"]) if verified else None)

    async def _client(self, provider: Provider) -> Any:
        """The library's client, with what the provider says of itself; raises ValueError where that is of another."""
        client = self._oauth.create_client(provider.name)
        metadata = await client.load_server_metadata()
        if metadata.get("issuer") != provider.issuer:
            raise ValueError(f"what is there calls itself {metadata.get('issuer')}")
        offered = metadata.get("id_token_signing_alg_values_supported") or ["RS256"]
        metadata["id_token_signing_alg_values_supported"] = [
            each for each in offered if each in SIGNATURES
        ] or ["RS256"]
        return client

    def _cookie(self) -> str:
        return f"__Host-{COOKIE}" if self.entrance.site.secure else COOKIE


def _with(request: Request, kept: dict[str, Any]) -> Request:
    """The request as the library wants it: with a session, which is ours and stays here."""
    return Request({**request.scope, "session": kept}, request.receive)


def _did_not_work(provider: Provider, error: Exception) -> Response:
    reason = error.error if isinstance(error, OAuthError) else type(error).__name__
    print(f"Sign-in with {provider.name} did not work: {reason}", file=sys.stderr, flush=True)
    return _said(
        f"Signing in with {provider.title} did not work. Begin again, or ask whoever keeps this dashboard.",
        502,
    )


def _said(text: str, status: int) -> Response:
    return HTMLResponse(
        plain_page("Sign in", f'{paragraph(text)}<p><a href="{SIGN_IN}">Sign in</a></p>'), status_code=status
    )
