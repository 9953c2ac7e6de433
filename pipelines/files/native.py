"""How a native value of a book or a Parquet file is written as the text of a cell."""

from __future__ import annotations

import math
from datetime import date, datetime, time, timedelta
from decimal import Decimal

# Above this a float no longer tells neighbouring whole numbers apart.
LARGEST_WHOLE_FLOAT = 1e15


def export_text(value: object) -> str:
    """The text of one value: ISO dates without a time part, yes/no, plain digits, h:mm:ss; blank for None."""
    match value:
        case None:
            return ""
        case bool():
            return "yes" if value else "no"
        case float():
            return float_text(value)
        case Decimal():
            return format(value.normalize(), "f") if value.is_finite() else ""
        case datetime():
            return value.date().isoformat()
        case date():
            return value.isoformat()
        case time():
            return clock_text(
                timedelta(
                    hours=value.hour,
                    minutes=value.minute,
                    seconds=value.second,
                    microseconds=value.microsecond,
                )
            )
        case timedelta():
            return clock_text(value)
        case _:
            return str(value)


def float_text(value: float) -> str:
    """Plain digits for a whole number, else the shortest text that reads back the same; blank for nan."""
    if math.isnan(value):
        return ""
    if value.is_integer() and abs(value) < LARGEST_WHOLE_FLOAT:
        return str(int(value))
    return repr(value)


def clock_text(span: timedelta) -> str:
    """h:mm:ss, rounded to the second."""
    seconds = round(span.total_seconds())
    sign = "-" if seconds < 0 else ""
    minutes, seconds = divmod(abs(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{sign}{hours}:{minutes:02}:{seconds:02}"
