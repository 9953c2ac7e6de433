"""Pages before any session, in plain HTML: links and forms, reachable by keyboard, without any script."""

from __future__ import annotations

import html

from dashboard.palette import DARK, LIGHT


def plain_page(title: str, body: str, goes_to: str = "") -> str:
    """A page with its title as its head; `body` is HTML of ours, with whatever is not ours escaped in it.

    With `goes_to` it goes on to that address at once. A browser that another site led here sends a new cookie only to
    what a page of this site asks for.
    """
    onward = f'<meta http-equiv="refresh" content="0; url={html.escape(goes_to)}">' if goes_to else ""
    return (
        f'<!doctype html><html lang="en"><head><meta charset="utf-8"><title>{html.escape(title)}</title>{onward}'
        f'<link rel="icon" href="data:,"><meta name="viewport" content="width=device-width">'
        f"<style>{_STYLE}</style></head><body><main><h1>{html.escape(title)}</h1>{body}</main></body></html>"
    )


def paragraph(text: str) -> str:
    """A paragraph of text that need not be ours."""
    return f"<p>{html.escape(text)}</p>"


_STYLE = f"""
:root {{ color-scheme: light dark; }}
body {{ font: 17px/1.5 "Source Sans 3", sans-serif; margin: 2rem; background: {LIGHT.paper}; color: {LIGHT.ink}; }}
main {{ max-width: 60rem; }}
a {{ color: {LIGHT.blue}; display: inline-block; padding: 0.3rem 0; }}
ul {{ display: flex; flex-wrap: wrap; gap: 0 1.6rem; list-style: none; padding: 0; margin: 0; }}
h2 {{ font-size: 1.05rem; margin: 1.2rem 0 0; }}
label {{ display: block; margin: 0.6rem 0; max-width: 28rem; }}
input {{ font: inherit; display: block; width: 100%; padding: 0.3rem; box-sizing: border-box; }}
button {{ font: inherit; padding: 0.3rem 1rem; margin: 0.6rem 0; }}
@media (prefers-color-scheme: dark) {{
  body {{ background: {DARK.paper}; color: {DARK.ink}; }}
  a {{ color: {DARK.blue}; }}
}}
"""
