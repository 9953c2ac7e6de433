"""Text that is not UTF-8."""

from __future__ import annotations

import codecs

UTF_16_MARKS = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)


def decoded(data: bytes) -> str:
    """UTF-16, by its mark or by where its NULs stand, else Windows-1252; raises UnicodeDecodeError."""
    return data.decode(utf_16_of(data) or "cp1252")


def utf_16_of(data: bytes) -> str | None:
    """The UTF-16 of `data`: by its mark, else where every second byte of the beginning is mostly NUL."""
    if data.startswith(UTF_16_MARKS):
        return "utf-16"
    beginning = data[:4096]
    even, odd = beginning[::2].count(0), beginning[1::2].count(0)
    mostly = len(beginning) // 4
    if odd > mostly and not even:
        return "utf-16-le"
    if even > mostly and not odd:
        return "utf-16-be"
    return None
