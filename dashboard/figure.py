"""A chart with its table: drawn in the theme of the page, described in words, opened by mark or by keyboard."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape
from typing import Any

import pandas as pd
import streamlit as st

from dashboard import charts, queries, wording

NO_BREAK = "\u00a0"  # a narrow table would set the sign under its number


def is_dark() -> bool:
    """Whether the page is drawn on dark paper."""
    return st.context.theme.type == "dark"


def draw(
    chart: str, *frames: pd.DataFrame, key: str, select: bool = False, **words: Any
) -> dict[str, Any] | None:
    """Draw one of the charts, by its name; returns the fields of the mark that was chosen, None without one."""
    given = words | {"dark": is_dark()} | ({"select": True} if select else {})
    spec = _spec(chart, frames, given)
    if not select:
        st.vega_lite_chart(spec, theme=None, width="content", key=key)
        return None
    event = st.vega_lite_chart(spec, theme=None, width="content", key=key, on_select="rerun")
    chosen = event.get("selection", {}).get("chosen", [])
    return dict(chosen[0]) if chosen else None


# To build a chart takes longer than everything else on a screen, so its schema is checked by the tests alone; all that
# the chart depends on is an argument, for the cache is shared by all viewers.
@st.cache_data(max_entries=256, show_spinner=False)
def _spec(chart: str, frames: tuple[pd.DataFrame, ...], words: dict[str, Any]) -> dict[str, Any]:
    drawn: dict[str, Any] = getattr(charts, chart)(*frames, **words).to_dict(validate=False)
    return drawn


def table(frame: pd.DataFrame, label: str = "The table behind it") -> None:
    """The numbers of a chart as text: a plain table cannot be sorted, so nobody is ranked."""
    with st.expander(label):
        plain_table(frame)


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


def plain_table(frame: pd.DataFrame) -> None:
    """A table in the order given, its heads in words; what a file brought in is text there, never markup."""
    numbers = [pd.api.types.is_any_real_numeric_dtype(frame[name]) for name in frame.columns]
    heads = [str(name).replace("_", " ") for name in frame.columns]
    rows = (map(_cell, row) for row in frame.astype(object).itertuples(index=False, name=None))
    body = "".join(_row("td", row, numbers) for row in rows)
    st.html(
        f'<table class="plain"><thead>{_row("th", heads, numbers)}</thead><tbody>{body}</tbody></table>',
        width="content",
    )


def _row(tag: str, cells: Iterable[str], numbers: list[bool]) -> str:
    opened = (f'<{tag} class="number">' if number else f"<{tag}>" for number in numbers)
    return f"<tr>{''.join(f'{tag_in}{escape(cell)}</{tag}>' for tag_in, cell in zip(opened, cells, strict=True))}</tr>"


def _cell(value: Any) -> str:
    if value is None or value is pd.NA or (isinstance(value, float) and pd.isna(value)):
        return "–"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.1f}".removesuffix(".0")
    return str(value)


def caution() -> None:
    """The one line that stands on every screen that compares people."""
    st.markdown(f"*{wording.caution()}*")


def nothing(what: str, how: str) -> None:
    """An empty part says what is missing and how to bring it in."""
    st.info(f"{what} {how}")
