"""Who looks, in one line on each screen; and the demo's way to become another of its people, before any session."""

from __future__ import annotations

import html
from collections.abc import Sequence

import streamlit as st

from dashboard import figure
from dashboard.access import Viewer
from dashboard.palette import DARK, LIGHT
from dashboard.people import Person
from pipelines.store.store import Store


def show(viewer: Viewer, store: Store, choice: bool) -> None:
    """Say who looks, at which programme; of a demo with the way back where there is a choice. Nobody else is named."""
    who = viewer.role.replace("_", " ") + (f" {viewer.person_ref}" if viewer.person_ref else "")
    if not store.programme.demo:
        figure.say(f"{store.programme.title}, opened as {who}.", kind="quiet")
        return
    back = '<a href="/people" target="_self">Look as somebody else</a>' if choice else ""
    st.html(f"<p>Made-up data of a made-up programme. You look as <b>{html.escape(who)}</b>. {back}</p>")


def page(title: str, people: Sequence[Person]) -> str:
    """The choice as a plain page: links, reachable by keyboard, without any script."""
    groups: dict[str, list[Person]] = {}
    for person in people:
        groups.setdefault(person.group, []).append(person)
    lists = "".join(
        f"<h2>{html.escape(name)}</h2><ul>{_links(of_group)}</ul>" for name, of_group in groups.items()
    )
    return (
        f'<!doctype html><html lang="en"><head><meta charset="utf-8"><title>{html.escape(title)}</title>'
        f'<meta name="viewport" content="width=device-width"><style>{_STYLE}</style></head><body><main>'
        f"<h1>{html.escape(title)}</h1><p>Everything here is made up. Look as …</p>{lists}"
        "</main></body></html>"
    )


def _links(people: Sequence[Person]) -> str:
    return "".join(
        f'<li><a href="/as/{html.escape(person.key)}">{html.escape(person.label)}</a></li>'
        for person in people
    )


_STYLE = f"""
:root {{ color-scheme: light dark; }}
body {{ font: 17px/1.5 "Source Sans 3", sans-serif; margin: 2rem; background: {LIGHT.paper}; color: {LIGHT.ink}; }}
main {{ max-width: 60rem; }}
a {{ color: {LIGHT.blue}; display: inline-block; padding: 0.3rem 0; }}
ul {{ display: flex; flex-wrap: wrap; gap: 0 1.6rem; list-style: none; padding: 0; margin: 0; }}
h2 {{ font-size: 1.05rem; margin: 1.2rem 0 0; }}
@media (prefers-color-scheme: dark) {{
  body {{ background: {DARK.paper}; color: {DARK.ink}; }}
  a {{ color: {DARK.blue}; }}
}}
"""
