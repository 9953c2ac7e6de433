"""Who looks, in one line on each screen; and the demo's way to become another of its people, before any session."""

from __future__ import annotations

import html
from collections.abc import Sequence

import streamlit as st

from dashboard import figure
from dashboard.access import Viewer
from dashboard.people import Person
from dashboard.plain_page import plain_page
from pipelines.store.store import Store

# The library takes a form of ours as it is; the gate sees to it that no other site sends it.
SIGN_OUT = '<form method="post" action="/sign-out" target="_self"><button>Sign out</button></form>'


def show(viewer: Viewer, store: Store, choice: bool) -> None:
    """Say who looks, at which programme; of a demo with the way back where there is a choice. Nobody else is named."""
    who = viewer.role.replace("_", " ") + (f" {viewer.person_ref}" if viewer.person_ref else "")
    if viewer.person:
        said = f"{store.programme.title}. You are signed in as {viewer.person}, {who}."
        st.html(f'<div class="signed-in"><p class="quiet">{html.escape(said)}</p>{SIGN_OUT}</div>')
    elif not store.programme.demo:
        figure.say(f"{store.programme.title}, opened as {who}.", kind="quiet")
    else:
        _say_demo(who, choice)


def _say_demo(who: str, choice: bool) -> None:
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
    return plain_page(title, f"<p>Everything here is made up. Look as …</p>{lists}")


def _links(people: Sequence[Person]) -> str:
    return "".join(
        f'<li><a href="/as/{html.escape(person.key)}">{html.escape(person.label)}</a></li>'
        for person in people
    )
