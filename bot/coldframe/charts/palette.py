"""The look of every picture: colours with their contrast, and sizes in pixels.

Colours are Okabe and Ito's set for colour-blind readers; only those that reach 3:1 on white (WCAG 2.2, 1.4.11) are
lines here, and each comes with a second sign (fill, hatch, dash, direction, words).
"""

from __future__ import annotations

GROUND = "#FFFFFF"
INK = "#1B1B1B"
MUTED = "#595959"
RULE = "#8A8A8A"
BLUE = "#0072B2"
VERMILLION = "#D55E00"
GREEN = "#009E73"

TEXT_COLOURS = (INK, MUTED)
GRAPHIC_COLOURS = (INK, MUTED, RULE, BLUE, VERMILLION, GREEN)

WIDTH = 720
"""Pixels, as all sizes here. Phones show a picture about 360 wide, where the smallest lettering has 12 of theirs."""
MARGIN = 24
TITLE = 34  # of lettering, as the three below
HEADING = 28
BODY = 25
SMALL = 24
LEADING = 1.32  # of the lettering's size, from line to line


def contrast(one: str, other: str) -> float:
    """WCAG 2.2 contrast ratio of two #RRGGBB colours, from 1 to 21."""
    light, dark = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def _luminance(colour: str) -> float:
    channels = (int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5))
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue
