"""An OpenID provider of the tests' own: it asks with a form that a person submits, and it can be told to lie.

Written from OpenID Connect Core 1.0 (3.1, the code flow) and RFC 7636 (PKCE, S256).
"""

from __future__ import annotations

import base64
import contextlib
import hashlib
import json
import secrets
import threading
import time
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlencode, urlsplit

from joserfc import jwt
from joserfc.jwk import KeySet, OctKey, RSAKey

CLIENT, SECRET = "standing", "a secret of the tests"
# A provider at another name of this machine is another site to the browser.
HOST = "localhost"


class OwnProvider:
    """The provider: whom it knows, what it was asked, and the lie it tells (`claims` replace those of a token)."""

    def __init__(self, port: int) -> None:
        self.issuer = f"http://{HOST}:{port}"
        self.key = RSAKey.generate_key(2048, {"kid": "first"})
        self.claims: dict[str, Any] = {}
        self.algorithm = "RS256"
        self.asked: list[dict[str, str]] = []
        self.codes: dict[str, dict[str, str]] = {}
        self.tokens: dict[str, str] = {}

    @property
    def metadata(self) -> dict[str, Any]:
        return {
            "issuer": self.issuer,
            "authorization_endpoint": f"{self.issuer}/authorize",
            "token_endpoint": f"{self.issuer}/token",
            "userinfo_endpoint": f"{self.issuer}/userinfo",
            "jwks_uri": f"{self.issuer}/keys",
            "response_types_supported": ["code"],
            "subject_types_supported": ["public"],
            "id_token_signing_alg_values_supported": ["RS256", "HS256", "none"],
        }

    def id_token(self, asked: dict[str, str], subject: str) -> str:
        now = int(time.time())
        claims = {
            "iss": self.issuer,
            "aud": CLIENT,
            "sub": subject,
            "iat": now,
            "exp": now + 300,
            "nonce": asked["nonce"],
            **self.claims,
        }
        key = self.key if self.algorithm == "RS256" else OctKey.import_key(SECRET)
        return jwt.encode({"alg": self.algorithm, "kid": "first"}, claims, key)


@contextlib.contextmanager
def own_provider() -> Iterator[OwnProvider]:
    """The provider, serving in a thread until the end of the block."""
    with ThreadingHTTPServer(("127.0.0.1", 0), _Answers) as server:
        provider = OwnProvider(server.server_address[1])
        server.provider = provider  # type: ignore[attr-defined] - where its handlers find it
        threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True).start()
        try:
            yield provider
        finally:
            server.shutdown()


class _Answers(BaseHTTPRequestHandler):
    def log_message(self, *_: object) -> None:
        return

    @property
    def provider(self) -> OwnProvider:
        found: OwnProvider = self.server.provider  # type: ignore[attr-defined] - see own_provider
        return found

    def do_GET(self) -> None:
        parts = urlsplit(self.path)
        if parts.path == "/.well-known/openid-configuration":
            self._json(self.provider.metadata)
        elif parts.path == "/keys":
            self._json(KeySet([self.provider.key]).as_dict(private=False))
        elif parts.path == "/userinfo":
            subject = self.provider.tokens[self.headers["authorization"].removeprefix("Bearer ")]
            self._json({"sub": subject, "email": f"{subject}@example.org", "email_verified": True})
        elif parts.path == "/authorize":
            self.provider.asked.append({name: values[0] for name, values in parse_qs(parts.query).items()})
            number = len(self.provider.asked) - 1
            form = (
                f'<!doctype html><title>Provider</title><form method="post" action="/login?{number}">'
                '<label>Who are you? <input name="subject"></label><button>Go on</button></form>'
            )
            self._answer(200, form.encode(), "text/html")
        else:
            self._answer(404, b"", "text/plain")

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers["content-length"])).decode()
        form = {name: values[0] for name, values in parse_qs(body).items()}
        if self.path.startswith("/login?"):
            self._log_in(self.provider.asked[int(self.path.partition("?")[2])], form["subject"])
        elif self.path == "/token":
            self._token(form)

    def _log_in(self, asked: dict[str, str], subject: str) -> None:
        code = secrets.token_urlsafe(16)
        self.provider.codes[code] = {**asked, "subject": subject}
        self.send_response(303)
        self.send_header(
            "location", f"{asked['redirect_uri']}?{urlencode({'code': code, 'state': asked['state']})}"
        )
        self.end_headers()

    def _token(self, form: dict[str, str]) -> None:
        asked = self.provider.codes.pop(form.get("code", ""), None)
        digest = hashlib.sha256(form.get("code_verifier", "").encode()).digest()
        basic = base64.b64encode(f"{CLIENT}:{SECRET.replace(' ', '+')}".encode()).decode()
        plain = base64.b64encode(f"{CLIENT}:{SECRET}".encode()).decode()
        if (
            asked is None
            or asked["code_challenge"] != base64.urlsafe_b64encode(digest).decode().rstrip("=")
            or form.get("redirect_uri") != asked["redirect_uri"]
            or self.headers["authorization"] not in (f"Basic {basic}", f"Basic {plain}")
        ):
            self._json({"error": "invalid_grant"}, 400)
            return
        access_token = secrets.token_urlsafe(16)
        self.provider.tokens[access_token] = asked["subject"]
        self._json(
            {
                "access_token": access_token,
                "token_type": "Bearer",
                "expires_in": 300,
                "id_token": self.provider.id_token(asked, asked["subject"]),
            }
        )

    def _json(self, content: dict[str, Any], status: int = 200) -> None:
        self._answer(status, json.dumps(content).encode(), "application/json")

    def _answer(self, status: int, body: bytes, kind: str) -> None:
        self.send_response(status)
        self.send_header("content-type", kind)
        self.send_header("content-length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)
