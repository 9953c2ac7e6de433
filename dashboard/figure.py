"""What a screen is made of: charts with their tables, paragraphs, and parts that rerun alone.

Every text here is drawn as it is: markup in it, whoever wrote it, is shown and does nothing.
"""

from __future__ import annotations

import functools
import json
import re
from collections.abc import Callable, Iterable
from html import escape
from typing import Any, NamedTuple, Protocol, TypeVar

import pandas as pd
import pyarrow as pa
import streamlit as st

from dashboard import access, charts, queries, wording
from dashboard.queries import Snapshot
from dashboard.queries.live import Kept, values
from pipelines.store.store import Store

LINE = "\u2028"  # between two lines of one cell
NO_BREAK = "\u00a0"  # a narrow table would set the sign under its number


def is_dark() -> bool:
    """Whether the page is drawn on dark paper."""
    return st.context.theme.type == "dark"


def draw(
    chart: str, *frames: pd.DataFrame, key: str, select: bool = False, **words: Any
) -> dict[str, Any] | None:
    """Draw one of the charts, by its name; returns the fields of the mark that was chosen, None without one."""
    given = words | {"dark": is_dark()} | ({"select": True} if select else {})
    # By all that the picture depends on, whoever looks.
    drawn_of = (chart, *(_content(frame) for frame in frames), json.dumps(given, sort_keys=True))
    spec = _PICTURES.get(drawn_of, lambda: _picture(chart, frames, given)).spec()
    if not select:
        st.vega_lite_chart(spec, theme=None, width="content", key=key)
        return None
    event = st.vega_lite_chart(spec, theme=None, width="content", key=key, on_select="rerun")
    chosen = event.get("selection", {}).get("chosen", [])
    return dict(chosen[0]) if chosen else None


class _Picture(NamedTuple):
    """A chart as text, and the tables of its numbers as Arrow streams: neither can be changed by whoever draws it."""

    text: str
    tables: dict[str, bytes]

    def spec(self) -> dict[str, Any]:
        return {**json.loads(self.text), "datasets": dict(self.tables)}


_PICTURES: Kept[_Picture] = Kept(512)


def _picture(chart: str, frames: tuple[pd.DataFrame, ...], words: dict[str, Any]) -> _Picture:
    # To build a chart takes longer than everything else on a screen, so its schema is checked by the tests alone.
    spec = getattr(charts, chart)(*frames, **words).to_dict(validate=False)
    datasets = spec.pop("datasets")
    return _Picture(json.dumps(spec), {name: _stream(rows) for name, rows in datasets.items()})


def _stream(rows: list[dict[str, Any]]) -> bytes:
    """The rows as the library sends them."""
    table, sink = pa.Table.from_pandas(pd.DataFrame(rows)), pa.BufferOutputStream()
    with pa.ipc.new_stream(sink, table.schema) as writer:
        writer.write_table(table)
    return bytes(sink.getvalue().to_pybytes())


def _content(frame: pd.DataFrame) -> str:
    """Everything that stands in a frame, its types included."""
    columns = {str(name): [str(column.dtype), column.to_list()] for name, column in frame.items()}
    return json.dumps(columns, default=repr)


def table(frame: pd.DataFrame, label: str = "The table behind it") -> None:
    """The numbers of a chart as text: a plain table cannot be sorted, so nobody is ranked."""
    with closed(label):
        plain_table(frame)


def closed(label: str, *, is_open: bool = False) -> Any:
    """A part that opens; its label is no Markdown, whoever wrote it."""
    return st.expander(without_markup(label), expanded=is_open)


# Signs of Markdown, but not where it reads none: `_` inside a word, a point that no letter follows, `-` inside a line. A
# label is also read out, with its backslashes.
MARKUP = re.compile(r"[\\`*{}\[\]()#+!|<>:$~]|(?<!\w)_|_(?!\w)|\.(?=\w)|^(\s*)([-.])", re.MULTILINE)


def without_markup(text: str) -> str:
    """A text that the library would read as Markdown, with every sign of it shown as it is."""
    return MARKUP.sub(lambda sign: re.sub(r"(\S)", r"\\\1", sign.group()), text)


def supervision_tables(bands: pd.DataFrame, levels: pd.DataFrame) -> None:
    """Every quarter in bands, and of one procedure group in the levels that the bands are made of."""
    table(_shares(bands, "band"), "Every quarter")
    if not levels.empty:
        table(_shares(levels, "level"), "Every level and quarter")


def _shares(frame: pd.DataFrame, step: str) -> pd.DataFrame:
    shares = [
        None if row.share is None else wording.share_text(row.share, row.known_cases).replace(" ", NO_BREAK)
        for row in queries.records(frame)
    ]
    return pd.DataFrame(
        {
            "trainee": frame["trainee_ref"],
            "quarter of training": frame["training_quarter"],
            "supervision": frame[step],
            "cases": frame["cases"],
            "of cases with a level": frame["known_cases"],
            "share": shares,
        }
    )


def plain_table(frame: pd.DataFrame, name: str = "Table", *, stacks: bool = False) -> None:
    """A table in the order given, its heads in words; what is wider than the page moves inside its own frame.

    `stacks`: on a narrow page the cells of a row stand one below the other.
    """
    st.html(table_markup(frame, name, stacks=stacks))


