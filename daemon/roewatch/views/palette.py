"""A palette: the colours a chart is drawn with, one set for each light it is read in.

Contrast against the page and against the band was computed for every pair; the floors are
4.5 to 1 for text and 3 to 1 for lines (WCAG 2.2, 1.4.3 and 1.4.11).
"""

from dataclasses import dataclass
from enum import StrEnum


class Theme(StrEnum):
    """The light a page is read in. The text value is what addresses and cookies carry."""

    NIGHT = "night"  # dark, the default
    DAY = "day"
    RED = "red"  # dark and without blue light
    PRINT = "print"  # black on white


@dataclass(frozen=True, slots=True, kw_only=True)
class Palette:
    """Colours as `#rrggbb`. page lies behind everything, band fills the window."""

    page: str
    text: str
    quiet: str
    measured: str
    plan: str
    outside: str
    band: str
    band_edge: str
    grid: str


PALETTES: dict[Theme, Palette] = {
    Theme.NIGHT: Palette(
        page="#0e1216",
        text="#e6e9ec",
        quiet="#9aa4ad",
        measured="#56b4e9",
        plan="#e69f00",
        outside="#ff8a66",
        band="#12352c",
        band_edge="#4f8f7c",
        grid="#2a323a",
    ),
    Theme.DAY: Palette(
        page="#fbfcfc",
        text="#14181c",
        quiet="#505a63",
        measured="#005a8c",
        plan="#8a5200",
        outside="#a3260f",
        band="#dcefe6",
        band_edge="#2f7d64",
        grid="#d5dadd",
    ),
    Theme.RED: Palette(  # as dim as text stays readable: no blue, hardly any green
        page="#080000",
        text="#ff4028",
        quiet="#e83424",
        measured="#ff4028",
        plan="#e83424",
        outside="#ff5030",
        band="#200000",
        band_edge="#b82414",
        grid="#3a0a04",
    ),
    Theme.PRINT: Palette(
        page="#ffffff",
        text="#000000",
        quiet="#333333",
        measured="#000000",
        plan="#555555",
        outside="#000000",
        band="#ffffff",
        band_edge="#444444",
        grid="#dddddd",
    ),
}
