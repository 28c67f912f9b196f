"""A picture: a chart as PNG, for the graph command and for notices."""

from collections.abc import Sequence
from pathlib import Path

FONT_PLACES = (
    "/usr/share/fonts",
    "/usr/local/share/fonts",
    "/Library/Fonts",
    "/System/Library/Fonts",
)


class NoPictureError(ValueError):
    """This machine cannot make a PNG; the text says what to install."""


def fonts(places: Sequence[str] = FONT_PLACES) -> list[str]:
    """The font files this machine has, of the kinds a picture can be written with."""
    found: list[str] = []
    for place in places:
        root = Path(place)
        if root.is_dir():
            found += [str(p) for p in sorted(root.rglob("*.[to]tf"))]
    return found


def png(svg_text: str, *, zoom: float = 2.0, places: Sequence[str] = FONT_PLACES) -> bytes:
    """The picture as PNG bytes, `zoom` pixels for each of the drawing's.

    Raises NoPictureError when the `png` extra is not installed, or when no font is: a chart without
    its numbers would be a lie.
    """
    try:
        import resvg_py  # noqa: PLC0415 an optional extra, and slow to load
    except ImportError as fault:
        raise NoPictureError(
            "no PNG without resvg-py; install it with: pip install 'roewatch[png]', or ask for SVG"
        ) from fault
    if not fonts(places):
        raise NoPictureError(
            "no font on this machine, so a PNG would have no numbers; install one with: "
            "apt install fonts-dejavu-core, or ask for SVG"
        )
    return bytes(resvg_py.svg_to_bytes(svg_string=svg_text, zoom=zoom))
