"""Two palettes of equal care, for light and for dark paper: of the pages and of the charts."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Palette:
    """Colours by what they are for. `bands` is one hue, lowest step of a ladder first, seven steps."""

    paper: str
    ink: str
    secondary: str
    rule: str
    cell: str
    blue: str
    interval: str
    interval_edge: str
    chosen: str
    band_wide: str
    band_half: str
    bands: tuple[str, ...]
    dark_band_from: int  # the index in `bands` from which text on a band is `on_far_band`
    on_far_band: str


LIGHT = Palette(
    paper="#fbfaf7",
    ink="#1d2733",
    secondary="#5d6b7a",
    rule="#d9dee3",
    cell="#f1f1ee",
    blue="#1f5f8b",
    interval="#c3d5e2",
    interval_edge="#5f91b5",
    chosen="#e6eff5",
    band_wide="#e3eaef",
    band_half="#c9d8e2",
    bands=("#e4edf3", "#c3d5e2", "#9dbdd3", "#7aa6c4", "#3b769f", "#1f5f8b", "#123f5e"),
    dark_band_from=4,
    on_far_band="#fbfaf7",
)
# On dark paper the ladder runs from dim to bright: the highest step stands out on both.
DARK = Palette(
    paper="#14191f",
    ink="#e8ebee",
    secondary="#a9b4bf",
    rule="#38424c",
    cell="#1c232b",
    blue="#8cc4ea",
    interval="#2b4d68",
    interval_edge="#5d92b8",
    chosen="#22405a",
    band_wide="#1d2a35",
    band_half="#2a4154",
    bands=("#1f3a4f", "#2a4f6b", "#356587", "#67a0c9", "#8cbcdf", "#b4d6ee", "#dcedf8"),
    dark_band_from=3,
    on_far_band="#14191f",
)
PALETTES = {False: LIGHT, True: DARK}  # by whether the paper is dark