def table_markup(frame: pd.DataFrame, name: str = "Table", *, stacks: bool = False) -> str:
    """The same as text."""
    numbers = [
        f"number-{at}"
        for at, kind in enumerate(frame.dtypes, 1)
        if pd.api.types.is_any_real_numeric_dtype(kind)
    ]
    classes = " ".join(["plain", *(["stacks"] if stacks else []), *numbers])
    heads = "".join(f"<th>{_escaped(str(head).replace('_', ' '))}</th>" for head in frame.columns)
    columns = [[_in_its_place(_cell(cell)) for cell in values(cells)] for _, cells in frame.items()]
    body = "".join(f"<tr>{''.join(row)}</tr>" for row in zip(*columns, strict=True))
    drawn = f'<table class="{classes}"><thead><tr>{heads}</tr></thead><tbody>{body}</tbody></table>'
    return f'<div class="wide" tabindex="0" role="region" aria-label="{escape(name)}">{drawn}</div>'


def _in_its_place(text: str) -> str:
    # A day or a month is never broken over two lines.
    kind = ' class="day"' if len(text) in (7, 10) and text[4] == "-" and text[:4].isdecimal() else ""
    return f"<td{kind}>{_escaped(text)}</td>"


def _escaped(text: str) -> str:
    return escape(text.strip(), quote=False).replace(LINE, "<br>")


def _cell(value: Any) -> str:
    if value is None:
        return "–"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.1f}".removesuffix(".0")
    return str(value)


# ---- words: the library reads every text of its own as Markdown, so no text that is not ours goes there


def download(label: str, made: Callable[[], bytes], name: str, media_type: str, place: Any = None) -> None:
    """A button with a file that is made when it is pressed; by its column, where it stands in one."""
    # The press reruns nothing: a rerun would make the button anew, and what it asks for would be gone.
    (place or st).download_button(
        without_markup(label),
        made,
        name,
        media_type,
        on_click="ignore",
        width="content" if place is None else "stretch",
    )


def say(*sentences: str, kind: str = "") -> None:
    """A paragraph, `quiet` beside others. Whatever a file brought in is text in it, never markup."""
    _paragraph(" ".join(sentences), kind)


def say_list(sentences: Iterable[str]) -> None:
    """A list, one point a sentence."""
    st.html(f"<ul>{''.join(f'<li>{escape(sentence)}</li>' for sentence in sentences)}</ul>")


def ends_of_lines(names: Iterable[str], ends: Iterable[str]) -> None:
    """On a narrow page, where a chart is cut before the end of its lines: what stands there, by name."""
    said = "".join(f"<br>{escape(name)}: {escape(end)}" for name, end in zip(names, ends, strict=True))
    st.html(f'<p class="narrow quiet">{said.removeprefix("<br>")}</p>')


def heading(text: str) -> None:
    """The head of a section, where it holds more than words of ours."""
    st.html(f"<h2>{escape(text)}</h2>")


def caution() -> None:
    """The one line at the foot of every screen that compares people; it opens to the whole."""
    st.html(
        f'<details class="caution"><summary>{escape(wording.CAUTION_IN_SHORT)}</summary>'
        f"<p>{escape(wording.caution())}</p></details>"
    )


def top(title: str, *widths: float) -> list[Any]:
    """The title, and beside it the controls of the page in one row; returns the places of the controls."""
    places = st.columns([2.2, *widths], vertical_alignment="bottom")
    with places[0]:
        st.title(title, anchor=False)
    return places[1:]


def nothing(what: str, how: str) -> None:
    """An empty part says what is missing and how to bring it in."""
    _paragraph(f"{what} {how}", "nothing")


def ended(text: str, well: bool) -> None:
    """How something that was asked for ended; read out where a page is read out."""
    st.html(f'<p class="ended {"well" if well else "open"}" role="status">{escape(text)}</p>')


def refusal(reason: Exception) -> None:
    """Why a screen is not shown."""
    _paragraph(str(reason), "nothing")


def _paragraph(text: str, kind: str = "") -> None:
    st.html(f'<p class="{kind}">{escape(text)}</p>')


# ---- parts


class Given(Protocol):
    """What a part of a screen is drawn from."""

    @property
    def store(self) -> Store: ...

    @property
    def snapshot(self) -> Snapshot: ...

    @property
    def viewer(self) -> access.Viewer: ...


What = TypeVar("What", bound=Given)


def part(check: Callable[[What], None]) -> Callable[[Callable[[What], None]], Callable[[What], None]]:
    """Let a function of a screen rerun without the rest of it: drawing every other chart again takes far longer.

    A part keeps what it was given when the whole screen was made, so it asks anew who looks, and whether they may:
    `check` raises NotYours where not. Where another snapshot is live by now, the whole screen is made anew, never one
    part of it.
    """

    def of(draw: Callable[[What], None]) -> Callable[[What], None]:
        @functools.wraps(draw)
        def asked_anew(given: What) -> None:
            try:
                access.check_still_looks(given.viewer)
                check(given)
            except access.NotYours as reason:
                refusal(reason)
                return
            if queries.live_snapshot(given.store) != given.snapshot:
                st.rerun()
            draw(given)

        alone: Callable[[What], Any] = st.fragment(asked_anew)
        return alone

    return of
