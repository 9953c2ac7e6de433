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


# One typeface, that of the charts.
FONT = "Helvetica Neue, Arial, Liberation Sans, sans-serif"
SETTINGS: dict[str, object] = {
    "theme.font": FONT,
    "theme.headingFont": FONT,
    **_settings("light", LIGHT),
    **_settings("dark", DARK),
}

# Little air and small heads: the first row of data stands near the top. What is wider than the page moves inside its own
# frame, which the keyboard reaches; the page itself never moves sideways. On paper there are no controls, and what is
# closed on the screen is open.
STYLE = (
    """
.stMainBlockContainer { padding-top: 3.75rem; padding-bottom: 2rem; }
.stMainBlockContainer [data-testid=stVerticalBlock] { gap: 0.6rem; }
h1 { font-size: 28px !important; padding: 0 0 0.3rem !important; line-height: 1.2 !important; }
[data-testid=stHeading] h2, .stHtml h2 {
  font-size: 20px !important; font-weight: 600; padding: 0.9rem 0 0.3rem !important; margin: 0; line-height: 1.3;
}
.stHtml h2 { padding-bottom: 0 !important; }
[data-testid=stHeading]:has(h2) [data-testid=stMarkdownContainer] { margin-bottom: -0.5rem !important; }
.stHtml a { color: inherit; }
.stHtml .wide, .stVegaLiteChart { max-width: 100%; overflow-x: auto; }
table.plain { border-collapse: collapse; font-size: 0.95rem; font-variant-numeric: tabular-nums; }
table.plain :is(th, td) {
  padding: 0.28rem 1rem 0.28rem 0; text-align: left; vertical-align: top; white-space: pre-line;
  border-bottom: 1px solid color-mix(in srgb, currentColor 18%, transparent);
}
table.plain th { font-weight: 600; }
.stHtml p.narrow { display: none; }
.stHtml td.day { white-space: nowrap; }
@media (max-width: 640px) {
  .stHtml p.narrow { display: block; }
  table.stacks thead { display: none; }
  table.stacks tr { display: block; padding: 0.5rem 0; border-bottom: 1px solid color-mix(in srgb, currentColor 18%, transparent); }
  table.stacks td { display: block; border: 0; padding: 0.05rem 0; }
}
.stHtml p { margin: 0; max-width: 62rem; }
.stHtml p.lead { font-size: 1.1rem; }
.stHtml p.quiet { color: color-mix(in srgb, currentColor 75%, transparent); }
.stHtml details.caution { margin-top: 1rem; font-size: 0.9rem; }
.stHtml details.caution p { font-style: italic; padding-top: 0.4rem; }
.stHtml p.group { font-weight: 600; padding-top: 0.4rem; }
.stHtml p.nothing { padding: 0.6rem 1rem; border-left: 3px solid color-mix(in srgb, currentColor 40%, transparent); }
.stHtml p.ended { padding: 0.6rem 1rem; font-weight: 600; border-left: 4px solid currentColor; }
.stHtml p.ended.open { border-left-style: double; border-left-width: 6px; }
.stHtml li { margin: 0.15rem 0; }
@page { size: A4; margin: 8mm; }
@media print {
  .stApp * { color: INK !important; }
  [data-testid=stHeader], [data-testid=stSidebar], [data-testid=stSelectbox], [data-testid=stButton],
  [data-testid=stCheckbox], [data-testid=stElementToolbar], [data-testid=stDownloadButton],
  [data-testid=stButtonGroup], [data-testid=stExpander], .stMain a { display: none !important; }
  .stMainBlockContainer { padding: 0 !important; }
  .stApp, .stMain, .stAppViewContainer { position: static !important; overflow: visible !important; height: auto !important; }
  .stHtml .wide, .stVegaLiteChart { overflow: visible; }
  .stMainBlockContainer [data-testid=stVerticalBlock] { gap: 0.15rem; }
  .stMainBlockContainer :is([data-testid=stElementContainer], [data-testid=stLayoutWrapper]) { margin: 0 !important; }
  .stMainBlockContainer :is(p, li) { font-size: 7.5pt !important; line-height: 1.3; max-width: none; }
  .stHtml p.lead { font-size: 9pt !important; }
  h1 { font-size: 14pt !important; }
  [data-testid=stHeading] h2, .stHtml h2 { font-size: 10pt !important; padding: 0.35rem 0 0.1rem !important; }
  [data-testid=stHeading], .stHtml:has(h2) { break-after: avoid; }
  [data-testid=stHeading]:has(h1, h2) [data-testid=stMarkdownContainer] { margin: 0 !important; }
  ul { margin: 0.1rem 0 !important; }
  table.plain { font-size: 7pt; line-height: 1.25; }
  table.plain :is(th, td) { padding: 0.1rem 0.7rem 0.1rem 0; }
  table.plain tr, .stVegaLiteChart { break-inside: avoid; }
  .stVegaLiteChart svg { max-width: 100%; height: auto; }
  .stHtml details.caution { font-size: 8pt; margin-top: 0.3rem; }
  .stHtml details.caution summary { list-style: none; }
  details.caution::details-content { content-visibility: visible; block-size: auto; }
  [data-testid=stColumn] { min-width: 0 !important; width: 50% !important; break-inside: avoid; }
  /* A person on two pages: the charts side by side. What stands in the words at the top, or asks for the screen, is left out. */
  .st-key-part-comparison, .st-key-part-log, .st-key-part-quality, .st-key-part-findings { display: none !important; }
  .st-key-parts { display: grid !important; grid-template-columns: minmax(0, 1fr) minmax(0, 1fr); column-gap: 4mm !important; }
  .st-key-parts > * { grid-column: 1 / -1; order: 3; }
  .st-key-parts > :has(> :is(.st-key-part-milestone, .st-key-part-minimums, .st-key-part-outcome)) { order: 1; }
  .st-key-parts > :has(> :is(.st-key-part-course, .st-key-part-sequence, .st-key-part-supervision, .st-key-part-step)) {
    grid-column: auto; order: 2; break-inside: avoid;
  }
}
""".replace("INK", LIGHT.ink)
    + "".join(
        f"table.plain.number-{at} :is(th, td):nth-child({at}) {{ text-align: right; }}\n"
        for at in range(1, 21)
    )
)
