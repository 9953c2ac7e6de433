"""The values of a frame as Python's own, null as None: what charts, sentences and tables are made of."""

from __future__ import annotations

from typing import Any

import pandas as pd


def values(column: pd.Series[Any]) -> list[Any]:
    """The values of a column."""
    # Of what pandas and DuckDB know as missing, all but NA is unequal to itself.
    return [None if value is pd.NA or value != value else value for value in column.to_list()]  # noqa: PLR0124 - that is the question


def rows(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """The rows, each by the names of its columns."""
    columns = {str(name): values(column) for name, column in frame.items()}
    return [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]
