"""Whose cases a rate is of, in words: the attributions of the view complication_rate, the default first."""

from __future__ import annotations

ATTRIBUTIONS = {
    "as_started": "all operations they began",
    "as_logged": "logged in an operating role",
    "in_trainee_hands": "happened in their hands",
}
