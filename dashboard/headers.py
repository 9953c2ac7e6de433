"""What every answer says of itself: what a page may load, what may be kept, that no other site may frame it."""

from __future__ import annotations

import base64
import hashlib
import re
from pathlib import Path

import streamlit
from starlette.datastructures import MutableHeaders
from starlette.types import Message, Send

# Every answer but the library's own scripts and styles, which are the same for everybody: each has a hash of its content
# in its name.
NOT_KEPT = "no-store"
LIBRARY = "/static/"
KEPT = "private, immutable, max-age=31536000"
# A year (RFC 6797, 6.2, has the same number in its examples).
ONLY_HTTPS = "max-age=31536000"


def with_headers(send: Send, path: str, host: str, secure: bool) -> Send:
    """`send`, with these headers on every answer."""

    async def send_with_headers(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            lasting = path.startswith(LIBRARY) and "immutable" in headers.get("cache-control", "")
            headers["cache-control"] = KEPT if lasting else NOT_KEPT
            headers["x-content-type-options"] = "nosniff"
            # Not no-referrer: with it a browser says of our own forms, too, that they are of no known site.
            headers["referrer-policy"] = "same-origin"
            headers["cross-origin-opener-policy"] = "same-origin"
            headers["cross-origin-resource-policy"] = "same-origin"
            headers["content-security-policy"] = content_policy(host, secure)
            if secure:
                headers["strict-transport-security"] = ONLY_HTTPS
        await send(message)

    return send_with_headers


def content_policy(host: str, secure: bool = False) -> str:
    """What the pages may load, as a content security policy: only what this server sends, to nobody else.

    The library sets styles from its scripts ('unsafe-inline', for styles alone); its page has a script of its own,
    allowed by the hash of its text. Charts are drawn without functions made from text.
    """
    streams = f"wss://{host}" if secure else f"ws://{host} wss://{host}"
    return "; ".join(
        (
            "default-src 'none'",
            f"script-src 'self' {_INLINE_SCRIPTS}",
            "style-src 'self' 'unsafe-inline'",
            "img-src 'self' data: blob:",
            "font-src 'self' data:",
            f"connect-src 'self' {streams}",
            "manifest-src 'self'",
            "base-uri 'none'",
            "form-action 'self'",
            "frame-ancestors 'none'",
        )
    )


def _hashes_of_inline_scripts() -> str:
    page = (Path(streamlit.__file__).parent / "static" / "index.html").read_text(encoding="utf-8")
    scripts = re.findall(r"<script>(.*?)</script>", page, re.DOTALL)
    digests = [hashlib.sha256(script.encode()).digest() for script in scripts]
    return " ".join(f"'sha256-{base64.b64encode(digest).decode()}'" for digest in digests)


_INLINE_SCRIPTS = _hashes_of_inline_scripts()
