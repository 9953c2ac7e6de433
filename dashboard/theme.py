"""The quiet page: paper, ink, one blue; a dark theme of equal care."""

from __future__ import annotations

PAPER, INK, SECONDARY, RULE, BLUE = "#fbfaf7", "#1d2733", "#5d6b7a", "#d9dee3", "#1f5f8b"
DARK_PAPER, DARK_INK, DARK_RULE, DARK_BLUE = "#161b22", "#e8e6e1", "#39424d", "#8fbfe0"

SETTINGS: dict[str, object] = {
    "theme.light.primaryColor": BLUE,
    "theme.light.backgroundColor": PAPER,
    "theme.light.secondaryBackgroundColor": "#f1efe9",
    "theme.light.textColor": INK,
    "theme.light.linkColor": BLUE,
    "theme.light.borderColor": RULE,
    "theme.dark.primaryColor": DARK_BLUE,
    "theme.dark.backgroundColor": DARK_PAPER,
    "theme.dark.secondaryBackgroundColor": "#1f262f",
    "theme.dark.textColor": DARK_INK,
    "theme.dark.linkColor": DARK_BLUE,
    "theme.dark.borderColor": DARK_RULE,
}
