"""The quiet page, in the palette of the charts: paper, ink, one blue; a dark theme of equal care."""

from __future__ import annotations

from dashboard.palette import DARK, LIGHT, Palette


def _settings(name: str, palette: Palette) -> dict[str, object]:
    return {
        f"theme.{name}.primaryColor": palette.blue,
        f"theme.{name}.backgroundColor": palette.paper,
        f"theme.{name}.secondaryBackgroundColor": palette.cell,
        f"theme.{name}.textColor": palette.ink,
        f"theme.{name}.linkColor": palette.blue,
        f"theme.{name}.borderColor": palette.rule,
    }


SETTINGS: dict[str, object] = {**_settings("light", LIGHT), **_settings("dark", DARK)}

# Less air above the page; figures of equal width. What is wider than a narrow page scrolls with the page: a part that
# scrolls by itself is one that the keyboard does not reach.
STYLE = """
.stMainBlockContainer { padding-top: 3.5rem; padding-bottom: 3rem; }
.stHtml a { color: inherit; }
table.plain { border-collapse: collapse; font-size: 0.95rem; font-variant-numeric: tabular-nums; }
table.plain :is(th, td) {
  padding: 0.3rem 1rem 0.3rem 0; text-align: left; vertical-align: top;
  border-bottom: 1px solid color-mix(in srgb, currentColor 18%, transparent);
}
table.plain th { font-weight: 600; }
.stHtml h2 { font-size: 1.6rem; font-weight: 600; padding: 0.75rem 0 0.5rem; margin: 0; }
.stHtml p { margin: 0; }
.stHtml p.quiet { color: color-mix(in srgb, currentColor 75%, transparent); }
.stHtml p.caution { font-style: italic; }
.stHtml p.nothing { padding: 0.6rem 1rem; border-left: 3px solid color-mix(in srgb, currentColor 40%, transparent); }
.stHtml p.ended { padding: 0.6rem 1rem; font-weight: 600; border-left: 4px solid currentColor; }
.stHtml p.ended.open { border-left-style: double; border-left-width: 6px; }
.stHtml li { margin: 0.15rem 0; }
""" + "".join(
    f"table.plain.number-{at} :is(th, td):nth-child({at}) {{ text-align: right; }}\n" for at in range(1, 21)
)
