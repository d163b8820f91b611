"""Lines that can be told apart in grey and by colour-blind eyes: colour, dash and marker.

Tested in tests/analysis/runs/compare/test_figure.py.
"""

from __future__ import annotations

from dataclasses import dataclass

INK, GREY = "#1a1a1a", "#6b6b6b"
# Colours of unlike lightness from the palette by Okabe and Ito, "Color Universal Design" (2008).
COLOURS = ("#1a1a1a", "#0072b2", "#b34700", "#00795a", "#8a3f73", "#6b6b6b")
DASHES = ("-", (0, (6, 2)), (0, (2, 1.6)), (0, (8, 2, 1.5, 2)), (0, (4, 2, 1, 2, 1, 2)))
MARKERS = ("o", "s", "^", "D", "v", "P", "X")


@dataclass(frozen=True)
class LineStyle:
    """How one panel's line looks."""

    colour: str
    dash: str | tuple[float, tuple[float, ...]]
    marker: str


def line_style(place: int) -> LineStyle:
    """Return the style of the line drawn as number `place`, from 0.

    Colour, dash and marker have lengths without a common factor, so no two of the first 210
    lines look alike.

    Examples
    --------
    >>> line_style(0).marker, line_style(7).marker, line_style(7).dash == line_style(0).dash
    ('o', 'o', False)
    """
    return LineStyle(
        COLOURS[place % len(COLOURS)], DASHES[place % len(DASHES)], MARKERS[place % len(MARKERS)]
    )
